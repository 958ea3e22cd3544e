"""Figures are said in plain words, and never more surely than they are."""

from datetime import date, timedelta

import pytest

from leafwane.breakdown.course import Forecast
from leafwane.report import words
from leafwane.report.looks import LOOKS
from tests.report.invented import START, a_course

SIX = (80.0, 66.0, 52.0, 41.0, 32.0, 24.0)
"""Covers of as many check-ins as it takes to try more than one form of curve."""


def test_days_are_written_out():
    assert words.day_text(date(2031, 10, 4)) == "4 October 2031"
    assert words.day_text(None) == "no date"


@pytest.mark.parametrize(
    ("percent", "text"), [(None, "-"), (0.0, "0%"), (0.4, "under 1%"), (41.4, "41%"), (100.0, "100%")]
)
def test_percent(percent, text):
    assert words.percent_text(percent) == text


@pytest.mark.parametrize(("points", "text"), [(None, "-"), (4.56, "4.6"), (9.96, "10"), (41.4, "41")])
def test_points(points, text):
    assert words.points_text(points) == text


def test_ranges_hold_nine_times_in_ten_and_end_at_nothing():
    # A standard normal lies within 1.645 of its mean in 90% of cases: tables of the normal distribution.
    assert words.range_text(50.0, 10.0) == "34 to 66%"
    assert words.range_text(1.0, 10.0) == "0 to 17%"
    assert words.range_text(98.0, 4.0, 100) == "91 to 100%"
    assert words.range_text(98.0, 4.0) == "91 to 105%"  # of the first check-in
    assert words.range_text(50.0, None) == ""
    assert words.ninety_text(10.0) == "16"
    assert words.ninety_text(None) == "?"


@pytest.mark.parametrize(
    ("days", "text"),
    [(None, "-"), (12.6, "13 days"), (180.0, "6 months"), (800.0, "2.2 years"), (float("inf"), "-")],
)
def test_lengths_of_time(days, text):
    assert words.days_text(days) == text


def test_ready_says_what_is_known():
    day, early, late = date(2031, 12, 1), date(2031, 11, 20), date(2031, 12, 24)
    both = words.ready(a_course(covers=SIX, finish=Forecast(date=day, earliest=early, latest=late)))
    assert all(words.day_text(d) in both for d in (day, early, late))
    assert "nine times in ten" in both
    open_ended = words.ready(a_course(covers=SIX, finish=Forecast(date=day, earliest=early)))
    assert "not be ready before 20 November 2031" in open_ended
    assert "No date" in words.ready(a_course())
    assert words.ready(a_course(status="finished")) == ""


@pytest.mark.parametrize(
    ("finish", "today", "passed"),
    [(50, None, False), (50, 50, False), (50, 51, True), (20, 42, False), (20, 43, True), (50, 365, True)],
)
def test_a_day_that_has_passed_long_after_the_newest_photo_is_not_promised(finish, today, passed):
    newest = START + timedelta(days=70)
    course = a_course(
        covers=SIX, finish=Forecast(date=newest + timedelta(days=finish), latest=date(2033, 1, 1))
    )
    day = None if today is None else newest + timedelta(days=today)
    assert words.overdue(course, day) == passed
    assert (words.ready(course, day) != words.ready(course)) == passed
    if passed:
        about = words.day_text(course.finish.date)
        assert words.summary(course, day)[-1] == (
            f"It should have been ready about {about}, but its curve has no photo since 13 December 2031: look again."
        )


@pytest.mark.parametrize(
    ("status", "finish"),
    [
        ("finished", Forecast(date=START, latest=START)),
        ("unclear", Forecast(date=START, earliest=START)),
        ("stalled", Forecast()),
    ],
)
def test_what_is_ready_or_has_no_day_to_name_is_never_overdue(status, finish):
    course = a_course(status=status, finish=finish)
    assert not words.overdue(course, date(2040, 1, 1))
    assert words.ready(course, date(2040, 1, 1)) == words.ready(course)


def test_with_few_check_ins_a_day_is_said_on_condition():
    day, early, late = date(2031, 12, 1), date(2031, 11, 20), date(2031, 12, 24)
    course = a_course(covers=SIX[:5], finish=Forecast(date=day, earliest=early, latest=late))
    assert words.ready(course) == (
        "If it goes on at a steady rate, it should be ready about 1 December 2031 (between 20 November 2031 and "
        "24 December 2031)."
    )
    assert words.speed(course).startswith("At a steady rate, half of the leaf goes in ")
    assert words.speed(a_course(covers=SIX)).startswith("Over this batch, half of the leaf goes in ")
    open_ended = words.ready(a_course(covers=SIX[:5], finish=Forecast(date=day, earliest=early)))
    assert "before 20 November 2031; how late" in open_ended


@pytest.mark.parametrize("status", sorted(LOOKS))
def test_every_status_opens_the_summary(status):
    sentences = words.summary(a_course(status=status))
    assert sentences[0] == words.OPENINGS[status]
    assert all(sentence.endswith(".") for sentence in sentences)


def test_summary_says_how_much_is_left_and_how_sure():
    left = words.summary(a_course(covers=(80.0, 40.0)))[1]
    assert left == (
        "On 18 October 2031, 50% of the leaf cover was left (nine times in ten between 45 and 55%): "
        "leaf covered 40% of the surface."
    )


def test_at_the_first_check_in_all_is_left_without_a_range():
    assert words.leaf_left(a_course(covers=(80.0,))) == (
        "On 4 October 2031, 100% of the leaf cover was left: leaf covered 80% of the surface."
    )


@pytest.mark.parametrize(("covers", "batches"), [((80.0, 20.0, 45.0), (2,)), ((3.0, 4.0, 5.0), ())])
def test_cover_alone_is_said_after_a_new_batch_and_where_there_is_no_scale(covers, batches):
    said = words.leaf_left(a_course(covers=covers, batches=batches))
    assert said.startswith(f"On 1 November 2031, leaf covered {covers[-1]:.0f}")
    assert "nine times in ten between" in said
    assert "left" not in said


def test_summary_of_a_bin_without_check_ins():
    assert "No photo of this bin" in words.summary(a_course(covers=()))[1]


def test_a_stalled_bin_is_given_no_rate_of_its_better_days():
    assert words.speed(a_course(status="on-course"))
    assert not words.speed(a_course(status="stalled"))
    assert words.half_life(a_course(status="stalled")) is None


def test_the_mark_of_remedies_stands_once_over_all():
    assert words.remedy_text("Common practice: wet the leaf.") == "Wet the leaf."
    assert words.remedy_text("wait.") == "Wait."


def test_unclear_bins_get_no_half_life_and_no_day_that_may_get_late():
    course = a_course(status="unclear", finish=Forecast(date=START, earliest=START))
    assert words.half_life(course) is None
    assert words.ready_short(course) == "-"
    assert words.ready_about(course) is None
    assert "not be ready before" in words.ready(course)


def test_where_only_the_latest_day_is_known_it_is_told():
    course = a_course(finish=Forecast(date=START, latest=START + timedelta(days=20)))
    assert "24 October 2031" in words.ready(course)
    assert words.ready_about(course) == START

"""Check-ins that do not fit the others of their bin: a photo of another bin, or a wrong date."""

from datetime import timedelta

import pytest

from fixtures.studies.trials import FIRST, a_score
from leafwane.breakdown.course import follow_trial
from leafwane.breakdown.status import Status
from leafwane.flags import Flag
from leafwane.report import words
from leafwane.trialfile import TrialPlan

USUAL = (88.0, 77.0, 64.0, 52.0, 41.0, 32.0)
"""Cover of one layer and more that goes at 0.024 a day, a fortnight apart, rounded."""


def followed(*covers: float):
    scores = [a_score("hazel", 14.0 * place, cover, 2.0) for place, cover in enumerate(covers)]
    (course,) = follow_trial(scores, TrialPlan(name="made up"))
    return course


def odd_days(course):
    return [check_in.date for check_in in course.check_ins if Flag.OFF_CURVE in check_in.flags]


def test_check_ins_that_fit_are_not_flagged():
    assert odd_days(followed(*USUAL)) == []


@pytest.mark.parametrize(("place", "cover"), [(2, 35.0), (3, 75.0), (5, 4.0)])
def test_a_photo_of_another_bin_is_flagged_and_no_other(place, cover):
    covers = [*USUAL]
    covers[place] = cover
    assert odd_days(followed(*covers)) == [FIRST + timedelta(days=14 * place)]


def test_a_bin_that_begins_to_stand_still_fits():
    assert odd_days(followed(*USUAL[:4], 52.0, 52.0)) == []


def test_three_check_ins_are_too_few_to_say_which_is_odd():
    assert odd_days(followed(88.0, 20.0, 64.0)) == []


def test_one_check_in_that_does_not_fit_finishes_no_bin_and_two_do():
    once, twice = followed(*USUAL[:5], 1.0), followed(*USUAL[:5], 1.0, 1.0)
    assert odd_days(once)
    assert once.verdict.status is not Status.FINISHED
    assert twice.verdict.status is Status.FINISHED


def test_the_newest_check_in_counts_only_where_it_lies_below():
    assert odd_days(followed(*USUAL[:5], 60.0)) == []


def test_rate_and_dates_leave_out_what_does_not_fit():
    covers = [*USUAL]
    covers[3] = 15.0
    course, usual = followed(*covers), followed(*USUAL)
    assert odd_days(course)
    assert course.half_life_days == pytest.approx(usual.half_life_days, rel=0.03)
    assert course.check_ins[3].leaf_percent == 15.0
    assert "does not fit the others, and rate and dates leave it out" in " ".join(words.summary(course))


def test_a_photo_before_the_leaf_went_in_costs_no_curve():
    course = followed(0.5, 85.0, 70.0, 55.0, 42.0, 30.0)
    assert [check_in.remaining_percent for check_in in course.check_ins[:2]] == [None, 100.0]
    assert course.check_ins[-1].remaining_percent == pytest.approx(100 * 30 / 85)


def test_none_is_set_aside_where_too_few_would_be_left():
    """Each of the last two of four lies apart from the other three: which of them is odd, nobody can say."""
    scores = [
        a_score("hazel", 14.0 * place, cover, err)
        for place, (cover, err) in enumerate([(80, 2.4), (54, 1.5), (38, 1.1), (9, 1.0)])
    ]
    (course,) = follow_trial(scores, TrialPlan(name="made up"))
    assert odd_days(course) == []
    assert course.verdict.reasons


def test_a_photo_of_another_bin_does_not_hide_a_stall():
    standing = (60.0, 57.0, 56.0, 55.0, 56.0, 55.0)
    stalled, with_odd = followed(*standing, 55.0, 55.0), followed(*standing, 25.0, 55.0)
    assert odd_days(with_odd)
    assert stalled.verdict.status is with_odd.verdict.status is Status.STALLED


def test_a_photo_of_another_bin_does_not_open_a_finished_one_again():
    gone = (70.0, 45.0, 22.0, 8.0, 1.0)
    finished, with_odd = followed(*gone, 1.0, 1.0), followed(*gone, 25.0, 1.0)
    assert odd_days(with_odd)
    assert with_odd.verdict.since == finished.verdict.since


@pytest.mark.parametrize(("err", "off", "odd"), [(2.0, 13.0, True), (4.0, 15.0, False)])
def test_how_far_off_a_check_in_may_lie_goes_by_its_error(err, off, odd):
    """Four joint errors, and 10 points: the curve of the others adds little to the check-in's own error."""
    covers = [*USUAL]
    covers[3] -= off
    scores = [a_score("hazel", 14.0 * place, cover, err) for place, cover in enumerate(covers)]
    (course,) = follow_trial(scores, TrialPlan(name="made up"))
    assert odd_days(course) == [FIRST + timedelta(days=42)] * odd


def test_of_four_check_ins_the_other_three_say_which_is_odd():
    assert odd_days(followed(88.0, 20.0, 64.0, 52.0)) == [FIRST + timedelta(days=14)]

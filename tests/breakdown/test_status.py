"""Statuses, top-ups and their operating figures."""

import re
from datetime import timedelta

import numpy as np
import pytest

from fixtures.studies.status import false_flags, stalls_found
from leafwane.breakdown.batches import batch_starts
from leafwane.dates import day_text
from tests.breakdown.invented import FIRST, a_check_in, a_plan, covers_of, follow, status_of

DAYS = np.arange(8) * 14
STALLED = [88.0, 60.0, 41.0, 40.0, 42.0, 39.0, 41.0, 40.0]


def test_a_bin_that_loses_leaf_is_on_course():
    course = follow(DAYS[:5], covers_of(0.03, DAYS[:5]))
    assert course.verdict.status == "on-course"
    assert "half in 2" in course.verdict.reasons[0]


def test_a_bin_that_stands_is_stalled_with_dates_figures_and_remedies():
    verdict = follow(DAYS, STALLED).verdict
    assert verdict.status == "stalled"
    assert FIRST + timedelta(days=14) < verdict.since < FIRST + timedelta(days=70)
    text = " ".join(verdict.reasons)
    assert day_text(verdict.since) in text
    assert "half-life of 90 days" in text
    assert all(remedy.startswith("Common practice: ") for remedy in verdict.remedies)
    for word in ("squeeze", "touched on all sides", "shred", "mask", "gloves", "wash your hands"):
        assert word in " ".join(verdict.remedies).lower()


def test_three_flat_check_ins_in_two_weeks_are_no_stall():
    assert status_of([0, 7, 14], [60.0, 60.0, 60.0], err=1.0) == "too-early"


@pytest.mark.parametrize(("leaf", "status"), [("hazel", "stalled"), ("oak", "slow")])
def test_leaves_high_in_lignin_are_given_more_time(leaf, status):
    covers = covers_of(np.log(2) / 140, DAYS)
    assert status_of(DAYS, covers, err=0.5, plan=a_plan(leaf)) == status


def test_the_stall_line_can_be_set():
    covers = covers_of(np.log(2) / 60, DAYS)
    assert status_of(DAYS, covers, err=1.0) == "on-course"
    assert status_of(DAYS, covers, err=1.0, plan=a_plan(stall_half_life_days=30.0)) == "stalled"


def test_slow_is_against_what_is_expected_of_the_leaf():
    covers = covers_of(np.log(2) / 65, DAYS)
    assert status_of(DAYS, covers, err=1.0, plan=a_plan("ash")) == "slow"
    assert status_of(DAYS, covers, err=1.0, plan=a_plan("oak")) == "on-course"
    assert status_of(DAYS, covers, err=1.0, plan=a_plan("a leaf nobody knows")) == "on-course"


def test_unclear_says_what_helps_and_promises_no_day():
    verdict = follow([0, 14, 28], [50.0, 49.0, 46.0], err=5.0).verdict
    assert verdict.status == "unclear"
    assert verdict.reasons[-1] == "More photos at each check-in, and time, will make it clearer."


def test_unclear_names_rates_that_leave_it_open():
    verdict = follow(DAYS[:5], [92.0, 75.0, 60.0, 57.0, 58.0], err=3.0).verdict
    assert verdict.status == "unclear"
    low, high, line = (float(rate) for rate in re.findall(r"(\d\.\d)(?:%| to)", verdict.reasons[0]))
    assert low <= line <= high


@pytest.mark.parametrize("covers", [[3.0], [3.0, 4.0, 3.5], [1.0, 1.0, 0.5, 0.5, 0.0], [4.0, 4.0, 6.0]])
def test_a_bin_that_never_had_leaf_is_not_finished(covers):
    course = follow(DAYS[: len(covers)], covers, err=1.5)
    assert course.verdict.status == "too-early"
    assert course.verdict.reasons[0].startswith("There is hardly any leaf yet: it covered ")
    assert course.finish.date is None


def test_a_bin_that_began_nearly_bare_is_followed_once_leaf_is_seen():
    covers = [4.0, 14.0, 14.0, 3.0, 1.0, 0.0]
    assert status_of(DAYS[:3], covers[:3], err=1.5) != "too-early"
    assert status_of(DAYS[:6], covers, err=1.5) == "finished"


@pytest.mark.parametrize(
    ("covers", "err", "status"),
    [
        ([80, 40, 12, 1], 2.0, "finished"),  # sure by one check-in
        ([80, 40, 12, 4], 3.0, "on-course"),  # below the line, but within its error
        ([80, 40, 12, 4, 4], 3.0, "finished"),  # below it twice in a row
        ([80, 40, 12, 4, 4, 7], 3.0, "finished"),  # and not taken back for an error's sake
        ([80, 40, 12, 8, 8], 3.0, "not"),
    ],
)
def test_finished_considers_the_error(covers, err, status):
    found = status_of(DAYS[: len(covers)], covers, err=err)
    assert found != "finished" if status == "not" else found == status


@pytest.mark.parametrize(
    ("covers", "newest", "day", "why"),
    [
        ([80, 40, 12, 1], "below the finish line", 42, "by more than photos err"),
        ([80, 40, 12, 4, 4], "below the finish line", 56, "for the second check-in in a row"),
        (
            [80, 40, 12, 4, 4, 7],
            "by no more than photos err above the finish line",
            56,
            "for the second check-in in a row",
        ),
    ],
)
def test_finished_says_since_when_it_counts_and_why_from_then(covers, newest, day, why):
    verdict = follow(DAYS[: len(covers)], covers, err=2.0).verdict
    assert f", {newest} of 5%." in verdict.reasons[0]
    since = day_text(FIRST + timedelta(days=day))
    assert (
        verdict.reasons[1]
        == f"It has counted as finished since {since}, when cover was below the line {why}."
    )


def test_the_finish_line_can_be_set():
    covers = [80.0, 50.0, 25.0, 12.0, 9.0]
    assert status_of(DAYS[:5], covers, plan=a_plan(finish_percent=15.0)) == "finished"


def test_a_bin_restarted_under_the_same_name_is_topped_up_and_followed_anew():
    days = [*range(0, 84, 14), 100, 114, 128, 142]
    covers = [*covers_of(0.05, DAYS[:6]), *covers_of(0.04, [0, 14, 28, 42])]
    course = follow(days[:7], covers[:7])
    assert course.verdict.status == "topped-up"
    assert course.batch_starts == (FIRST, FIRST + timedelta(days=100))
    later = follow(days, covers)
    assert later.verdict.status == "on-course"
    assert later.curve.k_per_day == pytest.approx(0.04, rel=0.02)
    assert later.batches[0].curve.k_per_day == pytest.approx(0.05, rel=0.02)


@pytest.mark.parametrize(
    "covers",
    [
        [60, 50, 62, 40, 33],  # one photo that errs high
        [60, 50, 32, 47, 40],  # one that errs low
        [60, 50, 58, 56, 50],  # a surface turned over
    ],
)
def test_errors_and_a_turned_surface_are_no_top_up(covers):
    assert batch_starts([a_check_in(14 * i, c) for i, c in enumerate(covers)]) == (0,)


@pytest.mark.parametrize(
    ("covers", "starts"),
    [
        ([80, 50, 30, 65, 50], (0, 3)),
        ([80, 50, 30, 75], (0, 3)),  # nothing confirms it yet, but it is large
        ([80, 50, 30, 48], (0,)),  # and this is not
        ([30, 28, 46, 45, 40], (0, 2)),
        ([26, 14, 43, 25, 13], (0, 2)),  # new leaf goes on breaking down
    ],
)
def test_top_ups_are_seen(covers, starts):
    assert batch_starts([a_check_in(14 * i, c) for i, c in enumerate(covers)]) == starts


def test_a_rise_that_nothing_confirms_is_named_and_is_no_stall():
    verdict = follow(DAYS[:6], [80.0, 45.0, 44.0, 45.0, 44.0, 62.0]).verdict
    assert verdict.status != "stalled"
    assert "leaf was added, or the surface was turned" in " ".join(verdict.reasons)


@pytest.mark.parametrize(
    ("days", "covers", "status"),
    [
        (DAYS, np.zeros(8), "too-early"),
        (DAYS, np.full(8, 100.0), "unclear"),
        ([0], [70.0], "too-early"),
        ([0, 0], [70.0, 72.0], "too-early"),
        ([28, 0, 42, 14], covers_of(0.03, [28, 0, 42, 14]), "on-course"),
        (DAYS[:5], [np.nan, 60.0, 41.0, 27.0, 18.0], "on-course"),
        ([], [], None),
    ],
)
def test_hard_cases_have_a_status(days, covers, status):
    if status is None:
        course = follow([0], [np.nan])
        assert (course.verdict.status, course.check_ins, course.curve) == ("too-early", (), None)
    else:
        assert status_of(days, covers) == status


def test_full_cover_says_that_it_says_little():
    assert "over 97%" in " ".join(follow(DAYS, np.full(8, 100.0)).verdict.reasons)


def test_cover_that_rises_slowly_is_stalled():
    assert status_of(DAYS, np.linspace(40, 47, 8)) == "stalled"


def test_an_error_of_zero():
    assert status_of(DAYS, covers_of(0.03, DAYS), err=0.0) == "on-course"
    assert status_of(DAYS, STALLED, err=0.0) == "stalled"


def test_losing_bins_are_seldom_called_stalled_and_seldom_topped_up():
    for cell in ((3.0, 1, 14.0), (5.0, 1, 7.0)):
        found = false_flags(cell, n_bins=20, seed=11)
        assert np.mean(found["stalled"]) <= 5
        assert np.mean(found["topped-up"]) == 0


def test_stalled_bins_are_found_in_time():
    one, three = (np.mean(stalls_found((3.0, n, 14.0), n_bins=16, seed=12), axis=0) for n in (1, 3))
    assert one[4] >= 80
    assert three[2] >= 80


@pytest.mark.parametrize("apart", [1, 3, 7, 20, 40])
def test_any_rhythm_of_check_ins_has_a_window(apart):
    days = np.arange(0, 120, apart)
    assert status_of(days, covers_of(0.02, days), err=2.0) in {"on-course", "finished"}
    assert status_of(days, np.full(len(days), 45.0), err=2.0) == "stalled"


@pytest.mark.parametrize("covers", [[94.0, 87.0, 92.0, 94.0, 74.0], [70.0, 68.0, 70.0, 70.0, 75.0, 58.0]])
def test_a_bin_whose_leaf_begins_to_go_is_not_called_stalled(covers):
    """The fall may be flagged as odd, since it fits nothing before it; the next check-in will tell."""
    verdict = follow(DAYS[: len(covers)], covers, err=2.0).verdict
    assert verdict.status != "stalled"
    assert any("Cover fell by" in reason for reason in verdict.reasons)
    assert follow([*DAYS[: len(covers) - 1]], covers[:-1], err=2.0).verdict.status == "stalled"


@pytest.mark.parametrize(("half_life", "before", "after"), [(20.0, 44.0, 64.0), (30.0, 61.0, 76.0)])
def test_new_leaf_in_a_bin_that_goes_fast_is_seen(half_life, before, after):
    """It has gone on, past where cover stood before the new leaf, by the time it is looked at again."""
    k = np.log(2) / half_life
    layers = lambda percent: -np.log1p(-percent / 100)  # noqa: E731
    until = [100 * -np.expm1(-layers(before) * np.exp(k * days)) for days in (42, 28, 14, 0)]
    since = [100 * -np.expm1(-layers(after) * np.exp(-k * days)) for days in (0, 14, 28)]
    course = follow([14 * n for n in range(7)], [*until, *since], err=2.0)
    assert course.batch_starts == (FIRST, FIRST + timedelta(days=56))


@pytest.mark.parametrize(
    ("covers", "starts"),
    [
        ([80, 50, 30, 58], (0,)),  # unconfirmed, and under 30 points
        ([80, 50, 30, 62], (0, 3)),
        ([60, 50, 80, 45, 40], (0,)),  # one photo that errs high by much
    ],
)
def test_a_rise_that_nothing_bears_out_has_to_be_large(covers, starts):
    assert batch_starts([a_check_in(14 * i, c) for i, c in enumerate(covers)]) == starts


@pytest.mark.parametrize(("days", "status"), [([0, 13, 27], "too-early"), ([0, 14, 28], "stalled")])
def test_a_stall_takes_four_weeks(days, status):
    assert status_of(days, [60.0, 60.0, 60.0], err=1.0) == status


def test_a_stall_names_the_days_and_covers_of_its_window():
    covers = [88.0, 60.0, 41.0, 40.0, 42.0, 39.0, 41.0, 40.0]
    course = follow(DAYS, covers)
    since = course.verdict.since
    n, span = map(int, re.findall(r"\((\d+) check-ins in (\d+) days\)", course.verdict.reasons[0])[0])
    first = course.check_ins[-n]
    assert (first.date, course.check_ins[-1].date - first.date) == (since, timedelta(days=span))
    assert f"cover went from {first.leaf_percent:.0f}% " in course.verdict.reasons[0]
    assert "to 40% " in course.verdict.reasons[0]


def test_a_newest_check_in_lower_by_no_more_than_photos_err_hides_no_stall():
    assert status_of(DAYS[:6], [60.0, 60.0, 60.0, 60.0, 60.0, 53.0], err=2.0) == "stalled"


def test_what_a_verdict_says_in_figures_is_what_the_check_ins_say():
    """Errors of 3 points are 5 at 90%; a half-life of 90 days is 0.8% a day."""
    stalled = follow(DAYS, [60.0] * 8).verdict.reasons
    assert "cover went from 60% (give or take 5) to 60% (give or take 5) (" in stalled[0]
    (high,) = map(float, re.findall(r"at most (\d\.\d)% a day \(9 times in 10\)", stalled[1]))
    assert 0 < high < 0.8
    assert "below the stall line of 0.8% a day, which is a half-life of 90 days" in stalled[1]
    (going, *_) = follow(DAYS, covers_of(0.03, DAYS)).verdict.reasons
    best, low, high, half = map(
        float,
        re.findall(
            r"at (\d\.\d)% a day \((\d\.\d) to (\d\.\d)% a day, 8 times in 10\): half in (\d+) days", going
        )[0],
    )
    assert low < best < high
    assert (best, half) == pytest.approx((3.0, 23.1), rel=0.08)

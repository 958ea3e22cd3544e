"""Photos become check-ins: averages, errors, hard cases."""

from dataclasses import replace
from datetime import timedelta
from math import nan, sqrt

import numpy as np
import pytest

from leafwane.breakdown.checkins import (
    LEAST_ERR,
    UNKNOWN_ERR,
    gather_check_ins,
)
from leafwane.flags import NOT_IN_CURVE, Flag
from leafwane.mixed import copied_elsewhere, mark_copies
from tests.breakdown.invented import FIRST, a_score, scores_of


def test_photos_of_a_day_are_averaged():
    scores = [a_score("bin-a", 0, 60.0, 3.0), a_score("bin-a", 0, 64.0, 4.0), a_score("bin-a", 14, 31.0, 3.0)]
    first, second = gather_check_ins(scores)["bin-a"]
    assert (first.n_photos, first.leaf_percent, first.leaf_err) == (2, 62.0, 2.5)
    assert (second.day, second.remaining_percent) == (14, 50.0)
    assert second.remaining_err == pytest.approx(100 / 62 * sqrt(3**2 + (0.5 * 2.5) ** 2))
    assert (first.remaining_percent, first.remaining_err, first.layers_remaining_percent) == (
        100.0,
        0.0,
        100.0,
    )


def test_photos_that_differ_more_than_they_say_widen_the_error():
    calm = [a_score("bin-a", day, c, 2.0) for day in (0, 7, 14) for c in (50.0, 51.0)]
    wild = [a_score("bin-a", day, c, 2.0) for day in (0, 7, 14) for c in (40.0, 61.0)]
    narrow, wide = (gather_check_ins(scores)["bin-a"][0].leaf_err for scores in (calm, wild))
    assert narrow == pytest.approx(2 / sqrt(2))
    assert wide == pytest.approx(21 / sqrt(2) / sqrt(2))  # the scatter of a photo, over the root of two


def pairs(rng, *, err, off=0.0, n=4000):
    """Return check-ins of two photos each, one a bin, of a surface half covered; `off` is added to one photo's error."""
    seen = 50 + rng.normal(0, err, (n, 2)) + np.outer(rng.normal(0, off, n), (0, 1))
    scores = [a_score(f"bin-{row}", 0, float(leaf), 2.0) for row, pair in enumerate(seen) for leaf in pair]
    return [check_in for (check_in,) in gather_check_ins(scores).values()]


@pytest.mark.parametrize(
    ("err", "off", "least"),
    [(2.0, 0.0, 90), (2.0, 4.0, 85), (2.0, 12.0, 88), (12.0, 0.0, 65)],
    ids=["as they say", "one off", "one far off", "both far off: t with one degree of freedom"],
)
def test_the_interval_of_two_photos_holds_the_truth(err, off, least):
    found = pairs(np.random.default_rng(3), err=err, off=off)
    held = 100 * np.mean([abs(c.leaf_percent - 50) <= 1.645 * c.leaf_err for c in found])
    assert held > least - 1.5  # three standard errors of the simulation


def test_two_photos_that_agree_keep_the_error_they_state():
    found = pairs(np.random.default_rng(3), err=2.0)
    widened = np.array([c.leaf_err for c in found]) / (2 / sqrt(2))
    assert np.median(widened) == pytest.approx(1.0)
    assert widened.mean() < 1.2
    assert np.mean([Flag.PHOTOS_DISAGREE in c.flags for c in found]) < 0.003


def test_photos_that_disagree_are_flagged_and_widen_the_error_of_their_own_day():
    calm = [a_score("bin-a", day, c, 1.2) for day in (7, 14, 21, 28) for c in (50.0, 51.0)]
    alone = [a_score("bin-a", day, 50.0, 1.2) for day in (7, 14)]
    for others in (calm, alone):
        pair = [a_score("bin-a", 0, c, 1.2) for c in (53.5, 29.0)]
        first, *rest = gather_check_ins([*pair, *others])["bin-a"]
        assert first.leaf_err == pytest.approx((53.5 - 29.0) / 2)
        assert first.flags == Flag.PHOTOS_DISAGREE
        stated = 1.2 / sqrt(rest[0].n_photos)
        assert [check_in.leaf_err for check_in in rest] == pytest.approx([stated] * len(rest))
        assert not any(check_in.flags for check_in in rest)


def test_photos_that_disagree_on_most_days_widen_the_error_of_all_days():
    wild = [a_score("bin-a", day, c, 1.2) for day in (0, 7) for c in (53.5, 29.0)]
    *_, calm = gather_check_ins([*wild, *(a_score("bin-a", 14, c, 1.2) for c in (50.0, 51.0))])["bin-a"]
    assert calm.leaf_err > 5
    assert calm.flags == Flag(0)


def test_how_photos_differ_is_told_by_a_day_that_other_days_bear_out():
    calm = [(50.0, 55.0)] * 4
    for odd, told in ((1, calm), (2, [*calm, (40.0, 60.0), (40.0, 60.0)])):
        days = [*calm, *[(40.0, 60.0)] * odd]
        scores = [a_score("bin-a", 7 * day, c, 2.0) for day, pair in enumerate(days) for c in pair]
        excess = np.mean([(high - low) ** 2 / 2 for low, high in told]) - 2.0**2
        first = gather_check_ins(scores)["bin-a"][0]
        assert first.leaf_err == pytest.approx(sqrt((2.0**2 + excess) / 2))


@pytest.mark.parametrize("err", [2.0, 4.0, 8.0])
def test_intervals_hold_the_truth_where_photos_of_all_days_err_more_than_they_say(err):
    """Days whose photos disagree by chance alone count in the bin's excess, or its other days would look too sure."""
    seen = np.random.default_rng(1).normal(50, err, (300, 12, 2))
    scores = [
        a_score(f"bin-{row}", 7 * day, float(c), 2.0)
        for row, days in enumerate(seen)
        for day, pair in enumerate(days)
        for c in pair
    ]
    found = [check_in for of_bin in gather_check_ins(scores).values() for check_in in of_bin]
    assert 100 * np.mean([abs(c.leaf_percent - 50) <= 1.645 * c.leaf_err for c in found]) > 84


@pytest.mark.parametrize("n", [2, 4, 6, 10])
def test_many_photos_of_a_day_are_not_called_apart_by_chance(n):
    seen = np.random.default_rng(n).normal(50, 4.0, (3000, n))
    scores = [a_score(f"bin-{row}", 0, float(c), 4.0) for row, day in enumerate(seen) for c in day]
    found = gather_check_ins(scores).values()
    assert np.mean([Flag.PHOTOS_DISAGREE in check_in.flags for (check_in,) in found]) < 0.005


def test_photos_that_say_they_err_much_may_differ():
    for err, flags in ((3.0, Flag.PHOTOS_DISAGREE), (4.0, Flag(0))):
        (check_in,) = gather_check_ins([a_score("bin-a", 0, c, err) for c in (40.0, 54.0)])["bin-a"]
        assert check_in.flags == flags


def test_a_copy_counts_once_a_day_and_a_bin():
    photos = [("1 (1)", 0, "x", "bin-a"), ("1", 0, "x", "bin-a"), ("2", 0, "y", "bin-a"), ("3", 14, "x", "bin-a"),
              ("4", 0, "x", "bin-b"), ("5", 0, "", "bin-a"), ("6", 0, "", "bin-a")]  # fmt: skip
    marked = mark_copies(
        [
            replace(a_score(of, day, 50.0, 2.0), photo=f"{name}.jpg", digest=digest)
            for name, day, digest, of in photos
        ]
    )
    assert [score.photo for score in marked if score.flags] == ["1 (1).jpg"]
    assert marked[0].flags == Flag.COPY
    assert [check_in.n_photos for check_in in gather_check_ins(marked)["bin-a"]] == [4, 1]


def test_a_copy_under_another_date_or_in_another_bin_counts_and_is_found():
    photos = [("1", 0, "x", "bin-a"), ("1 (1)", 0, "x", "bin-a"), ("2", 14, "x", "bin-a"), ("3", 0, "x", "bin-b"),
              ("4", 0, "y", "bin-a"), ("5", 0, "", "bin-a"), ("6", 7, "", "bin-a")]  # fmt: skip
    marked = mark_copies(
        [replace(a_score(of, day, 50.0, 2.0), photo=name, digest=digest) for name, day, digest, of in photos]
    )
    assert copied_elsewhere(marked) == (("1", "2", "3"),)
    assert copied_elsewhere([replace(score, date=None) for score in marked]) == ()


@pytest.mark.parametrize("flag", list(NOT_IN_CURVE))
def test_what_is_kept_out_of_the_curve_is_in_no_check_in(flag):
    good, odd = a_score("bin-a", 14, 50.0, 3.0), replace(a_score("bin-a", 0, 90.0, 3.0), flags=flag)
    (check_in,) = gather_check_ins([odd, good])["bin-a"]
    assert (check_in.date, check_in.day) == (good.date, 0)
    assert gather_check_ins(iter([odd])) == {"bin-a": ()}


@pytest.mark.parametrize(
    ("stated", "taken"), [(0.0, LEAST_ERR), (None, UNKNOWN_ERR), (nan, UNKNOWN_ERR), (7.0, 7.0)]
)
def test_an_error_of_zero_or_none_is_not_believed(stated, taken):
    (check_in,) = gather_check_ins([a_score("bin-a", 0, 50.0, stated)])["bin-a"]
    assert check_in.leaf_err == taken


def test_dates_out_of_order_are_sorted():
    scores = scores_of([28, 0, 14], [30.0, 80.0, 50.0])
    assert [c.leaf_percent for c in gather_check_ins(scores)["bin-a"]] == [80.0, 50.0, 30.0]


def test_what_has_no_date_or_figure_is_left_out():
    good = a_score("bin-a", 0, 50.0, 3.0)
    bad = [replace(good, date=None), replace(good, leaf_percent=None), replace(good, leaf_percent=nan)]
    assert [c.n_photos for c in gather_check_ins([*bad, good])["bin-a"]] == [1]
    assert gather_check_ins(bad) == {"bin-a": ()}


def test_days_count_from_the_start_in_the_plan_unless_it_came_later():
    scores = scores_of([0, 14], [80.0, 50.0])
    for shift, days in ((-5, [5, 19]), (3, [0, 14])):
        found = gather_check_ins(scores, starts={"bin-a": FIRST + timedelta(days=shift)})
        assert [c.day for c in found["bin-a"]] == days


def test_shares_are_of_the_first_check_in_that_shows_leaf_beyond_doubt():
    """Three errors of 3 points; a photo taken before the leaf went in is no scale."""
    for cover, shares in (
        (0.0, [None, 100.0, 50.0]),
        (8.9, [None, 100.0, 50.0]),
        (10.0, [100.0, 400.0, 200.0]),
    ):
        found = gather_check_ins(scores_of([0, 7, 14], [cover, 40.0, 20.0]))["bin-a"]
        assert [check_in.remaining_percent for check_in in found] == shares
        assert [check_in.remaining_err is None for check_in in found] == [share is None for share in shares]
    never = gather_check_ins(scores_of([0, 7], [2.0, 3.0]))["bin-a"]
    assert [check_in.remaining_percent for check_in in never] == [None, None]


def test_a_full_first_check_in_gives_no_scale_of_layers():
    full = gather_check_ins(scores_of([0, 7], [100.0, 90.0]))["bin-a"][1]
    assert (full.remaining_percent, full.layers_remaining_percent) == (90.0, None)


def test_flags_are_gathered():
    photo = a_score("bin-a", 0, 50.0, 3.0)
    (check_in,) = gather_check_ins([replace(photo, flags=Flag.DARK), replace(photo, flags=Flag.TILTED)])[
        "bin-a"
    ]
    assert check_in.flags == Flag.DARK | Flag.TILTED

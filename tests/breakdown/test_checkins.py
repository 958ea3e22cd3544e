"""Photos become check-ins: averages, errors, hard cases."""

from dataclasses import replace
from datetime import timedelta
from math import nan, sqrt

import pytest

from leafwane.breakdown.checkins import LEAST_ERR, UNKNOWN_ERR, gather_check_ins
from leafwane.flags import Flag
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


def test_a_bare_or_full_first_check_in_gives_no_scale():
    bare = gather_check_ins(scores_of([0, 7], [0.0, 10.0]))["bin-a"][1]
    assert bare.remaining_percent is None
    assert bare.remaining_err is None
    full = gather_check_ins(scores_of([0, 7], [100.0, 90.0]))["bin-a"][1]
    assert (full.remaining_percent, full.layers_remaining_percent) == (90.0, None)


def test_flags_are_gathered():
    photo = a_score("bin-a", 0, 50.0, 3.0)
    (check_in,) = gather_check_ins([replace(photo, flags=Flag.DARK), replace(photo, flags=Flag.TILTED)])[
        "bin-a"
    ]
    assert check_in.flags == Flag.DARK | Flag.TILTED

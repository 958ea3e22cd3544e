"""Bins from scores to bins.json, and how fast a large trial is."""

import json
import time
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fixtures.studies.intervals import holds
from leafwane.breakdown.compare import compare_leaves
from leafwane.breakdown.course import Forecast, follow_trial
from leafwane.breakdown.layers import MOST_LAYERS
from leafwane.breakdown.status import Status
from leafwane.flags import Flag
from leafwane.trialfile import BinPlan, TrialPlan
from tests.breakdown.invented import FIRST, a_plan, covers_of, follow, scores_of

DAYS = np.arange(7) * 14


def test_a_bin_of_bins_json():
    (course,) = follow_trial(scores_of(DAYS, covers_of(0.03, DAYS)), a_plan())
    plain = course.to_dict()
    json.dumps(plain, allow_nan=False)
    assert {
        "bin",
        "leaf",
        "status",
        "reasons",
        "remedies",
        "half_life_days",
        "finish",
        "check_ins",
        "method",
    } <= set(plain)
    assert plain["k_low"] < plain["k_per_day"] < plain["k_high"]
    assert plain["k_per_day"] == pytest.approx(0.03, rel=1e-3)
    assert plain["half_life_days"] == pytest.approx(np.log(2) / 0.03, rel=1e-3)
    assert plain["finish"]["earliest"] < plain["finish"]["date"] < plain["finish"]["latest"]
    assert plain["check_ins"][0]["date"] == FIRST.isoformat()
    assert "invented" in plain["method"]


def test_forecast_is_the_day_on_which_cover_falls_below_the_line():
    covers = covers_of(0.03, DAYS)
    day = np.log(2.5 / -np.log(0.95)) / 0.03
    plan = a_plan()
    (course,) = follow_trial(scores_of(DAYS, covers), plan)
    assert course.finish.date == FIRST + timedelta(days=int(np.ceil(day)))


def test_a_forecast_is_the_same_whenever_it_is_asked_for():
    """It follows from the check-ins alone: a report made again next year gives the same dates."""
    (course,) = follow_trial(scores_of(DAYS, covers_of(0.03, DAYS)), a_plan())
    newest = course.check_ins[-1].date
    assert newest <= course.finish.earliest <= course.finish.date <= course.finish.latest


def test_finished_bins_say_since_when():
    course = follow(DAYS, [80, 40, 12, 3, 1, 1, 0], err=2.0)
    assert course.finish.date == course.verdict.since == FIRST + timedelta(days=56)


def test_grams_count_where_the_whole_surface_is_seen():
    days = DAYS[:5]
    covers = [100.0, 100.0, 99.5, 97.0, 93.0]
    plan = TrialPlan(name="t", bins={"bin-a": BinPlan(name="bin-a", grams=240.0)})
    whole = [replace(score, surface_cm2=2000.0) for score in scores_of(days, covers)]
    part = [replace(score, flags=Flag.WHOLE_PHOTO) for score in whole]
    (known,), (unknown,) = (follow_trial(scores, plan) for scores in (whole, part))
    assert known.curve.series.layers_at_start == pytest.approx(6.0)
    assert unknown.curve.series.layers_at_start is None


@pytest.mark.parametrize("grams", [20.0, 3000.0])
def test_grams_that_the_photos_do_not_bear_out_do_not_count(grams):
    """Two layers and a half on 2000 cm2 are 100 g; a bin may be deeper than a photo sees, or the grams may be wrong."""
    scores = [replace(score, surface_cm2=2000.0) for score in scores_of(DAYS, covers_of(0.02, DAYS))]
    said, plain = (
        follow_trial(scores, TrialPlan(name="t", bins={"bin-a": BinPlan(name="bin-a", grams=given)}))[0]
        for given in (grams, None)
    )
    assert (said.curve.k_low, said.curve.k_high) == (plain.curve.k_low, plain.curve.k_high)
    assert said.finish == plain.finish
    assert said.verdict.reasons[:-1] == plain.verdict.reasons
    layers = min(grams / 40, MOST_LAYERS)
    assert said.verdict.reasons[-1].startswith(
        f"By its grams there were {layers:.2g} layers of leaf at the start, by"
    )


def test_grams_that_the_photos_bear_out_go_unsaid():
    scores = [replace(score, surface_cm2=2000.0) for score in scores_of(DAYS, covers_of(0.02, DAYS))]
    (course,) = follow_trial(scores, TrialPlan(name="t", bins={"bin-a": BinPlan(name="bin-a", grams=150.0)}))
    assert course.curve.series.layers_at_start == pytest.approx(3.75)
    assert not any("grams" in reason for reason in course.verdict.reasons)


def test_grams_are_those_of_the_leaf_that_was_bedded():
    """Photos from before the day of bedding show other leaf."""
    days, covers = [0, 14, 28, 42, 56, 70], [60.0, 55.0, 50.0, 98.0, 97.0, 95.0]
    scores = [replace(score, surface_cm2=2000.0) for score in scores_of(days, covers)]
    bedded = BinPlan(name="bin-a", grams=160.0, start=FIRST + timedelta(days=41))
    (course,) = follow_trial(scores, TrialPlan(name="t", bins={"bin-a": bedded}))
    assert [batch.layers_by_grams for batch in course.batches] == [None, pytest.approx(4.0)]


def test_a_curve_below_the_line_before_the_photos_are_promises_no_day_gone_by():
    """Cover flattens just above the line: by the curve it was reached before the newest photo, which saw otherwise."""
    covers = [87.0, 60.0, 30.0, 9.0, 7.0, 6.5, 6.0]
    (course,) = follow_trial(scores_of(DAYS[:7], covers), a_plan())
    newest = course.check_ins[-1].date
    days = (course.finish.date, course.finish.earliest, course.finish.latest)
    assert all(day is None or day > newest for day in days)
    assert course.finish.date is not None


def test_an_unclear_bin_is_promised_no_day():
    days = [14 * n for n in range(10)]
    (course,) = follow_trial(scores_of(days, [90.0 - 2 * n for n in range(10)]), a_plan("oak"))
    assert course.verdict.status is Status.UNCLEAR
    assert course.finish == Forecast()


def test_a_bin_that_stands_still_has_no_half_life():
    (course,) = follow_trial(scores_of(DAYS, [60.0] * 7), a_plan())
    assert course.to_dict()["half_life_days"] is None


def test_a_new_start_in_the_plan_begins_a_batch():
    plan = TrialPlan(name="t", bins={"bin-a": BinPlan(name="bin-a", start=FIRST + timedelta(days=40))})
    (course,) = follow_trial(scores_of(DAYS, covers_of(0.01, DAYS)), plan)
    assert course.batch_starts == (FIRST, FIRST + timedelta(days=42))


def test_bins_do_not_touch_each_other():
    one, other = (
        scores_of(DAYS, covers_of(0.03, DAYS)),
        scores_of(DAYS[:4], covers_of(0.01, DAYS[:4]), name="bin-b"),
    )
    together = follow_trial([*one, *other], a_plan())
    (alone,) = follow_trial(one, a_plan())
    assert [course.bin for course in together] == ["bin-a", "bin-b"]
    assert together[0].verdict == alone.verdict
    assert together[0].curve.k_high == pytest.approx(alone.curve.k_high, rel=1e-6)


@pytest.mark.parametrize("n", [5, 7, 10])
def test_the_interval_of_the_rate_holds_the_truth(n):
    held, made, _ = holds(n, 0.03, 3.0, n_runs=400, seed=5)
    assert made > 98
    assert 85 <= held <= 95.5


def test_ten_thousand_check_ins_in_under_five_seconds():
    rng = np.random.default_rng(4)
    days = np.arange(10) * 10
    scores, bins = [], {}
    for row in range(1000):
        name = f"bin-{row}"
        covers = covers_of(rng.uniform(0.003, 0.06), days, layers=rng.uniform(1, 3)) + rng.normal(0, 3, 10)
        scores += scores_of(days, np.clip(covers, 0, 100), name=name)
        bins[name] = BinPlan(name=name, leaf=("hazel", "plane", "oak")[row % 3])
    began = time.process_time()
    courses = follow_trial(scores, TrialPlan(name="t", bins=bins))
    comparison = compare_leaves(courses)
    assert time.process_time() - began < 5
    assert len(courses) == 1000
    assert len(comparison.pairs) == 3


def test_bins_json_holds_the_parameters_of_the_curve():
    plain = follow(DAYS, covers_of(0.03, DAYS)).to_dict()
    assert plain["form"] == "exponential"
    assert plain["parameters"] == pytest.approx({"layers_at_start": 2.5, "k_per_day": 0.03}, rel=1e-3)


@pytest.mark.parametrize(("after", "known"), [(0, True), (3, True), (4, False)])
def test_grams_anchor_a_batch_first_seen_within_three_days_of_bedding(after, known):
    scores = [replace(score, surface_cm2=2000.0) for score in scores_of(DAYS, covers_of(0.02, DAYS))]
    bedded = BinPlan(name="bin-a", grams=100.0, start=FIRST - timedelta(days=after))
    (course,) = follow_trial(scores, TrialPlan(name="t", bins={"bin-a": bedded}))
    assert (course.batches[0].layers_by_grams is not None) == known

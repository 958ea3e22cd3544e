"""Invented scores for the tests of this room."""

from datetime import date, timedelta

import numpy as np

from fixtures.studies.trials import FIRST, a_score
from leafwane.breakdown.checkins import CheckIn
from leafwane.breakdown.course import follow_trial
from leafwane.trialfile import BinPlan, TrialPlan

TODAY = date(2032, 6, 1)


def a_check_in(day, percent, err=3.0, name="bin-a"):
    when = FIRST + timedelta(days=day)
    return CheckIn(bin=name, date=when, day=day, n_photos=1, leaf_percent=percent, leaf_err=err)


def covers_of(k, days, layers=2.5):
    return 100 * -np.expm1(-layers * np.exp(-k * np.asarray(days, dtype=float)))


def scores_of(days, covers, err=3.0, name="bin-a"):
    return [a_score(name, day, float(cover), err) for day, cover in zip(days, covers, strict=True)]


def a_plan(leaf=None, *, finish_percent=5.0, stall_half_life_days=None):
    return TrialPlan(
        name="Quince Lane garden",
        bins={"bin-a": BinPlan(name="bin-a", leaf=leaf)},
        finish_percent=finish_percent,
        stall_half_life_days=stall_half_life_days,
    )


def follow(days, covers, err=3.0, plan=None):
    (course,) = follow_trial(scores_of(days, covers, err), plan or a_plan())
    return course


def status_of(days, covers, err=3.0, plan=None):
    return str(follow(days, covers, err, plan).verdict.status)

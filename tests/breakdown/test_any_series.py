"""No series of covers stops the tool: it is followed or refused, and all that is said is finite."""

import json
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leafwane.breakdown.choice import fit_curve
from leafwane.breakdown.course import follow_trial
from tests.breakdown.invented import a_plan, scores_of

COVERS = st.one_of(st.sampled_from([0.0, 100.0, 50.0, 99.9, 0.01]), st.floats(0, 100))
CHECK_INS = st.lists(st.tuples(st.integers(0, 200), COVERS, st.floats(0, 20)), min_size=1, max_size=9)


@settings(max_examples=60, deadline=None)
@given(CHECK_INS)
def test_any_short_series_is_followed_or_refused(check_ins):
    days, covers, errs = (np.array(column) for column in zip(*check_ins, strict=True))
    scores = [
        score
        for day, cover, err in zip(days, covers, errs, strict=True)
        for score in scores_of([day], [cover], err=float(err))
    ]
    (course,) = follow_trial(scores, a_plan())
    json.dumps(course.to_dict(), allow_nan=False)
    assert course.verdict.reasons
    assert not re.search(r"\d{4}-\d\d", " ".join(course.verdict.reasons)), "people read dates in words"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 200), COVERS, st.floats(0, 20)), max_size=9))
def test_any_short_series_is_fitted_or_refused(check_ins):
    """Days out of order or twice, and errors of zero among them."""
    curve = fit_curve(*np.array(check_ins, dtype=float).reshape(-1, 3).T)
    if not curve.success:
        assert curve.message
        return
    assert 0 <= curve.k_low <= curve.k_per_day <= curve.k_high < np.inf
    low, high = curve.band([0, 20, 300])
    assert np.all((low >= 0) & (low <= high) & (high <= 100))
    days = curve.days_to_cover(5)
    assert days.low is None or days.high is None or 0 <= days.low <= days.best <= days.high


@pytest.mark.parametrize(
    "covers", [[80, 40, 0], [100, 100, 100], [0, 0, 0], [50, 50, 50, 50], [97, 3], [3, 97], [0, 100, 0, 100]]
)
def test_plain_extremes(covers):
    (course,) = follow_trial(scores_of(14 * np.arange(len(covers)), covers, err=2.0), a_plan())
    json.dumps(course.to_dict(), allow_nan=False)
    assert course.verdict.reasons


def test_full_cover_throughout_is_no_rate():
    """Covers of 100% say next to nothing of layers, so no half-life may be told from them."""
    (course,) = follow_trial(scores_of(14 * np.arange(4), [100.0] * 4, err=2.0), a_plan())
    assert not course.curve.success
    assert "cannot tell how many layers" in course.curve.message
    assert course.half_life_days is None
    assert str(course.verdict.status) not in {"finished", "on-course"}

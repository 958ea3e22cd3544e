"""What a curve shows is what the check-ins and the fit say, on the scale of percent left."""

import numpy as np
import pytest

from leafwane.report.traces import trace_bin
from tests.breakdown.invented import FIRST, covers_of, follow
from tests.report.invented import START, a_course


def test_points_are_the_check_ins():
    trace = trace_bin(a_course(covers=(80.0, 50.0, 30.0)))
    assert trace.dates[0] == START
    assert trace.left == pytest.approx([100, 62.5, 37.5])


def test_bars_are_the_check_ins_errors_widened_to_nine_in_ten():
    course = a_course(covers=(80.0, 50.0, 30.0))
    errs = np.array([check_in.remaining_err for check_in in course.check_ins])
    assert trace_bin(course).left_err == pytest.approx(1.645 * errs)


def test_fit_and_ready_line_are_on_the_scale_of_the_points():
    course = a_course(covers=(80.0, 50.0, 30.0))
    trace = trace_bin(course, finish_percent=4.0)
    assert trace.ready_percent == pytest.approx(5.0)
    days = trace.fit_at - START.toordinal()
    low, high = course.curve.band(days)
    assert trace.fit == pytest.approx(course.curve.predict(days) / 0.8)
    of_whole = (
        1.645 * course.check_ins[0].leaf_err / 80.0 * trace.fit
    )  # all is a share of what that check-in saw
    assert trace.low == pytest.approx(trace.fit - np.hypot(trace.fit - low / 0.8, of_whole))
    assert trace.high == pytest.approx(trace.fit + np.hypot(high / 0.8 - trace.fit, of_whole))
    assert np.all(trace.low < trace.high)


def test_the_band_can_be_left_out():
    trace = trace_bin(a_course(), banded=False)
    assert trace.low.size == trace.high.size == 0
    assert trace.fit.size == trace.fit_at.size > 0


def test_fit_goes_past_the_last_check_in_but_not_far():
    trace = trace_bin(a_course(covers=(80.0, 50.0, 30.0)))
    last = START.toordinal() + 28
    assert last < trace.fit_at[-1] <= last + 0.4 * 28


def test_fit_of_a_topped_up_bin_begins_at_the_fresh_leaf():
    course = a_course(covers=(80.0, 20.0, 60.0, 40.0, 25.0), batches=(2,), status="topped-up")
    trace = trace_bin(course)
    assert trace.fit_at[0] == START.toordinal() + 28
    assert trace.fit[0] == pytest.approx(float(course.curve.predict(0)[0]) / 0.8)
    assert [day.toordinal() for day in trace.batch_starts] == [START.toordinal() + 28]
    assert len(trace.dates) == 5


@pytest.mark.parametrize("covers", [(), (80.0,), (80.0, 60.0), (0.0, 0.0, 0.0)])
def test_without_enough_there_is_no_fit(covers):
    trace = trace_bin(a_course(covers=covers))
    assert trace.fit.size == trace.low.size == trace.high.size == trace.fit_at.size == 0


def test_a_bin_that_was_bare_at_first_is_drawn_from_its_first_leaf_on():
    course = a_course(covers=(0.0, 40.0, 20.0))
    trace = trace_bin(course)
    assert trace.dates == tuple(check_in.date for check_in in course.check_ins[1:])
    assert trace.left.tolist() == [100.0, 50.0]


def test_the_band_holds_the_truth_nine_times_in_ten():
    """The share left is one of what the first check-in showed, whose error is in all of it."""
    rng, days, held, n = np.random.default_rng(11), 14 * np.arange(6), [], 60
    truth = covers_of(0.03, days)
    for _ in range(n):
        trace = trace_bin(follow(days, truth + rng.normal(0, 2.0, len(days)), err=2.0))
        at = trace.fit_at - FIRST.toordinal()
        left = 100 * covers_of(0.03, at) / truth[0]
        held.append(np.mean((trace.low <= left) & (left <= trace.high)))
    assert 0.85 <= np.mean(held) <= 0.98

"""What a curve shows is what the check-ins and the fit say, on the scale of percent left."""

import numpy as np
import pytest

from leafwane.report.traces import trace_bin
from tests.report.invented import START, a_course


def test_points_are_the_check_ins():
    trace = trace_bin(a_course(covers=(80.0, 50.0, 30.0)))
    assert trace.dates[0] == START
    assert trace.left == pytest.approx([100, 62.5, 37.5])
    assert trace.left_err == pytest.approx([1.645 * 2.5] * 3)


def test_fit_and_ready_line_are_on_the_scale_of_the_points():
    trace = trace_bin(a_course(covers=(80.0, 50.0, 30.0)), finish_percent=4.0)
    assert trace.ready_percent == pytest.approx(5.0)
    at_20_days = np.interp(START.toordinal() + 20, trace.fit_at, trace.fit)
    assert at_20_days == pytest.approx(50, abs=0.1)
    assert np.all(trace.low < trace.fit)
    assert np.all(trace.fit < trace.high)


def test_fit_goes_past_the_last_check_in_but_not_far():
    trace = trace_bin(a_course(covers=(80.0, 50.0, 30.0)))
    last = START.toordinal() + 28
    assert last < trace.fit_at[-1] <= last + 0.4 * 28


def test_fit_of_a_topped_up_bin_begins_at_the_fresh_leaf():
    trace = trace_bin(a_course(covers=(80.0, 20.0, 60.0, 40.0), batches=(2,), status="topped-up"))
    assert trace.fit_at[0] == START.toordinal() + 28
    assert trace.fit[0] == pytest.approx(75)
    assert [day.toordinal() for day in trace.batch_starts] == [START.toordinal() + 28]
    assert len(trace.dates) == 4


@pytest.mark.parametrize(
    "course",
    [
        a_course(covers=()),
        a_course(covers=(80.0,)),
        a_course(fitted=False),
        a_course(covers=(0.5,), fitted=False),
    ],
)
def test_without_enough_there_is_no_fit(course):
    trace = trace_bin(course)
    assert trace.fit.size == trace.low.size == trace.high.size == trace.fit_at.size == 0
    assert len(trace.dates) == len(course.check_ins)

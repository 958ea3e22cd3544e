"""Ends of intervals: where the misfit has risen as far as it may."""

import numpy as np
import pytest

from leafwane.breakdown.choice import fit_curve
from leafwane.breakdown.limits import limit


@pytest.mark.parametrize("first", [-3.0, 0.0, 0.2, 1.0, 4.0, 10.0, 40.0])
@pytest.mark.parametrize("power", [1.5, 2.0, 2.5])
def test_the_end_is_found_from_any_guess(first, power):
    """The end is at 1: also where the guess is the end itself, or no guess at all."""
    end = limit(
        lambda at: np.abs(at) ** power, best=np.zeros(1), first=np.array([first]), cap=np.array([10.0])
    )
    assert end == pytest.approx(1, abs=0.01)


def test_a_band_bends_nowhere_sharply():
    """Over days that differ by little, the band of three check-ins goes on as smoothly as its curve."""
    curve = fit_curve([0.0, 14.0, 28.0], [80.0, 50.0, 30.0], [3.0] * 3)
    for shift in np.linspace(0, 1, 25):
        days = np.linspace(0, 30, 41) + shift
        for edge in curve.band(days):
            assert np.abs(np.diff(edge, 3)).max() < 0.1

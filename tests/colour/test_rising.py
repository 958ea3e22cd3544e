"""Curves that only rise, against SciPy's."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from leafwane.colour.rising import RisingCurve, pooled


@pytest.mark.parametrize("n", [1, 2, 5, 40])
def test_pooled_values_are_those_of_isotonic_regression(n):
    values = np.cumsum(np.random.default_rng(n).normal(0.1, 1, n))
    np.testing.assert_allclose(pooled(values), isotonic_regression(values).x, atol=1e-12)


def test_values_that_rise_stay():
    np.testing.assert_array_equal(pooled(np.array([0.1, 0.1, 0.5])), [0.1, 0.1, 0.5])


@pytest.mark.parametrize("n", [2, 3, 8, 30])
def test_curve_is_that_of_pchip(n):
    rng = np.random.default_rng(n)
    for _ in range(20):
        x, y = (np.cumsum(rng.exponential(1, n) ** 2 + 1e-3) for _ in range(2))
        at = np.linspace(x[0], x[-1], 301).reshape(7, 43)
        np.testing.assert_allclose(
            RisingCurve(x=x, y=y)(at), PchipInterpolator(x, y)(at), rtol=1e-9, atol=1e-9
        )

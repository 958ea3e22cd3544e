"""Rates and half-lives against the published decay table.

Source: Olson 1963, Ecology 44:322, table of k = 4, 1, 1/4 and 1/16 a year.
"""

import numpy as np
import pytest

from leafwane.breakdown.choice import fit_curve
from leafwane.breakdown.forms import FORMS, days_to_share
from leafwane.breakdown.layers import cover_from_layers

TABLE = [(4.0, 0.17329), (1.0, 0.69315), (0.25, 2.77259), (0.0625, 11.09035)]


@pytest.mark.parametrize(("k", "half_life"), TABLE)
def test_half_life_of_a_rate(k, half_life):
    years = days_to_share("exponential", np.array([[k]]), np.array([0.5]))[0]
    assert years == pytest.approx(half_life, abs=5e-6)
    log_left, _ = FORMS["exponential"].log_left(np.array([[k]]), np.array([[half_life]]))
    assert np.exp(log_left[0, 0]) == pytest.approx(0.5, abs=1e-5)


@pytest.mark.parametrize(("k", "half_life"), TABLE)
def test_a_fit_finds_rate_and_half_life_again(k, half_life):
    days = np.linspace(0.0, 2 * half_life * 365.25, 9)
    covers = 100 * cover_from_layers(2.0 * np.exp(-k * days / 365.25))
    curve = fit_curve(days, covers, np.full(9, 1.0))
    assert curve.success
    assert curve.k_per_day * 365.25 == pytest.approx(k, rel=1e-4)
    assert curve.half_life_days / 365.25 == pytest.approx(half_life, rel=1e-4)

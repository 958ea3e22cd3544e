"""Cover and layers against published relations.

Sources: random overlap, cover = 1 - exp(-layers) (gap law of Beer and Lambert); Gregory 1982, Trans. ASAE 25:1333, for
the form cover = 1 - exp(-A M), with A of forest litter 5.0 and of corn 2.3 m2/kg from USDA WEPP 98.4 plant records.
"""

import numpy as np
import pytest

from leafwane.breakdown.choice import fit_curve
from leafwane.breakdown.layers import (
    LEAF_AREA_M2_PER_KG,
    cover_from_layers,
    layers_from_cover,
    layers_from_grams,
)


def test_random_overlap():
    cover = cover_from_layers([0.1, 0.25, 0.5, 1, 2, 3])
    np.testing.assert_allclose(cover, [0.0952, 0.2212, 0.3935, 0.6321, 0.8647, 0.9502], atol=5e-5)
    np.testing.assert_allclose(layers_from_cover(cover), [0.1, 0.25, 0.5, 1, 2, 3])


@pytest.mark.parametrize(
    ("area", "covers"),
    [(2.3, [0.2055, 0.3687, 0.6834, 0.8997]), (5.0, [0.3935, 0.6321, 0.9179, 0.9933])],
)
def test_gregory(area, covers):
    masses = [0.1, 0.2, 0.5, 1.0]
    layers = [layers_from_grams(1000 * m, 10_000) * area / LEAF_AREA_M2_PER_KG for m in masses]
    np.testing.assert_allclose(cover_from_layers(layers), covers, atol=5e-5)


def test_the_coefficient_in_use_is_that_of_forest_litter():
    assert cover_from_layers(layers_from_grams(200, 10_000)) == pytest.approx(0.6321, abs=5e-5)


def test_layers_of_two_materials_add():
    together = cover_from_layers(0.4 + 0.9)
    assert together == pytest.approx(1 - (1 - cover_from_layers(0.4)) * (1 - cover_from_layers(0.9)))


@pytest.mark.parametrize(("start", "half_lives"), [(95.0, 2.2), (20.0, 1.08)])
def test_cover_is_not_mass(start, half_lives):
    """A surface at 95% takes 2.2 half-lives of the leaf to fall to half its cover, one at 20% 1.08 (algebra)."""
    days = np.arange(8) * 14.0
    layers = layers_from_cover(start / 100) * np.exp(-0.02 * days)
    curve = fit_curve(days, 100 * cover_from_layers(layers), np.full(8, 2.0))
    assert curve.cover_half_life_days / curve.half_life_days == pytest.approx(half_lives, abs=0.02)

"""Cover and amount: how much leaf a covered surface holds, on the layer scale.

Leaves that fall at random overlap, so that cover = 1 - exp(-layers), where layers is leaf area over surface area
(the gap law of Beer and Lambert). Loss of leaf at a steady rate is a straight line in ln(layers), not in cover.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAF_AREA_M2_PER_KG = 5.0
"""Coefficient A of forest litter in cover = 1 - exp(-A M): Gregory 1982, Trans. ASAE 25:1333 (form); value from the
plant records of USDA WEPP 98.4."""

LEAF_AREA_LN_ERR = 0.5
"""Standard error of ln(A): published values for plant residues run from 2.3 to 5.4 m2/kg."""

FULL_PERCENT = 97.0
"""Cover above which a photo says little about how much leaf lies there."""

MOST_LAYERS = 20.0
"""More layers than a bin's bedding has; with them no gap is seen at all."""

LEAST_LAYERS = 0.002
"""Fewer layers than a photo can show: cover of 0.2%."""


def layers_from_cover(cover: ArrayLike) -> NDArray[np.float64]:
    """Return layers of leaf for cover as a fraction; full cover gives infinity, cover below 0 gives 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.maximum(0.0, -np.log1p(-np.clip(np.asarray(cover, dtype=float), 0.0, 1.0))))


def cover_from_layers(layers: ArrayLike) -> NDArray[np.float64]:
    """Return cover as a fraction, 0..1, for layers of leaf; layers of several materials add."""
    return np.asarray(-np.expm1(-np.asarray(layers, dtype=float)))


def cover_left(cover: float, lost: float) -> float:
    """Return the cover, as a fraction, that is left once layers have fallen by `lost`, a natural logarithm."""
    return float(cover_from_layers(np.exp(-lost) * layers_from_cover(cover)))


def layers_from_grams(grams: float, surface_cm2: float) -> float:
    """Return layers of leaf for dry grams laid on a surface (Gregory 1982)."""
    return LEAF_AREA_M2_PER_KG * (grams / 1000.0) / (surface_cm2 / 10_000.0)

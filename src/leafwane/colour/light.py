"""Uneven light across a card, told by grey patches that stand on it twice."""

from typing import Final

import numpy as np

from leafwane.colour.greys import grey_twins
from leafwane.colour.spaces import Floats, linear_to_srgb, srgb_to_linear

_ENOUGH_TWINS: Final = 4
_ROUNDS: Final = 5
_USUAL_ERROR: Final = 0.01  # of the logarithm of a twin's light


def light_slope(true_linear: Floats, reference: Floats, centres_mm: Floats) -> Floats:
    """Return how the logarithm of light rises across the card, (2,), a millimetre to the right and down.

    Each pair of grey twins tells the ratio of light between its two places; a plane is fitted to the pairs, and
    pairs far from it (dirt, shine) lose weight. Zero where fewer than four pairs are there.

    Args:
        true_linear: (n, 3) corrected colours of the patches, linear sRGB.
        reference: (n, 3) encoded sRGB of the same patches.
        centres_mm: (n, 2) their places.
    """
    pairs = grey_twins(reference)
    if len(pairs) < _ENOUGH_TWINS:
        return np.zeros(2)
    first, second = np.array(pairs).T
    light = np.log(np.maximum(true_linear.mean(axis=1), 1e-4))
    ratio, way = light[second] - light[first], centres_mm[second] - centres_mm[first]
    weights = np.ones(len(pairs))
    for _ in range(_ROUNDS):
        slope = np.linalg.lstsq(way * weights[:, None], ratio * weights, rcond=None)[0]
        gap = np.abs(ratio - way @ slope)
        weights = 1 / np.sqrt(np.maximum(1, gap / (1.5 * float(np.median(gap)) + _USUAL_ERROR)))
    return np.asarray(slope)


def light_across(slope: Floats, centres_mm: Floats) -> float:
    """Return the brightest place of the card's patches over the darkest, 1 in even light."""
    rise = centres_mm @ slope
    return float(np.exp(np.ptp(rise)))


def lit_reference(reference: Floats, slope: Floats, centres_mm: Floats) -> Floats:
    """Return what the patches would look like, (n, 3) encoded sRGB, in light that rises so; unchanged at their middle."""
    rise = (centres_mm - centres_mm.mean(axis=0)) @ slope
    return linear_to_srgb(srgb_to_linear(reference) * np.exp(rise)[:, None])

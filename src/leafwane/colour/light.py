"""Uneven light, told by grey patches that stand on the card twice, and carried on over the photo around it."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from leafwane.colour.greys import grey_twins
from leafwane.colour.spaces import FloatImage, Floats, linear_to_srgb, srgb_to_linear

_ENOUGH_TWINS: Final = 4
_ROUNDS: Final = 5
_USUAL_ERROR: Final = 0.005  # of the logarithm of light, for a white patch
_LEAST_ERROR: Final = 0.001
_USUAL_SLOPE: Final = 0.0007  # a millimetre, by the study of light
_MOST: Final = 0.7  # of the logarithm: nowhere is light taken to be over twice or under half that on the card


@dataclass(frozen=True, slots=True, kw_only=True)
class LightPlane:
    """Light whose logarithm rises evenly across the card's plane.

    Attributes:
        slope: (2,) its rise a millimetre to the card's right and down.
        middle_mm: (2,) the place on the card where it counts as 1.
    """

    slope: Floats
    middle_mm: Floats

    def at(self, places_mm: Floats) -> Floats:
        """Return the light, (n,), at places on the card's plane, (n, 2) mm; 1 at the middle."""
        return np.asarray(np.exp(np.clip((places_mm - self.middle_mm) @ self.slope, -_MOST, _MOST)))

    def over(self, shape: tuple[int, int], to_px: Floats) -> FloatImage:
        """Return the light at each pixel of a photo, `shape` (h, w), where (3, 3) `to_px` takes card mm to its pixels."""
        rows = np.linalg.inv(to_px)
        rows = np.array(
            [self.slope @ rows[:2] - self.slope @ self.middle_mm * rows[2], rows[2]], dtype=np.float32
        )
        y, x = np.ogrid[: np.float32(shape[0]), : np.float32(shape[1])]
        above, below = (row[0] * x + (row[1] * y + row[2]) for row in rows)
        # Past the horizon of a tilted photo `below` changes its sign; no surface lies there.
        depth = np.maximum(below / rows[1, 2], np.float32(1e-3)) * rows[1, 2]
        return np.asarray(np.exp(np.clip(above / depth, -_MOST, _MOST)), dtype=np.float32)


def fit_light(true_linear: Floats, reference: Floats, nominal: Floats, centres_mm: Floats) -> LightPlane:
    """Return the light across the card.

    Each pair of grey twins tells the ratio of light between its two places; a plane is fitted to the pairs. Even light where fewer than four pairs are there.

    Args:
        true_linear: (n, 3) corrected colours of the patches, linear sRGB.
        reference: (n, 3) encoded sRGB of the same patches.
        nominal: (n, 3) the design's colours of them, which tell twins.
        centres_mm: (n, 2) their places.
    """
    middle = centres_mm.mean(axis=0)
    pairs = grey_twins(nominal)
    if len(pairs) < _ENOUGH_TWINS:
        return LightPlane(slope=np.zeros(2), middle_mm=middle)
    first, second = np.array(pairs).T
    light = _log_mean(true_linear) - _log_mean(srgb_to_linear(reference))
    ratio, way = light[second] - light[first], centres_mm[second] - centres_mm[first]
    # A step of noise is a smaller share of a bright patch: the slope of the logarithm of sRGB's curve, roughly.
    known = reference[first].mean(axis=1) + 0.055
    return LightPlane(slope=_robust_slope(way * known[:, None], ratio * known), middle_mm=middle)


def _log_mean(linear: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(linear.mean(axis=1), 1e-4)))


def _robust_slope(way: Floats, ratio: Floats) -> Floats:
    """Return the slope, (2,), of ratio = way @ slope, (m,) and (m, 2), no steeper than the pairs agree on.

    Huber's weights against dirt; then the usual slope of light under lamps and at windows weighs against the slope's
    own error, so that even light stays even.
    """
    weights = np.ones(len(ratio))
    for _ in range(_ROUNDS):
        normal, pull = way.T @ (weights[:, None] * way), way.T @ (weights * ratio)
        gap = ratio - way @ np.linalg.lstsq(normal, pull, rcond=None)[0]
        weights = 1 / np.maximum(1, np.abs(gap) / (1.5 * float(np.median(np.abs(gap))) + _USUAL_ERROR))
    variance = float((weights * gap**2).sum()) / (len(ratio) - 2) + _LEAST_ERROR**2
    return np.asarray(np.linalg.solve(normal + variance / _USUAL_SLOPE**2 * np.eye(2), pull))


def lit_reference(reference: Floats, light: LightPlane, centres_mm: Floats) -> Floats:
    """Return what the patches would look like in that light, (n, 3) encoded sRGB."""
    return linear_to_srgb(srgb_to_linear(reference) * light.at(centres_mm)[:, None])

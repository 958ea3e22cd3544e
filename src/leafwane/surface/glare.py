"""Light that hides what is there: mirrored by the surface, so that it is white, or by the card, so that its black is grey."""

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from leafwane.card.design import KIND, PATCH_NAMES
from leafwane.card.sighting import PatchSamples, Sighting
from leafwane.colour.spaces import linear_to_srgb, srgb_to_linear
from leafwane.flags import Flag

MUCH_WHITE_PERCENT: Final = 3.0
"""Of the surface. 88 photos without glare, white paper lying in some, have at most 2.0%; ten of twelve with a bright spot on
leaf or soil, which read 5 to 15 points too high, have more."""
MUCH_BLACK_PERCENT: Final = 40.0
"""Of the surface. The same photos have at most 27%; with so much light on the card that they read 4 to 18 points too low, they
have 45 and more."""
_WHITE: Final = (
    0.8  # encoded, true colour: the lightest grey but one, where paper and glare are and leaf is not
)
_BLACKER: Final = 0.8  # of the card's black as the photo shows it
_BLACKS: Final = [PATCH_NAMES.index(f"{row} grey 8") for row in ("top", "bottom")]


def surface_glare(
    seen: NDArray[np.uint8], corrected: NDArray[np.float32], surface: NDArray[np.bool_], sighting: Sighting
) -> Flag:
    """Return whether the surface or the card mirrors light, MUCH_SHINE or GLOSSY_CARD.

    Args:
        seen: The photo or a resampling of it, 8-bit sRGB (h, w, 3).
        corrected: The same in true colours, encoded sRGB 0..1.
        surface: Which pixels count, bool (h, w); at least one.
        sighting: The card; the black of a 24-patch chart is not black enough to tell.
    """
    white = np.min(cv2.split(cv2.blur(corrected, (5, 5))), axis=0)[surface] > _WHITE
    flags = Flag.MUCH_SHINE if 100 * white.mean() > MUCH_WHITE_PERCENT else Flag(0)
    if sighting.kind != KIND:
        return flags
    grey = cv2.transform(cv2.blur(seen, (3, 3)).astype(np.float32), np.full((1, 3), 1 / 3))
    blacker = grey[surface] < _BLACKER * 255 * _black(sighting.patches)
    return flags | Flag.GLOSSY_CARD if 100 * blacker.mean() > MUCH_BLACK_PERCENT else flags


def _black(patches: PatchSamples) -> float:
    """Return how light, encoded, the photo shows what the design's black is: a print known to be paler is darkened to that."""
    shown, own, nominal = (
        srgb_to_linear(side[_BLACKS]).mean(axis=1)
        for side in (patches.measured, patches.reference, patches.nominal)
    )
    return float(linear_to_srgb(np.nanmin(shown * np.minimum(1.0, nominal / np.maximum(own, 1e-4)))))

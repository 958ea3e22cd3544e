"""Which pixels of a photo count as surface: inside the rim tags, inside a given outline, or all but the card."""

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from leafwane.card.sighting import Sighting
from leafwane.errors import CardError
from leafwane.flags import Flag

Points = NDArray[np.float64]
Polygon = tuple[tuple[float, float], ...]
"""An outline as fractions (x, y) of a photo's width and height."""
Bound = Literal["rim", "outline", "photo"]
"""What bounds a surface: rim tags, an outline that was given, or nothing, so that it is the whole photo."""

CARD_MARGIN = 1.02  # the card's shadow and cut edge are no surface
RIM_MARGIN = 0.995  # nor are the rim's edge and what lies right under it
MIN_SHARE = 0.15  # of the photo; less is flagged
LEAST_CM2 = 20.0  # a quarter of the card, or about one leaf, which alone would make the cover 0 or 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """The surface in a photo.

    Attributes:
        mask: Whether a pixel counts as surface, bool (h, w).
        card: Whether a pixel belongs to the card, bool (h, w).
        source: Where the outline comes from.
        flags: What is in doubt.
    """

    mask: NDArray[np.bool_]
    card: NDArray[np.bool_]
    source: Bound
    flags: Flag

    def refuse_if_tiny(self, *, px_per_mm: float) -> None:
        """Raise a `CardError` where less than LEAST_CM2 counts, or nothing where the size of a pixel is not known (NaN)."""
        n = np.count_nonzero(self.mask)
        if n and not n < LEAST_CM2 * (10 * px_per_mm) ** 2:
            return
        where, hint = "beside the card", "Show the whole surface"
        if self.source == "outline":
            where, hint = f"within the outline, {where}", "Outline the whole surface in trial.toml"
        raise CardError(
            f"no surface is left {where}, or hardly any (under {LEAST_CM2:g} cm2)",
            flag=Flag.SMALL_SURFACE,
            hint=f"{hint}, and let the card hide little of it",
        )

    def cut(self, rows: slice, cols: slice) -> "Region":
        """Return the region of a part of the picture."""
        return replace(self, mask=self.mask[rows, cols], card=self.card[rows, cols])


def extent(mask: NDArray[np.bool_], margin: int = 0) -> tuple[slice, slice]:
    """Return the rows and columns that hold what a mask (h, w) holds, and `margin` pixels around; it must not be empty."""
    rows, cols = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    top, left = (max(0, int(used[0]) - margin) for used in (rows, cols))
    return slice(top, int(rows[-1]) + 1 + margin), slice(left, int(cols[-1]) + 1 + margin)


def find_region(
    shape: tuple[int, int],
    sighting: Sighting,
    *,
    scale: float,
    polygon: Polygon | None = None,
) -> Region:
    """Return the surface on a picture that is `scale` times the size of the photo the card was found in.

    Args:
        shape: Height and width of the scaled picture.
        sighting: The card and, where seen, the corners of the surface by its rim tags, in photo pixels.
        scale: Size of the scaled picture over that of the photo.
        polygon: Outline from trial.toml, as fractions (x, y) of width and height; used where no rim tags are seen.
    """
    edge = sighting.corners if sighting.frame is None else sighting.frame
    card = _filled(shape, _grown(edge, CARD_MARGIN) * scale)
    mask = _inside(shape, sighting, scale, polygon) & ~card
    source = _bound_of(sighting, outlined=polygon is not None)
    unbounded = source == "photo" and Flag.FEW_RIM_TAGS not in sighting.flags
    flags = Flag.WHOLE_PHOTO if unbounded else Flag(0)
    if mask.mean() < MIN_SHARE:
        flags |= Flag.SMALL_SURFACE
    return Region(mask=mask, card=card, source=source, flags=flags)


def _bound_of(sighting: Sighting, *, outlined: bool) -> Bound:
    """Return what bounds the surface in a photo: rim tags go before an outline."""
    if sighting.rim is not None:
        return "rim"
    return "outline" if outlined else "photo"


def card_doubts(sighting: Sighting, bound: Bound) -> Flag:
    """Return what is in doubt of a card; rim tags that cannot be read matter only where no outline bounds the surface."""
    return sighting.flags & ~Flag.FEW_RIM_TAGS if bound == "outline" else sighting.flags


def _inside(
    shape: tuple[int, int], sighting: Sighting, scale: float, polygon: Polygon | None
) -> NDArray[np.bool_]:
    if sighting.rim is not None:
        return _filled(shape, _grown(sighting.rim, RIM_MARGIN) * scale)
    if polygon is not None:
        return _filled(shape, np.array(polygon) * (shape[1], shape[0]))
    return np.ones(shape, bool)


def _grown(corners: Points, factor: float) -> Points:
    middle: Points = corners.mean(axis=0)
    return middle + factor * (corners - middle)


def _filled(shape: tuple[int, int], corners: Points) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool)

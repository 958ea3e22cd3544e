"""Holding the photo against the print, block by block: which blocks look like the card, and how far off they lie.

This takes a pose made from one or two tags to the whole card, confirms tags that crumbs or blur made unreadable, and
is the last word on a pose: where the blocks lie elsewhere, the pose is wrong.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.design import BORDER_MM, CARD_TAGS, CELL_MM, GRID_MM, Points, card_image
from leafwane.card.geometry import homography, project
from leafwane.card.tags import Grey

_SCALE: Final = 4  # px per mm of the flattened view
_ALIKE: Final = 0.5  # correlation that only the print gives: chance stays below 0.4 in a block of 24 x 24 mm
_FURTHEST_MM: Final = 6.0  # half a cell: beyond it, one patch is taken for the next

# Left, top, right, bottom in cells: a block for each tag, in the order of their ids, then the patches between them.
_BLOCKS: Final = (
    (0, 0, 2, 2),
    (6, 0, 8, 2),
    (6, 4, 8, 6),
    (0, 4, 2, 6),
    (2, 0, 6, 2),
    (2, 4, 6, 6),
    (0, 2, 4, 4),
    (4, 2, 8, 4),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """How a photo looks where a pose wants the card.

    Attributes:
        alike: (8,) correlation of each block with the print at its best place, -1..1; the first four are the tags'.
        shift_mm: (8, 2) how far that place is from where the pose wants it.
    """

    alike: npt.NDArray[np.float64]
    shift_mm: Points

    @property
    def seen(self) -> npt.NDArray[np.bool_]:
        """Which blocks look like the card."""
        return self.alike > _ALIKE

    def tags_seen(self) -> tuple[int, ...]:
        """Return the card tags whose blocks look like the print."""
        return tuple(tag_id for tag_id, seen in zip(CARD_TAGS, self.seen, strict=False) if seen)


def compare(grey: Grey, to_px: Points, *, reach_mm: float = _FURTHEST_MM) -> Likeness:
    """Hold a photo against the print at a pose, looking up to `reach_mm` from where each block should lie."""
    margin = BORDER_MM + _FURTHEST_MM
    flat = np.array([(_SCALE, 0, _SCALE * margin - 0.5), (0, _SCALE, _SCALE * margin - 0.5), (0, 0, 1.0)])
    size = [round(_SCALE * (side + 2 * margin)) for side in GRID_MM]
    matrix = to_px @ np.linalg.inv(flat)
    view = cv2.warpPerspective(grey, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    slack = round(_SCALE * reach_mm)
    alike, shifts = [], []
    for block in _BLOCKS:
        left, top, right, bottom = (round(_SCALE * CELL_MM * edge) for edge in block)
        origin = round(_SCALE * BORDER_MM)
        wanted = _print()[origin + top : origin + bottom, origin + left : origin + right]
        start = round(_SCALE * margin) - slack
        area = view[start + top : start + bottom + 2 * slack, start + left : start + right + 2 * slack]
        scores = cv2.matchTemplate(area, wanted, cv2.TM_CCOEFF_NORMED)
        _, best, _, peak = cv2.minMaxLoc(scores)
        alike.append(best if np.isfinite(best) else 0.0)
        shifts.append((np.array(peak) - slack) / _SCALE)
    return Likeness(alike=np.array(alike), shift_mm=np.array(shifts))


def pull(to_px: Points, likeness: Likeness) -> Points | None:
    """Return the pose moved onto the blocks that look like the card; None where there are none."""
    corners = []
    for left, top, right, bottom in _BLOCKS:
        corners.append(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]) * CELL_MM)
    design = np.concatenate([corners[index] for index in np.flatnonzero(likeness.seen)] or [np.empty((0, 2))])
    shifts = np.repeat(likeness.shift_mm[likeness.seen], 4, axis=0)
    return homography(design, project(to_px, design + shifts)) if len(design) else None


@cache
def _print() -> Grey:
    return np.asarray(cv2.cvtColor(card_image(_SCALE), cv2.COLOR_RGB2GRAY), dtype=np.uint8)

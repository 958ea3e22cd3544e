"""Sharpening a pose on the edges of its tags: where black turns to white, to a small part of a pixel.

An edge's place does not move when the photo is blurred, as a corner's does, and a crumb spoils a few of its points
only. So the pose is fitted to points along the tags' edges, with robust weights.
"""

from dataclasses import dataclass
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.design import Points
from leafwane.card.geometry import project
from leafwane.card.tags import Grey

Floats: TypeAlias = npt.NDArray[np.float64]
Bools: TypeAlias = npt.NDArray[np.bool_]

_ALONG: Final = np.linspace(0.14, 0.86, 13)  # places on a side, clear of its rounded ends
_REACH: Final = 0.1  # of a side, to both sides of the edge: less than the black edge and the white round it
_STEPS: Final = 25
_ROUNDS: Final = 4
_WEAK: Final = 0.25  # edges with less contrast than this part of the median count for nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeFit:
    """A homography fitted to edges.

    Attributes:
        to_px: (3, 3) mm to photo pixels.
        misfit_mm: Root mean square over the squares' sides of the middle distance left between edge and fit.
        blur_px: Sigma of the Gaussian that would blur a sharp edge as these are, in photo pixels; of those along the card or
            of those across it, whichever are blurred more.
    """

    to_px: Points
    misfit_mm: float
    blur_px: float


def fit_edges(grey: Grey, to_px: Points, squares: list[Points]) -> EdgeFit | None:
    """Return the homography that puts the sides of black squares where the photo shows them.

    Args:
        grey: The photo, (h, w) 8 bit.
        to_px: A homography, good to about a tenth of a square's side.
        squares: The squares' corners, (4, 2) mm each, clockwise.

    Returns:
        None where the edges cannot be seen.
    """
    sides = _side_points(squares)
    for _ in range(_ROUNDS):
        shift, width, seen = _edge_places(grey, to_px, sides)
        if np.count_nonzero(seen) < len(seen) // 4:
            return None
        change, left = _robust_fit(sides, shift, seen)
        to_px = to_px @ change
        to_px = to_px / to_px[2, 2]
    ahead, behind = (project(to_px, sides.points + step * sides.normals) for step in (0.5, -0.5))
    px_per_mm = np.linalg.norm(ahead - behind, axis=1)
    return EdgeFit(
        to_px=to_px,
        misfit_mm=_misfit(left, seen),
        blur_px=_blur(width * px_per_mm, sides.normals, seen),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sides:
    """Points along the sides of squares, their outward unit normals, and how far to look, in mm."""

    points: Points
    normals: Points
    reach: Floats


def _side_points(squares: list[Points]) -> _Sides:
    points, normals, reach = [], [], []
    for square in squares:
        for start, end in zip(square, np.roll(square, -1, axis=0), strict=True):
            side = end - start
            length = float(np.hypot(*side))
            points.append(start + _ALONG[:, None] * side)
            normals.append(np.tile([side[1] / length, -side[0] / length], (len(_ALONG), 1)))
            reach.append(np.full(len(_ALONG), _REACH * length))
    return _Sides(points=np.concatenate(points), normals=np.concatenate(normals), reach=np.concatenate(reach))


def _edge_places(grey: Grey, to_px: Points, sides: _Sides) -> tuple[Floats, Floats, Bools]:
    """Return how far out each edge lies, how wide it is (sigma), both in mm, and whether it is seen."""
    offsets = np.linspace(-1, 1, _STEPS) * sides.reach[:, None]
    places = sides.points[:, None] + offsets[..., None] * sides.normals[:, None]
    at = project(to_px, places.reshape(-1, 2)).astype(np.float32).reshape(*offsets.shape, 2)
    shown = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    rise = np.diff(np.asarray(shown, dtype=np.float64), axis=1)
    middles = (offsets[:, 1:] + offsets[:, :-1]) / 2
    rise = np.maximum(rise - 0.1 * rise.max(axis=1, keepdims=True), 0)
    total = rise.sum(axis=1)
    safe = np.maximum(total, 1e-9)
    place = (rise * middles).sum(axis=1) / safe
    width = np.sqrt((rise * (middles - place[:, None]) ** 2).sum(axis=1) / safe)
    inside = (at >= 0).all(axis=(1, 2)) & (at <= np.array(grey.shape[::-1]) - 1).all(axis=(1, 2))
    floor = max(2.0, _WEAK * float(np.median(total[inside]))) if inside.any() else np.inf
    return place, width, np.asarray(inside & (total > floor))


def _robust_fit(sides: _Sides, shift: Floats, seen: Bools) -> tuple[Points, Floats]:
    """Return the small homography, mm to mm, that moves each point along its normal by its shift, and what is left.

    Blur makes white spill over black once light has been turned into 8-bit values, so all squares look smaller by one
    and the same distance; it is fitted beside the homography, else two tags alone would make the card seem tilted.
    """
    centre = sides.points.mean(axis=0)
    size = float(np.abs(sides.points - centre).max())
    x, y = ((sides.points - centre) / size).T
    nx, ny = sides.normals.T
    along = nx * x + ny * y
    # A homography near the identity moves (x, y) by this, to first order in its eight parameters.
    terms = np.stack([nx, nx * x, nx * y, ny, ny * x, ny * y, along * x, along * y, np.ones_like(x)], axis=1)
    weight = seen.astype(np.float64)
    for _ in range(5):
        root = np.sqrt(weight)
        a = np.linalg.lstsq(terms * root[:, None], shift / size * root, rcond=None)[0]
        left = shift - size * (terms @ a)
        scale = max(1.4826 * float(np.median(np.abs(left[seen]))), 1e-3 * size)
        weight = seen / (1 + (left / (2 * scale)) ** 2) ** 2
    change = np.array([(1 + a[1], a[2], a[0]), (a[4], 1 + a[5], a[3]), (-a[6], -a[7], 1)])
    to_unit = np.array([(1 / size, 0, -centre[0] / size), (0, 1 / size, -centre[1] / size), (0, 0, 1)])
    return np.linalg.inv(to_unit) @ change @ to_unit, left


def _blur(width: Floats, normals: Points, seen: Bools) -> float:
    """Return the middle width of upright or of level edges, whichever is wider: a hand that moves blurs one of them."""
    upright = np.abs(normals[:, 0]) > np.abs(normals[:, 1])
    ways = [width[seen & way] for way in (upright, ~upright)]
    return max(float(np.median(found)) for found in ways if found.size)


def _misfit(left: Floats, seen: Bools) -> float:
    """Return the root mean square over the sides of the middle distance left on each."""
    per_side = np.where(seen, left, np.nan).reshape(-1, len(_ALONG))
    per_side = per_side[np.isfinite(per_side).sum(axis=1) >= len(_ALONG) // 2]
    return float(np.sqrt(np.mean(np.nanmedian(per_side, axis=1) ** 2))) if len(per_side) else float("nan")

"""Finding a grid of evenly spaced squares in a photo: the way to a chart that has no tags."""

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.design import Points
from leafwane.card.geometry import homography, project
from leafwane.card.tags import Grey

_SIDES: Final = (8, 200)  # px; of squares that are looked for
_WINDOWS: Final = (31, 101)  # px; of the means that a picture is compared to
_PITCH: Final = (1.05, 2.3)  # from square to square, over a square's side
_FEWEST: Final = 8  # squares that make a grid
_ENOUGH: Final = 7.5  # squares, each less by how far it is off; surfaces reach 5 to 9, charts 8 to 23
_OFF: Final = 0.2  # of the pitch; squares further from their place are none of the grid's
_SEEDS: Final = 6
_PITCHES_TRIED: Final = 3
_ROUNDS: Final = 4
_FURTHEST: Final = 6  # places from the seed
_SPECK: Final = np.ones((3, 3), np.uint8)
_FLAT: Final = 1e-6  # determinant of a homography that maps all to a line
_NOWHERE: Final = 1e6


def grids(channels: list[Grey]) -> Iterator[Points]:
    """Yield homographies, (3, 3), from whole-numbered places on a grid to pixels, those with most squares first.

    Litter and castings make a few squares that happen to lie evenly; grids as poor as theirs are not yielded.

    Args:
        channels: Pictures of one scene, (h, w) 8 bit each, in which squares stand out from what lies between them.
    """
    squares = _squares(channels)
    if len(squares) < _FEWEST:
        return
    found = [grid for seed in _seeds(squares) if (grid := _grid(squares, seed)) is not None]
    for worth, to_px in sorted(found, key=lambda item: -item[0]):
        if worth >= _ENOUGH:
            yield to_px


def _squares(channels: list[Grey]) -> Points:
    """Return the corners of all squares, (n, 4, 2), clockwise; of several round one middle the largest."""
    quads: list[cv2.typing.MatLike] = []
    for channel in channels:
        for window in _WINDOWS:
            black = cv2.adaptiveThreshold(
                channel, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, -3
            )
            whole = cv2.morphologyEx(black, cv2.MORPH_OPEN, _SPECK)
            outlines, _ = cv2.findContours(whole, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
            large = (outline for outline in outlines if len(outline) >= 4 and _of_size(outline))
            found = (_four_corners(outline) for outline in large)
            quads += [quad for quad in found if quad is not None]
    return _largest_of_each(_about_square(np.array(quads, dtype=np.float64).reshape(-1, 4, 2)))


def _largest_of_each(squares: Points) -> Points:
    """Return squares, (n, 4, 2), without those that lie round the middle of a larger one."""
    squares = squares[np.argsort(-np.ptp(squares[..., 0], axis=1), kind="stable")]
    middles = squares.mean(axis=1)
    kept: list[int] = []
    for index, middle in enumerate(middles):
        if (np.abs(middles[kept] - middle).max(axis=1) > _SIDES[0] / 2).all():
            kept.append(index)
    return squares[kept]


def _of_size(outline: cv2.typing.MatLike) -> bool:
    return _SIDES[0] ** 2 / 2 < cv2.contourArea(outline) < _SIDES[1] ** 2


def _four_corners(outline: cv2.typing.MatLike) -> cv2.typing.MatLike | None:
    """Return the corners of an outline, (4, 1, 2), if it is about a convex shape of four."""
    corners = cv2.approxPolyDP(outline, 0.08 * cv2.arcLength(outline, True), True)
    return corners if len(corners) == 4 and cv2.isContourConvex(corners) else None


def _about_square(quads: Points) -> Points:
    """Return those of convex shapes, (n, 4, 2), whose sides are about alike and not too short, clockwise."""
    edges = np.roll(quads, -1, axis=1) - quads
    sides = np.linalg.norm(edges, axis=2)
    kept = (sides.min(axis=1) >= _SIDES[0]) & (sides.max(axis=1) <= 1.8 * sides.min(axis=1))
    turn = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]
    return np.asarray(np.where(turn[:, None, None] > 0, quads, quads[:, ::-1])[kept])


def _seeds(squares: Points) -> Points:
    """Return the squares with most others of their size close by, (n, 4, 2)."""
    middles = squares.mean(axis=1)
    sizes = np.linalg.norm(squares - middles[:, None], axis=2).mean(axis=1)
    gaps = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    alike = np.abs(np.log(sizes[:, None] / sizes[None])) < 0.25
    near = ((gaps < 6 * sizes[:, None]) & alike).sum(axis=1)
    return squares[np.argsort(-near, kind="stable")[:_SEEDS]]


def _grid(squares: Points, seed: Points) -> tuple[float, Points] | None:
    """Return how well squares fill the grid that one of them starts, and its homography."""
    middles = squares.mean(axis=1)
    starts = [_start(seed, pitch) for pitch in np.geomspace(*_PITCH, 9)]
    hits = [-len(_fitting(to_px, middles)[0]) for to_px in starts]
    best: tuple[float, Points] | None = None
    for index in np.argsort(hits, kind="stable")[:_PITCHES_TRIED]:
        grid = _grown(starts[index], middles)
        if grid is not None and (best is None or grid[0] > best[0]):
            best = grid
    return best


def _start(seed: Points, pitch: float) -> Points:
    """Return the homography from a grid to pixels by one square and the pitch over its side."""
    half = 0.5 / pitch
    own = np.array([(-half, -half), (half, -half), (half, half), (-half, half)], dtype=np.float32)
    return np.asarray(cv2.getPerspectiveTransform(own, seed.astype(np.float32)), dtype=np.float64)


def _grown(to_px: Points, middles: Points) -> tuple[float, Points] | None:
    """Return how well squares fill a grid once it was fitted to all that lie on it, and its homography."""
    for _ in range(_ROUNDS):
        whole, on_grid, gap = _fitting(to_px, middles)
        if len(whole) < 4 or np.linalg.matrix_rank(whole - whole.mean(axis=0)) < 2:
            return None
        fitted = homography(whole, middles[on_grid])
        if fitted is None:
            return None
        to_px = fitted
    return (float((1 - gap / _OFF).sum()), to_px) if len(whole) >= _FEWEST else None


def _fitting(to_px: Points, middles: Points) -> tuple[Points, npt.NDArray[np.intp], Points]:
    """Return the places (n, 2) of squares that lie on a grid, which squares they are, and how far off, over the pitch."""
    if abs(np.linalg.det(to_px)) < _FLAT:
        return np.empty((0, 2)), np.empty(0, dtype=np.intp), np.empty(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        places = project(np.asarray(np.linalg.inv(to_px)), middles)
    places = np.where(np.isfinite(places), places, _NOWHERE)
    whole = np.round(places)
    gap = np.abs(places - whole).max(axis=1)
    fits = (gap < _OFF) & (np.abs(whole).max(axis=1) < _FURTHEST)
    fits[fits] = _first_of_each(whole[fits])
    return whole[fits], np.flatnonzero(fits), gap[fits]


def _first_of_each(places: Points) -> npt.NDArray[np.bool_]:
    """Return which places, (n, 2) whole numbers, were not there before."""
    first = np.zeros(len(places), dtype=bool)
    first[np.unique(places, axis=0, return_index=True)[1]] = True
    return first

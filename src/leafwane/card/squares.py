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
_OFF: Final = 0.2  # of the pitch; squares further from their place are none of the grid's
_SEEDS: Final = 6
_FURTHEST: Final = 6  # places from the seed
_FLAT: Final = 1e-6  # determinant of a homography that maps all to a line
_NOWHERE: Final = 1e6


def grids(channels: list[Grey]) -> Iterator[Points]:
    """Yield homographies, (3, 3), from whole-numbered places on a grid to pixels, those with most squares first.

    Args:
        channels: Pictures of one scene, (h, w) 8 bit each, in which squares stand out from what lies between them.
    """
    squares = _squares(channels)
    if len(squares) < _FEWEST:
        return
    found = [grid for seed in _seeds(squares) if (grid := _grid(squares, seed)) is not None]
    for _, to_px in sorted(found, key=lambda item: -item[0]):
        yield to_px


def _squares(channels: list[Grey]) -> Points:
    """Return the corners of all squares, (n, 4, 2), clockwise; of several round one middle the largest."""
    squares: list[Points] = []
    for channel in channels:
        for window in _WINDOWS:
            black = cv2.adaptiveThreshold(
                channel, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, -3
            )
            outlines, _ = cv2.findContours(black, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
            large = (outline for outline in outlines if len(outline) >= 4 and _of_size(outline))
            found = (_as_square(np.asarray(outline, dtype=np.int32)) for outline in large)
            squares += [square for square in found if square is not None]
    return _largest_of_each(np.array(squares).reshape(-1, 4, 2))


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


def _as_square(outline: npt.NDArray[np.int32]) -> Points | None:
    """Return an outline's four corners, clockwise, if it is about a square."""
    corners = cv2.approxPolyDP(outline, 0.08 * cv2.arcLength(outline, True), True).reshape(-1, 2)
    if len(corners) != 4 or not cv2.isContourConvex(corners):
        return None
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    if sides.min() < _SIDES[0] or sides.max() > 1.8 * sides.min():
        return None
    clockwise = cv2.contourArea(corners, oriented=True) > 0
    return np.asarray(corners if clockwise else corners[::-1], dtype=np.float64)


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
    best: tuple[float, Points] | None = None
    for pitch in np.geomspace(*_PITCH, 9):
        half = 0.5 / pitch
        own = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
        to_px = homography(own, seed)
        for _ in range(4):
            if to_px is None or abs(np.linalg.det(to_px)) < _FLAT:
                break
            with np.errstate(divide="ignore", invalid="ignore"):
                places = project(np.asarray(np.linalg.inv(to_px)), middles)
            places = np.where(np.isfinite(places), places, _NOWHERE)
            whole = np.round(places)
            gap = np.abs(places - whole).max(axis=1)
            fits = (gap < _OFF) & (np.abs(whole).max(axis=1) < _FURTHEST)
            fits[fits] = _first_of_each(whole[fits])
            if fits.sum() < 4 or np.linalg.matrix_rank(whole[fits] - whole[fits].mean(axis=0)) < 2:
                break
            to_px = homography(whole[fits], middles[fits])
        else:
            worth = float((1 - gap[fits] / _OFF).sum())
            if to_px is not None and fits.sum() >= _FEWEST and (best is None or worth > best[0]):
                best = worth, to_px
    return best


def _first_of_each(places: Points) -> npt.NDArray[np.bool_]:
    """Return which places, (n, 2) whole numbers, were not there before."""
    first = np.zeros(len(places), dtype=bool)
    first[np.unique(places, axis=0, return_index=True)[1]] = True
    return first

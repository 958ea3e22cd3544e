"""Finding the usual 24-patch colour rendition chart, and which edition of its published values fits it.

A search for the grid of squares comes first and OpenCV's own detector second, and only where squares stand in a grid. The
detector of OpenCV 5.0 answers differently from call to call on one and the same picture: a chart at times, none at others.
Neither a seed, nor one thread, nor a detector made anew, nor a picture of another size ends that: of six sizes the best found
a chart in 63 of 64 calls on eight photographs of charts, in a quarter of a second each. Of 60 painted charts, blurred, noisy,
dark, small, dirty or half hidden, it found 2 in two calls each; the search for squares found 52, those 2 among them, and the
same each time. Where both find a chart, their mean left-out colour errors differ by less than 0.1.
"""

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, islice
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.chart24_values import EDITIONS, PATCH_NAMES, edition_rgb
from leafwane.card.design import Points
from leafwane.card.geometry import homography, project, px_per_mm, tilt_deg, turns_clockwise
from leafwane.card.patches import PatchTable, patch_doubts, rank_agreement, sample_patches
from leafwane.card.sighting import PatchSamples, Sighting, view_doubts
from leafwane.card.squares import grids
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.spaces import linear_to_lab, srgb_to_lab, srgb_to_linear
from leafwane.errors import CardError
from leafwane.flags import Flag

Pixels: TypeAlias = npt.NDArray[np.uint8]

KIND: Final = "chart24"

# OpenCV's own proportions: patches 2.5 wide, 2.75 apart, 0.25 of edge; the full-size chart has patches of 40 mm.
_UNIT_MM: Final = 16.0
_PATCH_MM: Final = 2.5 * _UNIT_MM
_PITCH_MM: Final = 2.75 * _UNIT_MM
_EDGE_MM: Final = 0.25 * _UNIT_MM
_BOX_MM: Final = (16.75 * _UNIT_MM, 11.25 * _UNIT_MM)
_WIDTH_MM: Final = _BOX_MM[0] - 2 * _EDGE_MM
_FRAME_MM: Final = (
    20.0  # at full size, round the outline; frames are 6 to 20 mm wide (common practice, from memory)
)

_SIDE: Final = 1000  # px; charts are looked for in a photo of this size
_MOST_GRIDS: Final = 3
_REACH: Final = 7  # columns and rows round a square that the chart may cover
_AGREEMENT_ON_GRID: Final = 0.7  # correlation of colours that makes a place worth a closer look
_AGREEMENT: Final = 0.9  # rank correlation of lightness over 24 patches; a heap of leaves does not reach it
_FEWEST_USED: Final = 12

_LAY_ONE: Final = "Lay one beside the card and take the photo again, or say where it is with --chart-corners"
_IN_ORDER: Final = "Begin with the dark skin patch, and go on past bluish green, black and white"


def find_chart(pixels: Pixels, *, corners: Points | None = None, width_mm: float | None = None) -> Sighting:
    """Find a 24-patch colour rendition chart.

    Args:
        pixels: The photo, (h, w, 3) 8-bit sRGB, upright.
        corners: (4, 2) photo pixels, the outer corners of the patches from the dark skin patch, past bluish green,
            black and white, where a person had to point them out; else the chart is searched for.
        width_mm: Width over the six patches of a row, from the left edge of the first to the right edge of the last.

    Returns:
        What was found. Charts come in several sizes that look alike: without `width_mm`, `mm_per_px` is NaN, the flag
        UNKNOWN_SIZE is set, and `to_px` and the patches' centres are those of a full-size chart. `note` says which edition of the published values fits.

    Raises:
        CardError: There is no such chart, with flag NO_CARD.
    """
    for box in _boxes(pixels) if corners is None else _outlines_about(corners):
        sighting = _sighting(pixels, np.asarray(box, dtype=np.float64))
        if sighting is not None:
            return sighting if width_mm is None else _sized(sighting, width_mm)
    if corners is not None:
        raise CardError("no 24-patch colour chart has these corners", flag=Flag.NO_CARD, hint=_IN_ORDER)
    raise CardError("no 24-patch colour chart was found", flag=Flag.NO_CARD, hint=_LAY_ONE)


def _outlines_about(patches: Points) -> Iterator[Points]:
    """Yield the corners of the outline of a chart whose patches' outer corners are given, (4, 2); none if they are no four corners."""
    outline = _outline_mm()
    inside = np.clip(outline, _EDGE_MM, np.array(_BOX_MM) - _EDGE_MM)
    to_px = homography(inside, np.asarray(patches, dtype=np.float64))
    if to_px is not None:
        yield project(to_px, outline)


def _boxes(pixels: Pixels) -> Iterator[Points]:
    """Yield the corners of what may be charts, (4, 2), from the dark skin patch on."""
    scale = min(1.0, _SIDE / max(pixels.shape))
    view = np.asarray(
        cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.uint8
    )
    channels = [np.asarray(cv2.cvtColor(view, cv2.COLOR_RGB2GRAY), dtype=np.uint8), view.max(axis=2)]
    found = list(islice(grids(channels), _MOST_GRIDS))
    if not found:
        return
    for box in chain(_by_squares(view, found), _by_detector(view)):
        yield (box + 0.5) / scale - 0.5


def _by_detector(view: Pixels) -> Iterator[Points]:
    """Yield what OpenCV's detector takes for a chart; some photos make it fail."""
    detector = cv2.mcc.CCheckerDetector.create()
    with contextlib.suppress(cv2.error):
        if detector.process(cv2.cvtColor(view, cv2.COLOR_RGB2BGR), 1):
            yield np.array(detector.getBestColorChecker().getBox(), dtype=np.float64)


def _by_squares(view: Pixels, found: list[Points]) -> Iterator[Points]:
    """Yield where grids of squares, given by their homographies, hold the chart's colours in their order."""
    for to_px in found:
        place = _place_on_grid(view, to_px)
        if place is not None:
            yield project(to_px @ place, _grid_outline())


def _place_on_grid(view: Pixels, to_px: Points) -> Points | None:
    """Return the homography, (3, 3), from the chart's columns and rows to those of a grid, where its colours fit best."""
    span = np.arange(-_REACH, _REACH + 1)
    places = np.stack(np.meshgrid(span, span), axis=-1).reshape(-1, 2).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.nan_to_num(project(to_px, places), nan=-1, posinf=-1, neginf=-1)
    x, y = np.round(np.clip(at, -1, np.array(view.shape[1::-1]))).astype(int).T
    inside = (x >= 0) & (y >= 0) & (x < view.shape[1]) & (y < view.shape[0])
    seen = np.where(inside[:, None], view[y * inside, x * inside], 0).reshape(len(span), len(span), 3) / 255
    wanted = np.clip(edition_rgb(next(iter(EDITIONS))), 0, 1).reshape(4, 6, 3)
    best, place = _AGREEMENT_ON_GRID, None
    for turns in range(4):
        likeness = _correlations(seen, np.rot90(wanted, turns))
        top, left = np.unravel_index(int(np.argmax(likeness)), likeness.shape)
        if likeness[top, left] > best:
            best = float(likeness[top, left])
            place = _turned_place(turns, int(left) - _REACH, int(top) - _REACH)
    return place


def _correlations(picture: Points, part: Points) -> Points:
    """Return the correlation, -1..1, of a small picture with each place of a larger one; 0 where that is all the same.

    Args:
        picture: (h, w, 3).
        part: (rows, columns, 3); the answer is (h - rows + 1, w - columns + 1).
    """
    blocks = np.lib.stride_tricks.sliding_window_view(picture, part.shape)[:, :, 0].reshape(
        picture.shape[0] - part.shape[0] + 1, -1, part.size
    )
    blocks = blocks - blocks.mean(axis=2, keepdims=True)
    own = (part - part.mean()).ravel()
    sizes = np.linalg.norm(blocks, axis=2) * np.linalg.norm(own)
    return np.asarray(np.where(sizes > 0, blocks @ own / np.where(sizes > 0, sizes, 1), 0))


def _turned_place(turns: int, left: int, top: int) -> Points:
    """Return the chart's columns and rows, turned as `np.rot90` turns a picture, as columns and rows of the grid."""
    matrix = {
        0: ((1, 0, 0), (0, 1, 0)),
        1: ((0, 1, 0), (-1, 0, 5)),
        2: ((-1, 0, 5), (0, -1, 3)),
        3: ((0, -1, 3), (1, 0, 0)),
    }[turns]
    return np.asarray(
        np.array([*matrix, (0, 0, 1)], dtype=np.float64) + np.array([(0, 0, left), (0, 0, top), (0, 0, 0)])
    )


def _grid_outline() -> Points:
    """Return the chart's outline in its columns and rows, whole at the patches' middles."""
    return np.asarray((_outline_mm() - _EDGE_MM - _PATCH_MM / 2) / _PITCH_MM)


def _sighting(pixels: Pixels, box: Points) -> Sighting | None:
    """Return what the photo shows of a chart with these corners, or None where that is no chart."""
    to_px = homography(_outline_mm(), box)
    if to_px is None or not turns_clockwise(box):
        return None
    samples = {name: sample_patches(pixels, to_px, _table(name)) for name in EDITIONS}
    misfits = {name: _misfit(patches) for name, patches in samples.items()}
    edition = min(misfits, key=lambda name: misfits[name])
    patches = samples[edition]
    if rank_agreement(patches) < _AGREEMENT or patches.used.sum() < _FEWEST_USED:
        return None
    mm_per_px, tilt = float("nan"), tilt_deg(to_px, (pixels.shape[1], pixels.shape[0]))
    fits = "; ".join(f"{name} {misfit:.2f}" for name, misfit in misfits.items())
    return Sighting(
        kind=KIND,
        corners=project(to_px, _outline_mm()),
        to_px=to_px,
        mm_per_px=mm_per_px,
        tilt_deg=tilt,
        blur_px=float("nan"),
        n_tags=0,
        patches=patches,
        rim=None,
        flags=patch_doubts(patches) | Flag.UNKNOWN_SIZE | view_doubts(mm_per_px=mm_per_px, tilt_deg=tilt),
        edition=edition,
        frame=project(to_px, _frame_mm()),
        note=f"24-patch chart, edition {edition} (mean colour difference left: {fits})",
    )


def _sized(sighting: Sighting, width_mm: float) -> Sighting:
    """Return the same chart, of a width that is known."""
    times = width_mm / _WIDTH_MM
    to_px = sighting.to_px @ np.diag([1 / times, 1 / times, 1.0])
    mm_per_px = 1 / px_per_mm(to_px, times * np.array(_BOX_MM) / 2)
    seen = view_doubts(mm_per_px=mm_per_px, tilt_deg=sighting.tilt_deg)
    return replace(
        sighting,
        to_px=to_px,
        mm_per_px=mm_per_px,
        patches=replace(sighting.patches, centres_mm=times * sighting.patches.centres_mm),
        flags=sighting.flags & ~Flag.UNKNOWN_SIZE | seen,
        note=f"{sighting.note}; its six patches are {width_mm:g} mm wide",
    )


def _outline_mm() -> Points:
    width, height = _BOX_MM
    return np.array([(0, 0), (width, 0), (width, height), (0, height)])


def _frame_mm() -> Points:
    """Return the outer edge of a frame as wide as frames of this chart are, at most."""
    width, height = _BOX_MM
    low, right, high = -_FRAME_MM, width + _FRAME_MM, height + _FRAME_MM
    return np.array([(low, low), (right, low), (right, high), (low, high)])


def _table(edition: str) -> PatchTable:
    centres = [(column, row) for row in range(4) for column in range(6)]
    published = edition_rgb(edition)
    return PatchTable(
        names=PATCH_NAMES,
        reference=published,
        nominal=published,
        centres_mm=np.array(centres) * _PITCH_MM + _EDGE_MM + _PATCH_MM / 2,
        side_mm=_PATCH_MM,
    )


def _misfit(patches: PatchSamples) -> float:
    """Return the mean colour difference that a 3x3 in linear light leaves; inf where too few patches are used."""
    if patches.used.sum() < _FEWEST_USED:
        return float("inf")
    light = srgb_to_linear(patches.measured[patches.used])
    reference = patches.reference[patches.used]
    matrix = np.linalg.lstsq(light, srgb_to_linear(reference), rcond=None)[0]
    return float(delta_e_2000(linear_to_lab(light @ matrix), srgb_to_lab(reference)).mean())

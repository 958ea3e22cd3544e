"""Pictures of what the tool saw in a photo: leaf tinted, other marked, guesses hatched, card and outside dimmed."""

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from leafwane.surface.classes import ClassMap, PixelClass
from leafwane.surface.cover import Cover
from leafwane.surface.region import Region

Picture = NDArray[np.uint8]

LEAF_RGB: Final = (80, 200, 255)
OTHER_RGB: Final = (255, 90, 200)
UNSURE_RGB: Final = (255, 230, 60)
_HATCH_PX: Final = 8
_TEXT_SIZE: Final = 0.7


def draw_overlay(picture: Picture, classes: ClassMap, region: Region) -> Picture:
    """Return `picture` (h, w, 3) with the classes drawn over it, 8-bit sRGB."""
    drawn = picture.copy()
    labels = classes.labels
    for code, colour in ((PixelClass.LEAF, LEAF_RGB), (PixelClass.OTHER, OTHER_RGB)):
        _tint(drawn, region.mask & (labels == code), colour, strength=0.42)
    rows, cols = np.arange(labels.shape[0])[:, None], np.arange(labels.shape[1])
    hatch = (rows + cols) % _HATCH_PX < 2
    _tint(drawn, region.mask & classes.unsure & hatch, UNSURE_RGB, strength=0.7)
    _tint(drawn, ~region.mask, (128, 128, 128), strength=0.55)
    return drawn


def explain_sheet(
    photo: Picture, corrected: Picture, classes: ClassMap, region: Region, *, cover: Cover
) -> Picture:
    """Return what each step saw on one sheet: photo, corrected colour, region, classes, guesses, pieces, and the error's parts."""
    leaf = (classes.labels == PixelClass.LEAF) & region.mask
    panels = [
        ("photo", photo),
        ("colours corrected by the card", corrected),
        ("surface that counts", _masked(corrected, region.mask)),
        ("leaf blue, other pink, guess hatched", draw_overlay(corrected, classes, region)),
        (
            "chance of leaf",
            cv2.applyColorMap((classes.leaf * 255).astype(np.uint8), cv2.COLORMAP_CIVIDIS)[..., ::-1],
        ),
        ("pieces of leaf", _pieces(leaf)),
    ]
    titled = [_titled(np.ascontiguousarray(panel, dtype=np.uint8), title) for title, panel in panels]
    foot = [_line(line, 3 * photo.shape[1]) for line in _error_in_words(cover)]
    return np.vstack([np.hstack(titled[:3]), np.hstack(titled[3:]), *foot])


def _tint(
    picture: Picture, where: NDArray[np.bool_], colour: tuple[int, int, int], *, strength: float
) -> None:
    levels = np.arange(256)[None, :, None]
    tinted = cv2.LUT(picture, (levels * (1 - strength) + np.array(colour) * strength).astype(np.uint8))
    cv2.copyTo(tinted, where.astype(np.uint8), picture)


def _masked(picture: Picture, mask: NDArray[np.bool_]) -> Picture:
    shown = picture.copy()
    _tint(shown, ~mask, (255, 255, 255), strength=0.8)
    return shown


def _pieces(leaf: NDArray[np.bool_]) -> Picture:
    n, labels = cv2.connectedComponents(leaf.astype(np.uint8), connectivity=8)
    colours = np.random.default_rng(1).integers(70, 256, (n, 3))
    colours[0] = 0
    return np.asarray(colours[labels], np.uint8)


def _error_in_words(cover: Cover) -> tuple[str, ...]:
    error = cover.error
    parts = f"method {error.method:.1f}, unsure pixels {error.unsure:.1f}, photo quality {error.photo:.1f}"
    return (
        f"leaf {cover.leaf:.1f}%, one standard error {error.total:.1f} points: {parts}",
        f"were the photo to stand for a larger surface: {error.sampling:.1f} points besides, by how patches differ",
    )


def _titled(panel: Picture, title: str) -> Picture:
    return np.vstack([_line(title, panel.shape[1]), panel])


def _line(text: str, width: int) -> Picture:
    """Return a bar with a line of text, made small where it would not fit."""
    needed = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, _TEXT_SIZE, 1)[0][0]
    size = _TEXT_SIZE * min(1.0, (width - 16) / needed)
    bar = np.full((34, width, 3), 255, np.uint8)
    cv2.putText(bar, text, (8, 24), cv2.FONT_HERSHEY_SIMPLEX, size, (20, 20, 20), 1, cv2.LINE_AA)
    return bar

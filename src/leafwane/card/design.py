"""The reference card and the rim tags: every length and colour of them, in one table.

Lengths are millimetres from the top left corner of the card's grid, x to the right, y down. The white border lies
outside the grid, so the card reaches from (-4, -4) to (100, 76). Colours are 8-bit sRGB under D65.
"""

import math
from collections.abc import Mapping
from functools import cache
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

Image: TypeAlias = npt.NDArray[np.uint8]
Points: TypeAlias = npt.NDArray[np.float64]
PatchValues: TypeAlias = Mapping[str, tuple[float, float, float]]

KIND: Final = "leafwane-1"

COLUMNS: Final = 8
ROWS: Final = 6
CELL_MM: Final = 12.0
PATCH_MM: Final = 11.0
BORDER_MM: Final = 4.0
GRID_MM: Final = (COLUMNS * CELL_MM, ROWS * CELL_MM)
CARD_MM: Final = (GRID_MM[0] + 2 * BORDER_MM, GRID_MM[1] + 2 * BORDER_MM)

TAG_FAMILY: Final = cv2.aruco.DICT_APRILTAG_36h11
TAG_MODULES: Final = 8  # across the black square: six of data and a black one on each side
TAG_MM: Final = 18.0
CARD_TAGS: Final = (0, 1, 2, 3)  # clockwise from the top left
RIM_TAGS: Final = (10, 11, 12, 13)  # clockwise from the top left as the camera sees the bin
RIM_TAG_MM: Final = 22.0
RIM_SQUARE_MM: Final = 26.0

PAPER_RGB: Final = (250, 250, 250)
TAG_BLACK_RGB: Final = (22, 22, 22)

NEUTRALS: Final = (
    (243, 243, 242),
    (205, 205, 205),
    (166, 166, 166),
    (128, 128, 128),
    (96, 96, 96),
    (68, 68, 68),
    (46, 46, 46),
    (30, 30, 30),
)
LEAF_COLOURS: Final = (
    ("leaf yellow", (214, 186, 92)),
    ("tan", (196, 158, 108)),
    ("light russet", (166, 120, 72)),
    ("russet", (138, 84, 50)),
    ("brown", (104, 66, 44)),
    ("dark brown", (74, 52, 40)),
    ("castings brown", (52, 42, 36)),
    ("olive", (120, 108, 58)),
)
FAR_COLOURS: Final = (
    ("leaf green", (88, 112, 60)),
    ("worm red", (150, 72, 76)),
    ("worm pink", (186, 126, 118)),
    ("red", (172, 52, 48)),
    ("blue", (44, 86, 140)),
    ("teal", (60, 138, 132)),
    ("purple", (112, 70, 118)),
    ("straw", (216, 204, 176)),
)

_MASTER_PX_PER_MM: Final = 20  # every edge of card and tags falls on a whole pixel


def _cells() -> list[tuple[str, tuple[int, int, int], tuple[int, int]]]:
    """Return name, colour and (row, column) of each patch, in the order in which everything lists them."""
    ramp = list(enumerate(NEUTRALS, start=1))
    top = [(f"top grey {n}", rgb, divmod(n - 1, 4)) for n, rgb in ramp]
    bottom = [(f"bottom grey {n}", rgb, divmod(len(NEUTRALS) - n, 4)) for n, rgb in ramp]
    return [
        *((name, rgb, (row, 2 + column)) for name, rgb, (row, column) in top),
        *((name, rgb, (2, column)) for column, (name, rgb) in enumerate(LEAF_COLOURS)),
        *((name, rgb, (3, column)) for column, (name, rgb) in enumerate(FAR_COLOURS)),
        *((name, rgb, (4 + row, 2 + column)) for name, rgb, (row, column) in bottom),
    ]


PATCH_NAMES: Final = tuple(name for name, _, _ in _cells())
PATCH_RGB: Final = tuple(rgb for _, rgb, _ in _cells())
PATCH_CELLS: Final = tuple(cell for _, _, cell in _cells())
TWINS: Final = tuple(
    (PATCH_NAMES.index(f"top grey {n}"), PATCH_NAMES.index(f"bottom grey {n}"))
    for n in range(1, len(NEUTRALS) + 1)
)


def patch_centres_mm() -> Points:
    """Return the patches' centres on the card, (32, 2), in mm."""
    return np.array([(column + 0.5, row + 0.5) for row, column in PATCH_CELLS]) * CELL_MM


def reference_rgb(values: PatchValues | None = None) -> Points:
    """Return the patches' colours, (32, 3), encoded sRGB, 0..1: a printed card's own by name, or the nominal ones."""
    if values is None:
        return np.array(PATCH_RGB, dtype=np.float64) / 255
    return np.array([values[name] for name in PATCH_NAMES], dtype=np.float64)


def card_outline_mm() -> Points:
    """Return the corners of the card's white edge, (4, 2), clockwise from its top left, in mm."""
    return _square(-BORDER_MM, -BORDER_MM, *CARD_MM)


def card_tag_corners_mm(index: int) -> Points:
    """Return the corners of the black square of card tag 0..3, (4, 2), clockwise from its top left, in mm."""
    block, gap = 2 * CELL_MM, (2 * CELL_MM - TAG_MM) / 2
    x = (GRID_MM[0] - block if index in (1, 2) else 0) + gap
    y = (GRID_MM[1] - block if index in (2, 3) else 0) + gap
    return _square(x, y, TAG_MM, TAG_MM)


def rim_square_corners_mm() -> Points:
    """Return the corners of a rim tag's white square, (4, 2), in mm from the corner of its black square."""
    gap = (RIM_SQUARE_MM - RIM_TAG_MM) / 2
    return _square(-gap, -gap, RIM_SQUARE_MM, RIM_SQUARE_MM)


@cache
def tag_bits(tag_id: int) -> Image:
    """Return a tag's modules, (8, 8), 0 black and 1 white, its black edge included."""
    family = cv2.aruco.getPredefinedDictionary(TAG_FAMILY)
    return (family.generateImageMarker(tag_id, TAG_MODULES) > 0).astype(np.uint8)


def card_image(px_per_mm: float) -> Image:
    """Return the card from edge to edge, (80 * px_per_mm, 104 * px_per_mm, 3), 8-bit sRGB."""
    scale = _master_scale(px_per_mm)
    card = _paper(*CARD_MM, scale)
    for rgb, (x, y) in zip(PATCH_RGB, patch_centres_mm() + BORDER_MM - PATCH_MM / 2, strict=True):
        _block(card, x, y, PATCH_MM, scale)[:] = rgb
    for tag_id in CARD_TAGS:
        x, y = card_tag_corners_mm(tag_id)[0] + BORDER_MM
        _block(card, x, y, TAG_MM, scale)[:] = _tag(tag_id, TAG_MM, scale)
    return _shrink(card, px_per_mm, CARD_MM)


def rim_tag_image(index: int, px_per_mm: float) -> Image:
    """Return rim tag 0..3 (id 10..13) with its white square, (26 * px_per_mm, 26 * px_per_mm, 3), 8-bit sRGB."""
    scale = _master_scale(px_per_mm)
    square = _paper(RIM_SQUARE_MM, RIM_SQUARE_MM, scale)
    gap = (RIM_SQUARE_MM - RIM_TAG_MM) / 2
    _block(square, gap, gap, RIM_TAG_MM, scale)[:] = _tag(RIM_TAGS[index], RIM_TAG_MM, scale)
    return _shrink(square, px_per_mm, (RIM_SQUARE_MM, RIM_SQUARE_MM))


def _square(x: float, y: float, width: float, height: float) -> Points:
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], dtype=np.float64)


def _master_scale(px_per_mm: float) -> int:
    return _MASTER_PX_PER_MM * math.ceil(px_per_mm / _MASTER_PX_PER_MM)


def _paper(width_mm: float, height_mm: float, scale: int) -> Image:
    return np.tile(
        np.array(PAPER_RGB, dtype=np.uint8), (round(height_mm * scale), round(width_mm * scale), 1)
    )


def _block(image: Image, x_mm: float, y_mm: float, side_mm: float, scale: int) -> Image:
    """Return the view of a square of the image."""
    x, y, side = round(x_mm * scale), round(y_mm * scale), round(side_mm * scale)
    return image[y : y + side, x : x + side]


def _tag(tag_id: int, side_mm: float, scale: int) -> Image:
    module = round(side_mm * scale / TAG_MODULES)
    colours = np.array([TAG_BLACK_RGB, PAPER_RGB], dtype=np.uint8)[tag_bits(tag_id)]
    return np.repeat(np.repeat(colours, module, axis=0), module, axis=1)


def _shrink(master: Image, px_per_mm: float, size_mm: tuple[float, float]) -> Image:
    size = (round(size_mm[0] * px_per_mm), round(size_mm[1] * px_per_mm))
    return np.asarray(cv2.resize(master, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)

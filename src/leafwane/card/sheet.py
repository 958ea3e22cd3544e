"""The card on paper: a page at true size, with the card, the four rim tags, a ruler and a short how-to."""

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, TypeAlias

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline

from leafwane.atomic import OTHER_FILE, refuse_to_replace, write_bytes
from leafwane.card.design import (
    BORDER_MM,
    CARD_MM,
    CARD_TAGS,
    PAPER_RGB,
    PATCH_MM,
    PATCH_RGB,
    RIM_SQUARE_MM,
    RIM_TAG_MM,
    RIM_TAGS,
    TAG_BLACK_RGB,
    TAG_MM,
    TAG_MODULES,
    card_tag_corners_mm,
    patch_centres_mm,
    tag_bits,
)
from leafwane.errors import UsageError
from leafwane.photo import PHOTO_SUFFIXES

Paper: TypeAlias = Literal["a4", "letter"]

PAPER_MM: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

_TITLE: Final = "leafwane reference card"
_CARD_PDF: Final = re.compile(rb"\A%PDF-[\s\S]*" + _TITLE.encode())

MM_PER_INCH: Final = 25.4
RULER_MM: Final = 150
_TITLE_Y: Final = 13.0
_CARD_Y: Final = 22.0
_TAGS_Y: Final = 120.0
_TAGS_GAP: Final = 15.0
_RULER_Y: Final = 166.0
_TEXT_Y: Final = 186.0
_LINE_MM: Final = 5.3
_MARK_MM: Final = 5.0
_MARK_GAP_MM: Final = 1.0

_TAG_PLACES: Final = ("top left", "top right", "bottom right", "bottom left")
_HOW_TO: Final = (
    "Print at 100% (\u201cactual size\u201d), not fitted to the page. Check: the ruler above must measure 150 mm.",
    "Use matt paper, or laminate it matt: a glossy card mirrors the light and spoils the colours.",
    "Cut along the marks, so that the white edge stays all round. The four tags are optional; see below.",
    "Use one and the same card for the whole trial. Another print is another card.",
    "Take the photo before anything is disturbed. Lay the card flat on the surface, wholly in the picture.",
    "Hold the lens straight above. No flash; shade rather than sun; no shadow edge across the bin.",
    "Brush crumbs off the card, wipe it dry, and keep it out of the light between check-ins.",
)
_ABOUT_TAGS: Final = (
    "Rim tags: glue them to the bin\u2019s rim, as the camera sees the bin: 10 top left, 11 top right, 12 bottom right,",
    "13 bottom left. The corner of each white square that is nearest the bin\u2019s middle touches the corner of the surface.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLayout:
    """Where things stand on a page, in mm from its top left corner."""

    page: tuple[float, float]
    card: tuple[float, float]
    rim_tags: tuple[tuple[float, float], ...]
    ruler: tuple[float, float]


def sheet_layout(paper: Paper) -> SheetLayout:
    """Return where the card, the rim tags and the ruler start on a page."""
    width, height = PAPER_MM[paper]
    row = 4 * RIM_SQUARE_MM + 3 * _TAGS_GAP
    step = RIM_SQUARE_MM + _TAGS_GAP
    return SheetLayout(
        page=(width, height),
        card=((width - CARD_MM[0]) / 2, _CARD_Y),
        rim_tags=tuple(((width - row) / 2 + n * step, _TAGS_Y) for n in range(len(RIM_TAGS))),
        ruler=((width - RULER_MM) / 2, _RULER_Y),
    )


def card_pdf(paper: Paper) -> bytes:
    """Return the page as a PDF at true size, in vectors."""
    layout = sheet_layout(paper)
    width, height = layout.page
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
    page = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(height, 0))
    page.set_axis_off()
    page.text(width / 2, _TITLE_Y, f"{_TITLE}, version 1", ha="center", va="center", size=13)
    _draw_card(page, *layout.card)
    for index, place in enumerate(layout.rim_tags):
        _draw_rim_tag(page, index, *place)
    _draw_ruler(page, *layout.ruler)
    _draw_how_to(page, layout.ruler[0])
    handle = io.BytesIO()
    figure.savefig(handle, format="pdf", metadata={"CreationDate": None, "Title": _TITLE})
    return handle.getvalue()


def write_card_pdf(path: Path, *, paper: Paper = "a4") -> None:
    """Write the page with the card, replacing the file in one step.

    Raises:
        OutputError: The file cannot be written, or one is there that is no card.
        UsageError: The name is not that of a PDF.
    """
    suffix = path.suffix.lower()
    if suffix != ".pdf":
        measure = suffix in PHOTO_SUFFIXES
        raise UsageError(
            "the card for printing is a PDF, and this name does not end in .pdf",
            path=path,
            hint="Did you mean leafwane card measure?" if measure else "Name it like card.pdf",
        )
    refuse_to_replace(path, unless=_CARD_PDF, kind="a card that leafwane wrote")
    write_bytes(path, card_pdf(paper), hint=OTHER_FILE)


def _draw_card(page: Axes, x: float, y: float) -> None:
    _draw_square(page, x, y, *CARD_MM, rgb=PAPER_RGB)
    corner = np.array((x, y)) + BORDER_MM
    for rgb, centre in zip(PATCH_RGB, patch_centres_mm() + corner, strict=True):
        left, top = (float(place) for place in centre - PATCH_MM / 2)
        _draw_square(page, left, top, PATCH_MM, PATCH_MM, rgb=rgb)
    for tag_id in CARD_TAGS:
        _draw_tag(page, tag_id, *(card_tag_corners_mm(tag_id)[0] + corner), side=TAG_MM)
    _draw_cut_marks(page, x, y, *CARD_MM)


def _draw_rim_tag(page: Axes, index: int, x: float, y: float) -> None:
    gap = (RIM_SQUARE_MM - RIM_TAG_MM) / 2
    _draw_square(page, x, y, RIM_SQUARE_MM, RIM_SQUARE_MM, rgb=PAPER_RGB)
    _draw_tag(page, RIM_TAGS[index], x + gap, y + gap, side=RIM_TAG_MM)
    _draw_cut_marks(page, x, y, RIM_SQUARE_MM, RIM_SQUARE_MM)
    label = f"{RIM_TAGS[index]}  {_TAG_PLACES[index]}"
    page.text(x + RIM_SQUARE_MM / 2, y + RIM_SQUARE_MM + 9, label, ha="center", va="center", size=8)


def _draw_tag(page: Axes, tag_id: int, x: float, y: float, *, side: float) -> None:
    """Draw a tag: a black square, and its white modules as one outline, so that no seams show between them."""
    _draw_square(page, x, y, side, side, rgb=TAG_BLACK_RGB)
    module = side / TAG_MODULES
    unit = np.asarray(Outline.unit_rectangle().vertices, dtype=np.float64)
    squares = [
        unit * module + (x + column * module, y + row * module)
        for row, column in np.argwhere(tag_bits(tag_id))
    ]
    codes = [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY] * len(squares)
    outline = Outline(np.concatenate(squares), codes)
    page.add_patch(PathPatch(outline, facecolor=_colour(PAPER_RGB), linewidth=0))


def _draw_square(
    page: Axes, x: float, y: float, width: float, height: float, *, rgb: tuple[int, int, int]
) -> None:
    page.add_patch(Rectangle((x, y), width, height, facecolor=_colour(rgb), linewidth=0))


def _draw_cut_marks(page: Axes, x: float, y: float, width: float, height: float) -> None:
    for mark_x, mark_y in _cut_marks(x, y, width, height):
        page.plot(mark_x, mark_y, color="black", linewidth=0.4, solid_capstyle="butt")


def _cut_marks(x: float, y: float, width: float, height: float) -> Iterator[tuple[list[float], list[float]]]:
    """Yield the lines, each as its xs and its ys, that run outward from the corners of a square to cut out."""
    for edge_x, out_x in ((x, -1), (x + width, 1)):
        for edge_y, out_y in ((y, -1), (y + height, 1)):
            near, far = _MARK_GAP_MM, _MARK_GAP_MM + _MARK_MM
            yield [edge_x + out_x * near, edge_x + out_x * far], [edge_y, edge_y]
            yield [edge_x, edge_x], [edge_y + out_y * near, edge_y + out_y * far]


def _draw_ruler(page: Axes, x: float, y: float) -> None:
    for mm in range(RULER_MM + 1):
        length = 6.0 if mm % 10 == 0 else 4.5 if mm % 5 == 0 else 3.0
        page.plot([x + mm, x + mm], [y, y + length], color="black", linewidth=0.35, solid_capstyle="butt")
        if mm % 10 == 0:
            page.text(x + mm, y + 8.5, str(mm), ha="center", va="center", size=7)
    page.plot([x, x + RULER_MM], [y, y], color="black", linewidth=0.35)
    page.text(x + RULER_MM + 4, y + 8.5, "mm", ha="left", va="center", size=7)


def _draw_how_to(page: Axes, x: float) -> None:
    numbered = [f"{number}.  {line}" for number, line in enumerate(_HOW_TO, start=1)]
    for index, line in enumerate([*numbered, "", *_ABOUT_TAGS]):
        page.text(x, _TEXT_Y + index * _LINE_MM, line, ha="left", va="center", size=7.5)


def _colour(rgb: tuple[int, int, int]) -> tuple[float, float, float]:
    return rgb[0] / 255, rgb[1] / 255, rgb[2] / 255

"""The printed page: true size, and nothing cut off."""

import re
import zlib

import numpy as np
import pytest

from leafwane.card import design
from leafwane.card.sheet import PAPER_MM, RULER_MM, card_pdf, sheet_layout, write_card_pdf
from leafwane.errors import OutputError

PT_PER_MM = 72 / 25.4
NUMBER = rb"(-?[\d.]+)"


def page_stream(pdf: bytes) -> bytes:
    """Return the drawing commands of the page: the longest stream that unpacks."""
    streams = []
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            streams.append(zlib.decompress(packed))
        except zlib.error:
            continue
    return max(streams, key=lambda stream: stream.count(b" m\n"))


def filled_boxes(pdf: bytes, page_height_mm: float) -> np.ndarray:
    """Return left, top, right, bottom in mm of every closed outline of four corners, (n, 4)."""
    corner = rb"\s+".join([NUMBER, NUMBER])
    outline = corner + rb" m\s+" + (corner + rb" l\s+") * 3 + rb"h"
    points = np.array(re.findall(outline, page_stream(pdf)), dtype=float).reshape(-1, 4, 2) / PT_PER_MM
    points[..., 1] = page_height_mm - points[..., 1]
    return np.concatenate([points.min(axis=1), points.max(axis=1)], axis=1)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_page_has_the_size_of_the_paper(paper):
    box = re.search(rb"/MediaBox \[([^\]]*)\]", card_pdf(paper))
    assert box
    width, height = (float(number) / PT_PER_MM for number in box[1].split()[2:])
    assert (width, height) == pytest.approx(PAPER_MM[paper], abs=0.01)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_card_patches_and_tags_are_printed_at_true_size(paper):
    layout = sheet_layout(paper)
    boxes = filled_boxes(card_pdf(paper), layout.page[1])
    corner = np.array(layout.card)
    wanted = [np.concatenate([corner, corner + design.CARD_MM])]
    centres = design.patch_centres_mm() + corner + design.BORDER_MM
    wanted += [np.concatenate([centre - 5.5, centre + 5.5]) for centre in centres]
    tags = [design.card_tag_corners_mm(tag_id) + corner + design.BORDER_MM for tag_id in design.CARD_TAGS]
    wanted += [np.concatenate([tag[0], tag[2]]) for tag in tags]
    wanted += [np.concatenate([np.array(place) + 2, np.array(place) + 24]) for place in layout.rim_tags]
    for box in wanted:
        assert np.abs(boxes - box).max(axis=1).min() < 0.01


@pytest.mark.parametrize("paper", PAPER_MM)
def test_ruler_is_as_long_as_it_says(paper):
    layout = sheet_layout(paper)
    segment = rb"\s+".join([NUMBER, NUMBER]) + rb" m\s+" + rb"\s+".join([NUMBER, NUMBER]) + rb" l\s+S"
    lines = np.array(re.findall(segment, page_stream(card_pdf(paper))), dtype=float) / PT_PER_MM
    lines[:, 1::2] = layout.page[1] - lines[:, 1::2]
    ticks = lines[
        (lines[:, 0] == lines[:, 2]) & (np.abs(lines[:, [1, 3]] - layout.ruler[1]).min(axis=1) < 0.01)
    ]
    places = np.sort(ticks[:, 0])
    assert len(places) == RULER_MM + 1
    np.testing.assert_allclose(np.diff(places), 1, atol=0.01)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_nothing_stands_in_the_margin_that_printers_cannot_reach(paper):
    layout = sheet_layout(paper)
    numbers = re.findall(
        rb"^" + NUMBER + rb" " + NUMBER + rb" [ml]$", page_stream(card_pdf(paper)), re.MULTILINE
    )
    points = np.array(numbers, dtype=float) / PT_PER_MM
    page = np.array(layout.page)
    on_edge = (np.abs(points) < 0.01) | (np.abs(points - page) < 0.01)
    drawn = points[~on_edge.any(axis=1)]
    assert len(drawn) > 500
    assert (drawn > 6.35).all()  # common practice: a quarter of an inch
    assert (drawn < page - 6.35).all()


def test_same_page_twice_is_the_same_file():
    assert card_pdf("a4") == card_pdf("a4")


def test_written_file_is_the_page(tmp_path):
    write_card_pdf(tmp_path / "card.pdf", paper="letter")
    assert (tmp_path / "card.pdf").read_bytes() == card_pdf("letter")


def test_place_that_cannot_be_written_is_said(tmp_path):
    with pytest.raises(OutputError):
        write_card_pdf(tmp_path / "no such folder" / "card.pdf")

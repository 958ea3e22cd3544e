"""The surface's corners by the tags on the bin's rim."""

from typing import Final

import cv2
import numpy as np

from leafwane.card.design import RIM_TAG_MM, RIM_TAGS, Points, rim_square_corners_mm
from leafwane.card.edges import fit_edges
from leafwane.card.geometry import project, turns_clockwise
from leafwane.card.tags import Grey, Tag

_BLACK_SQUARE: Final[Points] = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * RIM_TAG_MM


def surface_corners(grey: Grey, tags: list[Tag], to_px: Points) -> Points | None:
    """Return the corners of the surface, (4, 2) photo pixels, clockwise from its top left, or None.

    Each corner is the corner nearest the bin's middle of a tag's white square. Where one of the four tags is not
    seen, its corner is set so that the four are a parallelogram in the card's plane.

    Args:
        grey: The photo, (h, w) 8 bit.
        tags: Tags the right way round, of the rim; each id at most once counts, a doubled one not at all.
        to_px: The card's pose, (3, 3).
    """
    single = {tag.tag_id: tag for tag in tags if sum(other.tag_id == tag.tag_id for other in tags) == 1}
    squares = {tag_id: _white_square(grey, tag) for tag_id, tag in single.items()}
    if len(squares) < 3:
        return None
    middle = _middle({tag_id: square.mean(axis=0) for tag_id, square in squares.items()})
    inner = {tag_id: _nearest(square, middle) for tag_id, square in squares.items()}
    corners = _completed(inner, to_px)
    return corners if turns_clockwise(corners) else None


def _white_square(grey: Grey, tag: Tag) -> Points:
    rough = cv2.getPerspectiveTransform(_BLACK_SQUARE.astype(np.float32), tag.corners.astype(np.float32))
    to_px = np.asarray(rough, dtype=np.float64)
    fit = fit_edges(grey, to_px, [_BLACK_SQUARE])
    return project(fit.to_px if fit else to_px, rim_square_corners_mm())


def _middle(centres: dict[int, Points]) -> Points:
    """Return the bin's middle: between two tags that lie across from each other, as seen."""
    across = [
        (centres[one] + centres[other]) / 2
        for one, other in zip(RIM_TAGS[:2], RIM_TAGS[2:], strict=True)
        if one in centres and other in centres
    ]
    return np.asarray(np.mean(across, axis=0), dtype=np.float64)


def _nearest(square: Points, middle: Points) -> Points:
    return np.asarray(square[int(np.argmin(np.linalg.norm(square - middle, axis=1)))])


def _completed(inner: dict[int, Points], to_px: Points) -> Points:
    """Return the four corners in order, a missing one completed."""
    missing = [index for index, tag_id in enumerate(RIM_TAGS) if tag_id not in inner]
    corners = np.array([inner.get(tag_id, (np.nan, np.nan)) for tag_id in RIM_TAGS], dtype=np.float64)
    for index in missing:
        flat = project(np.asarray(np.linalg.inv(to_px), dtype=np.float64), corners)
        fourth = flat[index - 1] + flat[(index + 1) % 4] - flat[(index + 2) % 4]
        corners[index] = project(to_px, fourth[None])[0]
    return corners

"""From tags to the card's pose: which tags agree, where the unread ones must be, and the pose on their edges."""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import cv2
import numpy as np

from leafwane.card.design import (
    BORDER_MM,
    CARD_MM,
    CARD_TAGS,
    Points,
    card_image,
    card_outline_mm,
    card_tag_corners_mm,
)
from leafwane.card.edges import fit_edges
from leafwane.card.geometry import homography, project, turns_clockwise
from leafwane.card.tags import Grey, Tag

_AGREE: Final = 0.3  # of a tag's side: how far from its place a tag of the same card may seem to be
_SCALE: Final = 4  # px per mm of the picture in which unread tags are looked for
_MARGIN_MM: Final = 12  # round the card in that picture
_LIKENESS: Final = 0.6  # correlation with the print that confirms a tag
_SHIFT_MM: Final = 5  # how far from its place an unread tag is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Where the card lies.

    Attributes:
        to_px: (3, 3) homography from card mm to photo pixels.
        tags: The card's tags that were read or confirmed.
        misfit_mm: What is left between the tags' edges and the pose; large where the card is bent.
        blur_px: Sigma of a sharp edge in the photo.
        strays: Card tags that were read elsewhere: parts of another card.
    """

    to_px: Points
    tags: tuple[int, ...]
    misfit_mm: float
    blur_px: float
    strays: tuple[Tag, ...]


def find_pose(grey: Grey, tags: list[Tag]) -> Pose | None:
    """Return the card's pose by the tags read in a photo, or None where two tags cannot be confirmed.

    Args:
        grey: The photo, (h, w) 8 bit.
        tags: Tags the right way round, of the card.
    """
    group = _agreeing(tags)
    if not group:
        return None
    corners = {tag.tag_id: tag.corners for tag in group}
    strays = tuple(tag for tag in tags if tag not in group and not _same_place(tag, corners))
    to_px = _pose_of(corners)
    for _ in range(2):
        if (
            to_px is None
            or len(corners) == len(CARD_TAGS)
            or not turns_clockwise(project(to_px, card_outline_mm()))
        ):
            break
        corners |= _confirm(grey, to_px, corners)
        to_px = _pose_of(corners)
    if to_px is None or len(corners) < 2 or not turns_clockwise(project(to_px, card_outline_mm())):
        return None
    fit = fit_edges(grey, to_px, [card_tag_corners_mm(tag_id) for tag_id in corners])
    if fit is None or not turns_clockwise(project(fit.to_px, card_outline_mm())):
        return None
    return Pose(
        to_px=fit.to_px,
        tags=tuple(sorted(corners)),
        misfit_mm=fit.misfit_mm,
        blur_px=fit.blur_px,
        strays=strays,
    )


def _side(tag: Tag) -> float:
    return float(np.linalg.norm(np.roll(tag.corners, -1, axis=0) - tag.corners, axis=1).mean())


def _agreeing(tags: list[Tag]) -> tuple[Tag, ...]:
    """Return the largest set of tags, one of each id, that one flat card explains; one tag if no two agree."""
    best: tuple[Tag, ...] = tuple(tags[:1])
    for pair in combinations(tags, 2):
        if pair[0].tag_id == pair[1].tag_id:
            continue
        to_px = _pose_of({tag.tag_id: tag.corners for tag in pair})
        if to_px is None:
            continue
        group = {tag.tag_id: tag for tag in tags if _misplaced(to_px, tag) < _AGREE}
        if len(group) > len(best) and all(tag.tag_id in group for tag in pair):
            best = tuple(group.values())
    return best


def _misplaced(to_px: Points, tag: Tag) -> float:
    """Return how far a tag is from where a pose wants it, over its side."""
    gap = project(to_px, card_tag_corners_mm(tag.tag_id)) - tag.corners
    return float(np.linalg.norm(gap, axis=1).max()) / _side(tag)


def _same_place(tag: Tag, corners: dict[int, Points]) -> bool:
    known = corners.get(tag.tag_id)
    return known is not None and float(np.linalg.norm(known.mean(0) - tag.corners.mean(0))) < _side(tag) / 2


def _pose_of(corners: dict[int, Points]) -> Points | None:
    design = np.concatenate([card_tag_corners_mm(tag_id) for tag_id in corners])
    return homography(design, np.concatenate(list(corners.values())))


def _confirm(grey: Grey, to_px: Points, known: dict[int, Points]) -> dict[int, Points]:
    """Return the corners of tags that were not read, but that look like the print close to where they must be."""
    flat = np.array([(_SCALE, 0, 0), (0, _SCALE, 0), (0, 0, 1.0)])
    flat[:2, 2] = _SCALE * (BORDER_MM + _MARGIN_MM) - 0.5
    size = [round(_SCALE * (side + 2 * _MARGIN_MM)) for side in CARD_MM]
    view = cv2.warpPerspective(
        grey, to_px @ np.linalg.inv(flat), size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    print_ = cv2.cvtColor(card_image(_SCALE), cv2.COLOR_RGB2GRAY)
    found = {}
    for tag_id in CARD_TAGS:
        if tag_id in known:
            continue
        place = card_tag_corners_mm(tag_id)
        low = np.round(_SCALE * (place[0] - 2 + BORDER_MM)).astype(int)
        high = np.round(_SCALE * (place[2] + 2 + BORDER_MM)).astype(int)
        template = print_[low[1] : high[1], low[0] : high[0]]
        slack = _SCALE * _SHIFT_MM
        low, high = low + _SCALE * _MARGIN_MM - slack, high + _SCALE * _MARGIN_MM + slack
        likeness = cv2.matchTemplate(view[low[1] : high[1], low[0] : high[0]], template, cv2.TM_CCOEFF_NORMED)
        _, best, _, peak = cv2.minMaxLoc(likeness)
        if best > _LIKENESS:
            found[tag_id] = project(to_px, place + (np.array(peak) - slack) / _SCALE)
    return found

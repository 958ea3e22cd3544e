"""From tags to the card's pose: which tags agree, where the unread ones must be, and the pose on their edges."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from leafwane.card.align import compare, pull
from leafwane.card.design import CARD_TAGS, Points, card_outline_mm, card_tag_corners_mm
from leafwane.card.edges import fit_edges
from leafwane.card.geometry import homography, project, turns_clockwise
from leafwane.card.tags import Grey, Tag

_AGREE: Final = 0.3  # of a tag's side: how far from its place a tag of the same card may seem to be
_PULLS: Final = 3
_FITS: Final = 2
_FEWEST_TAGS: Final = 2
_FEWEST_BLOCKS: Final = 4  # of eight
_TAG_OFF_MM: Final = 0.6
_PATCHES_OFF_MM: Final = 1.5  # the middle of a bent card stands nearer to the lens, and is still the card


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
    strays = tuple(tag for tag in tags if tag not in group and not any(map(tag.same_as, group)))
    for rough in (_pose_of(corners), _affine_of(corners)):
        pose = _on_edges(grey, rough, corners, strays)
        if pose is not None:
            return pose
    return None


def _on_edges(grey: Grey, rough: Points | None, read: Iterable[int], strays: tuple[Tag, ...]) -> Pose | None:
    """Return the pose that a rough one leads to, or None where it leads to no card."""
    to_px = _onto_print(grey, rough)
    if to_px is None:
        return None
    fit = None
    for _ in range(_FITS):  # the first fit may bring in a tag that was too far off to be confirmed
        confirmed = sorted({*read, *compare(grey, to_px).tags_seen()})
        if len(confirmed) < _FEWEST_TAGS:
            return None
        fit = fit_edges(grey, to_px, [card_tag_corners_mm(tag_id) for tag_id in confirmed])
        if fit is None:
            return None
        to_px = fit.to_px
    if fit is None or not _is_the_card(grey, to_px):
        return None
    return Pose(
        to_px=fit.to_px,
        tags=tuple(confirmed),
        misfit_mm=fit.misfit_mm,
        blur_px=fit.blur_px,
        strays=strays,
    )


def _onto_print(grey: Grey, to_px: Points | None) -> Points | None:
    """Return the pose pulled onto the whole card, from the blocks near its tags outward."""
    for _ in range(_PULLS):
        if to_px is None or not turns_clockwise(project(to_px, card_outline_mm())):
            return None
        to_px = pull(to_px, compare(grey, to_px))
    return to_px


def _is_the_card(grey: Grey, to_px: Points) -> bool:
    """Return whether the photo shows the card where a pose wants it, and nowhere a little beside."""
    if not turns_clockwise(project(to_px, card_outline_mm())):
        return False
    likeness = compare(grey, to_px)
    off = np.hypot(*likeness.shift_mm.T)
    limit = np.where(np.arange(len(off)) < len(CARD_TAGS), _TAG_OFF_MM, _PATCHES_OFF_MM)
    astray = likeness.seen & (off > limit)
    return int(likeness.seen.sum()) >= _FEWEST_BLOCKS and not bool(astray.any())


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
    return float(np.linalg.norm(gap, axis=1).max()) / tag.side_px


def _pose_of(corners: dict[int, Points]) -> Points | None:
    design = np.concatenate([card_tag_corners_mm(tag_id) for tag_id in corners])
    return homography(design, np.concatenate(list(corners.values())))


def _affine_of(corners: dict[int, Points]) -> Points:
    """Return the pose without perspective, which one tag's corners, one of them under a crumb, give more safely."""
    design = np.concatenate([card_tag_corners_mm(tag_id) for tag_id in corners])
    terms = np.column_stack([design, np.ones(len(design))])
    answer = np.linalg.lstsq(terms, np.concatenate(list(corners.values())), rcond=None)[0]
    return np.vstack([answer.T, (0, 0, 1)])

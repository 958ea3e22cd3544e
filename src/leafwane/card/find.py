"""Finding the card in a photo: tags, pose, patches, rim, and what is in doubt about them."""

from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.chart24 import find_chart
from leafwane.card.design import (
    CARD_TAGS,
    GRID_MM,
    KIND,
    PATCH_MM,
    PATCH_NAMES,
    PatchValues,
    card_outline_mm,
    card_tag_corners_mm,
    patch_centres_mm,
    reference_rgb,
)
from leafwane.card.geometry import project, px_per_mm, tilt_deg
from leafwane.card.patches import PatchTable, patch_doubts, rank_agreement, sample_patches
from leafwane.card.pose import Pose, find_pose
from leafwane.card.rim import surface_corners
from leafwane.card.sighting import Sighting, view_doubts
from leafwane.card.tags import Grey, Tag, read_tags, views
from leafwane.errors import CardError
from leafwane.flags import NOTES, Flag, raised

_MIDDLE_MM: Final = np.array(GRID_MM) / 2
_AGREEMENT: Final = 0.5  # rank correlation of the patches' lightness below which this is not our card
_BENT_MM: Final = 0.2  # a card 100 mm long that stands up by 9 mm in its middle leaves this much
_BLURRED_MM: Final = 0.5
_SMEARED_MM: Final = 0.7  # from here on rendered bins were seen to read up to 31 points off
_EDGE_PX: Final = 2
_FEW_PX: Final = 800  # of a photo's longer side; phones take none, but messages make such copies
_LIKE_FEW_PX: Final = Flag.SMALL_CARD | Flag.BLURRED | Flag.GRAINY  # what a photo made small looks like


def find_card(
    pixels: npt.NDArray[np.uint8],
    *,
    values: PatchValues | None = None,
    chart_width_mm: float | None = None,
) -> Sighting:
    """Find the reference card, or a 24-patch colour chart in its stead.

    Args:
        pixels: The photo, (h, w, 3) 8-bit sRGB, upright.
        values: The card's own colours by patch name, encoded sRGB, 0..1, if they were measured; else the nominal ones.
        chart_width_mm: Width over the six patches of a 24-patch chart that stands in for the card, if it is known.

    What few pixels bring about is laid to them: whether the card was near and the hand still, only the photo at full size tells.

    Raises:
        CardError: No card that can be used; `flag` says why: NO_CARD, MIRRORED_CARD, TWO_CARDS, CARD_CUT_OFF or TOO_SMALL.
    """
    few_pixels = max(pixels.shape[:2]) < _FEW_PX
    try:
        found = _find(pixels, values, chart_width_mm)
    except CardError as error:
        if few_pixels:
            raise _for_few_pixels(error) from None
        raise
    if few_pixels and found.flags & _LIKE_FEW_PX:
        return replace(found, flags=found.flags & ~_LIKE_FEW_PX | Flag.FEW_PIXELS)
    return found


def _for_few_pixels(error: CardError) -> CardError:
    """Return the error that serves a photo of few pixels: in it a card may seem to be two, or none."""
    if error.flag == Flag.TWO_CARDS:
        return _error(Flag.TOO_SMALL)
    if error.flag == Flag.NO_CARD:
        hint = "Lay the card flat on the surface, wholly in the picture, and send the photo at full size"
        return CardError(error.what, flag=error.flag, hint=hint)
    return error


def _find(
    pixels: npt.NDArray[np.uint8], values: PatchValues | None, chart_width_mm: float | None
) -> Sighting:
    grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    seen: list[Tag] = []
    found: Sighting | None = None
    for view, scale in views(grey):
        fresh = _not_yet_seen(read_tags(view, scale), seen)
        seen += fresh
        plain = [tag for tag in seen if not tag.mirrored]
        pose = find_pose(grey, [tag for tag in plain if tag.tag_id in CARD_TAGS]) if fresh else None
        if pose is None:
            continue
        _refuse_second_card(pose)
        found = _sighting(pixels, grey, pose, plain, values) or found
        if found is not None and Flag.FEW_RIM_TAGS not in found.flags:
            return found
    if found is not None:
        return found
    if any(tag.tag_id in CARD_TAGS for tag in seen):
        raise _why_none(seen, grey.shape)
    return _chart_or_none(pixels, chart_width_mm)


def _chart_or_none(pixels: npt.NDArray[np.uint8], width_mm: float | None) -> Sighting:
    """Return the 24-patch chart, where that is in the photo instead of our card."""
    try:
        return find_chart(pixels, width_mm=width_mm)
    except CardError:
        raise _error(Flag.NO_CARD) from None


def _not_yet_seen(tags: list[Tag], seen: list[Tag]) -> list[Tag]:
    """Return the tags that were not read before at about the same place."""
    return [tag for tag in tags if not any(tag.same_as(other) for other in seen)]


def _sighting(
    pixels: npt.NDArray[np.uint8], grey: Grey, pose: Pose, tags: list[Tag], values: PatchValues | None
) -> Sighting | None:
    """Return what the photo shows of the card at a pose, or None where it is not our card after all."""
    table = PatchTable(
        names=PATCH_NAMES,
        reference=reference_rgb(values),
        nominal=reference_rgb(),
        centres_mm=patch_centres_mm(),
        side_mm=PATCH_MM,
    )
    patches = sample_patches(pixels, pose.to_px, table)
    if rank_agreement(patches) < _AGREEMENT:
        return None
    on_rim = [tag for tag in tags if tag.tag_id not in CARD_TAGS]
    sighting = Sighting(
        kind=KIND,
        corners=project(pose.to_px, card_outline_mm()),
        to_px=pose.to_px,
        mm_per_px=1 / px_per_mm(pose.to_px, _MIDDLE_MM),
        tilt_deg=tilt_deg(pose.to_px, (grey.shape[1], grey.shape[0])),
        blur_px=pose.blur_px,
        n_tags=len(pose.tags),
        patches=patches,
        rim=surface_corners(grey, on_rim, pose.to_px),
        flags=Flag(0),
    )
    return replace(sighting, flags=_doubts(sighting, pose, grey, n_rim_tags=len(on_rim)))


def _doubts(sighting: Sighting, pose: Pose, grey: Grey, *, n_rim_tags: int) -> Flag:
    """Return what is in doubt about a card found."""
    limits = np.array(grey.shape[::-1]) - 1
    corners = sighting.corners
    blur_mm = sighting.blur_px * sighting.mm_per_px
    doubts = {
        # a hand that moves bends all cards
        Flag.BENT_CARD: pose.misfit_mm > _BENT_MM and not blur_mm > _BLURRED_MM,
        Flag.CARD_CUT_OFF: bool(((corners < -_EDGE_PX) | (corners > limits + _EDGE_PX)).any()),
        Flag.FEW_TAGS: len(pose.tags) < len(CARD_TAGS),
        Flag.FEW_RIM_TAGS: n_rim_tags > 0 and sighting.rim is None,
        Flag.BLURRED: _BLURRED_MM < blur_mm <= _SMEARED_MM,
        Flag.SMEARED: blur_mm > _SMEARED_MM,
    }
    seen = view_doubts(mm_per_px=sighting.mm_per_px, tilt_deg=sighting.tilt_deg)
    return patch_doubts(sighting.patches) | seen | raised(doubts)


def _refuse_second_card(pose: Pose) -> None:
    if pose.strays:
        raise _error(Flag.TWO_CARDS)


def _why_none(seen: list[Tag], shape: tuple[int, ...]) -> CardError:
    """Return the error that says best why no card was found."""
    mirrored = {tag.tag_id for tag in seen if tag.mirrored and tag.tag_id in CARD_TAGS}
    plain = [tag for tag in seen if not tag.mirrored and tag.tag_id in CARD_TAGS]
    if len(mirrored) >= 2 and len(mirrored) > len({tag.tag_id for tag in plain}):
        return _error(Flag.MIRRORED_CARD)
    if plain and not any(_whole(tag, shape) for tag in plain):
        return _error(Flag.CARD_CUT_OFF)
    if plain:
        return CardError(
            "only one corner tag of the reference card can be read",
            flag=Flag.NO_CARD,
            hint="Brush crumbs off the card, lay it wholly in the picture, and take the photo again",
        )
    return _error(Flag.NO_CARD)


def _whole(tag: Tag, shape: tuple[int, ...]) -> bool:
    """Return whether the card that a tag belongs to would lie wholly in the photo, as far as one tag can tell."""
    affine, _ = cv2.estimateAffinePartial2D(card_tag_corners_mm(tag.tag_id), tag.corners)
    outline = card_outline_mm() @ affine[:, :2].T + affine[:, 2]
    return bool(((outline >= 0) & (outline <= np.array(shape[::-1]) - 1)).all())


def _error(flag: Flag) -> CardError:
    note = NOTES[flag]
    return CardError(note.meaning, flag=flag, hint=note.advice)

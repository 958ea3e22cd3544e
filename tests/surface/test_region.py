"""Which pixels count: rim tags before outline before the whole photo, and never the card."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.small_photos import card_photo
from leafwane.card.find import find_card
from leafwane.errors import CardError
from leafwane.flags import NOT_IN_CURVE, Flag
from leafwane.surface.region import extent, find_region


@pytest.fixture(scope="module")
def seen():
    pixels = np.asarray(card_photo())
    return pixels.shape[:2], find_card(pixels)


def test_the_whole_photo_less_the_card(seen):
    shape, sighting = seen
    region = find_region(shape, sighting, scale=1.0)
    assert region.source == "photo"
    assert Flag.WHOLE_PHOTO in region.flags
    x, y = sighting.corners.mean(axis=0).astype(int)
    assert not region.mask[y, x]
    assert region.mask.sum() + region.card.sum() == region.mask.size


def test_rim_tags_that_tell_no_surface_are_told_by_one_flag(seen):
    """It would be no help to be told that there are no tags and that there are too few."""
    shape, sighting = seen
    region = find_region(shape, replace(sighting, flags=Flag.FEW_RIM_TAGS), scale=1.0)
    assert (region.source, region.flags) == ("photo", Flag(0))
    assert Flag.FEW_RIM_TAGS in NOT_IN_CURVE


def test_the_surface_begins_a_little_inside_the_rim(seen):
    """Right at the rim, pixels hold rim, shadow and surface; read as leaf they would join pieces all around the bin."""
    shape, sighting = seen
    height, width = shape
    rim = np.array([(60, 60), (width - 60, 60), (width - 60, height - 60), (60, height - 60)], float)
    region = find_region(shape, replace(sighting, rim=rim), scale=1.0)
    assert not region.mask[:61].any()
    assert not region.mask[:, :61].any()
    assert (region.mask | region.card)[60:-60, 60:-60].mean() > 0.98


def test_rim_tags_go_before_an_outline(seen):
    shape, sighting = seen
    height, width = shape
    rim = np.array([(0, 0), (width / 2, 0), (width / 2, height), (0, height)])
    outline = ((0.5, 0.0), (1.0, 0.0), (1.0, 1.0), (0.5, 1.0))
    by_rim = find_region(shape, replace(sighting, rim=rim), scale=1.0, polygon=outline)
    by_outline = find_region(shape, sighting, scale=1.0, polygon=outline)
    assert (by_rim.source, by_outline.source) == ("rim", "outline")
    both = (by_rim.mask & by_outline.mask).sum()
    assert both <= 2 * height


def test_scale_moves_corners_along(seen):
    shape, sighting = seen
    half = (shape[0] // 2, shape[1] // 2)
    full_share = find_region(shape, sighting, scale=1.0).card.mean()
    half_share = find_region(half, sighting, scale=0.5).card.mean()
    assert half_share == pytest.approx(full_share, rel=0.03)


def test_a_sliver_of_surface_is_flagged(seen):
    shape, sighting = seen
    sliver = ((0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.0, 0.1))
    assert Flag.SMALL_SURFACE in find_region(shape, sighting, scale=1.0, polygon=sliver).flags


@pytest.mark.parametrize(
    ("side", "refused"), [(0.0, True), (0.19, True), (0.21, False)]
)  # of a surface of 26 by 20 cm; 20 cm2 are a square of 0.196
@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_hardly_any_surface_is_refused_whatever_the_scale(seen, scale, side, refused):
    (height, width), sighting = seen
    shape = (round(scale * height), round(scale * width))
    outline = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))
    region = find_region(shape, sighting, scale=scale, polygon=outline)
    if not refused:
        region.refuse_if_tiny(px_per_mm=scale / sighting.mm_per_px)
        return
    with pytest.raises(CardError, match=r"no surface is left within the outline.*\(under 20 cm2\)") as error:
        region.refuse_if_tiny(px_per_mm=scale / sighting.mm_per_px)
    assert error.value.flag == Flag.SMALL_SURFACE
    assert error.value.hint.startswith("Outline the whole surface in trial.toml")


def test_where_the_size_of_a_pixel_is_not_known_only_an_empty_surface_is_refused(seen):
    shape, sighting = seen
    region = find_region(shape, sighting, scale=1.0)
    region.refuse_if_tiny(px_per_mm=float("nan"))
    with pytest.raises(CardError, match="no surface is left beside the card"):
        replace(region, mask=region.card & ~region.card).refuse_if_tiny(px_per_mm=float("nan"))


def test_the_extent_holds_the_mask_and_its_margin_within_the_picture():
    mask = np.zeros((40, 60), bool)
    mask[12:20, 5:31] = True
    mask[15, 8] = False
    assert extent(mask) == (slice(12, 20), slice(5, 31))
    rows, cols = extent(mask, 7)
    assert mask[rows, cols].shape == (22, 38)
    assert mask[rows, cols].sum() == mask.sum()

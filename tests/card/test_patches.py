"""Reading patches: what is trusted, what is left out, and why."""

import numpy as np
import pytest

from leafwane.card import design
from leafwane.card.patches import PatchTable, Reason, rank_agreement, sample_patches

SCALE = 6
TO_PX = np.array([(SCALE, 0, SCALE * 4 - 0.5), (0, SCALE, SCALE * 4 - 0.5), (0, 0, 1.0)])
TABLE = PatchTable(
    names=design.PATCH_NAMES,
    reference=design.reference_rgb(),
    nominal=design.reference_rgb(),
    centres_mm=design.patch_centres_mm(),
    side_mm=design.PATCH_MM,
)


def spot(name: str, part: slice = slice(None)) -> tuple[slice, slice]:
    """Return where a patch stands in the card's picture, or a part of its columns."""
    x, y = (TABLE.centres_mm[TABLE.names.index(name)] + 4 - 5.5) * SCALE
    columns = range(int(x), int(x) + 66)[part]
    return slice(int(y), int(y) + 66), slice(columns[0], columns[-1] + 1)


def sampled(card):
    patches = sample_patches(card, TO_PX, TABLE)
    return patches, dict(zip(patches.names, patches.left_out, strict=True))


def test_clean_card_is_read_as_printed_and_used_wholly():
    patches, left_out = sampled(design.card_image(SCALE))
    np.testing.assert_allclose(patches.measured, patches.reference, atol=1e-9)
    assert patches.used.all()
    assert not any(left_out.values())
    assert rank_agreement(patches) == pytest.approx(1, abs=0.01)


def test_noise_neither_moves_nor_drops_patches():
    noise = np.random.default_rng(1).normal(0, 15, (480, 624, 3))
    noisy = np.clip(0.8 * design.card_image(SCALE) + 20 + noise, 0, 255).astype(np.uint8)
    patches, _ = sampled(noisy)
    assert patches.used.all()
    np.testing.assert_allclose(patches.measured, 0.8 * patches.reference + 20 / 255, atol=0.012)


def test_crumbs_on_a_third_of_a_patch_leave_its_colour():
    card = design.card_image(SCALE)
    card[spot("tan", slice(22))] = (50, 40, 30)
    patches, left_out = sampled(card)
    index = patches.names.index("tan")
    assert left_out["tan"] == ""
    np.testing.assert_allclose(patches.measured[index], patches.reference[index], atol=0.01)


@pytest.mark.parametrize(
    ("name", "part", "colour", "reason"),
    [
        ("russet", slice(None), (255, 200, 120), Reason.BURNT),
        ("red", slice(None), (150, 0, 30), Reason.DROWNED),
        ("straw", slice(33), (90, 85, 75), Reason.SHADOW_EDGE),
        ("top grey 2", slice(None), (60, 45, 35), Reason.ODD),
        ("olive", slice(None), (225, 222, 220), Reason.ODD),
    ],
)
def test_spoilt_patch_is_left_out_and_said_why(name, part, colour, reason):
    card = design.card_image(SCALE)
    card[spot(name, part)] = colour
    patches, left_out = sampled(card)
    assert left_out == dict.fromkeys(patches.names, "") | {name: reason}
    assert not patches.used[patches.names.index(name)]


def test_patch_strewn_with_crumbs_is_dirty():
    card = design.card_image(SCALE)
    rows, columns = spot("leaf yellow")
    crumbs = np.random.default_rng(2).random((11, 11)) < 0.5
    card[rows, columns][np.kron(crumbs, np.ones((6, 6), dtype=bool))] = (60, 45, 35)
    assert sampled(card)[1]["leaf yellow"] == Reason.DIRTY


def test_patch_outside_the_photo_has_no_colour():
    card = np.ascontiguousarray(design.card_image(SCALE)[:, :500])
    patches, left_out = sampled(card)
    assert left_out["olive"] == Reason.OUT
    assert np.isnan(patches.measured[patches.names.index("olive")]).all()


def test_another_picture_does_not_rank_as_the_card():
    picture = np.random.default_rng(3).integers(0, 256, (480, 624, 3), dtype=np.uint8)
    assert abs(rank_agreement(sampled(picture)[0])) < 0.6

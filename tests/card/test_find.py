"""Finding the card in photos good and bad."""

import cv2
import numpy as np
import pytest

from fixtures.studies.finding import Shot, corner_error, take
from leafwane.card.design import GRID_MM, card_image, patch_centres_mm, rim_tag_image
from leafwane.card.find import find_card
from leafwane.card.geometry import project, px_per_mm
from leafwane.card.tags import read_tags, views
from leafwane.errors import CardError
from leafwane.flags import NOTES, Flag


def test_corners_are_found_to_a_small_part_of_a_pixel():
    errors = [corner_error(find_card(taken.pixels), taken) for taken in (take(Shot(), n) for n in range(3))]
    assert max(errors) < 0.1


@pytest.mark.parametrize(
    "shot",
    [
        Shot(length_px=220),
        Shot(blur_px=2),
        Shot(noise=25),
        Shot(tilt_deg=35),
        Shot(exposure_ev=-2),
        Shot(exposure_ev=1),
        Shot(shade=0.25),
        Shot(shade=0.08),
        Shot(dirt=0.05),
        Shot(dirt=0.2),
        Shot(length_px=220, blur_px=1.2, noise=8, tilt_deg=25, exposure_ev=-1, shade=0.5, dirt=0.03),
    ],
    ids=repr,
)
def test_card_is_found_to_half_a_pixel_in_a_poor_photo(shot):
    taken = take(shot, 11)
    assert corner_error(find_card(taken.pixels), taken) < 0.5


def test_two_tags_are_enough():
    for seed in range(4):
        taken = take(Shot(hidden_tags=2), seed)
        sighting = find_card(taken.pixels)
        assert sighting.n_tags == 2
        assert corner_error(sighting, taken) < 1


def test_size_and_tilt_are_those_of_the_camera():
    taken = take(Shot(tilt_deg=30, length_px=416), 4)
    sighting = find_card(taken.pixels)
    assert sighting.mm_per_px == pytest.approx(1 / px_per_mm(taken.to_px, np.array(GRID_MM) / 2), rel=1e-3)
    assert sighting.tilt_deg == pytest.approx(30, abs=0.5)
    assert Flag.TILTED in sighting.flags
    assert find_card(take(Shot(tilt_deg=0, length_px=416), 4).pixels).mm_per_px == pytest.approx(
        0.25, rel=1e-3
    )


def test_good_photo_has_no_flags():
    sighting = find_card(take(Shot(), 1).pixels)
    assert sighting.flags == Flag(0)
    assert sighting.n_tags == 4
    assert sighting.patches.used.all()
    assert sighting.rim is None


@pytest.mark.parametrize(
    ("shot", "flag"),
    [
        (Shot(n_cards=0), Flag.NO_CARD),
        (Shot(hidden_tags=3), Flag.NO_CARD),
        (Shot(mirrored=True), Flag.MIRRORED_CARD),
        (Shot(n_cards=2, length_px=300), Flag.TWO_CARDS),
    ],
    ids=repr,
)
def test_what_cannot_be_used_is_told_apart(shot, flag):
    with pytest.raises(CardError) as refused:
        find_card(take(shot, 2).pixels)
    assert refused.value.flag == flag
    assert refused.value.hint


@pytest.mark.parametrize(
    ("shot", "flag"),
    [
        (Shot(bend_mm=12), Flag.BENT_CARD),
        (Shot(hidden_tags=1), Flag.FEW_TAGS),
        (Shot(length_px=200), Flag.SMALL_CARD),
        (Shot(blur_px=4), Flag.BLURRED),
        (Shot(exposure_ev=2), Flag.CLIPPED),
        (Shot(exposure_ev=-3), Flag.DARK),
        (Shot(exposure_ev=-6), Flag.TOO_DARK),
        (Shot(shade=0.3), Flag.PATCHES_LEFT_OUT),
    ],
    ids=repr,
)
def test_doubt_is_flagged_and_does_not_block(shot, flag):
    assert flag in find_card(take(shot, 3).pixels).flags
    assert not NOTES[flag].blocks


@pytest.mark.parametrize(
    ("light", "lifted", "flag"),
    [
        (0.6, 0, Flag(0)),
        (0.3, 0, Flag.DARK),
        (0.22, 0, Flag.DARK),
        (0.14, 0, Flag.TOO_DARK),
        (0.06, 0, Flag.TOO_DARK),
        (1.2, 45, Flag(0)),  # rich in contrast: black is lost, white is not
    ],
)
def test_a_dark_photo_is_too_dark_where_its_dark_tones_are_lost(light, lifted, flag):
    pixels = darkened(take(Shot(), 1).pixels, light, lifted)
    assert find_card(pixels).flags & (Flag.DARK | Flag.TOO_DARK) == flag


def darkened(pixels: np.ndarray, light: float, lifted: float) -> np.ndarray:
    """Return a photo in `light` times its light, its black lowered by `lifted` levels before."""
    return np.clip(light * (pixels.astype(np.float64) - lifted), 0, 255).astype(np.uint8)


def made_small(pixels: np.ndarray, side: int) -> np.ndarray:
    scale = side / max(pixels.shape)
    return np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))


@pytest.mark.parametrize(("side", "few"), [(810, False), (790, True), (480, True), (360, True)])
def test_what_a_photo_made_small_looks_like_is_laid_to_its_few_pixels(side, few):
    flags = find_card(made_small(bin_with_rim_tags()[0], side)).flags
    assert flags & (Flag.SMALL_CARD | Flag.BLURRED | Flag.GRAINY) == (Flag(0) if few else Flag.SMALL_CARD)
    assert (Flag.FEW_PIXELS in flags) == few


def test_a_small_photo_of_a_near_card_lacks_no_pixels():
    assert find_card(take(Shot(size=(780, 580), length_px=420), 1).pixels).flags == Flag(0)


@pytest.mark.parametrize(
    ("shot", "flag", "advice"),
    [
        (Shot(size=(790, 590), n_cards=2, length_px=300), Flag.TOO_SMALL, "at full size"),
        (Shot(n_cards=2, length_px=300), Flag.TWO_CARDS, "one card"),
        (Shot(size=(790, 590), n_cards=0), Flag.NO_CARD, "at full size"),
        (Shot(n_cards=0), Flag.NO_CARD, "take the photo again"),
        (Shot(size=(790, 590), mirrored=True), Flag.MIRRORED_CARD, "mirror"),
    ],
    ids=repr,
)
def test_a_photo_of_few_pixels_is_asked_for_at_full_size(shot, flag, advice):
    with pytest.raises(CardError) as refused:
        find_card(take(shot, 2).pixels)
    assert refused.value.flag == flag
    assert advice in refused.value.hint


def test_card_that_reaches_out_of_the_photo_is_said():
    taken = take(Shot(), 5)
    first_patch = project(taken.to_px, patch_centres_mm())[:, 0].min()
    little = find_card(np.ascontiguousarray(taken.pixels[:, int(first_patch) :]))
    assert Flag.CARD_CUT_OFF in little.flags
    assert "out of the photo" in little.patches.left_out
    corner = np.full((700, 900, 3), (80, 60, 45), np.uint8)
    corner[-150:, -180:] = card_image(4)[:150, :180]
    with pytest.raises(CardError) as refused:
        find_card(corner)
    assert refused.value.flag == Flag.CARD_CUT_OFF


def test_no_card_is_seen_where_there_is_none():
    rng = np.random.default_rng(0)
    pictures = [
        np.zeros((1, 1, 3), np.uint8),
        np.zeros((400, 600, 3), np.uint8),
        np.full((400, 600, 3), 255, np.uint8),
        rng.integers(0, 256, (600, 800, 3), dtype=np.uint8),
        np.kron(rng.integers(0, 2, (60, 80, 1), dtype=np.uint8) * 255, np.ones((10, 10, 3), np.uint8)),
    ]
    for pixels in pictures:
        with pytest.raises(CardError) as refused:
            find_card(pixels)
        assert refused.value.flag == Flag.NO_CARD


def test_no_tag_is_read_where_there_is_none():
    for seed, noise in enumerate((3, 15, 30)):
        pixels = take(Shot(n_cards=0, noise=noise), 100 + seed).pixels
        grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))
        assert not [tag for view, scale in views(grey) for tag in read_tags(view, scale)]


def test_tags_without_the_card_between_them_are_no_card():
    """The four tags alone, on brown, with nothing where the patches should be."""
    card = card_image(4)
    middle = card.copy()
    middle[:, 110:306] = (70, 50, 40)
    middle[110:210] = (70, 50, 40)
    pixels = np.full((700, 900, 3), (70, 50, 40), np.uint8)
    pixels[200 : 200 + card.shape[0], 200 : 200 + card.shape[1]] = middle
    with pytest.raises(CardError):
        find_card(pixels)


def bin_with_rim_tags(*, hidden: tuple[int, ...] = ()) -> tuple[np.ndarray, np.ndarray]:
    """Return a bin seen from above at 3 px/mm, and the corners of its surface in pixels."""
    pixels = np.full((1000, 1300, 3), (60, 70, 60), np.uint8)
    pixels[150:850, 150:1150] = (80, 60, 45)
    card = card_image(3)
    pixels[400 : 400 + card.shape[0], 500 : 500 + card.shape[1]] = card
    for index, (x, y) in enumerate([(72, 72), (1150, 72), (1150, 850), (72, 850)]):
        if index not in hidden:
            pixels[y : y + 78, x : x + 78] = np.rot90(rim_tag_image(index, 3), index)
    return pixels, np.array([(150, 150), (1150, 150), (1150, 850), (150, 850)]) - 0.5


@pytest.mark.parametrize("hidden", [(), (0,), (1,), (2,), (3,)])
def test_rim_tags_give_the_surface_with_one_of_them_hidden_too(hidden):
    pixels, corners = bin_with_rim_tags(hidden=hidden)
    rim = find_card(pixels).rim
    assert rim is not None
    np.testing.assert_allclose(rim, corners, atol=0.5)


@pytest.mark.parametrize("hidden", [(1, 2), (0, 1, 3)])
def test_fewer_than_three_rim_tags_are_too_few_and_it_is_said(hidden):
    sighting = find_card(bin_with_rim_tags(hidden=hidden)[0])
    assert sighting.rim is None
    assert Flag.FEW_RIM_TAGS in sighting.flags


def test_a_bin_without_rim_tags_lacks_none():
    assert Flag.FEW_RIM_TAGS not in find_card(bin_with_rim_tags(hidden=(0, 1, 2, 3))[0]).flags


def test_rim_tags_that_the_first_look_misses_are_looked_for_again():
    pixels, corners = bin_with_rim_tags()
    for y, x in ((72, 72), (72, 1150)):
        tag = pixels[y : y + 78, x : x + 78]
        tag[:] = 20 + tag // 24  # in deep shadow
    rim = find_card(pixels).rim
    assert rim is not None
    np.testing.assert_allclose(rim, corners, atol=5)  # 1.7 mm


def test_own_values_are_the_reference():
    from leafwane.card.design import PATCH_NAMES, PATCH_RGB

    own = {
        name: (0.9 * red / 255, green / 255, blue / 255)
        for name, (red, green, blue) in zip(PATCH_NAMES, PATCH_RGB, strict=True)
    }
    patches = find_card(take(Shot(), 1).pixels, values=own).patches
    np.testing.assert_allclose(patches.reference, list(own.values()))

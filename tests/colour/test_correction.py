"""The correction on made-up phones: dark castings, dirt, missing patches, uneven light."""

import numpy as np
import pytest

from leafwane.card.design import PATCH_NAMES, TWINS, patch_centres_mm, reference_rgb
from leafwane.colour.correction import fit_correction
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.greys import grey_twins
from leafwane.colour.light import LightPlane
from leafwane.colour.spaces import srgb_to_lab
from leafwane.errors import CardError
from leafwane.flags import Flag
from tests.colour.cards import phone, samples

CASTINGS = np.array([(26, 22, 20), (38, 30, 26), (46, 38, 34), (60, 46, 36)]) / 255
LEAVES = np.array([(150, 110, 70), (104, 70, 46), (190, 150, 90), (90, 92, 50)]) / 255


def eight_bits(values: np.ndarray) -> np.ndarray:
    return np.round(values * 255) / 255


@pytest.mark.parametrize("contrast", [0.0, 0.4, 0.8])
@pytest.mark.parametrize("exposure", [-1.2, -0.5, 0.0])
def test_castings_and_leaf_come_out_true(exposure: float, contrast: float) -> None:
    true = np.concatenate([CASTINGS, LEAVES])
    seen = {"exposure": exposure, "contrast": contrast}
    correction = fit_correction(samples(phone(reference_rgb(), **seen)))
    exact, rounded = (
        srgb_to_lab(correction.true_srgb(side))
        for side in (phone(true, **seen), eight_bits(phone(true, **seen)))
    )
    assert delta_e_2000(exact, srgb_to_lab(true)).max() < 1.0
    # One step of 8 bits is up to 2 dE00 where a strong tone curve has pressed the shadows together.
    assert delta_e_2000(rounded, srgb_to_lab(true)).mean() < 1.5
    assert correction.flags == Flag(0)


def test_picture_is_corrected_as_its_colours_are() -> None:
    correction = fit_correction(samples(phone(reference_rgb(), contrast=0.5)))
    pixels = np.random.default_rng(1).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    expected = np.clip(correction.true_srgb(pixels.reshape(-1, 3) / 255), 0, 1).reshape(pixels.shape)
    corrected = correction.apply(pixels)
    assert corrected.dtype == np.float32
    assert np.abs(corrected - expected).max() < 0.0005


def test_greys_rise_from_black_to_beyond_white() -> None:
    correction = fit_correction(samples(phone(reference_rgb(), exposure=-0.3, contrast=0.7)))
    lightness = srgb_to_lab(correction.true_srgb(np.repeat(np.linspace(0, 1, 256)[:, None], 3, axis=1)))[:, 0]
    assert np.diff(lightness).min() > 0
    assert lightness[0] < 1
    assert lightness[-1] < 130


@pytest.mark.parametrize(
    "dirty", [("top grey 3",), ("top grey 7", "brown"), ("bottom grey 5", "blue", "tan")]
)
def test_dirty_patches_hardly_matter(dirty: tuple[str, ...]) -> None:
    measured = phone(reference_rgb(), contrast=0.4, exposure=-0.3)
    true = np.concatenate([CASTINGS, LEAVES])
    seen = phone(true, contrast=0.4, exposure=-0.3)
    clean = fit_correction(samples(measured)).true_srgb(seen)
    for name in dirty:
        measured[PATCH_NAMES.index(name)] = phone(CASTINGS[1:2], contrast=0.4, exposure=-0.3)[0] + 0.12
    soiled = fit_correction(samples(measured)).true_srgb(seen)
    assert delta_e_2000(srgb_to_lab(soiled), srgb_to_lab(clean)).max() < 2.0


def test_patches_left_out_take_no_part() -> None:
    measured = phone(reference_rgb(), exposure=-0.3)
    used = np.ones(len(measured), dtype=bool)
    used[[3, 20, 24]] = False
    spoilt = measured.copy()
    spoilt[~used] = np.nan
    one, other = (fit_correction(samples(side, used=used)) for side in (measured, spoilt))
    assert one.true_srgb(LEAVES) == pytest.approx(other.true_srgb(LEAVES))
    assert np.isnan(one.de00_loo[~used]).all()
    assert np.isfinite(one.de00_loo[used]).all()


def test_half_a_card_is_enough() -> None:
    measured = phone(reference_rgb(), exposure=-0.3, contrast=0.4)
    used = patch_centres_mm()[:, 0] > 36
    correction = fit_correction(samples(measured, used=used))
    true = np.concatenate([CASTINGS, LEAVES])
    found = correction.true_srgb(phone(true, exposure=-0.3, contrast=0.4))
    assert delta_e_2000(srgb_to_lab(found), srgb_to_lab(true)).max() < 3


@pytest.mark.parametrize("kept", [range(7), range(16, 32, 2), ()])
def test_too_few_patches_are_refused(kept: range) -> None:
    used = np.isin(np.arange(32), [index for index in kept if index < 24])
    with pytest.raises(CardError, match="patches of the card can be used") as refusal:
        fit_correction(samples(phone(reference_rgb(), exposure=-0.3), used=used))
    assert refusal.value.flag == Flag.POOR_COLOUR


@pytest.mark.parametrize("seed", range(10))
def test_any_dozen_patches_with_three_greys_will_do(seed: int) -> None:
    rng = np.random.default_rng(seed)
    kept = np.concatenate([rng.choice(8, 3, replace=False), 16 + rng.choice(16, 9, replace=False)])
    used = np.isin(np.arange(32), kept)
    seen = {"exposure": -0.5, "contrast": 0.3}
    correction = fit_correction(samples(phone(reference_rgb(), **seen), used=used))
    found = correction.true_srgb(phone(LEAVES, **seen))
    assert delta_e_2000(srgb_to_lab(found), srgb_to_lab(LEAVES)).mean() < 6


def test_slope_of_light_is_found_and_flagged() -> None:
    rise = np.array([0.0, 0.006])
    light = np.exp((patch_centres_mm() - patch_centres_mm().mean(axis=0)) @ rise)
    even = fit_correction(samples(phone(reference_rgb(), exposure=-0.4, contrast=0.4)))
    uneven = fit_correction(samples(phone(reference_rgb(), exposure=-0.4, contrast=0.4, light=light)))
    assert Flag.UNEVEN_LIGHT not in even.flags
    assert even.light_ratio == pytest.approx(1, abs=0.02)
    assert Flag.UNEVEN_LIGHT in uneven.flags
    assert uneven.light_ratio == pytest.approx(np.exp(0.36), rel=0.05)
    seen = phone(LEAVES, exposure=-0.4, contrast=0.4)
    assert delta_e_2000(srgb_to_lab(uneven.true_srgb(seen)), srgb_to_lab(LEAVES)).max() < 2


def test_uneven_light_is_evened_out_over_the_photo() -> None:
    rise = np.array([0.003, -0.002])
    middle = patch_centres_mm().mean(axis=0)
    light = np.exp((patch_centres_mm() - middle) @ rise)
    correction = fit_correction(samples(phone(reference_rgb(), exposure=-0.6, contrast=0.4, light=light)))
    to_px = np.array([(1.9, 0.2, 30.0), (-0.1, 2.0, 40.0), (1e-4, -2e-4, 1.0)])
    y, x = (side.ravel() for side in np.mgrid[0:240, 0:300])
    mm = np.stack([x, y, np.ones_like(x)], axis=1) @ np.linalg.inv(to_px).T
    there = np.exp((mm[:, :2] / mm[:, 2:] - middle) @ rise)
    seen = phone(np.repeat(LEAVES[:1], len(x), axis=0), exposure=-0.6, contrast=0.4, light=there)
    pixels = np.round(255 * seen).astype(np.uint8).reshape(240, 300, 3)
    plain, evened = (correction.apply(pixels, to_px=given).reshape(-1, 3) for given in (None, to_px))
    true = srgb_to_lab(LEAVES[:1])
    assert delta_e_2000(srgb_to_lab(plain), np.broadcast_to(true, plain.shape)).max() > 5
    assert delta_e_2000(srgb_to_lab(evened), np.broadcast_to(true, evened.shape)).max() < 2.5


def test_no_light_is_made_up_far_from_the_card() -> None:
    light = LightPlane(slope=np.array([0.02, 0.0]), middle_mm=np.array([48.0, 36.0]))
    assert light.at(np.array([(48.0, 36.0), (2000.0, 0.0), (-2000.0, 0.0)])) == pytest.approx(
        [1, 2.01, 0.497], abs=0.01
    )


@pytest.mark.parametrize(
    ("share", "flag"), [(0.0, Flag(0)), (0.2, Flag.POOR_COLOUR), (1.0, Flag.WRONG_COLOUR)]
)
def test_colours_that_belong_elsewhere_are_flagged_by_how_far_off_they_are(share: float, flag: Flag) -> None:
    seen = phone(reference_rgb(), exposure=-0.3)
    shuffled = np.random.default_rng(2).permutation(seen)
    found = fit_correction(samples((1 - share) * seen + share * shuffled))
    assert found.flags & (Flag.POOR_COLOUR | Flag.WRONG_COLOUR) == flag


def test_a_card_or_photo_in_black_and_white_is_flagged_and_a_faded_photo_is_not() -> None:
    """Grey by the luma of Rec. 601; a quarter of the colour is as much as strong fading filters leave."""
    seen = phone(reference_rgb(), exposure=-0.3)
    luma = np.repeat(seen @ np.array([[0.299], [0.587], [0.114]]), 3, axis=1)
    warm = np.array([1.0, 0.9, 0.75])
    printed_grey = phone(
        np.repeat(reference_rgb() @ np.array([[0.299], [0.587], [0.114]]), 3, axis=1), exposure=-0.3
    )
    flags = [
        fit_correction(samples(card)).flags
        for card in (luma, luma * warm, printed_grey, 0.75 * luma + 0.25 * seen)
    ]
    assert [Flag.NO_COLOUR in found for found in flags] == [True, True, True, False]
    assert not any(found & (Flag.POOR_COLOUR | Flag.WRONG_COLOUR) for found in flags[:3])


def test_twins_of_the_design_are_what_light_is_told_by() -> None:
    assert sorted(grey_twins(reference_rgb())) == sorted(TWINS)


def test_light_is_told_by_twins_that_the_printer_made_a_little_unlike() -> None:
    """A card's own values differ from twin to twin, by ink and by the light they were measured in; light is told all the same."""
    rng = np.random.default_rng(4)
    own = np.clip(reference_rgb() * np.exp(rng.normal(0, 0.006, (len(PATCH_NAMES), 1))), 0, 1)
    rising = np.exp(0.006 * (patch_centres_mm()[:, 0] - 48))
    found = fit_correction(samples(phone(own, exposure=-0.6, light=rising), own))
    assert found.light.slope == pytest.approx([0.006, 0], abs=0.0015)
    assert Flag.UNEVEN_LIGHT in found.flags


@pytest.mark.parametrize("colour", [(0.78, 0.57, 0.31), (0.1, 0.9, 0.1), (0.1, 0.1, 0.9)])
def test_three_patches_under_leaf_or_paint_take_no_part(colour: tuple[float, float, float]) -> None:
    """With them the worst of these colours is off by 4 to 21 dE00; their own errors still count."""
    seen = {"exposure": -0.3, "contrast": 0.4}
    measured, true = phone(reference_rgb(), **seen), np.concatenate([CASTINGS, LEAVES])
    hidden = [PATCH_NAMES.index(name) for name in ("blue", "leaf yellow", "dark brown")]
    measured[hidden] = colour
    found = fit_correction(samples(measured))
    assert delta_e_2000(srgb_to_lab(found.true_srgb(phone(true, **seen))), srgb_to_lab(true)).max() < 1
    assert found.de00_loo[hidden].min() > 8


def test_what_a_card_s_own_values_say_of_its_twins_is_not_taken_for_light() -> None:
    """Its right end is printed darker by 9%; light that rises to the right is told all the same."""
    across = patch_centres_mm()[:, :1] - 48
    own = reference_rgb() * np.exp(-0.001 * across)
    for slope in (0.0, 0.006):
        found = fit_correction(samples(phone(own, exposure=-0.8, light=np.exp(slope * across)), own))
        assert found.light.slope == pytest.approx([slope, 0], abs=0.0007)
        assert (Flag.UNEVEN_LIGHT in found.flags) == (slope > 0)

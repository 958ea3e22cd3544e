"""Light that hides what is there, laid on photos without it."""

from datetime import date

import numpy as np
import pytest
from PIL import Image

from fixtures.small_photos import card_photo
from leafwane.card.design import PATCH_NAMES, reference_rgb
from leafwane.checking import check_photo
from leafwane.colour.spaces import linear_to_srgb, srgb_to_linear
from leafwane.flags import Flag
from leafwane.photo import open_photo
from leafwane.scores import ScoreSettings
from leafwane.scoring import look_at, score_photo
from leafwane.trial import DatedPhoto
from tests.card.test_find import bin_with_rim_tags

GLARE = Flag.MUCH_SHINE | Flag.GLOSSY_CARD
CARD = np.s_[-30 - 240 : -30, -30 - 312 : -30]  # where `card_photo` lays it at 3 pixels a millimetre


def lit(pixels: np.ndarray, more: np.ndarray | float) -> np.ndarray:
    """Return a photo with light added to all of it, as a mirror adds it: a share of white."""
    return np.round(255 * linear_to_srgb(np.clip(srgb_to_linear(pixels / 255) + more, 0, 1))).astype(np.uint8)


def spot(pixels: np.ndarray) -> np.ndarray:
    """Return a photo with a lamp mirrored in the wet surface, away from the card."""
    y, x = np.indices(pixels.shape[:2])
    return lit(pixels, np.exp(-((x - 200) ** 2 + (y - 250) ** 2) / 90**2)[..., None])


def veiled(pixels: np.ndarray) -> np.ndarray:
    """Return a photo whose card mirrors the sky: its black is a grey of 10%."""
    shown = pixels.copy()
    shown[CARD] = lit(pixels[CARD], 0.1)
    return shown


@pytest.mark.parametrize(
    ("spoilt", "flag"), [(np.array, Flag(0)), (spot, Flag.MUCH_SHINE), (veiled, Flag.GLOSSY_CARD)]
)
def test_glare_on_surface_or_card_is_seen_by_score_and_check_alike(tmp_path, spoilt, flag):
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(spoilt(card_photo(leaf_share=0.3))).save(path)
    dated = DatedPhoto(path=path, bin="hazel", date=date(2031, 10, 4), source="name", flags=Flag(0))
    assert score_photo(dated, settings=ScoreSettings(), root=tmp_path).flags & GLARE == flag
    assert check_photo(path).flags & GLARE == flag


def test_light_that_rises_over_a_bin_is_evened_out_where_it_lies(tmp_path):
    """The surface is of one colour and begins far from the photo's corner; its right end has over twice the light of its left."""
    pixels, _ = bin_with_rim_tags()
    y, x = np.indices(pixels.shape[:2])
    rising = 0.75 * np.exp(0.0008 * (x - 650) - 0.0005 * (y - 500))[..., None]
    shown = linear_to_srgb(np.clip(srgb_to_linear(pixels / 255) * rising, 0, 1))
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(np.round(255 * shown).astype(np.uint8)).save(path)
    look = look_at(open_photo(path), ScoreSettings())
    ends = np.flatnonzero(look.region.mask.any(axis=0))[[20, -20]]
    for column in ends:
        evened = look.corrected[:, column][look.region.mask[:, column]].mean(axis=0)
        assert 255 * evened == pytest.approx([80, 60, 45], abs=3)
    seen = [look.seen[:, column][look.region.mask[:, column]].mean() for column in ends]
    assert seen[1] > 1.3 * seen[0]


def test_a_pale_print_that_was_measured_is_no_gloss(tmp_path):
    """The same picture is a veil over the nominal card, and a card whose black is pale if its own values say so."""
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(veiled(card_photo(leaf_share=0.3))).save(path)
    own = linear_to_srgb(np.clip(srgb_to_linear(reference_rgb()) + 0.1, 0, 1))
    values = dict(zip(PATCH_NAMES, map(tuple, own.tolist()), strict=True))
    assert Flag.GLOSSY_CARD in check_photo(path).flags
    assert Flag.GLOSSY_CARD not in check_photo(path, values=values).flags

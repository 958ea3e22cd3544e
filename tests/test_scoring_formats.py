"""One and the same view scores the same whatever kind of file the phone makes of it."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pillow_heif import from_pillow

from fixtures.icc import DISPLAY_P3, rgb_profile
from leafwane.colour.spaces import RGB_TO_XYZ, linear_to_srgb, srgb_to_linear
from leafwane.photo import open_photo
from leafwane.scores import Score, ScoreSettings
from leafwane.scoring import score_photo
from leafwane.trial import read_trial

DEMO = Path(__file__).parents[1] / "demo_images"

# Linear Display P3 to XYZ under D65. Source: CSS Color Module Level 4, "Sample code for Color Conversions",
# lin_P3_to_XYZ, from the primaries of SMPTE EG 432-1; the figures are from memory.
P3_TO_XYZ = np.array(
    [
        (0.4865709486, 0.2656676932, 0.1982172852),
        (0.2289745641, 0.6917385218, 0.0792869141),
        (0.0, 0.0451133819, 1.0439443689),
    ]
)


@pytest.fixture(scope="module", params=["kettle", "lantern", "thimble"])
def view(request) -> np.ndarray:
    """Return a painted photo of a half rotten bin, (h, w, 3), 8-bit sRGB."""
    return open_photo(sorted((DEMO / request.param).glob("*.jpg"))[3]).pixels


def scored(path: Path) -> Score:
    trial = read_trial([path], today=date(2032, 6, 1))
    return score_photo(trial.photos[0], settings=ScoreSettings(), root=trial.root)


def in_display_p3(pixels: np.ndarray) -> Image.Image:
    """Return a photo's colours in the numbers of Display P3, whose curve is that of sRGB."""
    linear = srgb_to_linear(pixels / 255) @ (np.linalg.inv(P3_TO_XYZ) @ RGB_TO_XYZ).T
    return Image.fromarray(np.round(255 * np.clip(linear_to_srgb(linear), 0, 1)).astype(np.uint8))


def test_display_p3_and_heic_score_as_srgb_jpeg(tmp_path, view):
    plain, wide, heic = (tmp_path / f"2031-10-04{ending}" for ending in (".jpg", "-wide.jpg", ".heic"))
    Image.fromarray(view).save(plain, quality=95)
    in_display_p3(view).save(wide, quality=95, icc_profile=rgb_profile(DISPLAY_P3, name="Wide"))
    from_pillow(Image.fromarray(view)).save(heic, quality=90)
    first, *others = [scored(path) for path in (plain, wide, heic)]
    assert first.message == ""
    assert [score.flags for score in others] == [first.flags] * 2
    assert 5 < first.leaf_percent < 95
    assert [score.leaf_percent for score in others] == pytest.approx([first.leaf_percent] * 2, abs=0.3)


def test_display_p3_without_loss_scores_as_srgb(tmp_path, view):
    plain, wide = tmp_path / "2031-10-04.png", tmp_path / "2031-10-04-wide.png"
    Image.fromarray(view).save(plain)
    in_display_p3(view).save(wide, icc_profile=rgb_profile(DISPLAY_P3, name="Wide"))
    assert scored(wide).leaf_percent == pytest.approx(scored(plain).leaf_percent, abs=0.3)


def test_the_files_do_hold_other_numbers(view):
    """The check above can fail: without the profile the colours would be off by much more than compression does."""
    assert np.abs(np.asarray(in_display_p3(view)).astype(float) - view).max() > 15

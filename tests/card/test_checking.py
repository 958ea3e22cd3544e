"""What a photo is told to be worth at the bin."""

import json
import subprocess
import sys
from typing import Never

import cv2
import numpy as np
import pytest
from PIL import Image

from fixtures.studies.finding import Shot, take
from leafwane import checking
from leafwane.card.design import PATCH_NAMES, card_image, reference_rgb
from leafwane.checking import check_photo
from leafwane.colour.spaces import linear_to_srgb, srgb_to_linear
from leafwane.errors import CardError
from leafwane.flags import Flag
from tests.card.test_chart24 import chart_image, photographed
from tests.card.test_find import bin_with_rim_tags

OUTLINE = ((0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8))


def photo(folder, shot, seed=1):
    path = folder / "2031-10-04.jpg"
    Image.fromarray(take(shot, seed).pixels).save(path, quality=92)
    return path


def test_good_photo_is_good_and_says_all_there_is(tmp_path):
    path = photo(tmp_path, Shot())
    answer = json.loads(json.dumps(check_photo(path).to_dict()))
    assert answer["photo"] == str(path)
    assert answer["verdict"] == "good"
    assert answer["reasons"] == []
    assert answer["flags"] == []
    assert answer["card"]["kind"] == "leafwane-1"
    assert len(answer["card"]["corners"]) == 4
    assert answer["card"]["mm_per_px"] == pytest.approx(0.25, abs=0.02)
    assert answer["card"]["tilt_deg"] == pytest.approx(3, abs=0.5)
    assert answer["card"]["patches_used"] == 32
    assert 0 < answer["card"]["de00_loo_mean"] < answer["card"]["de00_loo_max"]
    assert answer["light_ratio"] == pytest.approx(1, abs=0.05)
    assert answer["blur_mm"] == pytest.approx(0.22, abs=0.1)
    assert answer["burnt_percent"] < 1


@pytest.mark.parametrize(
    ("shot", "verdict", "flag"),
    [
        (Shot(exposure_ev=1), "usable", "clipped"),
        (Shot(tilt_deg=30), "usable", "tilted"),
        (Shot(blur_px=4), "retake", "blurred"),
        (Shot(noise=25), "retake", "grainy"),
        (Shot(exposure_ev=-3), "usable", "dark"),
        (Shot(exposure_ev=-6), "retake", "too-dark"),
        (Shot(size=(640, 480), length_px=150), "retake", "few-pixels"),
        (Shot(size=(640, 480), n_cards=2, length_px=240), "retake", "too-small"),
        (Shot(mirrored=True), "retake", "mirrored-card"),
        (Shot(n_cards=0), "retake", "no-card"),
    ],
    ids=repr,
)
def test_worse_photo_says_why_and_what_to_do(tmp_path, shot, verdict, flag):
    answer = check_photo(photo(tmp_path, shot)).to_dict()
    assert answer["verdict"] == verdict
    assert flag in answer["flags"]
    assert answer["reasons"]


@pytest.mark.parametrize(("streak", "flag"), [((9, 1), "blurred"), ((1, 9), "blurred"), ((13, 1), "smeared")])
def test_a_hand_that_moves_along_an_edge_of_the_card_blurs_the_others(tmp_path, streak, flag):
    """By 2 or 3 mm: half of the edges stay sharp, and the card's corners seem to bend."""
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(cv2.blur(take(Shot(tilt_deg=0), 1).pixels, streak)).save(path)
    answer = check_photo(path).to_dict()
    assert answer["verdict"] == "retake"
    assert flag in answer["flags"]
    assert "bent-card" not in answer["flags"]


def test_a_photo_without_its_grain_is_to_be_taken_again(tmp_path):
    path = tmp_path / "2031-10-04.jpg"
    Image.fromarray(take(Shot(), 1).pixels).save(path, quality=12)
    answer = check_photo(path).to_dict()
    assert answer["verdict"] == "retake"
    assert "compressed" in answer["flags"]


def test_a_photo_of_the_card_alone_shows_no_surface(tmp_path):
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(card_image(8)).save(path)
    answer = check_photo(path).to_dict()
    assert answer["verdict"] == "retake"
    assert answer["flags"] == ["small-surface"]
    assert "no surface is left" in answer["reasons"][0]


def test_a_card_on_yellowish_paper_is_as_good_once_it_is_measured(tmp_path):
    """Paper of (243, 219, 194): none of its greys is grey."""
    paper = srgb_to_linear(np.array([243, 219, 194]) / 255)
    pixels = linear_to_srgb(srgb_to_linear(take(Shot(), 1).pixels / 255) * paper)
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(np.round(255 * pixels).astype(np.uint8)).save(path)
    own = linear_to_srgb(srgb_to_linear(reference_rgb()) * paper)
    check = check_photo(path, values=dict(zip(PATCH_NAMES, map(tuple, own.tolist()), strict=True)))
    assert check.verdict == "good"
    assert check.correction.de00_loo_mean < 2


def test_colours_that_cannot_be_fitted_are_an_answer_too(tmp_path, monkeypatch):
    def refuse(_patches) -> Never:
        raise CardError("only 20 patches of the card can be used, 2 of them grey", flag=Flag.POOR_COLOUR)

    monkeypatch.setattr(checking, "fit_correction", refuse)
    answer = check_photo(photo(tmp_path, Shot())).to_dict()
    assert answer["verdict"] == "retake"
    assert answer["flags"] == ["poor-colour"]


def test_file_that_is_no_photo_is_an_answer_too(tmp_path):
    path = tmp_path / "2031-10-04.jpg"
    path.write_text("no photo", encoding="utf-8")
    answer = check_photo(path).to_dict()
    assert answer["verdict"] == "retake"
    assert answer["flags"] == ["unreadable"]
    assert answer["card"] is None


def test_chart_of_unknown_size_is_no_fault_of_the_photo(tmp_path):
    path = tmp_path / "2031-10-04.jpg"
    Image.fromarray(photographed(chart_image("from November 2014"), 4)[0]).save(path, quality=92)
    unknown, known = (check_photo(path, chart_width_mm=width).to_dict() for width in (None, 260.0))
    assert unknown["verdict"] == "usable"
    assert "unknown-size" in unknown["flags"]
    assert "chart_width_mm" in unknown["reasons"][0]
    assert unknown["card"]["mm_per_px"] is None
    assert "unknown-size" not in known["flags"]
    assert known["card"]["mm_per_px"] == pytest.approx(260 / 715, rel=0.1)


def test_a_check_waits_for_no_slow_import():
    code = "import sys, leafwane.at_the_bin, leafwane.printing; print(*{name.split('.')[0] for name in sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"scipy", "skimage", "matplotlib", "jinja2"} & set(done.stdout.split())


@pytest.mark.parametrize(
    ("hidden", "polygon", "surface", "verdict"),
    [
        ((), None, "rim", "good"),
        ((1, 2), None, "photo", "retake"),
        ((1, 2), OUTLINE, "outline", "good"),
        ((0, 1, 2, 3), None, "photo", "good"),
    ],
)
def test_hidden_rim_tags_matter_where_nothing_else_bounds_the_surface(
    tmp_path, hidden, polygon, surface, verdict
):
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(bin_with_rim_tags(hidden=hidden)[0]).save(path)
    check = check_photo(path, polygon=polygon)
    assert (check.surface, check.verdict) == (surface, verdict)

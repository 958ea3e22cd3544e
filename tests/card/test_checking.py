"""What a photo is told to be worth at the bin."""

import json
import subprocess
import sys

import pytest
from PIL import Image

from fixtures.studies.finding import Shot, take
from leafwane.checking import check_photo
from tests.card.test_chart24 import chart_image, photographed
from tests.card.test_find import bin_with_rim_tags


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
    ("hidden", "outlined", "surface", "verdict"),
    [
        ((), False, "rim", "good"),
        ((1, 2), False, "photo", "retake"),
        ((1, 2), True, "outline", "good"),
        ((0, 1, 2, 3), False, "photo", "good"),
    ],
)
def test_hidden_rim_tags_matter_where_nothing_else_bounds_the_surface(
    tmp_path, hidden, outlined, surface, verdict
):
    path = tmp_path / "2031-10-04.png"
    Image.fromarray(bin_with_rim_tags(hidden=hidden)[0]).save(path)
    check = check_photo(path, outlined=outlined)
    assert (check.surface, check.verdict) == (surface, verdict)

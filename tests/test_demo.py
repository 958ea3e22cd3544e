"""The demo trial: its photos can be painted again, and are what they say they are."""

import csv
import itertools
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from fixtures.painter.stories import STORIES, Story
from fixtures.painter.trial import N_CHECK_INS, jpeg_of, paint_photo, trial_file
from leafwane.card.find import find_card
from leafwane.photo import open_photo
from leafwane.scores import ScoreSettings
from leafwane.scoring import look_at
from leafwane.trialfile import read_plan

DEMO = Path(__file__).parents[1] / "demo_images"
PHOTOS = sorted(DEMO.glob("*/*.jpg"))
NAMES = [photo.relative_to(DEMO).as_posix() for photo in PHOTOS]
JPEG_LEVELS = 3.0
"""Mean difference, in grey levels, that JPEG and another version of OpenCV may make; another painting makes over 10."""


def truth() -> dict[str, dict[str, str]]:
    lines = (DEMO / "truth.csv").read_text(encoding="utf-8").splitlines()
    return {row["photo"]: row for row in csv.DictReader(line for line in lines if not line.startswith("#"))}


def story_of(name: str) -> tuple[Story, int]:
    folder = name.split("/", maxsplit=1)[0]
    of_bin = [other for other in NAMES if other.startswith(f"{folder}/")]
    return next(story for story in STORIES if story.name == folder), of_bin.index(name)


def committed(name: str) -> np.ndarray:
    return np.asarray(Image.open(DEMO / name).convert("RGB"), np.float64)


@pytest.mark.parametrize("name", ["kettle/2026-01-10.jpg"])
def test_a_photo_repainted_is_the_committed_one(name):
    painted = paint_photo(*story_of(name))
    assert painted.path == name
    assert np.abs(painted.pixels - committed(name)).mean() < JPEG_LEVELS
    row = truth()[name]
    assert 100 * painted.leaf == pytest.approx(100 * float(row["leaf"]), abs=0.2)
    assert 100 * painted.other == pytest.approx(100 * float(row["other"]), abs=0.2)
    with Image.open(DEMO / name) as image:
        exif = image.getexif().get_ifd(ExifTags.IFD.Exif)
    assert exif[ExifTags.Base.DateTimeOriginal] == f"{painted.taken:%Y:%m:%d %H:%M:%S}"
    assert jpeg_of(painted)[:2] == b"\xff\xd8"


def test_no_two_committed_photos_are_alike_enough_to_pass_for_each_other():
    for one, other in itertools.pairwise(NAMES):
        assert np.abs(committed(one) - committed(other)).mean() > 3 * JPEG_LEVELS


def test_there_are_three_bins_of_unlike_leaves_with_seven_check_ins_or_more():
    assert len({story.leaf for story in STORIES}) == len(STORIES) == 3
    assert N_CHECK_INS >= 7
    assert len(PHOTOS) == len(STORIES) * N_CHECK_INS
    assert list(truth()) == NAMES


def test_photos_are_small_enough_for_a_repository():
    assert sum(file.stat().st_size for file in DEMO.rglob("*") if file.is_file()) < 8_000_000


@pytest.mark.parametrize("photo", PHOTOS, ids=NAMES)
def test_exif_date_is_the_names_and_lies_in_the_past(photo):
    taken = open_photo(photo).taken
    assert taken is not None
    assert taken.date().isoformat() == photo.stem == truth()[photo.relative_to(DEMO).as_posix()]["date"]
    assert taken.date() < datetime.now().astimezone().date()


@pytest.mark.parametrize("photo", PHOTOS, ids=NAMES)
def test_card_and_rim_are_found(photo):
    sighting = find_card(open_photo(photo).pixels)
    assert sighting.n_tags == 4
    assert sighting.rim is not None
    width, height = sighting.rim[1] - sighting.rim[0], sighting.rim[3] - sighting.rim[0]
    assert np.linalg.norm(width) * sighting.mm_per_px == pytest.approx(280, rel=0.03)
    assert np.linalg.norm(height) * sighting.mm_per_px == pytest.approx(210, rel=0.03)


@pytest.mark.parametrize(
    "name", ["kettle/2025-11-01.jpg", "lantern/2025-11-29.jpg", "thimble/2025-12-13.jpg"]
)
def test_scored_cover_is_near_the_truth(name):
    look = look_at(open_photo(DEMO / name), ScoreSettings())
    assert look.region.source == "rim"
    assert look.cover.leaf == pytest.approx(100 * float(truth()[name]["leaf"]), abs=8)


def test_cover_goes_as_the_stories_tell():
    """Leaves are laid until the cover is reached; worms and crumbs that come to lie on them hide a little."""
    rows = truth().values()
    strays = [100 * (float(row["leaf"]) - 1 + np.exp(-float(row["layers"]))) for row in rows]
    assert np.max(np.abs(strays)) < 3


def test_plan_is_readable_and_says_that_all_is_invented():
    plan = read_plan(DEMO / "trial.toml", default_name="")
    assert (DEMO / "trial.toml").read_text(encoding="utf-8") == trial_file()
    assert "invented" in plan.name
    assert {name: entry.leaf for name, entry in plan.bins.items()} == {s.name: s.leaf for s in STORIES}
    assert all("Invented" in entry.notes for entry in plan.bins.values())
    assert "Invented" in (DEMO / "truth.csv").read_text(encoding="utf-8").splitlines()[0]

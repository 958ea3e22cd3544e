"""A trial whose photos show different cards is marked, on the photos that differ."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from PIL import Image

from fixtures.small_photos import card_photo, write_jpeg
from leafwane.at_the_bin import check_photos
from leafwane.errors import CardError
from leafwane.flags import Flag
from leafwane.mixed import mark_mixed_cards, mark_other_surfaces
from leafwane.photo import open_photo
from leafwane.results import look_back
from leafwane.runs import score_into
from leafwane.scores import ScoreSettings
from leafwane.scoring import look_at
from leafwane.trial import read_trial
from tests.card.test_chart24 import chart_image, photographed
from tests.test_tables import a_score


def scores_of(cards):
    days = [date(2031, 10, day) for day in range(1, len(cards) + 1)]
    return tuple(
        replace(a_score(day=day, leaf=50.0 if card else None), card=card)
        for day, card in zip(days, cards, strict=True)
    )


@pytest.mark.parametrize(
    ("cards", "marked"),
    [
        ((), []),
        (("leafwane-1", "leafwane-1"), []),
        (("leafwane-1", "chart24", "leafwane-1"), [1]),
        (("chart24", "leafwane-1", "", "chart24"), [1]),
        (("leafwane-1", "chart24"), [1]),
        (("", ""), []),
    ],
)
def test_the_rarer_card_is_marked(cards, marked):
    found = mark_mixed_cards(scores_of(cards))
    assert [place for place, score in enumerate(found) if Flag.MIXED_CARDS in score.flags] == marked
    assert [score.photo for score in found] == [score.photo for score in scores_of(cards)]


@pytest.mark.parametrize(
    (
        "photos",
        "marked",
    ),  # r: rim tags, w: whole photo, f: too few rim tags, which is in no curve, n: no card
    [
        ("", ""),
        ("rr", ".."),
        ("ww", ".."),
        ("ff", ".."),
        ("rwr", ".x."),
        ("rnrw", "...x"),
        ("rw", ".x"),
        ("rrffw", "....x"),
        ("rfff", "...."),
        ("rwwf", ".xx."),  # tags were meant
        ("wwf", "..."),
        ("wwwwwrr", ".....xx"),  # tags were tried twice
        ("wwwwrrr", "xxxx..."),  # tags were glued on
    ],
)
def test_a_surface_that_is_bounded_otherwise_than_usual_in_its_bin_is_marked(photos, marked):
    flags = {
        "r": Flag(0),
        "w": Flag.WHOLE_PHOTO,
        "f": Flag.FEW_RIM_TAGS,
        "n": Flag.NO_CARD,
    }
    scores = [
        a_score(
            f"a/{n}.jpg", day=date(2031, 10, 4 + n), leaf=None if what == "n" else 50.0, flags=flags[what]
        )
        for n, what in enumerate(photos)
    ]
    aside = [
        a_score("a/copy.jpg", flags=Flag.WHOLE_PHOTO | Flag.COPY),
        a_score("b/1.jpg", name="b", flags=Flag.WHOLE_PHOTO),
    ]
    found = mark_other_surfaces([*scores, *aside, *aside[:1] * 5])
    assert "".join(".x"[Flag.OTHER_SURFACE in score.flags] for score in found[: len(scores)]) == marked
    assert not any(Flag.OTHER_SURFACE in score.flags for score in found[len(scores) :])


def chart_photo():
    return photographed(chart_image("from November 2014"), 4, lean=0.0)[0]


def test_a_trial_of_two_cards_says_so(tmp_path):
    photos, out = tmp_path / "photos", tmp_path / "out"
    photos.mkdir()
    for day, pixels in zip((4, 11, 18), (card_photo(), card_photo(), chart_photo()), strict=True):
        write_jpeg(photos / f"2031-10-{day:02d}.jpg", pixels=pixels)
    (photos / "trial.toml").write_text("chart_width_mm = 208", encoding="utf-8")
    trial = read_trial([photos], today=date(2032, 6, 1))
    scores, checks = score_into(look_back(out), trial, jobs=1), check_photos([photos], trial)
    assert [score.card for score in scores] == ["leafwane-1", "leafwane-1", "chart24"]
    for found in (scores, checks):
        assert [Flag.MIXED_CARDS in one.flags for one in found] == [False, False, True]
    assert "mixed-cards" in (out / "scores.csv").read_text(encoding="utf-8").splitlines()[3]


@pytest.fixture(scope="module")
def chart_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("chart") / "2031-10-04.png"
    Image.fromarray(chart_photo()).save(path)
    return path


def test_a_chart_of_unknown_size_is_refused_with_the_key_that_says_it(chart_file):
    with pytest.raises(CardError, match="chart_width_mm") as refused:
        look_at(open_photo(chart_file), ScoreSettings())
    assert refused.value.flag == Flag.UNKNOWN_SIZE


def test_a_chart_of_known_width_gives_the_scale_and_hides_its_frame(chart_file):
    """Six patches with their gaps are 650 px of the chart, which is 1.1 times as large in the photo: 715 px."""
    look = look_at(open_photo(chart_file), ScoreSettings(chart_width_mm=208.0))
    assert look.sighting.mm_per_px == pytest.approx(208 / 715, rel=0.01)
    assert Flag.UNKNOWN_SIZE not in look.flags
    whole_cm2 = 1700 * 1000 * (208 / 715) ** 2 / 100
    chart_cm2 = 698 * 478 * 1.1**2 * (208 / 715) ** 2 / 100
    assert look.cover.surface_cm2 == pytest.approx(whole_cm2 - 1.2 * chart_cm2, rel=0.05)
    black = (look.seen.max(axis=2) < 60) & look.region.mask
    assert not black.any()
    assert np.isfinite(look.correction.de00_loo_mean)


@pytest.mark.parametrize(
    ("cards", "marked"), [(("", "", "leafwane-1"), []), (("", "", "", "a", "b", "b"), [3])]
)
def test_photos_without_a_card_are_no_kind_of_card(cards, marked):
    found = mark_mixed_cards(scores_of(cards))
    assert [place for place, score in enumerate(found) if Flag.MIXED_CARDS in score.flags] == marked

"""Finding the 24-patch chart in painted photos, and measuring a printed card beside it."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from fixtures.studies.finding import Shot, take
from leafwane.at_the_bin import measure_into
from leafwane.card.chart24 import find_chart
from leafwane.card.chart24_values import EDITIONS, edition_rgb
from leafwane.card.design import PATCH_NAMES, PATCH_RGB, TWINS, card_image, patch_centres_mm
from leafwane.card.find import find_card
from leafwane.card.geometry import project
from leafwane.card.measure import measure_card
from leafwane.card.squares import grids
from leafwane.card.values import read_card_values, write_card_values
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.spaces import linear_to_srgb, srgb_to_lab, srgb_to_linear
from leafwane.errors import CardError, OutputError, TrialFileError, UsageError
from leafwane.flags import Flag
from leafwane.photo import Photo
from tests.card.test_find import darkened

BOX = np.array([(14, 14), (684, 14), (684, 464), (14, 464)], dtype=float)  # 16.75 by 11.25 units of 40 px
PATCHES = np.array(
    [(24, 24), (674, 24), (674, 454), (24, 454)], dtype=float
)  # their outer corners in `chart_image`


def chart_image(edition: str) -> np.ndarray:
    """Return a chart, (478, 698, 3), 8-bit sRGB: patches 100 px wide and 110 apart on black."""
    chart = np.full((478, 698, 3), 38, dtype=np.uint8)
    for index, colour in enumerate(np.clip(edition_rgb(edition), 0, 1)):
        row, column = divmod(index, 6)
        x, y = 24 + 110 * column, 24 + 110 * row
        chart[y : y + 100, x : x + 100] = np.round(255 * colour)
    return chart


def photographed(flat: np.ndarray, seed: int, *, light=(1.0, 1.0, 1.0), lean: float = 0.05):
    """Return a photo of a flat thing on a table, and the homography from its pixels to the photo's."""
    rng = np.random.default_rng(seed)
    height, width = flat.shape[:2]
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float32)
    seen = corners * 1.1 + (250, 200) + rng.uniform(-lean, lean, (4, 2)) * width
    matrix = cv2.getPerspectiveTransform(corners, seen.astype(np.float32))
    table = np.clip(rng.normal((150, 130, 110), 6, (1000, 1700, 3)), 0, 255).astype(np.uint8)
    cv2.warpPerspective(flat, matrix, (1700, 1000), dst=table, borderMode=cv2.BORDER_TRANSPARENT)
    lit = linear_to_srgb(np.clip(srgb_to_linear(table / 255) * light, 0, 1))
    return np.clip(255 * lit + rng.normal(0, 2, lit.shape), 0, 255).astype(np.uint8), matrix


@pytest.mark.parametrize("edition", EDITIONS)
def test_chart_and_its_edition_are_found(edition):
    pixels, matrix = photographed(chart_image(edition), 1, light=(0.9, 0.8, 0.6))
    sighting = find_chart(pixels)
    assert sighting.kind == "chart24"
    assert sighting.edition == edition
    assert edition in sighting.note
    assert np.isnan(sighting.mm_per_px)
    expected = cv2.perspectiveTransform(BOX[None], matrix)[0]
    assert np.abs(sighting.corners - expected).max() < 25  # a tenth of a patch is 11 px; corners matter less
    assert sighting.patches.used.sum() >= 22


def test_turned_chart_still_starts_at_dark_skin():
    pixels, _ = photographed(chart_image("from November 2014"), 2)
    turned = find_chart(np.ascontiguousarray(np.rot90(pixels, 2)))
    plain = find_chart(pixels)
    np.testing.assert_allclose(turned.patches.measured, plain.patches.measured, atol=0.03)


def test_corners_may_be_pointed_out():
    pixels, matrix = photographed(chart_image("before November 2014"), 3)
    box, patches = (cv2.perspectiveTransform(points[None], matrix)[0] for points in (BOX, PATCHES))
    sighting = find_chart(pixels, corners=patches)
    np.testing.assert_allclose(sighting.corners, box, atol=1e-3)
    with pytest.raises(CardError, match="has these corners") as refused:
        find_chart(pixels, corners=patches[[1, 2, 3, 0]])
    assert refused.value.hint.startswith("Begin with the dark skin patch")


def test_chart_stands_in_for_a_card():
    assert find_card(photographed(chart_image("from November 2014"), 4)[0]).kind == "chart24"


@pytest.mark.parametrize(
    ("light", "lifted", "flag"),
    [
        (0.9, 0, Flag(0)),
        (0.4, 0, Flag.DARK),
        (0.24, 0, Flag.DARK),
        (0.14, 0, Flag.TOO_DARK),
        (1.2, 45, Flag(0)),  # rich in contrast: black is lost, white is not
    ],
)
def test_a_dark_photo_of_a_chart_is_told_like_one_of_a_card(light, lifted, flag):
    pixels = darkened(photographed(chart_image("from November 2014"), 6)[0], light, lifted)
    assert find_chart(pixels).flags & (Flag.DARK | Flag.TOO_DARK) == flag


def test_grain_and_a_chart_far_away_are_flagged():
    pixels, _ = photographed(chart_image("from November 2014"), 7)
    grain = np.random.default_rng(7).normal(0, 15, pixels.shape)
    coarse = cv2.resize(
        cv2.resize(grain, None, fx=0.1, fy=0.1), pixels.shape[1::-1]
    )  # so that parts of a patch differ
    rough = np.clip(pixels + coarse, 0, 255).astype(np.uint8)
    assert Flag.GRAINY not in find_chart(pixels).flags
    assert Flag.GRAINY in find_chart(rough).flags
    assert Flag.SMALL_CARD not in find_chart(pixels, width_mm=216).flags
    assert Flag.SMALL_CARD in find_chart(pixels, width_mm=400).flags


def test_own_card_is_no_chart():
    with pytest.raises(CardError) as refused:
        find_chart(photographed(card_image(6), 5)[0])
    assert refused.value.flag == Flag.NO_CARD


def test_surfaces_show_no_grid_of_squares_and_a_chart_does():
    def shown(pixels: np.ndarray) -> list[np.ndarray]:
        return list(grids([cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), pixels.max(axis=2)]))

    assert not any(shown(take(Shot(n_cards=0, size=(1000, 750)), seed).pixels) for seed in range(4))
    assert shown(photographed(chart_image("from November 2014"), 1)[0])


def printed_card(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return a card as a poor printer makes it, at 6 px/mm, and its patches' colours, (32, 3), 0..1."""
    card = card_image(6)
    mixed = np.array([(0.92, 0.05, 0.03), (0.04, 0.88, 0.03), (0.02, 0.06, 0.85)])
    colours = np.clip(np.array(PATCH_RGB) / 255 @ mixed + 0.03, 0, 1)
    tone = {rgb: rng.uniform(-0.02, 0.02, 3) for rgb in PATCH_RGB}
    colours = np.round(255 * np.clip(colours + [tone[rgb] for rgb in PATCH_RGB], 0, 1)) / 255
    for colour, (x, y) in zip(colours, (patch_centres_mm() + 4 - 5.5) * 6, strict=True):
        card[int(y) : int(y) + 66, int(x) : int(x) + 66] = 255 * colour
    return card, colours


def photo_of_both(light=(0.85, 0.75, 0.55)) -> tuple[Photo, np.ndarray]:
    card, colours = printed_card(np.random.default_rng(6))
    board = np.full((1000, 700, 3), (150, 130, 110), dtype=np.uint8)
    board[:478, :698] = chart_image("from November 2014")
    board[510:990, 40:664] = card
    pixels, _ = photographed(np.rot90(board), 7, light=light, lean=0.01)
    photo = Photo(
        path=Path("both.jpg"),
        pixels=pixels,
        taken=dt.datetime(2031, 9, 30, 12, 0, 0),  # noqa: DTZ001
        digest="ab" * 32,
        full_size=(1700, 1000),
        flags=Flag(0),
    )
    return photo, colours


def test_printed_card_is_measured_beside_the_chart(tmp_path):
    photo, colours = photo_of_both()
    values = measure_card(photo)
    found = np.array([values.patches[name] for name in PATCH_NAMES])
    assert delta_e_2000(srgb_to_lab(found), srgb_to_lab(colours)).mean() < 1.5
    assert values.measured_on == dt.date(2031, 9, 30)
    assert values.photo_digest == photo.digest
    assert 0 < values.de00 < 3
    write_card_values(tmp_path / "card.toml", values)
    back = read_card_values(tmp_path / "card.toml")
    assert back.measured_on == values.measured_on
    assert back.photo_digest == values.photo_digest
    assert back.chart_edition == values.chart_edition
    assert back.de00 == pytest.approx(values.de00, abs=1e-3)
    for name in PATCH_NAMES:
        assert back.patches[name] == pytest.approx(values.patches[name], abs=1e-4)


def test_light_that_rises_over_a_card_is_not_measured_as_ink():
    """An eighth from end to end; equal greys stand on the card twice, far from each other, and come out equal."""
    photo, _ = photo_of_both()
    rising = np.exp(0.14 * np.linspace(-1, 1, photo.pixels.shape[0]))[:, None, None]
    lit = linear_to_srgb(np.clip(srgb_to_linear(photo.pixels / 255) * 0.9 * rising, 0, 1))
    values = measure_card(replace(photo, pixels=np.round(255 * lit).astype(np.uint8)))
    found = np.array([values.patches[name] for name in PATCH_NAMES])
    gaps = [np.abs(found[i] - found[j]).max() for i, j in TWINS]
    assert max(gaps) < 0.015


def test_values_replace_values_and_no_other_file(tmp_path):
    values, path = measure_card(photo_of_both()[0]), tmp_path / "card.toml"
    write_card_values(path, values)
    damaged = path.read_text(encoding="utf-8").replace("olive", "olives")
    path.write_text(damaged, encoding="utf-8")
    write_card_values(path, values)
    assert read_card_values(path).photo_digest == values.photo_digest
    path.write_text('name = "Quince Lane garden"\ncard_values = "card.toml"\n', encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(OutputError, match="is not a file of card values"):
        write_card_values(path, values)
    assert path.read_bytes() == before


def test_chart_may_be_pointed_out_in_pixels_of_the_whole_photo():
    photo, _ = photo_of_both()
    covered = photo.pixels.copy()
    cv2.fillConvexPoly(covered, np.round(find_card(photo.pixels).corners).astype(np.int32), (128, 128, 128))
    chart = find_chart(covered)
    of_patches = np.array(
        [(4, 4), (264, 4), (264, 176), (4, 176)]
    )  # of a full-size chart, whose outline is 4 mm outside
    found = project(chart.to_px, of_patches)
    assert find_chart(covered, corners=found).corners == pytest.approx(chart.corners, abs=0.1)
    twice = replace(photo, full_size=(3400, 2000))
    pointed = measure_card(twice, chart_corners=(found + 0.5) * 2 - 0.5)
    searched = measure_card(photo)
    for name in PATCH_NAMES:
        assert pointed.patches[name] == pytest.approx(searched.patches[name], abs=0.01)
    with pytest.raises(CardError, match=r"both\.jpg"):
        measure_card(twice, chart_corners=found)


def test_photo_without_the_chart_is_refused():
    card, _ = printed_card(np.random.default_rng(8))
    photo, _ = photo_of_both()
    pixels, _ = photographed(card, 9)
    alone = Photo(
        path=photo.path, pixels=pixels, taken=None, digest="", full_size=(1700, 1000), flags=Flag(0)
    )
    with pytest.raises(CardError, match=r"both\.jpg"):
        measure_card(alone)


GOOD = "\n".join(
    ['card = "leafwane-1"', 'photo_digest = "00"', 'chart_edition = "x"', "de00 = 1", "[patches]"]
    + [f'"{name}" = [1, 2, 3]' for name in PATCH_NAMES]
)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("leafwane-1", "leafwane-9", "another card"),
        ("[1, 2, 3]", "[1, 2, 300]", "0 to 255"),
        ("[1, 2, 3]", "[1, 2]", "values to unpack"),
        ('"olive"', '"olives"', "olive is missing"),
        ("de00", "de99", "de99"),
        ("[patches]", "[patches", "line"),
    ],
)
def test_file_that_makes_no_sense_is_refused(tmp_path, old, new, why):
    path = tmp_path / "card.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert read_card_values(path).measured_on is None
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(TrialFileError, match=why) as refused:
        read_card_values(path)
    assert str(path) in str(refused.value)


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(TrialFileError, match="there is no such file"):
        read_card_values(tmp_path / "card.toml")
    with pytest.raises(TrialFileError, match=r"\(Is a directory\)"):
        read_card_values(tmp_path)


@pytest.mark.parametrize("corners", ["1,2 3,4 5,6", "1,2 3,4 5,6 7", "a,b c,d e,f g,h", "1,2 3,4 5,6 nan,8"])
def test_corners_that_are_not_four_points_are_refused(tmp_path, corners):
    with pytest.raises(UsageError, match="not four points"):
        measure_into(tmp_path / "card.toml", tmp_path / "both.jpg", chart_corners=corners)

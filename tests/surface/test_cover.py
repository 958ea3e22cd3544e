"""Cover, its error and the pieces of leaf, on class maps whose areas are known exactly."""

import cv2
import numpy as np
import pytest

from leafwane.flags import Flag
from leafwane.surface.classes import OTHER_KINDS, PX_PER_MM, ClassMap
from leafwane.surface.cover import SMALLEST_PIECE_MM2, CoverError, find_fragments, measure_cover, photo_error
from leafwane.surface.region import Region


def everywhere(shape: tuple[int, int]) -> Region:
    return Region(mask=np.ones(shape, bool), card=np.zeros(shape, bool), source="photo", flags=Flag(0))


def certain(leaf: np.ndarray) -> ClassMap:
    chance = leaf.astype(np.float32)
    nothing = np.zeros(leaf.shape, np.uint8)
    return ClassMap(leaf=chance, castings=1 - chance, kind=nothing, shine=nothing.astype(bool))


def disc(shape: tuple[int, int], centre: tuple[int, int], radius: float) -> np.ndarray:
    y, x = np.indices(shape)
    return np.hypot(x - centre[0], y - centre[1]) <= radius


def test_a_disc_covers_pi_r_squared():
    leaf = disc((800, 1000), (500, 400), 250)
    cover = measure_cover(certain(leaf), everywhere(leaf.shape))
    assert cover.leaf == pytest.approx(100 * np.pi * 250**2 / (800 * 1000), abs=0.05)
    assert cover.leaf + cover.castings + cover.other == pytest.approx(100)
    assert cover.surface_cm2 == pytest.approx(800 * 1000 / PX_PER_MM**2 / 100)


def test_only_the_region_counts():
    leaf = np.zeros((100, 100), bool)
    leaf[:, :50] = True
    mask = np.zeros((100, 100), bool)
    mask[:, 40:60] = True
    region = Region(mask=mask, card=np.zeros_like(mask), source="rim", flags=Flag(0))
    assert measure_cover(certain(leaf), region).leaf == pytest.approx(50)


def test_kinds_add_up_to_other():
    shape = (64, 64)
    third = np.full(shape, 1 / 3, np.float32)
    kind = np.zeros(shape, np.uint8)
    kind[:32] = 1
    classes = ClassMap(leaf=third, castings=third, kind=kind, shine=np.zeros(shape, bool))
    cover = measure_cover(classes, everywhere(shape))
    assert sum(cover.kinds.values()) == pytest.approx(cover.other, abs=1e-3)
    assert cover.kinds[OTHER_KINDS[0]] == pytest.approx(cover.kinds[OTHER_KINDS[1]])


def test_guesses_widen_the_error():
    shape = (320, 320)
    half = ClassMap(
        leaf=np.full(shape, 0.5, np.float32),
        castings=np.full(shape, 0.5, np.float32),
        kind=np.zeros(shape, np.uint8),
        shine=np.zeros(shape, bool),
    )
    sure = np.zeros(shape, bool)
    sure[:160] = True
    guessed = measure_cover(half, everywhere(shape))
    known = measure_cover(certain(sure), everywhere(shape))
    assert guessed.leaf == pytest.approx(known.leaf)
    assert guessed.unsure == pytest.approx(100)
    assert known.unsure == 0
    assert guessed.error.total > 2 * known.error.total


def test_patchy_leaf_samples_worse_than_even_leaf():
    rows, cols = np.indices((960, 960))
    even = (rows // 8 + cols // 8) % 2 == 0
    patchy = cols < 480
    errors = [measure_cover(certain(leaf), everywhere(leaf.shape)).error.sampling for leaf in (even, patchy)]
    assert errors[0] < 1 < errors[1]


def test_pieces_have_the_areas_they_were_drawn_with():
    leaf = np.zeros((640, 640), bool)
    for place, radius in (((100, 100), 32.0), ((320, 320), 64.0), ((520, 520), 32.0)):
        leaf |= disc(leaf.shape, place, radius)
    pieces = find_fragments(leaf, leaf.size)
    dm2 = leaf.size / PX_PER_MM**2 / 10_000
    assert pieces.per_dm2 == pytest.approx(3 / dm2)
    assert pieces.largest_mm2 == pytest.approx(np.pi * 20**2, rel=0.01)
    assert pieces.median_mm2 == pytest.approx(np.pi * 20**2, rel=0.01)


def test_specks_are_no_pieces():
    leaf = np.zeros((100, 100), bool)
    side = int(np.sqrt(SMALLEST_PIECE_MM2) * PX_PER_MM) - 1
    leaf[10 : 10 + side, 10 : 10 + side] = True
    pieces = find_fragments(leaf, leaf.size)
    assert (pieces.per_dm2, pieces.median_mm2, pieces.largest_mm2) == (0.0, None, None)


def test_pieces_agree_with_opencv():
    noise = cv2.GaussianBlur(
        np.random.default_rng(3).standard_normal((400, 400)).astype(np.float32), (0, 0), 6
    )
    leaf = noise > 0.05
    stats = cv2.connectedComponentsWithStats(leaf.astype(np.uint8), connectivity=8)[2]
    areas = stats[1:, cv2.CC_STAT_AREA] / PX_PER_MM**2
    pieces = find_fragments(leaf, leaf.size)
    assert pieces.largest_mm2 == pytest.approx(areas.max())
    n = int((areas >= SMALLEST_PIECE_MM2).sum())
    assert pieces.per_dm2 == pytest.approx(n / (leaf.size / PX_PER_MM**2 / 10_000))


@pytest.mark.parametrize(("share", "err"), [(0.0, 0.6), (0.5, 1.23), (1.0, 3.55)])
def test_a_surface_read_for_certain_errs_by_what_was_fitted(share, err):
    """Least where there is no leaf, most under dense litter, which reads low."""
    leaf = np.zeros((320, 320), bool)
    leaf[: round(share * 320)] = True
    assert measure_cover(certain(leaf), everywhere(leaf.shape)).error.total == pytest.approx(err, abs=0.02)


def test_a_guess_may_be_wrong_three_times_in_ten():
    """A tenth of the surface at even odds, the rest bare: 3 points, and the method's own."""
    leaf = np.zeros((320, 320), np.float32)
    leaf[:32] = 0.5
    nothing = np.zeros(leaf.shape, np.uint8)
    classes = ClassMap(leaf=leaf, castings=1 - leaf, kind=nothing, shine=nothing.astype(bool))
    error = measure_cover(classes, everywhere(leaf.shape)).error
    assert error.unsure == pytest.approx(3)
    assert error.total == pytest.approx(np.hypot(error.method, error.unsure))


@pytest.mark.parametrize(("mm2", "pieces"), [(3.4, 0), (4.6, 1)])
def test_a_piece_is_four_square_millimetres_or_more(mm2, pieces):
    leaf = np.zeros((100, 100), bool)
    side = np.sqrt(mm2) * PX_PER_MM
    leaf[10 : 10 + round(side), 10 : 10 + round(mm2 * PX_PER_MM**2 / round(side))] = True
    assert find_fragments(leaf, leaf.size).per_dm2 * leaf.size / PX_PER_MM**2 / 10_000 == pytest.approx(
        pieces
    )


@pytest.mark.parametrize(
    ("flags", "points"),
    [
        (Flag(0), 0.0),
        (Flag.CLIPPED | Flag.DARK, 0.0),
        (Flag.GLOSSY_CARD, 3.0),
        (Flag.GRAINY | Flag.POOR_COLOUR, 5.0),
    ],
)
def test_a_poor_photo_widens_the_error_by_what_its_flags_are_worth(flags, points):
    assert photo_error(flags) == pytest.approx(points)
    error = CoverError(method=4.0, unsure=0.0, photo=photo_error(flags), sampling=9.0)
    assert error.total == pytest.approx(np.hypot(4, points))

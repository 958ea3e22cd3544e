"""Painted surfaces are what their recipe says."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.painter.camera import Camera, capture
from fixtures.painter.canvas import Canvas, Kind, linear
from fixtures.painter.clutter import strew_crumbs
from fixtures.painter.ground import Ground, random_ground
from fixtures.painter.looks import LeafLook, as_hue, smoothed
from fixtures.painter.scene import Recipe, Scene, lay_out, paint_scene, random_recipe
from fixtures.painter.shapes import FAMILIES

SHAPE = (240, 320)
PX_PER_MM = 1.6

PLAIN = Ground(
    soil=(52, 40, 31), crumb_mm=1.5, relief_mm=0.4, clod_mm=0.0, mottle=0.2,
    fibres=0.0, stones=0.0, chips=0.0, needles=0.0, grass=0.0, moss=0.0, wet=0.3,
)  # fmt: skip
SOUND = LeafLook(
    family="rounded", length_mm=24, hue=(190, 150, 92), second=(150, 96, 52), two_tone=0.3, mottle=0.1, spots=1.0, veins=0.2, net=0.1,
    relief_mm=0.2, crinkle=0.01, wrinkle_mm=5, curl=0.1, rot=0.0, gloss=0.0, dirt=0.0, dust=0.0, lift_mm=0.5, folds=0.0, roll_mm=0.0, sunk=0.0,
)  # fmt: skip
BIN = Recipe(ground=PLAIN, looks=(SOUND,), layers=1.0, scraps=0.0)


def painted(seed: int, recipe: Recipe = BIN) -> Scene:
    return paint_scene(np.random.default_rng(seed), recipe, shape=SHAPE, px_per_mm=PX_PER_MM)


def laid(seed: int, recipe: Recipe) -> Canvas:
    return lay_out(np.random.default_rng(seed), recipe, shape=SHAPE, px_per_mm=PX_PER_MM)


def cover(seed: int, recipe: Recipe) -> float:
    return float((laid(seed, recipe).kind == Kind.LEAF).mean())


@pytest.mark.parametrize(("layers", "matted"), [(2.0, 0.0), (0.0, 1.0), (1.0, 1.0)])
def test_a_recipe_foretells_how_many_leaves_it_lays(layers, matted, monkeypatch):
    n = 0

    def count(*_given: object) -> None:
        nonlocal n
        n += 1

    monkeypatch.setattr("fixtures.painter.scene.lay_leaf", count)
    recipe = replace(BIN, layers=layers, matted=matted, scraps=0.4)
    foretold = recipe.n_leaves(SHAPE[0] * SHAPE[1] / PX_PER_MM**2)
    for seed in range(8):
        laid(seed, recipe)
    assert n / 8 == pytest.approx(foretold, rel=0.25)
    assert replace(recipe, looks=()).n_leaves(1000) == 0


def test_same_seed_paints_the_same():
    one, two, other = painted(5), painted(5), painted(6)
    assert np.array_equal(one.radiance, two.radiance)
    assert np.array_equal(one.kind, two.kind)
    assert not np.array_equal(one.kind, other.kind)


@pytest.mark.parametrize("stand", ["bin", "litter", "bare"])
def test_random_recipes_paint_known_kinds_and_sound_light(stand):
    for seed in range(3):
        rng = np.random.default_rng(seed)
        scene = paint_scene(rng, random_recipe(rng, stand), shape=SHAPE, px_per_mm=PX_PER_MM)
        assert set(np.unique(scene.kind)) <= {int(kind) for kind in Kind}
        assert scene.radiance.shape == (*SHAPE, 3)
        assert np.isfinite(scene.radiance).all()
        assert scene.radiance.min() >= 0
        assert 0 <= scene.cover <= 1


def test_bare_ground_bears_no_leaf():
    assert cover(1, replace(BIN, layers=0.0)) == 0


def area_of(family: str) -> float:
    """Return the mean area of a family's outlines over length squared, by the shoelace formula."""
    rng = np.random.default_rng(0)
    outlines = [FAMILIES[family](rng) for _ in range(400)]
    twice = [np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) for x, y in (outline.T for outline in outlines)]
    return float(np.mean(np.abs(twice)) / 2)


@pytest.mark.parametrize(
    ("family", "layers"),
    [("rounded", 0.2), ("rounded", 0.8), ("palmate", 0.6), ("pinnate", 0.8), ("blade", 1.6)],
)
def test_leaves_overlap_at_random(family, layers):
    """Cover is 1 - exp(-layers), the Beer-Lambert gap law, once layers are counted by the outlines' true area.

    The painter takes every leaf for 0.38 of its length squared. Stalks, holes and leaves over the border are not
    counted, so the mean of six surfaces may be 8 points off.
    """
    recipe = replace(BIN, looks=(replace(SOUND, family=family),), layers=layers)
    found = [cover(seed, recipe) for seed in range(6)]
    true_layers = layers * area_of(family) / 0.38
    assert 100 * np.mean(found) == pytest.approx(100 * (1 - np.exp(-true_layers)), abs=8)


@pytest.mark.parametrize("wanted", [0.2, 0.5, 0.8])
def test_laying_stops_at_the_cover_that_is_asked_for(wanted):
    leaf = 0.8 * SOUND.length_mm**2 * 2 / (SHAPE[0] * SHAPE[1] / PX_PER_MM**2)
    found = cover(3, replace(BIN, layers=9.0, cover=wanted))
    assert wanted <= found < wanted + leaf


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_moss_covers_its_share_and_is_no_leaf(share):
    scenes = [painted(seed, replace(BIN, ground=replace(PLAIN, moss=share), layers=0.0)) for seed in range(4)]
    assert np.mean([(scene.kind == Kind.WOOD).mean() for scene in scenes]) == pytest.approx(share, abs=0.08)
    assert max(scene.cover for scene in scenes) == 0


def bare(seed: int, **ground: object) -> Scene:
    return painted(seed, replace(BIN, ground=replace(PLAIN, **ground), layers=0.0))


@pytest.mark.parametrize(("crust", "kind"), [(True, Kind.CASTINGS), (False, Kind.GRIT)])
def test_plates_are_stone_or_cracked_soil_and_never_leaf(crust, kind):
    scenes = [bare(seed, plates_mm=25.0, crust=crust) for seed in range(6)]
    assert np.mean([(scene.kind == kind).mean() for scene in scenes]) > 0.5
    assert max(scene.cover for scene in scenes) == 0
    joints = [np.abs(np.diff(scene.radiance.mean(axis=2), axis=1)).max() for scene in scenes]
    plain = [np.abs(np.diff(bare(seed).radiance.mean(axis=2), axis=1)).max() for seed in range(6)]
    assert np.median(joints) > np.median(plain)  # plates end in an edge


def test_boards_hide_the_soil():
    assert (bare(1, boards=True).kind == Kind.WOOD).all()


def detail(scene: Scene) -> float:
    """Return how much brightness differs from one pixel to the next, as a mean difference of logarithms."""
    return float(np.abs(np.diff(np.log(scene.radiance.mean(axis=2) + 1e-3), axis=1)).mean())


def test_smeared_soil_has_less_grain():
    grain = [[detail(bare(seed, smeared=share, wet=0.0)) for seed in range(6)] for share in (0.0, 0.5, 0.9)]
    whole, half, little = np.mean(grain, axis=1)
    assert little < half < whole


@pytest.mark.parametrize("share", [0.01, 0.1])
def test_specks_take_at_most_their_share_of_the_castings_and_stay_castings(share):
    """Round crumbs leave gaps within the share that is theirs."""
    plain, specked = (
        laid(5, replace(BIN, layers=0.0, ground=replace(BIN.ground, specks=specks)))
        for specks in (0.0, share)
    )
    changed = (plain.colour != specked.colour).any(axis=2).mean()
    assert 0.3 * share < changed < 1.1 * share
    assert (specked.kind == plain.kind).all()


def test_patches_of_soil_differ_in_brightness():
    def spread(patchy: float) -> float:
        broad = [
            bare(seed, patchy=patchy).radiance.mean(axis=2).reshape(6, 40, 8, 40).mean((1, 3))
            for seed in range(6)
        ]
        return float(np.mean([np.log(part).std() for part in broad]))

    assert spread(0.8) > spread(0.0)


def test_no_patch_of_paste_ends_at_a_line():
    """Without grain, it would be a leaf to the eye."""

    def steepest(smeared: float) -> float:
        ground = replace(PLAIN, mottle=0.0, patchy=1.0, smeared=smeared)
        colours = [laid(seed, replace(BIN, layers=0.0, ground=ground)).colour for seed in range(8)]
        return float(np.mean([np.abs(np.diff(np.log(colour[..., 1]))).max() for colour in colours]))

    assert steepest(0.5) < 0.5 * steepest(0.0)


def test_smooth_ground_has_no_patches():
    rng = np.random.default_rng(0)
    smooth = [ground for ground in (random_ground(rng) for _ in range(300)) if ground.mottle < 0.05]
    assert smooth
    assert not any(ground.patchy for ground in smooth)


def test_matted_leaf_lies_beneath_and_is_darker():
    fresh = painted(4, replace(BIN, layers=2.0))
    matted = painted(4, replace(BIN, layers=0.0, matted=2.0))
    assert matted.cover > 0.5
    leaf = [scene.radiance[scene.kind == Kind.LEAF].mean() for scene in (fresh, matted)]
    assert leaf[1] < 0.8 * leaf[0]
    both = painted(4, replace(BIN, layers=1.0, matted=2.0))
    assert both.cover > matted.cover


@pytest.mark.parametrize("share", [0.3, 0.8])
def test_fragments_cover_their_share(share):
    recipe = replace(BIN, layers=0.0, fragments=share)
    scenes = [painted(seed, recipe) for seed in range(6)]
    assert np.mean([scene.cover for scene in scenes]) == pytest.approx(share, abs=0.1)


def test_rot_darkens_leaves_and_opens_holes():
    sound = painted(2, replace(BIN, looks=(SOUND,)))
    rotten = painted(2, replace(BIN, looks=(replace(SOUND, rot=0.8),)))
    assert rotten.cover < sound.cover
    leaf = [scene.radiance[scene.kind == Kind.LEAF].mean() for scene in (sound, rotten)]
    assert leaf[1] < leaf[0]


CAMERA = Camera(
    white=(1, 1, 1),
    ev=0,
    blur_px=0.3,
    shake_px=0,
    noise=0,
    contrast=0,
    gamma=1,
    saturation=1,
    sharpen=0,
    quality=95,
    smear=0,
    local=0,
    full_chroma=True,
)


def test_a_plain_camera_keeps_linear_light_as_srgb():
    """IEC 61966-2-1: linear 0.2140 is 127.5 of 255."""
    light = np.full((20, 20, 3), 0.2140, np.float32)
    assert np.abs(capture(np.random.default_rng(0), light, CAMERA) - 127.5).max() <= 1


@pytest.mark.parametrize("seed", range(4))
def test_a_shaking_hand_draws_a_point_out_to_a_line(seed):
    light = np.zeros((41, 41, 3), np.float32)
    light[20, 20] = 0.9
    seen = capture(np.random.default_rng(seed), light, replace(CAMERA, shake_px=8))[..., 1] > 30
    y, x = np.nonzero(seen)
    assert 7 <= np.hypot(np.ptp(x), np.ptp(y)) <= 11
    assert seen.sum() < 3 * 9
    assert (x.mean(), y.mean()) == pytest.approx((20, 20), abs=0.6)


def step_at_the_edge(look: LeafLook) -> float:
    """Return the mean rise from soil to leaf across the edges of leaves, in millimetres."""
    canvas = laid(3, replace(BIN, looks=(look,), layers=0.5))
    leaf = canvas.kind == Kind.LEAF
    edge = leaf[:, 1:] & ~leaf[:, :-1]
    return float((canvas.height[:, 1:] - canvas.height[:, :-1])[edge].mean())


def test_a_leaf_pressed_in_ends_in_no_step():
    lying = replace(SOUND, lift_mm=2.0)
    assert step_at_the_edge(lying) > 0.2
    assert abs(step_at_the_edge(replace(lying, sunk=1.0))) < 0.1


@pytest.mark.parametrize("seed", range(5))
def test_a_smoothed_leaf_has_less_grain(seed):
    rng = np.random.default_rng(seed)
    rough = replace(SOUND, mottle=0.4, veins=0.6, net=0.5)
    assert leaf_grain(smoothed(rng, rough)) < 0.7 * leaf_grain(rough)


def leaf_grain(look: LeafLook) -> float:
    """Return how much the logarithm of colour changes from pixel to pixel, on average, inside leaf."""
    canvas = laid(3, replace(BIN, looks=(look,), layers=0.5))
    leaf = canvas.kind == Kind.LEAF
    within = leaf[:, 1:] & leaf[:, :-1]
    return float(np.abs(np.diff(np.log(canvas.colour.mean(axis=2)), axis=1))[within].mean())


def crumbed(seed: int, bare: Canvas, share: float, height: np.ndarray | float = 0.0) -> Canvas:
    """Return leaf that lies all over, as high as `height` mm, strewn with crumbs of `bare` ground."""
    canvas = Canvas.blank(SHAPE, PX_PER_MM)
    canvas.kind[:] = Kind.LEAF
    canvas.height[:] = height
    strew_crumbs(np.random.default_rng(seed), canvas, bare, share)
    return canvas


@pytest.mark.parametrize("share", [0.1, 0.3])
def test_crumbs_hide_about_their_share_of_the_leaf(share):
    """Whatever their size, single or in heaps; between grains leaf still shows."""
    bare = laid(4, replace(BIN, layers=0.0))
    hidden = [float((crumbed(seed, bare, share).kind == Kind.CASTINGS).mean()) for seed in range(16)]
    assert 0.6 * share < np.mean(hidden) < share + 0.02
    assert max(hidden) < share + 0.03


def test_crumbs_gather_in_hollows_or_lie_anywhere():
    """On leaf that rises and falls by a millimetre: where crumbs lie, it is as high as elsewhere, or lower."""
    bare = laid(4, replace(BIN, layers=0.0))
    rising = np.sin(np.indices(SHAPE)[0] / (2 * PX_PER_MM)).astype(np.float32)
    higher = [
        float(rising[crumbed(seed, bare, 0.25, rising).kind == Kind.CASTINGS].mean()) for seed in range(24)
    ]
    assert max(higher) < 0.2
    assert 4 < sum(mean < -0.4 for mean in higher) < 20


@pytest.mark.parametrize("colour", [(255, 255, 255), (300, 240, 200), (206, 196, 178), (16, 16, 16)])
def test_no_leaf_is_whiter_than_leaves_are(colour):
    """The palest leaf reflects about six tenths of the light, from memory; what is darker keeps its colour."""
    hue = as_hue(np.array(colour, float))
    luminance = float(linear(hue) @ (0.2126, 0.7152, 0.0722))
    assert luminance < 0.605
    if max(colour) < 210:
        assert hue == colour


def test_pieces_of_leaf_in_a_bin_keep_a_colour_of_their_own():
    """They go at most half-way to the soil's colour, in litter nearly all the way."""
    rng = np.random.default_rng(31)
    bins, litter = ([random_recipe(rng, stand).browned for _ in range(200)] for stand in ("bin", "litter"))
    assert max(bins) <= 0.5
    assert 0.8 < max(litter) <= 0.9


def test_the_browner_pieces_of_leaf_are_the_nearer_they_come_to_the_soil():
    def distance(browned: float) -> float:
        canvas = laid(5, replace(BIN, layers=0.0, fragments=0.9, browned=browned))
        pieces = canvas.colour[canvas.kind == Kind.LEAF]
        return float(np.linalg.norm(np.log(pieces.mean(axis=0)) - np.log(PLAIN.mean_colour)))

    assert distance(0.1) > distance(0.5) > distance(0.9)

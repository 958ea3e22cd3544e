"""Light on plain landscapes, where geometry says how bright they are."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.painter.canvas import Canvas
from fixtures.painter.light import Light, shine_upon

PX_PER_MM = 3.2
OVERCAST = Light(
    azimuth=0.0, elevation=1.0, direct=0.0, side=0.0, uneven=0.0, crevice=1.0, sheen=0.0, shade=0.0
)


def lit(height: np.ndarray, light: Light = OVERCAST) -> np.ndarray:
    """Return how bright a white, dull landscape is, (h, w)."""
    canvas = Canvas.blank(height.shape, PX_PER_MM)
    canvas.colour[:] = 1
    canvas.height[:] = height
    return shine_upon(np.random.default_rng(0), canvas, light)[0][..., 0]


def test_flat_ground_gets_all_the_light():
    assert lit(np.zeros((40, 40))) == pytest.approx(1, abs=1e-6)


def test_the_foot_of_a_wall_gets_half_the_sky():
    height = np.zeros((80, 80))
    height[:, 40:] = 1000
    assert lit(height)[40, 39] == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("steep", [0.25, 0.5, 1.0])
def test_a_trench_gets_as_much_sky_as_a_street(steep):
    """The middle of a long street sees cos(arctan(2 height / width)) of the sky (Oke 1981, from memory)."""
    half_mm = 4.0
    across = (np.arange(121) - 60) / PX_PER_MM
    height = np.where(np.abs(across) < half_mm, 0.0, steep * half_mm)
    assert lit(np.tile(height, (121, 1)))[60, 60] == pytest.approx(np.cos(np.arctan(steep)), abs=0.1)


def test_a_sheet_is_lit_to_its_very_edge():
    """A leaf is thin: its margin has no face that would be darker than the rest."""
    height = np.zeros((60, 60))
    height[20:40, 20:40] = 1.5
    assert lit(height)[20:40, 20:40] == pytest.approx(1, abs=1e-6)
    assert lit(height)[30, 40] < 0.8


def test_light_from_one_side_tells_slopes_apart():
    uphill = np.tile(0.1 * np.arange(60), (60, 1))
    light = replace(OVERCAST, side=1.0)
    toward, away = (lit(height, light)[30, 30] for height in (uphill[:, ::-1], uphill))
    assert toward > 1.3 * away

"""CIEDE2000 against the pairs that its implementation notes publish."""

from typing import Final

import colour
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from leafwane.colour.difference import delta_e_2000

# L*, a*, b* of two colours and their difference. Source: Sharma, Wu & Dalal 2005, "The CIEDE2000 color-difference
# formula: implementation notes, supplementary test data, and mathematical observations", Color Research & Application
# 30(1):21-30, Table 1, kL = kC = kH = 1.
PAIRS: Final = (
    (50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425),
    (50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615),
    (50.0, 2.8361, -74.02, 50.0, 0.0, -82.7485, 3.4412),
    (50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669),
    (50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669),
    (50.0, 2.49, -0.001, 50.0, -2.49, 0.0009, 7.1792),
    (50.0, 2.49, -0.001, 50.0, -2.49, 0.001, 7.1792),
    (50.0, 2.49, -0.001, 50.0, -2.49, 0.0011, 7.2195),
    (50.0, 2.49, -0.001, 50.0, -2.49, 0.0012, 7.2195),
    (50.0, -0.001, 2.49, 50.0, 0.0009, -2.49, 4.8045),
    (50.0, -0.001, 2.49, 50.0, 0.001, -2.49, 4.8045),
    (50.0, -0.001, 2.49, 50.0, 0.0011, -2.49, 4.7461),
    (50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065),
    (50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492),
    (50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977),
    (50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.9030),
    (50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535),
    (50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0000),
    (50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0000),
    (50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0000),
    (50.0, 2.5, 0.0, 50.0, 3.2592, 0.335, 1.0000),
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
    (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630),
    (61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731),
    (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
    (22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373),
    (36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
    (90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441),
    (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
    (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
    (2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082),
)


@pytest.mark.parametrize("pair", PAIRS)
def test_each_published_pair(pair: tuple[float, ...]) -> None:
    assert delta_e_2000(pair[:3], pair[3:6]) == pytest.approx(pair[6], abs=1e-4)


@pytest.mark.parametrize("pair", PAIRS)
def test_difference_is_the_same_both_ways(pair: tuple[float, ...]) -> None:
    assert delta_e_2000(pair[3:6], pair[:3]) == pytest.approx(pair[6], abs=1e-4)


def test_random_colours_against_scikit_image() -> None:
    rng = np.random.default_rng(2)
    one, other = (rng.uniform((0, -60, -60), (100, 60, 60), (500, 3)) for _ in range(2))
    assert delta_e_2000(one, other) == pytest.approx(deltaE_ciede2000(one, other), abs=1e-9)


def test_random_colours_against_colour_science() -> None:
    rng = np.random.default_rng(1)
    one, other = (rng.uniform((0, -60, -60), (100, 60, 60), (500, 3)) for _ in range(2))
    theirs = colour.delta_E(one, other, method="CIE 2000")
    assert delta_e_2000(one, other) == pytest.approx(theirs, abs=1e-6)

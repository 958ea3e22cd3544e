"""sRGB, XYZ and CIELAB against their standards and against colour-science."""

import colour
import numpy as np
import pytest

from leafwane.colour import spaces

# Name, 8-bit sRGB, CIELAB. Source: computed from IEC 61966-2-1:1999 (transfer function and four-decimal matrix) and
# CIE 15:2004; two sets of white agree to 0.02, hence the tolerance of 0.05. Red is the figure usually quoted.
WORKED = (
    ("white", (255, 255, 255), (100.0, 0.0053, -0.0104)),
    ("black", (0, 0, 0), (0.0, 0.0, 0.0)),
    ("red", (255, 0, 0), (53.2329, 80.1093, 67.2201)),
    ("green", (0, 255, 0), (87.737, -86.1846, 83.1812)),
    ("blue", (0, 0, 255), (32.3026, 79.1967, -107.8637)),
    ("yellow", (255, 255, 0), (97.1382, -21.5559, 94.4825)),
    ("mid grey", (119, 119, 119), (50.0344, 0.003, -0.0059)),
    ("brown", (115, 82, 68), (38.0156, 11.7992, 13.6598)),
    ("nearly black", (8, 8, 8), (2.1934, 0.0003, -0.0006)),
    ("wet castings", (45, 38, 32), (15.7392, 2.0552, 5.1848)),
    ("dry leaf", (150, 110, 70), (49.5907, 10.958, 28.3928)),
)


@pytest.mark.parametrize(("name", "rgb", "lab"), WORKED)
def test_worked_values(name: str, rgb: tuple[int, ...], lab: tuple[float, ...]) -> None:
    assert spaces.srgb_to_lab(np.array(rgb) / 255) == pytest.approx(lab, abs=0.05), name


def test_transfer_function_against_colour_science() -> None:
    encoded = np.linspace(0, 1, 256)
    theirs = colour.models.eotf_sRGB(encoded)
    assert spaces.srgb_to_linear(encoded) == pytest.approx(theirs, abs=1e-6)
    assert spaces.linear_to_srgb(theirs) == pytest.approx(encoded, abs=1e-6)


def test_threshold_of_the_standard() -> None:
    # IEC 61966-2-1:1999: straight below 0.04045 encoded, which is 0.0031308 in linear light.
    assert spaces.srgb_to_linear(0.04045) == pytest.approx(0.0031308, abs=1e-7)


def test_lab_against_colour_science() -> None:
    rgb = np.random.default_rng(2).random((1000, 3))
    theirs = colour.XYZ_to_Lab(
        colour.sRGB_to_XYZ(rgb), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    assert np.abs(spaces.srgb_to_lab(rgb) - theirs).max() < 0.05


def test_every_way_there_has_a_way_back() -> None:
    rgb = np.random.default_rng(3).random((200, 3))
    assert spaces.lab_to_srgb(spaces.srgb_to_lab(rgb)) == pytest.approx(rgb, abs=1e-9)
    assert spaces.xyz_to_linear(spaces.linear_to_xyz(rgb)) == pytest.approx(rgb, abs=1e-12)

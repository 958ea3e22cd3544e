"""Colour spaces of pictures: as exact as those of single colours."""

import numpy as np
import pytest

from leafwane.colour import spaces


@pytest.fixture
def picture() -> np.ndarray:
    dark, bright = np.random.default_rng(4).random((2, 40, 50, 3), dtype=np.float32)
    return np.concatenate([0.1 * dark, bright])


def test_lab_of_a_picture_is_lab_of_its_pixels(picture: np.ndarray) -> None:
    assert np.abs(spaces.lab_image(picture) - spaces.srgb_to_lab(picture)).max() < 0.05


def test_encoding_a_picture_is_as_exact_as_eight_bits_need(picture: np.ndarray) -> None:
    assert np.abs(spaces.encode_image(picture) - spaces.linear_to_srgb(picture)).max() < 0.0002
    assert np.abs(spaces.decode_image(picture) - spaces.srgb_to_linear(picture)).max() < 0.00002


def test_values_out_of_range_are_clipped() -> None:
    wild = np.array([[[-0.5, 0.5, 7.0]]], dtype=np.float32)
    assert spaces.encode_image(wild)[0, 0] == pytest.approx([0, 0.7354, 1], abs=1e-3)


def test_colours_below_black_keep_their_sign() -> None:
    assert spaces.linear_to_srgb(-0.2) == pytest.approx(-spaces.linear_to_srgb(0.2))

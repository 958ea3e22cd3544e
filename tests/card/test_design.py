"""The card's table and its picture."""

import numpy as np
import pytest

from leafwane.card import design


def test_card_is_104_by_80_mm_at_any_scale():
    for px_per_mm in (2, 5, 7.3, 25):
        height, width, _ = design.card_image(px_per_mm).shape
        assert (width, height) == (round(104 * px_per_mm), round(80 * px_per_mm))


def test_each_patch_stands_where_the_table_says_in_its_colour():
    card = design.card_image(10)
    for rgb, (x, y) in zip(design.PATCH_RGB, design.patch_centres_mm() + design.BORDER_MM, strict=True):
        left, top = round(10 * (x - 5.5)), round(10 * (y - 5.5))
        assert (card[top : top + 110, left : left + 110] == rgb).all()
        assert (card[top - 1, left : left + 110] == design.PAPER_RGB).all()


def test_twins_are_the_same_grey_at_opposite_edges():
    cells = design.PATCH_CELLS
    for one, other in design.TWINS:
        assert design.PATCH_RGB[one] == design.PATCH_RGB[other]
        assert cells[one][0] + cells[other][0] == 5
        assert cells[one][1] + cells[other][1] == 7


@pytest.mark.parametrize("index", range(4))
def test_rim_tag_has_two_mm_of_white_round_it(index):
    square = design.rim_tag_image(index, 10)
    assert square.shape == (260, 260, 3)
    black = np.argwhere((square == design.TAG_BLACK_RGB).all(axis=2))
    assert black.min() == 20
    assert black.max() == 239


def test_own_values_take_the_place_of_the_nominal_ones():
    own = dict.fromkeys(design.PATCH_NAMES, (0.1, 0.2, 0.3))
    assert (design.reference_rgb(own) == (0.1, 0.2, 0.3)).all()
    assert design.reference_rgb()[0] == pytest.approx(np.array((243, 243, 242)) / 255)

"""Practice tiles are what they say."""

import numpy as np
import pytest

from fixtures.training.tiles import make_tile

SIDE = 64


@pytest.mark.parametrize("many", [0, np.inf])
def test_a_tile_of_very_many_leaves_is_a_quarter_mirrored(many, monkeypatch):
    monkeypatch.setattr("fixtures.training.tiles._MANY_LEAVES", many)
    tile = make_tile(3, size=SIDE)
    assert tile.colour.shape == (SIDE, SIDE, 3)
    assert tile.label.shape == (SIDE, SIDE)
    for picture in (tile.colour, tile.label):
        for axis in (0, 1):
            assert np.array_equal(picture, np.flip(picture, axis)) == (many == 0)

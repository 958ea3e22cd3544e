"""The tags printed are those of the published family.

Source: E. Olson, AprilTag: A robust and flexible visual fiducial system, ICRA 2011, and the code list of family 36h11
that goes with it. The four code words are typed from memory; that any two tags differ in at least 11 bits, however they
are turned, is what the family's name says.
"""

from itertools import combinations

import numpy as np
import pytest

from leafwane.card.design import CARD_TAGS, RIM_TAGS, tag_bits


@pytest.mark.parametrize(
    ("tag_id", "code"), [(0, 0xD5D628584), (1, 0xD97F18B49), (2, 0xDD280910E), (3, 0xE479E9C98)]
)
def test_bits_are_the_published_code_words(tag_id, code):
    published = np.array([int(bit) for bit in f"{code:036b}"]).reshape(6, 6)
    # The list counts from the other end: it is the print turned by half a turn.
    np.testing.assert_array_equal(np.rot90(tag_bits(tag_id)[1:-1, 1:-1], 2), published)


def test_any_two_tags_differ_in_at_least_eleven_bits():
    inner = {tag_id: tag_bits(tag_id)[1:-1, 1:-1] for tag_id in CARD_TAGS + RIM_TAGS}
    for one, other in combinations(inner, 2):
        for turns in range(4):
            assert np.count_nonzero(inner[one] != np.rot90(inner[other], turns)) >= 11


def test_black_edge_is_one_module_wide():
    for tag_id in CARD_TAGS + RIM_TAGS:
        bits = tag_bits(tag_id)
        assert bits.shape == (8, 8)
        assert not bits[[0, -1]].any()
        assert not bits[:, [0, -1]].any()

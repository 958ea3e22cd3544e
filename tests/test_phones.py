"""What phones and people do to a photo: what the card can undo moves no cover, and what it cannot is in no curve."""

import pytest

from fixtures.studies import phones
from leafwane.flags import Flag

UNDONE = (
    "warm white balance",
    "cool white balance",
    "two stops too dark",
    "one stop too bright",
    "vivid colours",
    "shade beside the card",
    "brown stains on the card",
)
LOST = ("black and white", "card printed without colour")


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Return what became of one of the demo's bins, by change."""
    folder = tmp_path_factory.mktemp("phones")
    return {one.change: one for one in phones.tried(0, folder, changes=(*UNDONE, *LOST))}


def test_a_careful_photo_is_right_and_in_the_curve(found):
    plain = found["unchanged"]
    assert plain.in_curve
    assert abs(plain.error) < 2 * plain.stated


@pytest.mark.parametrize("change", UNDONE)
def test_what_the_card_undoes_moves_the_cover_by_less_than_the_stated_interval(found, change):
    """Colour, exposure, and light that differs between card and surface; the interval of nine times in ten is some 2 points wide."""
    assert found[change].in_curve
    assert abs(found[change].moved) < 1.645 * found[change].stated < 2


@pytest.mark.parametrize("change", LOST)
def test_what_lost_its_colour_is_in_no_curve(found, change):
    assert Flag.NO_COLOUR in found[change].flags
    assert not found[change].in_curve

"""The 24-patch chart's values against colour-science, which carries what the chart's maker published in 2016."""

import colour
import numpy as np
import pytest

from leafwane.card.chart24_values import EDITIONS, PATCH_NAMES, edition_rgb
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.spaces import srgb_to_lab, srgb_to_linear

DATASETS = {
    "from November 2014": "ColorChecker24 - After November 2014",
    "before November 2014": "ColorChecker24 - Before November 2014",
}


@pytest.mark.parametrize("edition", EDITIONS)
def test_colours_are_those_of_the_reference_library(edition):
    dataset = colour.CCS_COLOURCHECKERS[DATASETS[edition]]
    xyz = colour.xyY_to_XYZ(np.array(list(dataset.data.values())))
    linear = colour.XYZ_to_sRGB(
        xyz,
        illuminant=dataset.illuminant,
        chromatic_adaptation_transform="Bradford",
        apply_cctf_encoding=False,
    )
    np.testing.assert_allclose(srgb_to_linear(edition_rgb(edition)), linear, atol=5e-4)


@pytest.mark.parametrize("edition", EDITIONS)
def test_patches_stand_in_the_published_order(edition):
    published = [name.split(" (")[0] for name in colour.CCS_COLOURCHECKERS[DATASETS[edition]].data]
    assert [name.split()[0] for name in PATCH_NAMES] == [name.split()[0] for name in published]


def test_editions_differ_by_what_is_published():
    """Mean CIEDE2000 of the two editions under D50 is 0.85, as computed with colour-science."""
    one, other = (np.array(values) for values in EDITIONS.values())
    assert colour.delta_E(one, other, method="CIE 2000").mean() == pytest.approx(0.85, abs=0.01)
    one_srgb, other_srgb = (srgb_to_lab(edition_rgb(edition)) for edition in EDITIONS)
    assert delta_e_2000(one_srgb, other_srgb).mean() == pytest.approx(0.85, abs=0.1)

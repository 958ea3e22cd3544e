"""The correction where the right answer is known: a matrix to recover, light that scales, a chart's published colours."""

import colour
import numpy as np
import pytest

from leafwane.card.chart24_values import EDITIONS, edition_rgb
from leafwane.card.design import reference_rgb
from leafwane.colour.correction import fit_correction
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.spaces import linear_to_xyz, srgb_to_lab
from tests.colour.cards import phone, samples


@pytest.mark.parametrize("seed", range(6))
def test_known_matrix_is_recovered(seed: int) -> None:
    # No source needed: the matrix is drawn here, so the true colours are known. The bar is a mean of 0.5 dE00.
    rng = np.random.default_rng(seed)
    gains = tuple(rng.uniform(0.8, 1.2, 3))
    correction = fit_correction(samples(phone(reference_rgb(), balance=gains, exposure=-0.5)))
    others = rng.uniform(0.1, 0.7, (400, 3))
    found = correction.true_srgb(phone(others, balance=gains, exposure=-0.5))
    assert delta_e_2000(srgb_to_lab(found), srgb_to_lab(others)).mean() < 0.5
    assert correction.de00_loo_mean < 0.5


def test_scaled_light_scales_the_corrected_xyz() -> None:
    # Finlayson, Mackiewicz & Hurlbert 2015, IEEE Transactions on Image Processing 24:1460, section III: every term of a
    # root-polynomial has degree 1, so k times the light gives k times the XYZ. Checked after the grey curves.
    model = fit_correction(samples(phone(reference_rgb(), contrast=0.5))).colours
    curved = np.random.default_rng(5).uniform(0.02, 0.4, (200, 3))
    for factor in (0.25, 0.5, 2.0):
        xyz, scaled = (linear_to_xyz(model.from_curved(side)) for side in (curved, factor * curved))
        assert scaled == pytest.approx(factor * xyz, rel=1e-9)


def test_correction_is_the_same_at_any_exposure() -> None:
    # Same source, table of exposure changes: what a polynomial fails at.
    true = np.random.default_rng(6).uniform(0.1, 0.6, (200, 3))
    found = [
        srgb_to_lab(
            fit_correction(samples(phone(reference_rgb(), exposure=ev))).true_srgb(phone(true, exposure=ev))
        )
        for ev in (-1.5, -0.75, 0.0)
    ]
    assert delta_e_2000(found[0], found[2]).max() < 0.3
    assert delta_e_2000(found[1], found[2]).max() < 0.3


@pytest.mark.parametrize(
    ("edition", "theirs"),
    [
        ("from November 2014", "ColorChecker24 - After November 2014"),
        ("before November 2014", "ColorChecker24 - Before November 2014"),
    ],
)
def test_chart_colours_against_colour_science(edition: str, theirs: str) -> None:
    chart = colour.CCS_COLOURCHECKERS[theirs]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        xyz, colour.xy_to_XYZ(chart.illuminant), colour.xy_to_XYZ(d65), transform="Bradford"
    )
    lab = colour.XYZ_to_Lab(adapted, d65)
    assert edition in EDITIONS
    assert delta_e_2000(srgb_to_lab(edition_rgb(edition)), lab).max() < 0.1

"""Status is told by word and shape as well as by colour, and its colours are fit for every eye."""

import itertools
import re
from importlib import resources

import colour
import numpy as np
import pytest

from leafwane.report.looks import INK, LOOKS, PAPER, QUIET, READY

STATUSES = {"too-early", "on-course", "slow", "stalled", "finished", "topped-up", "unclear"}


def luminance(colour_hex):
    """Relative luminance as WCAG 2.2 defines it."""
    encoded = np.array([int(colour_hex[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(one, other):
    """Contrast ratio as WCAG 2.2 defines it."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_and_white():
    # W3C, Web Content Accessibility Guidelines 2.2, contrast ratio: "Contrast ratios can range from 1 to 21".
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#808080", "#808080") == 1


def test_every_status_has_a_look():
    assert set(LOOKS) == STATUSES


def test_words_and_shapes_differ():
    looks = LOOKS.values()
    for distinct in (
        {look.word for look in looks},
        {look.sign for look in looks},
        {look.ascii_sign for look in looks},
        {(look.marker, look.filled) for look in looks},
        {look.urgency for look in looks},
    ):
        assert len(distinct) == len(LOOKS)
    assert all(look.ascii_sign.isascii() for look in looks)


@pytest.mark.parametrize("status", sorted(STATUSES))
def test_colours_carry_white_text_and_stand_on_paper(status):
    # W3C WCAG 2.2, success criterion 1.4.3: text has a contrast of at least 4.5 to 1.
    assert contrast(LOOKS[status].colour, "#ffffff") >= 4.5
    assert contrast(LOOKS[status].colour, PAPER) >= 4.5


@pytest.mark.parametrize("ink", [INK, QUIET, READY])
def test_inks_of_the_figures_can_be_read(ink):
    assert contrast(ink, PAPER) >= 4.5


def schemes():
    css = resources.files("leafwane.report").joinpath("templates/style.css.jinja").read_text("utf-8")
    roots = re.findall(r":root \{([^}]*)\}", css)
    return [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", root)) for root in roots[:2]]


@pytest.mark.parametrize("scheme", schemes(), ids=["light", "dark"])
def test_text_of_the_page_can_be_read(scheme):
    for text, ground in itertools.product(("ink", "quiet", "link"), ("ground", "sheet")):
        assert contrast(scheme[text], scheme[ground]) >= 4.5, (text, ground)


@pytest.mark.parametrize("kind", ["Protanomaly", "Deuteranomaly"])
def test_the_statuses_that_matter_most_are_told_apart_by_every_eye(kind):
    # Machado, Oliveira & Fernandes 2009, IEEE TVCG 15:1291, as carried by colour-science; full severity.
    matrix = colour.blindness.matrix_cvd_Machado2009(kind, 1.0)
    shown = [LOOKS[status].colour for status in ("stalled", "on-course", "finished")]
    linear = colour.cctf_decoding(np.array([[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in shown]))
    seen = np.clip(linear @ matrix.T, 0, 1)
    lab = colour.XYZ_to_Lab(colour.RGB_to_XYZ(seen, "sRGB"))
    for one, other in itertools.combinations(lab, 2):
        assert colour.delta_E(one, other, method="CIE 2000") > 10

"""The picture of a comparison shows every kind's rate and what each pair comes to."""

from dataclasses import replace

import numpy as np
import pytest

from leafwane.breakdown.compare import compare_leaves
from leafwane.breakdown.course import follow_trial
from leafwane.report.compared import compare_figure
from leafwane.report.figures import png_bytes
from leafwane.trialfile import BinPlan, TrialPlan
from tests.breakdown.invented import covers_of, scores_of

DAYS = np.arange(6) * 14


def comparison_of(rates: dict[str, float]):
    scores, bins = [], {}
    for leaf, k in rates.items():
        for n in range(2):
            name = f"{leaf} {n}"
            scores += scores_of(DAYS, covers_of(k * (1 + 0.05 * n), DAYS), name=name)
            bins[name] = BinPlan(name=name, leaf=leaf)
    return compare_leaves(follow_trial(scores, TrialPlan(name="Quince Lane garden", bins=bins)))


def test_each_kind_stands_at_its_rate():
    comparison = comparison_of({"hazel": 0.04, "plane": 0.015})
    (axes,) = compare_figure(comparison).axes
    dots = [line.get_xdata()[0] for line in axes.lines if line.get_marker() == "o"]
    assert dots == pytest.approx([100 * kind.k_per_day for kind in comparison.kinds])
    assert dots[0] > dots[1]
    low, high = axes.get_xlim()
    assert low < 100 * min(kind.k_low for kind in comparison.kinds)
    assert high > 100 * max(kind.k_high for kind in comparison.kinds)


def test_the_sentence_of_each_pair_is_on_it():
    comparison = comparison_of({"hazel": 0.04, "oak": 0.02, "plane": 0.012})
    figure = compare_figure(comparison)
    shown = " ".join(text.get_text() for text in figure.texts).replace("\n", " ")
    for pair in comparison.pairs:
        assert pair.sentence in shown


def test_the_caution_on_a_pair_is_on_it():
    comparison = comparison_of({"hazel": 0.04, "plane": 0.015})
    (pair,) = comparison.pairs
    caution = "But tub has stalled: its pace tells of the bin."
    figure = compare_figure(replace(comparison, pairs=(replace(pair, caution=caution),)))
    shown = " ".join(text.get_text() for text in figure.texts).replace("\n", " ")
    assert f"{pair.sentence} {caution}" in shown


def test_every_bin_is_a_point_in_the_row_of_its_kind():
    comparison = comparison_of({"hazel": 0.04, "plane": 0.015})
    (axes,) = compare_figure(comparison).axes
    points = [line for line in axes.lines if line.get_marker() == "."]
    for row, (kind, line) in enumerate(zip(comparison.kinds, points, strict=True)):
        assert line.get_xdata() == pytest.approx([100 * rate for rate in kind.bin_rates])
        assert all(row < height < row + 0.5 for height in line.get_ydata())
        assert len(kind.bin_rates) == len(kind.bins) == 2
        assert kind.k_per_day == pytest.approx(np.prod(kind.bin_rates) ** 0.5)


@pytest.mark.parametrize("rates", [{"a": 0.03}, {"a": 0.03, "b": 0.0305}, {"a": 0.004, "b": 0.15}])
def test_the_scale_always_bears_two_figures_or_more(rates):
    (axes,) = compare_figure(comparison_of(rates)).axes
    low, high = axes.get_xlim()
    assert sum(low <= tick <= high for tick in axes.get_xticks()) >= 2


def test_of_many_pairs_the_picture_says_how_many_more_there_are():
    comparison = comparison_of({f"leaf {n}": 0.012 * 1.2**n for n in range(6)})
    figure = compare_figure(comparison)
    assert len(comparison.pairs) == 15
    assert "And 5 more pairs." in " ".join(text.get_text() for text in figure.texts)


@pytest.mark.parametrize("rates", [{}, {"hazel": 0.03}])
def test_nothing_to_compare_is_still_a_picture(rates):
    assert png_bytes(compare_figure(comparison_of(rates))).startswith(b"\x89PNG")


def test_a_hostile_name_is_drawn_as_it_stands():
    assert png_bytes(compare_figure(comparison_of({"$\\frac{1}{0}$": 0.03, "b": 0.02}))).startswith(
        b"\x89PNG"
    )

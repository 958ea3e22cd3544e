"""Picture of a comparison: how fast each kind of leaf goes, with its interval, its bins and what each pair comes to."""

import textwrap
from typing import TYPE_CHECKING, Final

from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter

from leafwane.report.figures import blank_figure, plain, short
from leafwane.report.looks import GRID, INK, LOOKS, PAPER, QUIET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from leafwane.breakdown.compare import Comparison, KindRate

ROW_IN: Final = 0.62
LINE_IN: Final = 0.2

COLOUR: Final = LOOKS["on-course"].colour
SCALE: Final = "leaf lost a day; small dots are bins, bars hold nine times in ten"

N_SENTENCES: Final = 10
"""Most pairs whose sentence stands under the picture; the page and compare.json hold them all."""

LEAST_SPAN: Final = 2.4
"""Least ratio of the ends of the scale, so that two of the ticks always stand on it."""

TICKS: Final = (0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 4, 5, 7, 10, 15, 20, 30, 50)
FEW_TICKS: Final = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50)
"""Percent a day that are named on the scale, and those on a scale that spans more than eightfold."""


def compare_figure(comparison: "Comparison") -> Figure:
    """Return the rates by kind of leaf, the fastest on top, over the sentences on pairs."""
    pairs = [f"{pair.sentence} {pair.caution}".strip() for pair in comparison.pairs]
    n_more = len(pairs) - N_SENTENCES
    said = [*pairs[:N_SENTENCES], *([f"And {n_more} more pairs."] if n_more > 0 else [])]
    lines = [line for sentence in said for line in textwrap.wrap(sentence, 92)]
    figure = _rates(comparison.kinds, width=7.2, more=LINE_IN * len(lines), size=10)
    if lines:
        figure.supxlabel(plain("\n".join(lines)), x=0.02, ha="left", fontsize=9.5, color=INK)
    return figure


def rates_figure(kinds: "Sequence[KindRate]", *, narrow: bool = False) -> Figure:
    """Return the rates by kind of leaf alone, for a page that says the rest; `narrow` at the width of a phone."""
    return _rates(kinds, width=3.6 if narrow else 7.2, more=0.0, size=8.5 if narrow else 10)


def _rates(kinds: "Sequence[KindRate]", *, width: float, more: float, size: float) -> Figure:
    figure = blank_figure(width, 1.1 + ROW_IN * max(1, len(kinds)) + more)
    axes = figure.add_subplot()
    _dress(axes, kinds, size=size)
    for row, kind in enumerate(kinds):
        _draw(axes, row, kind, size=size)
    figure.suptitle(
        textwrap.fill(SCALE, round(120 * width / size)), x=0.02, ha="left", fontsize=size, color=QUIET
    )
    return figure


def _draw(axes: "Axes", row: int, kind: "KindRate", *, size: float) -> None:
    """Draw one kind: its interval, its rate, and its bins under them."""
    low, middle, high = (100 * rate for rate in (kind.k_low, kind.k_per_day, kind.k_high))
    axes.plot([low, high], [row, row], color=COLOUR, linewidth=2.6, solid_capstyle="butt")
    axes.plot([middle], [row], "o", color=COLOUR, markersize=8)
    bins = [100 * rate for rate in kind.bin_rates]
    axes.plot(bins, [row + 0.22] * len(bins), ".", color=COLOUR, alpha=0.6, markersize=6, linestyle="none")
    axes.annotate(
        f"{middle:.1f}%",
        (middle, row),
        xytext=(0, 7),
        textcoords="offset points",
        ha="center",
        color=INK,
        fontsize=size - 0.5,
    )


def _dress(axes: "Axes", kinds: "Sequence[KindRate]", *, size: float) -> None:
    """Give axes a row a kind and a logarithmic scale, on which equal ratios are equally long."""
    axes.set_facecolor(PAPER)
    axes.set_yticks(range(len(kinds)), [_name(kind) for kind in kinds])
    axes.set_ylim(max(1, len(kinds)) - 0.4, -0.7)
    axes.tick_params(labelsize=size, colors=INK, length=0, pad=6, which="both")
    if kinds:
        _scale(axes, kinds)
    else:
        axes.set_xticks([])
        axes.text(
            0.5, 0.5, "no rate to show yet", transform=axes.transAxes, ha="center", color=QUIET, fontsize=size
        )
    axes.grid(axis="x", color=GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(QUIET)


def _scale(axes: "Axes", kinds: "Sequence[KindRate]") -> None:
    rates = [100 * rate for kind in kinds for rate in (kind.k_low, kind.k_high, *kind.bin_rates)]
    low, high = 0.88 * min(rates), 1.14 * max(rates)
    wider = max(1.0, LEAST_SPAN / (high / low)) ** 0.5
    low, high = low / wider, high * wider
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(FixedLocator(FEW_TICKS if high / low > 8 else TICKS))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda percent, _place: f"{percent:g}%"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlim(low, high)


def _name(kind: "KindRate") -> str:
    n = len(kind.bins)
    return f"{textwrap.fill(short(kind.leaf), 16)}\n{n} bin{'s' if n != 1 else ''}"

"""Picture of a comparison: how fast each kind of leaf goes, with its interval and what each pair comes to."""

import textwrap
from typing import TYPE_CHECKING, Final

from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter, ScalarFormatter

from leafwane.report.figures import blank_figure, plain
from leafwane.report.looks import GRID, INK, PAPER, QUIET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from leafwane.breakdown.compare import Comparison, KindRate

WIDTH_IN: Final = 7.2
ROW_IN: Final = 0.62
LINE_IN: Final = 0.2
COLOUR: Final = "#14507a"
SCALE: Final = "leaf lost, % a day: dot and bar hold nine times in ten; further right is faster"


def compare_figure(comparison: "Comparison") -> Figure:
    """Return the rates by kind of leaf, the fastest on top, over the sentences on pairs."""
    words = [line for pair in comparison.pairs for line in textwrap.wrap(pair.sentence, 92)]
    rows = max(1, len(comparison.kinds))
    figure = blank_figure(WIDTH_IN, 1.3 + ROW_IN * rows + LINE_IN * len(words))
    axes = figure.add_subplot()
    _dress(axes, comparison.kinds)
    for row, kind in enumerate(comparison.kinds):
        _draw(axes, row, kind)
    axes.set_title(SCALE, loc="left", fontsize=10, color=QUIET)
    if words:
        figure.supxlabel(plain("\n".join(words)), x=0.02, ha="left", fontsize=9.5, color=INK)
    return figure


def _draw(axes: "Axes", row: int, kind: "KindRate") -> None:
    low, middle, high = (100 * rate for rate in (kind.k_low, kind.k_per_day, kind.k_high))
    axes.plot([low, high], [row, row], color=COLOUR, linewidth=3, solid_capstyle="butt")
    axes.plot([middle], [row], "o", color=COLOUR, markersize=9)
    axes.annotate(
        f"{middle:.1f}",
        (middle, row),
        xytext=(0, 8),
        textcoords="offset points",
        ha="center",
        color=INK,
        fontsize=9,
    )


def _dress(axes: "Axes", kinds: "Sequence[KindRate]") -> None:
    """Give axes a row a kind and a logarithmic scale, on which equal ratios are equally long."""
    axes.set_facecolor(PAPER)
    axes.set_yticks(range(len(kinds)), [_name(kind) for kind in kinds])
    axes.set_ylim(len(kinds) - 0.4, -0.7)
    if kinds:
        axes.set_xscale("log")
        axes.set_xlim(80 * min(kind.k_low for kind in kinds), 125 * max(kind.k_high for kind in kinds))
        axes.xaxis.set_major_formatter(ScalarFormatter())
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_xticks([0.1, 0.2, 0.5, 1, 2, 5, 10, 20])
        axes.set_xlim(80 * min(kind.k_low for kind in kinds), 125 * max(kind.k_high for kind in kinds))
    axes.tick_params(labelsize=10, colors=INK, length=0, pad=6, which="both")
    axes.grid(axis="x", color=GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(QUIET)


def _name(kind: "KindRate") -> str:
    n = len(kind.bins)
    return plain(f"{kind.leaf}\n{n} bin{'s' if n != 1 else ''}")

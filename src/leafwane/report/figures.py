"""Pictures of curves: percent leaves remaining over dates, with its doubt, its finish line and its batches.

Drawn with figures of their own, never through `pyplot`, so that nothing is shared between calls.
"""

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MultipleLocator, PercentFormatter

from leafwane.report.looks import GRID, INK, LOOKS, PAPER, QUIET, READY, Look
from leafwane.report.traces import Trace, trace_bin

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from leafwane.breakdown.course import BinCourse

N_TOGETHER = 4
"""Most bins that share one pair of axes; more get a small picture each."""

SCALE = "leaf left, % of the first check-in"

LINE_WIDTH = 1.7

Dashes: TypeAlias = Literal["-"] | tuple[float, tuple[float, ...]]

LINES: tuple[Dashes, ...] = (
    "-",
    (0, (6, 2)),
    (0, (2, 1.5)),
    (0, (7, 2, 1.5, 2)),
)
"""Line styles that tell bins of one status apart on shared axes."""

TICKS = ["%Y", "%b", "%d %b", "%d %b", "%H:%M", "%S"]
"""How ticks are written that fall on years, months, days ..."""

FIRSTS = ["", "%b\n%Y", "%d %b", "%d %b", "%d %b", "%H:%M"]
"""How the first tick of a year, month, day ... is written: January carries the year."""

YEARS = ["", "%Y", "%Y", "%Y", "%Y", "%Y"]
"""What stands once at the end of the axis."""

EPOCH = date(1970, 1, 1).toordinal()
"""Matplotlib counts days from here."""


def curve_figure(
    courses: Sequence["BinCourse"], *, finish_percent: float = 5.0, narrow: bool = False
) -> Figure:
    """Draw percent leaves remaining over dates: one pair of axes for few bins, small multiples for many.

    Args:
        courses: The bins, in the order in which they are shown.
        finish_percent: Leaf cover, 0..100, below which a bin is ready.
        narrow: Draw few bins at the width of a phone.
    """
    traces = [trace_bin(course, finish_percent=finish_percent) for course in courses]
    return traces_figure(traces, narrow=narrow)


def traces_figure(traces: Sequence[Trace], *, narrow: bool = False) -> Figure:
    """Draw what `curve_figure` draws, from traces that are already at hand."""
    return _together(traces, narrow=narrow) if len(traces) <= N_TOGETHER else _small_multiples(traces)


def bin_figure(trace: Trace) -> Figure:
    """Draw one bin's curve at the width of a phone."""
    figure = blank_figure(3.6, 2.55)
    axes = figure.add_subplot()
    _dress(axes, [trace], size=8.5)
    _draw(axes, trace)
    axes.set_title(SCALE, loc="left", fontsize=8.5, color=QUIET)
    return figure


def png_bytes(figure: Figure, *, dpi: int = 150) -> bytes:
    """Return the figure as a PNG file."""
    FigureCanvasAgg(figure)
    file = io.BytesIO()
    with _quiet():
        figure.savefig(file, format="png", dpi=dpi)
    return file.getvalue()


def svg_text(figure: Figure) -> str:
    """Return the figure as an SVG document, the same text for the same figure."""
    file = io.StringIO()
    with _quiet(), mpl.rc_context({"svg.hashsalt": "leafwane"}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    return file.getvalue()


@contextmanager
def _quiet() -> Iterator[None]:
    """Let a name with letters that the font lacks be drawn as boxes, without a warning a letter."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def blank_figure(width: float, height: float) -> Figure:
    """Return an empty figure on the paper of all the others; width and height in inches."""
    figure = Figure(figsize=(width, height), facecolor=PAPER)
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    return figure


def _together(traces: Sequence[Trace], *, narrow: bool) -> Figure:
    figure = blank_figure(3.6, 3.6) if narrow else blank_figure(7.2, 4.3)
    size = 8.5 if narrow else 10
    axes = figure.add_subplot()
    _dress(axes, traces, size=size)
    for n, (trace, line) in enumerate(zip(traces, LINES, strict=False)):
        _draw(axes, trace, line=line, named=n == 0)
    if len(traces) > 1:
        _name_ends(axes, traces, most=10 if narrow else 18)
    if traces:
        figure.legend(
            handles=[_key(trace, line) for trace, line in zip(traces, LINES, strict=False)],
            loc="outside upper left",
            ncols=1 if narrow else 2,
            numpoints=2,
            handlelength=4.2,
            frameon=False,
            labelcolor=INK,
            fontsize=size,
        )
    axes.set_title(SCALE, loc="left", fontsize=size, color=QUIET)
    return figure


def _name_ends(axes: "Axes", traces: Sequence[Trace], *, most: int) -> None:
    """Write each bin's name, of so many letters at most, beside its newest check-in or the end of its line, none over another."""
    ends = sorted((_end(trace), trace.bin, LOOKS[trace.status].colour) for trace in traces if trace.dates)
    places = _spread([percent for (percent, _), _, _ in ends], top=axes.get_ylim()[1])
    for ((_, day), name, colour), place in zip(ends, places, strict=True):
        axes.annotate(
            short(name, most),
            (day, place),
            xytext=(7, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
            color=colour,
        )


def _spread(percents: Sequence[float], *, top: float) -> list[float]:
    """Return sorted places on an axis of height `top`, moved apart, and inwards, by no more than lines of text take."""
    line = 0.06 * top
    below = line * np.arange(len(percents))
    raised = np.maximum.accumulate(np.maximum(percents, line / 2) - below) + below
    return [float(place) for place in np.minimum(raised, top - line / 2 - below[::-1])]


def _end(trace: Trace) -> tuple[float, float]:
    """Return the percent and the day at which what is drawn of a bin ends."""
    if trace.fit.size:
        return float(trace.fit[-1]), float(trace.fit_at[-1]) - EPOCH
    return float(trace.left[-1]), _number(trace.dates[-1])


def _key(trace: Trace, line: Dashes) -> Line2D:
    """Return what stands for a bin in the legend: its marker, and its line where it has one."""
    look = LOOKS[trace.status]
    return Line2D(
        [],
        [],
        linestyle=line if trace.fit.size else "none",
        linewidth=LINE_WIDTH,
        label=plain(f" {trace.bin}: {look.word.lower()}"),
        **_marks(look),
    )


def _marks(look: Look) -> dict[str, Any]:
    """Return how check-ins of a status are marked."""
    return {
        "marker": look.marker,
        "color": look.colour,
        "markerfacecolor": look.colour if look.filled else PAPER,
        "markersize": 9 if look.marker == "*" else 5.5,
    }


def _small_multiples(traces: Sequence[Trace]) -> Figure:
    """Draw a panel a bin; panels stand at fixed places, so that a hundred take no longer than they must."""
    n_columns = 3 if len(traces) <= 12 else 4
    n_rows = -(-len(traces) // n_columns)
    figure = Figure(figsize=(2.4 * n_columns, 1.85 * n_rows + 0.5), facecolor=PAPER)
    width, height = figure.get_size_inches()
    for n, trace in enumerate(traces):
        row, column = divmod(n, n_columns)
        left, bottom = 2.35 * column + 0.5, height - 1.85 * (row + 1) + 0.05
        axes = figure.add_axes((left / width, bottom / height, 1.95 / width, 1.25 / height))
        _panel(axes, trace, traces)
        axes.tick_params(labelleft=column == 0, labelbottom=n + n_columns >= len(traces))
        axes.xaxis.get_offset_text().set_visible(n + n_columns >= len(traces))
    figure.text(0.1 / width, 1 - 0.2 / height, SCALE, fontsize=9, color=QUIET)
    return figure


def _panel(axes: "Axes", trace: Trace, traces: Sequence[Trace]) -> None:
    """Draw one of many bins, with its name and its status above it."""
    look = LOOKS[trace.status]
    _dress(axes, traces, size=8)
    _draw(axes, trace, named=False)
    axes.set_title(short(trace.bin), loc="left", pad=15, fontsize=8.5, color=INK, fontweight="bold")
    axes.annotate(
        look.word,
        (1, 1),
        xycoords="axes fraction",
        xytext=(0, 4),
        textcoords="offset points",
        ha="right",
        fontsize=8,
        color=look.colour,
    )


def short(name: str, most: int = 28) -> str:
    """Return a name that fits above a small picture; what tells names apart stands at either end."""
    half = most // 2
    return plain(name if len(name) <= most else f"{name[: most - half]}…{name[1 - half :]}")


def plain(text: str) -> str:
    """Return text that is shown as it stands: a dollar sign would start a formula."""
    return text.replace("$", r"\$")


def _dress(axes: "Axes", traces: Sequence[Trace], *, size: float) -> None:
    """Give axes their scales, ticks and grid."""
    axes.set_facecolor(PAPER)
    axes.set_ylim(0, _top(traces))
    axes.yaxis.set_major_locator(MultipleLocator(25 if _top(traces) <= 130 else 50))
    axes.yaxis.set_major_formatter(PercentFormatter(decimals=0))
    locator = AutoDateLocator(minticks=2, maxticks=4 if size <= 8 else 5)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(
        ConciseDateFormatter(locator, formats=TICKS, zero_formats=FIRSTS, offset_formats=YEARS)
    )
    axes.set_xlim(*_days_shown(traces))
    axes.tick_params(labelsize=size, colors=QUIET, length=0, pad=5)
    axes.xaxis.get_offset_text().set(fontsize=size, color=QUIET)
    axes.grid(axis="y", color=GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(QUIET)


def _number(day: date) -> float:
    """Return a day as matplotlib counts it."""
    return float(day.toordinal() - EPOCH)


def _top(traces: Sequence[Trace]) -> float:
    highest = [float(np.max(t.left + t.left_err)) for t in traces if t.left.size]
    return float(np.clip(max([106.0, *highest]), 106.0, 250.0))


def _days_shown(traces: Sequence[Trace]) -> tuple[float, float]:
    """Return the first and last day on the axis, with a little air; any week where there is no day."""
    days = [_number(d) for t in traces for d in t.dates]
    days += [float(d) - EPOCH for t in traces for d in t.fit_at]
    first, last = (min(days), max(days)) if days else (0.0, 7.0)
    air = max(2.0, 0.03 * (last - first))
    return first - air, last + air


def _draw(
    axes: "Axes",
    trace: Trace,
    *,
    line: Dashes = "-",
    named: bool = True,
) -> None:
    """Draw one bin: band, line, points with bars, finish line, batches."""
    look = LOOKS[trace.status]
    fit_at = trace.fit_at - EPOCH
    if trace.fit.size:
        axes.fill_between(fit_at, trace.low, trace.high, color=look.colour, alpha=0.14, linewidth=0)
        axes.plot(fit_at, trace.fit, color=look.colour, linestyle=line, linewidth=LINE_WIDTH)
    axes.errorbar(
        [_number(day) for day in trace.dates],
        trace.left,
        yerr=trace.left_err,
        linestyle="none",
        elinewidth=1.1,
        capsize=2.5,
        **_marks(look),
    )
    _finish_line(axes, trace, named=named)
    _batches(axes, trace, named=named)
    if not trace.dates:
        axes.text(0.5, 0.5, "nothing to draw yet", transform=axes.transAxes, ha="center", color=QUIET)


def _finish_line(axes: "Axes", trace: Trace, *, named: bool) -> None:
    if trace.ready_percent is None:
        return
    axes.axhline(trace.ready_percent, color=READY, linewidth=1.0, linestyle=(0, (1, 1.6)))
    if named:
        axes.annotate(
            "ready",
            (axes.get_xlim()[0], trace.ready_percent),  # where curves are high
            xytext=(1, 3.5),
            textcoords="offset points",
            fontsize=8,
            color=READY,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.5},  # so that no line crosses it
        )


def _batches(axes: "Axes", trace: Trace, *, named: bool) -> None:
    for start in trace.batch_starts:
        at = _number(start)
        axes.axvline(at, color=QUIET, linewidth=0.9, linestyle=(0, (4, 3)))
        if named:
            place = (at, axes.get_ylim()[1])
            axes.annotate(
                "fresh leaf",
                place,
                xytext=(3, -9),
                textcoords="offset points",
                fontsize=8,
                color=QUIET,
            )

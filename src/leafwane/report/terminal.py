"""The same answers for the terminal: a table of bins, what to do, and a small curve in characters for each."""

import math
from collections.abc import Mapping, Sequence, Sized
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

import numpy as np
from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table
from rich.text import Text

from leafwane.errors import few_of
from leafwane.report import words
from leafwane.report.looks import LOOKS
from leafwane.report.traces import Trace, trace_bin
from leafwane.shell import printable

if TYPE_CHECKING:
    from leafwane.breakdown.course import BinCourse

WIDTH = 64
"""Widest plot, in characters."""

HEIGHT = 9
"""Rows of a plot."""

MARGIN = 6
"""Characters left of a plot, for its scale."""

N_PLOTS = 6
"""Most bins that get a plot of their own; more get a line each."""

NAMES = ("bin", "leaf")
HEADS = (*NAMES, "status", "left %", "+/-", "half-life", "ready about")

LEFT_OUT = ("leaf", "half-life", "+/-", "ready about", "left %")
"""Which columns a narrow window goes without, in this order; `bins.json` has them all."""

LEAST_NAME = 8
"""Fewest characters in a line of a name that is folded."""

NOTES = {"+/-": "+/- holds nine times in ten", "half-life": "half-life is the leaf's, not its cover's"}
"""What stands below the table on columns in it."""

BARS = "▁▂▃▄▅▆▇█"
ASCII_BARS = ".:-=+*#%"


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseTable:
    """The bins as a table, and below it what to do; printed by rich."""

    courses: tuple["BinCourse", ...]
    today: date | None = None

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield table, note and advice; `options` say the width and whether more than ASCII can be printed."""
        plain = options.ascii_only
        columns = _columns(self.courses, width=options.max_width, plain=plain)
        yield _table(columns)
        notes = [note for head, note in NOTES.items() if head in columns]
        if notes:
            yield Text("; ".join(notes), style="dim")
        for course in self.courses:
            if course.check_ins and words.share_left(course) is None:
                yield _text(f"{course.bin}: {_why_no_share(course)}", plain=plain, style="dim")
        if late := [course for course in self.courses if words.overdue(course, self.today)]:
            said = words.ready(late[0], self.today) if len(late) == 1 else words.ALL_OVERDUE
            yield _text(f"{few_of([course.bin for course in late])}: {said}", plain=plain)
        for remedies, bins in _by_remedies(self.courses).items():
            yield Text()
            yield _text(f"{', '.join(bins)}: what helps (common practice)", plain=plain, style="bold")
            yield _advice(remedies, plain=plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """Percent leaves remaining over dates, in characters; printed by rich."""

    traces: tuple[Trace, ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield a plot for each of few bins, or a table with a line for each of many."""
        if len(self.traces) > N_PLOTS:
            yield _lines(self.traces, plain=options.ascii_only)
            return
        for trace in self.traces:
            yield _plot(trace, width=min(WIDTH, options.max_width - MARGIN), plain=options.ascii_only)


def course_table(courses: Sequence["BinCourse"], *, today: date | None = None) -> CourseTable:
    """Return the bins as a table, as read on a day, and below it what to do about those that need something."""
    return CourseTable(courses=tuple(courses), today=today)


def curves(courses: Sequence["BinCourse"], *, finish_percent: float = 5.0) -> Curves:
    """Return percent leaves remaining over dates in characters: plots for few bins, a line each for many.

    Args:
        courses: The bins, in the order in which they are shown.
        finish_percent: Leaf cover, 0..100, below which a bin is ready.
    """
    traces = (trace_bin(course, finish_percent=finish_percent, banded=False) for course in courses)
    return Curves(traces=tuple(traces))


def _columns(courses: Sequence["BinCourse"], *, width: int, plain: bool) -> dict[str, list[Text]]:
    """Return the cells of each column that a window has room for, by the column's head."""
    rows = [_cells(course, plain=plain) for course in courses]
    columns = {head: [row[place] for row in rows] for place, head in enumerate(HEADS)}
    for head in LEFT_OUT:
        gaps = _gap(columns) * (len(columns) - 1)
        if sum(_least_width(*column) for column in columns.items()) + gaps <= width:
            break
        del columns[head]
    return columns


def _gap(columns: Sized) -> int:
    """Return the blanks between columns; a window that has no room for all has none to spare."""
    return 2 if len(columns) == len(HEADS) else 1


def _least_width(head: str, cells: Sequence[Text]) -> int:
    widest = max([len(head), *(cell.cell_len for cell in cells)])
    return min(widest, LEAST_NAME) if head in NAMES else widest


def _table(columns: Mapping[str, Sequence[Text]]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, _gap(columns), 0, 0), header_style="bold")
    for head in columns:
        side: Literal["left", "right"] = "left" if head in {*NAMES, "status"} else "right"
        table.add_column(head, overflow="fold", no_wrap=head not in NAMES, justify=side)
    for row in zip(*columns.values(), strict=True):
        table.add_row(*row)
    return table


def _cells(course: "BinCourse", *, plain: bool) -> tuple[Text, ...]:
    left, err = words.share_left(course) or (None, None)
    cells = (
        words.points_text(left),
        words.ninety_text(err) if left is not None else "-",
        words.days_text(words.half_life(course)),
        words.ready_short(course),
    )
    status = _status(course.verdict.status, plain=plain)
    names = (_text(name, plain=plain) for name in (course.bin, course.leaf or "-"))
    return (*names, status, *(Text(cell) for cell in cells))


def _why_no_share(course: "BinCourse") -> str:
    """Return what stands in place of the share left: the cover, and why there is no share."""
    why = "fresh leaf was added" if len(course.batches) > 1 else "no check-in shows leaf beyond doubt"
    return f"{why}, so no share of it is named. {words.leaf_left(course)}"


def _status(status: str, *, plain: bool) -> Text:
    look = LOOKS[status]
    return Text(f"{look.ascii_sign if plain else look.sign} {look.word.lower()}", style=look.ansi)


def _text(text: str, *, plain: bool, style: str = "") -> Text:
    """Return text from outside, with nothing in it that a terminal would obey."""
    shown = printable(text)
    return Text(shown.encode("ascii", "replace").decode() if plain else shown, style=style)


def _by_remedies(courses: Sequence["BinCourse"]) -> dict[tuple[str, ...], list[str]]:
    """Return the bins that the same remedies help, so that they are read once."""
    found: dict[tuple[str, ...], list[str]] = {}
    for course in courses:
        if course.verdict.remedies:
            found.setdefault(course.verdict.remedies, []).append(course.bin)
    return found


def _advice(remedies: Sequence[str], *, plain: bool) -> Table:
    """Return what to do."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    for remedy in remedies:
        grid.add_row(" -", _text(words.remedy_text(remedy), plain=plain))
    return grid


def _plot(trace: Trace, *, width: int, plain: bool) -> Text:
    """Return one bin's curve: points by the sign of its status, the fit dotted, the ready line dashed."""
    look = LOOKS[trace.status]
    name = _text(trace.bin, plain=plain, style="bold")
    text = Text.assemble("\n", name, "  ", _status(trace.status, plain=plain), "\n")
    if not trace.dates:
        return text.append("  nothing to draw yet")
    canvas = _canvas(trace, width, dot="." if plain else "·", point=look.ascii_sign if plain else look.sign)
    top = _top(trace)
    for row, cells in enumerate(canvas):
        label = (
            f"{top * (HEIGHT - 1 - row) / (HEIGHT - 1):4.0f}% " if row in (0, HEIGHT - 1) else " " * MARGIN
        )
        text.append(label, style="dim")
        text.append("".join(cells).rstrip() + "\n", style=look.ansi)
    first, last = _ends(trace)
    days = f"{date.fromordinal(first)}{date.fromordinal(last)!s:>{width - 10}}"
    return text.append(" " * MARGIN + days, style="dim")


def _canvas(trace: Trace, width: int, *, dot: str, point: str) -> list[list[str]]:
    """Return the plot's characters, row by row from the top."""
    first, last = _ends(trace)
    cells = [[" "] * width for _ in range(HEIGHT)]

    def put(day: float, percent: float, sign: str) -> None:
        column = round((day - first) / max(last - first, 1) * (width - 1))
        row = HEIGHT - 1 - round(percent / _top(trace) * (HEIGHT - 1))
        if 0 <= row < HEIGHT and 0 <= column < width:
            cells[row][column] = sign

    if trace.ready_percent is not None:
        for column in range(0, width, 2):
            put(first + column / (width - 1) * (last - first), trace.ready_percent, "-")
    for start in trace.batch_starts:
        for percent in np.linspace(0, _top(trace), HEIGHT):
            put(start.toordinal(), percent, "|")
    for day in np.linspace(first, last, width) if trace.fit.size else ():
        if day >= trace.fit_at[0]:
            put(day, float(np.interp(day, trace.fit_at, trace.fit)), dot)
    for day, percent in zip(trace.dates, trace.left, strict=True):
        put(day.toordinal(), percent, point)
    return cells


def _top(trace: Trace) -> float:
    return max(100.0, float(np.max(trace.left, initial=0.0)))


def _ends(trace: Trace) -> tuple[int, int]:
    """Return the first and last day of a plot, as proleptic ordinals."""
    days = [*(day.toordinal() for day in trace.dates), *trace.fit_at]
    return math.floor(min(days)), math.ceil(max(days))


def _lines(traces: Sequence[Trace], *, plain: bool) -> Table:
    """Return a row a bin with one bar a check-in."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("bin", overflow="fold")
    table.add_column("status", no_wrap=True)
    table.add_column("left at each check-in", overflow="fold")
    bars = ASCII_BARS if plain else BARS
    for trace in traces:
        tops = (min(int(left / 100 * len(bars)), len(bars) - 1) for left in trace.left)
        line = Text("".join(bars[top] for top in tops), style=LOOKS[trace.status].ansi)
        table.add_row(_text(trace.bin, plain=plain), _status(trace.status, plain=plain), line)
    return table

"""Tables for people, in the terminal."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from leafwane.flags import flag_names
from leafwane.progress import people
from leafwane.report import words
from leafwane.scores import Score

if TYPE_CHECKING:
    from leafwane.breakdown.checkins import CheckIn
    from leafwane.breakdown.course import BinCourse

N_DRAWN = 12
"""Most bins whose curves are drawn in the terminal; more are left to the report."""

BAR_WIDTH = 40


def print_scores(scores: Sequence[Score]) -> None:
    """Print a row a scored photo, and a line for each of the others."""
    table = _table("photo", "date", ">leaf %", ">give or take", ">castings %", ">other %", "flags")
    for score in scores:
        if score.leaf_percent is not None:
            table.add_row(
                score.photo,
                score.date.isoformat() if score.date else "none",
                words.points_text(score.leaf_percent),
                words.ninety_text(score.leaf_err),
                words.points_text(score.castings_percent),
                words.points_text(score.other_percent),
                ", ".join(flag_names(score.flags)),
            )
    if table.row_count:
        people.print(table)
    print_unscored(scores)


def print_unscored(scores: Sequence[Score]) -> None:
    """Print one line for each photo that could not be scored."""
    for score in scores:
        if not score.scored:
            say(f"not scored: {score.message}")


def print_courses(courses: Sequence["BinCourse"]) -> None:
    """Print each bin's curve as bars, then a row a bin, then reasons and what helps."""
    if len(courses) <= N_DRAWN:
        for course in courses:
            _print_curve(course)
    table = _table(
        "bin", "leaf", ">check-ins", ">remaining %", ">half-life of the leaf", "status", "ready about"
    )
    for course in courses:
        newest = course.check_ins[-1] if course.check_ins else None
        table.add_row(
            course.bin,
            course.leaf or "",
            str(len(course.check_ins)),
            words.points_text(newest.remaining_percent) if newest else words.points_text(None),
            words.days_text(course.half_life_days),
            words.word(course),
            words.ready_short(course),
        )
    people.print(table)
    for course in courses:
        for line in (*course.verdict.reasons, *course.verdict.remedies):
            say(f"{course.bin}: {line}")


def print_written(*paths: Path) -> None:
    """Say where results are."""
    for path in paths:
        say(f"written: {path}")


def say(line: str) -> None:
    """Print one line, however long."""
    people.print(line, soft_wrap=True)


def _table(*columns: str) -> Table:
    """Return an empty table; a column that begins with ">" is set to the right."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column.removeprefix(">"), justify="right" if column.startswith(">") else "left")
    return table


def _print_curve(course: "BinCourse") -> None:
    kind = f", {course.leaf}" if course.leaf else ""
    people.print(Text(f"{course.bin}{kind}: {words.opening(course)}", style="bold"))
    for check_in in course.check_ins:
        people.print(_bar(check_in))
    people.print()


def _bar(check_in: "CheckIn") -> Text:
    percent = check_in.remaining_percent
    if percent is None:
        return Text(f"  {check_in.date}  no figure")
    bar = "█" * round(min(percent, 100.0) / 100 * BAR_WIDTH)
    return Text.assemble(f"  {check_in.date}  {percent:4.0f}% remaining  ", (bar, "green"))

"""Tables for people, in the terminal."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Literal

from rich.cells import cell_len
from rich.table import Table

from leafwane.errors import few_of
from leafwane.flags import NOT_IN_CURVE, NOTES, Flag, flag_names
from leafwane.mixed import COUNTS_TWICE, KEEP_ONE, One, copied_elsewhere
from leafwane.progress import people
from leafwane.report import words
from leafwane.report.terminal import course_table, curves
from leafwane.scores import Score
from leafwane.shell import printable, warn

if TYPE_CHECKING:
    from leafwane.breakdown.compare import Comparison, PairComparison
    from leafwane.breakdown.course import BinCourse
    from leafwane.breakdown.plan import TrialDesigns
    from leafwane.card.sighting import Sighting
    from leafwane.card.values import CardValues
    from leafwane.checking import PhotoCheck

_ANSWERS = {"good": "good to score", "usable": "usable, with doubts", "retake": "take it again"}


def print_scores(scores: Sequence[Score]) -> None:
    """Print a row a scored photo, what its flags mean, and a line for each of the others."""
    scored = [score for score in scores if score.scored]
    lines = _score_lines(scored, people.width) if scored else ()
    for place, line in enumerate(lines):
        people.print(line, style="" if place else "bold", soft_wrap=True)
    print_flags(scores)
    print_left_out(scores)


_FIGURES = ("date", "leaf %", "give or take", "castings %", "other %")


def _figures(score: Score) -> tuple[str, ...]:
    return (
        score.date.isoformat() if score.date else "none",
        words.points_text(score.leaf_percent),
        words.ninety_text(score.leaf_err),
        words.points_text(score.castings_percent),
        words.points_text(score.other_percent),
    )


def _score_lines(scores: Sequence[Score], width: int) -> Iterator[str]:
    """Yield the lines of the table of scored photos, the first of which is its head; no name is broken.

    Where the window is too narrow for all of it, flags go under their row, then the last figures are left out, which
    `scores.csv` has, and then each name stands on a line of its own.
    """
    names = ["photo", *(printable(score.photo) for score in scores)]
    flags = ["flags", *(", ".join(flag_names(score.flags)) for score in scores)]
    figures = [_FIGURES, *map(_figures, scores)]
    rows = _beside(names, _aligned(figures))
    flagged = _beside(rows, flags)
    if _fit(flagged, width):
        yield from flagged
        return
    if not _fit(rows, width):
        rows = _beside(names, _aligned(figures, 4))
    if not _fit(rows, width):
        n_figures = next((n for n in (5, 4, 3) if _fit(_indented(_aligned(figures, n)), width)), 2)
        below = _indented(_aligned(figures, n_figures))
        rows = [f"{name}\n{row}" for name, row in zip(names, below, strict=True)]
    for row, doubts in zip(rows, ["", *flags[1:]], strict=True):
        yield row
        yield from _indented(wrap(doubts, width - 2, break_long_words=False, break_on_hyphens=False))


def _aligned(rows: Sequence[Sequence[str]], n_columns: int = len(_FIGURES)) -> list[str]:
    """Return the first columns of a table as lines, each column set to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)][:n_columns]
    return ["  ".join(map(str.rjust, row, widths)) for row in rows]


def _beside(left: Sequence[str], right: Sequence[str]) -> list[str]:
    widest = max(map(cell_len, left))
    return [
        f"{one}{' ' * (widest - cell_len(one))}  {other}".rstrip()
        for one, other in zip(left, right, strict=True)
    ]


def _indented(lines: Sequence[str]) -> list[str]:
    return [f"  {line}" for line in lines]


def _fit(lines: Sequence[str], width: int) -> bool:
    return max(map(cell_len, lines)) <= width


DOUBTS_OF_A_DAY = Flag.DATES_DIFFER | Flag.PHOTOS_DISAGREE | Flag.OFF_CURVE
"""Flags that are named with the bin and the day of the check-in that they are on."""


def print_flags(scores: Sequence[Score], *, but: Flag = NOT_IN_CURVE) -> None:
    """Print one line for each flag on a scored photo: on how many, what was seen, and what to do.

    Flags that keep a photo out of the curve have their line from `print_left_out`, those that raise doubts of a day from
    `print_courses`.

    Args:
        scores: Of photos.
        but: Flags that have their line elsewhere.
    """
    counts = Counter(flag for score in scores if score.scored for flag in score.flags & ~but)
    for flag, note in NOTES.items():
        if counts[flag]:
            say(
                f"{note.name} ({_number(counts[flag], 'photo')}): {note.meaning}. {words.first_up(note.advice)}"
            )


def print_left_out(scores: Sequence[Score]) -> None:
    """Print one line for each photo that could not be scored, each reason that keeps others out of the curve, and copies."""
    for score in scores:
        if not score.scored:
            warn(f"not scored: {score.message}")
    for flag in NOT_IN_CURVE:
        photos = [score.photo for score in scores if score.scored and flag in score.flags]
        if photos:
            _warn_of(flag, f"{_number(len(photos), 'photo')}, in no curve", photos)
    print_copied(scores)


def print_copied(photos: Sequence[One]) -> None:
    """Print a line on files that count under several dates or in several bins, if there are any."""
    copied = [" and ".join(same) for same in copied_elsewhere(photos)]
    if copied:
        warn(f"{COUNTS_TWICE}: {few_of(copied)}. {words.first_up(KEEP_ONE)}")


def _number(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def _warn_of(flag: Flag, what: str, names: Sequence[str]) -> None:
    note = NOTES[flag]
    warn(f"{note.name} ({what}): {note.meaning}: {few_of(names)}. {words.first_up(note.advice)}")


def print_courses(
    courses: Sequence["BinCourse"], *, finish_percent: float, today: date | None = None
) -> None:
    """Print each bin's curve, then a row a bin, then what to do, as read on a day, and a line on check-ins that do not fit."""
    people.print(curves(courses, finish_percent=finish_percent))
    people.print()
    people.print(course_table(courses, today=today))
    for flag in DOUBTS_OF_A_DAY:
        doubtful = [
            f"{course.bin} on {check_in.date}"
            for course in courses
            for check_in in course.check_ins
            if flag in check_in.flags
        ]
        if doubtful:
            _warn_of(flag, _number(len(doubtful), "check-in"), doubtful)


def print_comparison(comparison: "Comparison") -> None:
    """Print a row a kind of leaf, a sentence a pair, what to bear in mind, and which bins do not count."""
    table = _table("leaf", ">bins", ">rate a day", ">from", ">to")
    for kind in comparison.kinds:
        rates = (f"{rate:.4f}" for rate in (kind.k_per_day, kind.k_low, kind.k_high))
        table.add_row(printable(kind.leaf), str(len(kind.bins)), *rates)
    if table.row_count:
        people.print(table)
        alone = any(len(kind.bins) == 1 for kind in comparison.kinds)
        of_it = "; of a kind with one bin, that of the bin, not of the kind" if alone else ""
        say(f"from and to hold the rate nine times in ten{of_it}")
    for pair in comparison.pairs:
        say(f"{pair.sentence}{_by_t(pair)}")
        if pair.caution:
            say(f"  {pair.caution}")
    for line in (*comparison.notes, *(f"not counted: {bin_and_why}" for bin_and_why in comparison.left_out)):
        say(line)


def _by_t(pair: "PairComparison") -> str:
    return "" if pair.t_p is None else f" t test of the bins: p = {pair.t_p:.2g}"


def print_designs(designs: "TrialDesigns") -> None:
    """Print what a plan takes for granted, and the designs that are enough."""
    given = designs.assumptions
    say(
        f"taken for granted: one photo is off by {given.photo_err:.1f} points (standard error), the slower leaf goes at "
        f"{given.k_per_day:g} a day, steadily from the first day and from {100 * given.cover:.0f}% cover on, and bins of one kind "
        f"differ by about {100 * given.bin_spread:.0f}%; leaf that lies thicker or begins late takes more check-ins"
    )
    for sentence in designs.sentences:
        say(sentence)


def print_check(check: "PhotoCheck") -> None:
    """Print what a photo is worth, with the measures behind it and what to do."""
    answer = _ANSWERS[check.verdict.value] if check.readable else "cannot be read"
    say(f"{check.photo}: {answer}")
    if check.sighting is not None:
        say(f"  {', '.join(_measures(check, check.sighting))}")
    for reason in check.reasons:
        say(f"  - {reason}")
    left_out = check.left_out()
    if left_out:
        say(f"  patches left out: {', '.join(f'{name} ({why})' for name, why in left_out.items())}")


_SURFACES = {
    "rim": "surface within the rim tags",
    "outline": "surface within the outline",
    "photo": "the whole photo as surface",
}


def _measures(check: "PhotoCheck", card: "Sighting") -> Iterator[str]:
    yield f"card {card.kind}"
    if math.isfinite(card.mm_per_px):
        yield f"{card.mm_per_px:.3f} mm a pixel"
    yield f"tilt {card.tilt_deg:.0f} degrees"
    if check.surface is not None:
        yield _SURFACES[check.surface]
    if check.correction is not None:
        error = check.correction.de00_loo_mean
        yield f"colour error {error:.1f} (mean CIEDE2000, each patch left out in turn)"


def print_card_values(values: "CardValues", out: Path) -> None:
    """Say how well a card was measured, where its values are, and what to do with them."""
    say(
        f"colour error on the chart beside it: {values.de00:.1f} (mean CIEDE2000, each patch left out in turn)"
    )
    print_written(out)
    say(f'lay it beside the photos and write into trial.toml: card_values = "{out.name}"')


def print_written(*paths: Path) -> None:
    """Say where results are."""
    for path in paths:
        say(f"written: {path}")


def say(line: str) -> None:
    """Print one line, however long, with nothing in it that a terminal would obey."""
    people.print(printable(line), soft_wrap=True)


def _table(*columns: str) -> Table:
    """Return an empty table; a column that begins with ">" is set to the right, and what is too long is folded."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        side: Literal["right", "left"] = "right" if column.startswith(">") else "left"
        table.add_column(column.removeprefix(">"), justify=side, overflow="fold")
    return table

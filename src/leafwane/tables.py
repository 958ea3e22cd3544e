"""The tables: scores.csv, curve.csv and bins.json, as RFC 4180 and UTF-8, replaced whole."""

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from leafwane.atomic import write_text
from leafwane.breakdown.checkins import first_days
from leafwane.flags import Flag, flag_names
from leafwane.scores import Score
from leafwane.trialfile import TrialPlan

if TYPE_CHECKING:
    from leafwane.breakdown.course import BinCourse

SCORES = "scores.csv"

SCORE_COLUMNS = (
    "photo",
    "bin",
    "date",
    "day",
    "leaf_percent",
    "leaf_err",
    "castings_percent",
    "other_percent",
    "surface_cm2",
    "mm_per_px",
    "card_de00",
    "flags",
    "method",
    "unsure_percent",
    "fragments_per_dm2",
    "fragment_median_mm2",
)
CURVE_COLUMNS = (
    "bin",
    "date",
    "day",
    "n_photos",
    "leaf_percent",
    "leaf_err",
    "remaining_percent",
    "remaining_err",
    "flags",
)

_DIGITS = 5
"""Significant digits: more than any figure here deserves, and few enough to read."""


def write_scores(path: Path, scores: Sequence[Score], *, plan: TrialPlan) -> None:
    """Write scores.csv, a row a photo.

    Raises:
        OutputError: The file cannot be written.
    """
    days = score_days(scores, plan=plan)
    rows = (
        {"day": day} | score.to_dict() | {"flags": score.flags}
        for score, day in zip(scores, days, strict=True)
    )
    write_text(path, _csv(SCORE_COLUMNS, rows))


def read_photos(table: bytes) -> dict[str, str]:
    """Return the bin of each photo in a scores.csv of an earlier run; none where it is not what leafwane writes."""
    try:
        rows = list(csv.DictReader(io.StringIO(table.decode("utf-8"), newline=""), strict=True))
        return {row["photo"]: row["bin"] for row in rows if row["photo"] and row["bin"]}
    except (UnicodeDecodeError, csv.Error, KeyError):
        return {}


def write_curve(path: Path, courses: Sequence["BinCourse"]) -> None:
    """Write curve.csv, a row a check-in.

    Raises:
        OutputError: The file cannot be written.
    """
    rows = (
        {column: getattr(check_in, column) for column in CURVE_COLUMNS}
        for course in courses
        for check_in in course.check_ins
    )
    write_text(path, _csv(CURVE_COLUMNS, rows))


def write_json(path: Path, data: object) -> None:
    """Write plain Python values as JSON.

    Raises:
        OutputError: The file cannot be written.
    """
    write_text(path, to_json(data) + "\n")


def to_json(data: object) -> str:
    """Return plain Python values as JSON; what is no number (NaN, infinity) becomes null."""
    return json.dumps(_finite(data), indent=2, ensure_ascii=False, allow_nan=False)


def score_days(scores: Sequence[Score], *, plan: TrialPlan) -> tuple[int | None, ...]:
    """Return each score's day, counted as the days of check-ins are; None without a date."""
    first = first_days(scores, starts=plan.starts)
    return tuple((score.date - first[score.bin]).days if score.date else None for score in scores)


def _csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)  # its usual form is that of RFC 4180
    writer.writerow(columns)
    writer.writerows([_cell(row[column]) for column in columns] for row in rows)
    return text.getvalue()


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case Flag():
            return ";".join(flag_names(value))
        case float():
            return f"{value:.{_DIGITS}g}" if math.isfinite(value) else ""
        case date():
            return value.isoformat()
    return str(value)


def _finite(value: object) -> object:
    match value:
        case float():
            return value if math.isfinite(value) else None
        case dict():
            return {key: _finite(part) for key, part in value.items()}
        case list() | tuple():
            return [_finite(part) for part in value]
    return value

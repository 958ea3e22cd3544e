"""`trial.toml`: what people write down about a trial, read strictly so that a slip of the pen is not passed over."""

import difflib
import math
import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import combinations
from pathlib import Path
from types import MappingProxyType
from typing import Any

from leafwane.errors import TrialFileError

TRIAL_FILE = "trial.toml"


@dataclass(frozen=True, slots=True)
class _Hint:
    """What to do where a file is no TOML.

    Attributes:
        say: The advice; it may quote groups of `line`.
        line: Pattern of the line at which TOML ends.
        fault: Pattern of what tomllib says of it. The advice fits where both are found.
    """

    say: str
    line: str = ""
    fault: str = ""


_OPEN = "Close each bracket that you open, in this line or above it, and put a comma between two values"

_HINTS = (
    _Hint(_OPEN, fault="^Unclosed"),
    _Hint(_OPEN, line=r"^([\w-]+\s*=|\[\w)", fault=r"^Invalid value .*column [1-5]\)"),
    _Hint("It stands there twice: keep one of them", fault="twice|overwrite"),
    _Hint('Use straight quotation marks, like leaf = "oak"', line=r"[=.\[,]\s*[\u2018-\u201f\u00ab\u00bb]"),
    _Hint(
        r'Put a name with spaces, or with letters beyond a to z, between quotation marks: [\1."\2"]',
        line=r"^\[(bins|leaves)\.(?![\"'])([^\"\]]*(?a:[^\w.\"\]-])[^\"\]]*)\]?",
    ),
    _Hint("Write one word before the = sign, like start or half_life_days", line=r"^[\w-]+\s+[\w-][^=]*="),
    _Hint(
        "There is no such day in the calendar",
        line=r"=\s*\d{4}-\d\d-\d\d\s*(#|$)",
        fault="^(Invalid date|Expected newline)",
    ),
    _Hint(
        "Write a date as year-month-day, with two digits for month and day, like 2031-10-04",
        line=r"^start\s*=|=\s*\d+[./-]\d+[./-]\d+",
    ),
    _Hint(
        "Write a number without its unit, and with a point, like 350 or 0.35",
        line=r"=\s*[\d.]+\s*[^\W\d]|=\s*\d+,\d|=\s*\d.*%",
    ),
    _Hint("Write true or false, in small letters", line=r"^high_lignin\s*="),
    _Hint(r"Write / in place of each \\", line=r"=\s*\"[^\"]*\\"),
    _Hint('Put text between straight quotation marks, like leaf = "oak"', line=r"=\s*[^\W\d]"),
    _Hint("Close every quotation mark and every bracket that you open", line=r"=\s*\"[^\"]*$|\[[^\]]*$"),
    _Hint("Write lines like grams = 400"),
)
"""What is often wrong; the first that fits counts. A value that is missed where a line begins is one of a list that is still
open above it."""

FINISH_MOST = 50.0
GRAMS_LEAST = 10.0
"""Entries beyond these are doubted: a bin half under leaf is not ready, and more than a handful goes into a bin."""

Polygon = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BinPlan:
    """What is written down about one bin.

    Attributes:
        name: The bin's name, which is its folder's.
        leaf: Kind of leaf, such as "hazel"; None if not said.
        start: The day it was bedded; None if not said.
        grams: Dry leaf put in, in grams; None if not said.
        notes: Free words.
        polygon: Outline of the surface, points (x, y) as fractions of the upright photo's width and height.
    """

    name: str
    leaf: str | None = None
    start: date | None = None
    grams: float | None = None
    notes: str = ""
    polygon: Polygon | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafOverride:
    """What a trial says of a kind of leaf in place of the built-in table.

    Attributes:
        half_life_days: Days in which half of this leaf is expected to go; None keeps the table's.
        high_lignin: Whether it is held to be high in lignin, which makes it slow; None keeps the table's.
    """

    half_life_days: float | None = None
    high_lignin: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """What is written down about a trial.

    Attributes:
        name: The trial's name.
        bins: Plans by the bin's name; a bin without an entry has no plan.
        finish_percent: Leaf cover, in percent, below which a bin is finished.
        stall_half_life_days: A bin that would take longer than this to lose half its leaf has stalled; None for the
            usual.
        card_values: File with the card's own patch values; None for the nominal ones.
        chart_width_mm: Width of a 24-patch chart that stands in for the card, over its six patches from the left edge
            of the first to the right edge of the last; None if not known.
        leaves: What the trial says of kinds of leaf, by name.
    """

    name: str
    bins: Mapping[str, BinPlan] = field(default_factory=lambda: MappingProxyType({}))
    finish_percent: float = 5.0
    stall_half_life_days: float | None = None
    card_values: Path | None = None
    chart_width_mm: float | None = None
    leaves: Mapping[str, LeafOverride] = field(default_factory=lambda: MappingProxyType({}))

    def bin_plan(self, name: str) -> BinPlan:
        """Return a bin's plan, an empty one if nothing was written down."""
        return self.bins.get(name) or BinPlan(name=name)

    @property
    def starts(self) -> dict[str, date]:
        """Return the day on which each bin was bedded, where that is said."""
        return {name: bin_plan.start for name, bin_plan in self.bins.items() if bin_plan.start}


def read_plan(path: Path, *, default_name: str) -> TrialPlan:
    """Read `trial.toml`.

    Raises:
        TrialFileError: It cannot be read, or a key or value in it makes no sense; the line says which.
    """
    try:
        return _trial_plan(_parsed(path), folder=path.parent, default_name=default_name)
    except _WrongEntryError as error:
        raise TrialFileError(str(error), path=path, hint=error.hint) from error


def unread_plans(folder: Path) -> tuple[Path, ...]:
    """Return the files in a folder without `trial.toml` that have its name but for capitals or a hidden ".txt"."""
    names = {TRIAL_FILE, f"{TRIAL_FILE}.txt"}
    if (folder / TRIAL_FILE).exists():
        return ()
    with suppress(OSError):  # whoever may open a folder within need not be allowed to list it
        return tuple(sorted(path for path in folder.iterdir() if path.name.casefold() in names))
    return ()


def doubts(plan: TrialPlan) -> tuple[str, ...]:
    """Return a line on each figure that can be meant, but hardly is."""
    grams = (
        f"{TRIAL_FILE}: bins.{name}.grams = {bin_plan.grams:g} is hardly any leaf; if kilograms were meant, "
        f"write {1000 * bin_plan.grams:g}"
        for name, bin_plan in plan.bins.items()
        if bin_plan.grams is not None and bin_plan.grams < GRAMS_LEAST
    )
    if plan.finish_percent <= FINISH_MOST:
        return tuple(grams)
    finish = f"{TRIAL_FILE}: finish_percent = {plan.finish_percent:g} calls a bin ready with that much of it under leaf"
    return (f"{finish}; write the leaf cover that may be left, like 5", *grams)


def _parsed(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise TrialFileError(f"the file cannot be read ({error.strerror})", path=path) from error
    except UnicodeDecodeError as error:
        raise TrialFileError("the file is no UTF-8 text", path=path, hint="Save it as UTF-8") from error
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        number, line, hint = _faulty_line(text, str(error))
        what = f"the file is not written as TOML asks in line {number} ({line})"
        raise TrialFileError(what, path=path, hint=hint) from error


def _faulty_line(text: str, fault: str) -> tuple[int, str, str]:
    """Return the number of the line at which TOML ends, the last one if it is not said, the line, and what to do."""
    lines = text.rstrip().split("\n")
    said = re.search(r"at line (\d+)", fault)
    number = min(int(said[1]), len(lines)) if said else len(lines)
    line = lines[number - 1].strip()
    for hint in _HINTS:
        found = re.search(hint.line, line)
        if found and re.search(hint.fault, fault):
            return number, line, found.expand(hint.say)
    raise AssertionError("the last hint always fits")


class _WrongEntryError(Exception):
    def __init__(self, where: str, what: str, hint: str = "") -> None:
        super().__init__(f"{where}: {what}")
        self.hint = hint


def _trial_plan(entries: dict[str, Any], *, folder: Path, default_name: str) -> TrialPlan:
    read = _values(
        entries,
        "",
        {
            "name": _text,
            "finish_percent": _percent,
            "stall_half_life_days": _positive,
            "card_values": _text,
            "chart_width_mm": _positive,
            "bins": _table,
            "leaves": _table,
        },
    )
    tables = {unicodedata.normalize("NFC", name): table for name, table in read.pop("bins", {}).items()}
    bins = {name: _bin_plan(name, table) for name, table in tables.items()}
    leaves = {name: _leaf(name, table) for name, table in read.pop("leaves", {}).items()}
    _refuse_twins(bins, "bins")
    if "card_values" in read:
        read["card_values"] = folder / read["card_values"]
    return TrialPlan(
        **{"name": default_name} | read, bins=MappingProxyType(bins), leaves=MappingProxyType(leaves)
    )


def _bin_plan(name: str, table: object) -> BinPlan:
    where = f"bins.{name}"
    kinds = {"leaf": _text, "start": _date, "grams": _positive, "notes": _text, "polygon": _polygon}
    return BinPlan(name=name, **_values(_table(table, where), where, kinds))


def _leaf(name: str, table: object) -> LeafOverride:
    where = f"leaves.{name}"
    return LeafOverride(
        **_values(_table(table, where), where, {"half_life_days": _positive, "high_lignin": _yes_or_no})
    )


def _refuse_twins(names: Iterable[str], where: str) -> None:
    seen: dict[str, str] = {}
    for name in names:
        twin = seen.setdefault(name.casefold(), name)
        if twin != name:
            raise _WrongEntryError(
                where, f"{twin} and {name} differ in capital letters only", "Keep one of them"
            )


def _values(
    table: Mapping[str, Any], where: str, kinds: Mapping[str, Callable[[Any, str], Any]]
) -> dict[str, Any]:
    """Check a table's keys and turn its values into what they stand for."""
    read = {}
    for key, value in table.items():
        place = f"{where}.{key}" if where else key
        if key not in kinds:
            raise _WrongEntryError(place, "there is no such key", _nearest(key, kinds))
        read[key] = kinds[key](value, place)
    return read


def _nearest(key: str, known: Iterable[str]) -> str:
    names = list(known)
    close = difflib.get_close_matches(key.lower(), names, n=1, cutoff=0.5)
    return f"Did you mean {close[0]}?" if close else f"Known keys are {', '.join(names)}"


def _table(value: object, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise _WrongEntryError(
            where, f"{value!r} stands where a table belongs", f"Write it as [{where}.NAME]"
        )
    return value


def _text(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise _WrongEntryError(where, f"{value!r} is no text", "Put it in quotation marks")
    return value


def _yes_or_no(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise _WrongEntryError(where, f"{value!r} is neither true nor false")
    return value


def _number(value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _WrongEntryError(where, f"{value!r} is no number", "Write a number without quotation marks")
    return float(value)


def _positive(value: object, where: str) -> float:
    number = _number(value, where)
    if number <= 0:
        raise _WrongEntryError(where, f"{value!r} is not above 0")
    return number


def _percent(value: object, where: str) -> float:
    number = _number(value, where)
    if not 0 < number < 100:
        raise _WrongEntryError(where, f"{value!r} is not between 0 and 100")
    return number


def _date(value: object, where: str) -> date:
    if isinstance(value, str):
        with suppress(ValueError):
            value = date.fromisoformat(value)
    if isinstance(value, datetime):
        return value.date()
    if not isinstance(value, date):
        raise _WrongEntryError(where, f"{value!r} is no date", "Write it as year-month-day, like 2031-10-04")
    return value


def _polygon(value: object, where: str) -> Polygon:
    points = value if isinstance(value, list) else []
    if len(points) < 3:
        raise _WrongEntryError(where, "an outline needs 3 points or more", "Write them as [[0.1, 0.1], ...]")
    outline = tuple(_point(point, f"{where}, point {place}") for place, point in enumerate(points, start=1))
    if _crosses_itself(outline):
        raise _WrongEntryError(
            where,
            "the outline crosses itself",
            "Write its points in the order in which you go round the surface",
        )
    return outline


def _crosses_itself(outline: Polygon) -> bool:
    """Whether two edges cut each other; edges that meet in a point do not."""
    edges = zip(outline, outline[1:] + outline[:1], strict=True)
    return any(
        _turn(*one, other[0]) * _turn(*one, other[1]) < 0
        and _turn(*other, one[0]) * _turn(*other, one[1]) < 0
        for one, other in combinations(edges, 2)
    )


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Return on which side of the line from a to b the point c lies: above 0 on one, below 0 on the other."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _point(value: object, where: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise _WrongEntryError(where, f"{value!r} is no pair of numbers", "Write a point as [0.1, 0.1]")
    x, y = (_number(part, where) for part in value)
    if not (0 <= x <= 1 and 0 <= y <= 1):
        raise _WrongEntryError(
            where,
            f"{value!r} lies outside the photo",
            "Give fractions of the photo's width and height, 0 to 1",
        )
    return x, y

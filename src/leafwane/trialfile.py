"""`trial.toml`: what people write down about a trial, read strictly so that a slip of the pen is not passed over."""

import difflib
import math
import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import combinations
from pathlib import Path
from types import MappingProxyType
from typing import Any

from leafwane.errors import TrialFileError
from leafwane.slips import faulty_line

TRIAL_FILE = "trial.toml"


FINISH_LEAST, FINISH_MOST = 1.0, 50.0
GRAMS_LEAST = 10.0
"""Entries beyond these are doubted: a bin half under leaf is not ready, and more than a handful goes into a bin. A finish
under 1% is less than photos err."""

LEAST_OUTLINE = 0.01
"""Part of the photo that an outline has to hold; a bin that fills less of it shows nothing."""

Polygon = tuple[tuple[float, float], ...]
_Readers = Mapping[str, Callable[[Any, str], Any]]


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
    return (*_finish_doubts(plan.finish_percent), *grams)


def _finish_doubts(percent: float) -> Iterator[str]:
    entry = f"{TRIAL_FILE}: finish_percent = {percent:g}"
    if percent < FINISH_LEAST:
        yield f"{entry} is percent, not a part of 1; write {100 * percent:g} if {100 * percent:g}% was meant"
    if percent > FINISH_MOST:
        yield (
            f"{entry} calls a bin ready with that much of it under leaf; write the leaf cover that may be left, like 5"
        )


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
        number, line, hint = faulty_line(text, str(error))
        what = f"the file is not written as TOML asks in line {number} ({line})"
        raise TrialFileError(what, path=path, hint=hint) from error


class _WrongEntryError(Exception):
    def __init__(self, where: str, what: str, hint: str = "") -> None:
        super().__init__(f"{where}: {what}")
        self.hint = hint


def _trial_plan(entries: dict[str, Any], *, folder: Path, default_name: str) -> TrialPlan:
    read = _values(entries, "", _TRIAL_KEYS)
    tables = {unicodedata.normalize("NFC", name): table for name, table in read.pop("bins", {}).items()}
    bins = {name: _bin_plan(name, table) for name, table in tables.items()}
    leaves = {name: _leaf(name, table) for name, table in read.pop("leaves", {}).items()}
    _refuse_twins(bins, "bins")
    _refuse_twins(leaves, "leaves")
    if "card_values" in read:
        read["card_values"] = folder / read["card_values"]
    return TrialPlan(
        **{"name": default_name} | read, bins=MappingProxyType(bins), leaves=MappingProxyType(leaves)
    )


def _bin_plan(name: str, table: object) -> BinPlan:
    entries = _entries("bins", name, table, like='leaf = "oak"')
    return BinPlan(name=name, **_values(entries, f"bins.{name}", _BIN_KEYS))


def _leaf(name: str, table: object) -> LeafOverride:
    entries = _entries("leaves", name, table, like="half_life_days = 40")
    return LeafOverride(**_values(entries, f"leaves.{name}", _LEAF_KEYS))


def _entries(of: str, name: str, table: object, *, like: str) -> dict[str, Any]:
    head = f"[{of}.{name}]" if re.fullmatch(r"(?a:[\w-]+)", name) else f'[{of}."{name}"]'
    hint = _home_of(name) or f"Write {head} and below it lines like {like}"
    return _table(table, f"{of}.{name}", hint)


def _refuse_twins(names: Iterable[str], where: str) -> None:
    seen: dict[str, str] = {}
    for name in names:
        twin = seen.setdefault(name.casefold(), name)
        if twin != name:
            raise _WrongEntryError(
                where, f"{twin} and {name} differ in capital letters only", "Keep one of them"
            )


def _values(table: Mapping[str, Any], where: str, kinds: _Readers) -> dict[str, Any]:
    """Check a table's keys and turn its values into what they stand for."""
    read = {}
    for key, value in table.items():
        place = f"{where}.{key}" if where else key
        if key not in kinds:
            home = _home_of(key)
            what = "the key stands in the wrong place" if home else "there is no such key"
            raise _WrongEntryError(place, what, home or _nearest(key, kinds))
        read[key] = kinds[key](value, place)
    return read


def _home_of(key: str) -> str:
    """Return where to write a key that stands in the wrong place; empty where there is no such key at all."""
    if key in _TRIAL_KEYS.keys() - {"bins", "leaves"}:
        return "Write it above the first [ ... ]"
    if key in _BIN_KEYS:
        return "Write it under [bins.NAME]"
    return "Write it under [leaves.NAME]" if key in _LEAF_KEYS else ""


def _nearest(key: str, known: Iterable[str]) -> str:
    names = list(known)
    close = difflib.get_close_matches(key.lower(), names, n=1, cutoff=0.5)
    return f"Did you mean {close[0]}?" if close else f"Known keys are {', '.join(names)}"


def _table(value: object, where: str, hint: str = "") -> dict[str, Any]:
    if not isinstance(value, dict):
        raise _WrongEntryError(
            where, f"{value!r} stands where a table belongs", hint or f"Write it as [{where}.NAME]"
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
        raise _WrongEntryError(where, f"{value!r} is no number", _as_number(value, where))
    return float(value)


def _as_number(value: object, where: str) -> str:
    """Return how to write a number that stands in quotation marks, as a rule with its unit."""
    said = re.fullmatch(r"\D*(\d+(?:\.\d+)?)[^\d,]*", value) if isinstance(value, str) else None
    if said is None:
        return "Write a number like 350 or 0.35, without quotation marks and unit"
    key = where.rpartition(".")[2]
    entry = f"{key} = {said[1]}" if key.isidentifier() else said[1]
    return f"Write {entry}, without quotation marks and unit"


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
    if _area(outline) < LEAST_OUTLINE:
        raise _WrongEntryError(
            where,
            f"the outline holds less than {LEAST_OUTLINE:.0%} of the photo",
            "Write the corners of the whole surface, as parts of the photo's width and height",
        )
    return outline


def _area(outline: Polygon) -> float:
    """Return the part of the photo that an outline holds, by the shoelace formula."""
    edges = zip(outline, outline[1:] + outline[:1], strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in edges)) / 2


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


_TRIAL_KEYS: _Readers = {
    "name": _text,
    "finish_percent": _percent,
    "stall_half_life_days": _positive,
    "card_values": _text,
    "chart_width_mm": _positive,
    "bins": _table,
    "leaves": _table,
}
_BIN_KEYS: _Readers = {
    "leaf": _text,
    "start": _date,
    "grams": _positive,
    "notes": _text,
    "polygon": _polygon,
}
_LEAF_KEYS: _Readers = {"half_life_days": _positive, "high_lignin": _yes_or_no}

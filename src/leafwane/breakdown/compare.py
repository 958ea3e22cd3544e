"""Which leaf is faster: bins grouped by their kind of leaf, rates, ratios, and a sentence on each pair."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import combinations
from math import exp, inf, log
from typing import Any

from leafwane.breakdown.choice import LEAST_CHECK_INS, exponential_rates
from leafwane.breakdown.course import BinCourse
from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.leaves import leaf_name
from leafwane.breakdown.ratio import LogRate, Ratio, half_width_later, log_rate, rate_ratio, t_p
from leafwane.breakdown.status import Status

TWOFOLD = 2.0

SHOWS_TWOFOLD = 0.66 * log(TWOFOLD)
"""Half of an interval of ln(ratio) that leaves 1 out four times in five where the ratio is twofold: 1.645 / (1.645 + 0.842)
standard normal deviates."""

SAME_SPAN_DAYS = 7.0
"""Check-ins up to so many days after the last of the bin that was followed for the shortest time count as of its span."""

MANY_CHECK_INS = 24
"""More than anyone would go on for; then more bins are the advice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRate:
    """How fast one kind of leaf goes.

    Attributes:
        leaf: The kind, by one name for all ways of writing it.
        bins: Bins that were counted.
        bin_rates: The rate a day of each, `ratio.STILL` at least.
        k_per_day: Geometric mean of their rates.
        k_low: Lower end of its 90% interval.
        k_high: Upper end.
    """

    leaf: str
    bins: tuple[str, ...]
    bin_rates: tuple[float, ...]
    k_per_day: float
    k_low: float
    k_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PairComparison:
    """Two kinds of leaf held against each other.

    Attributes:
        faster: The kind with the higher rate.
        slower: The other.
        ratio: How many times as fast the first goes.
        ratio_low: Lower end of the 90% interval.
        ratio_high: Upper end.
        told: Whether the interval leaves 1 out.
        slower_stands: Whether every bin of the slower kind stands still, so that the ratio has no true upper end.
        t_p: p of t test of ln(rate), bin against bin; None with fewer than two bins of either kind.
        sentence: What it comes to, in plain words.
        caution: Which of the bins have stalled, so that their pace is not taken for their leaf's; empty if none has.
    """

    faster: str
    slower: str
    ratio: float
    ratio_low: float
    ratio_high: float
    told: bool
    slower_stands: bool
    t_p: float | None
    sentence: str
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Kinds of leaf of a trial, the fastest first.

    Attributes:
        kinds: Their rates.
        pairs: Every two of them, the faster one first.
        left_out: Bins that do not count, each with the reason.
        notes: What to bear in mind, in plain sentences.
    """

    kinds: tuple[KindRate, ...]
    pairs: tuple[PairComparison, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain Python values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counted:
    leaf: str
    course: BinCourse
    rate: LogRate


def compare_leaves(courses: Iterable[BinCourse], *, own_leaves: Iterable[str] = ()) -> Comparison:
    """Compare kinds of leaf by the rates of their bins' newest batches.

    A bin is one case, however many photos it has: a kind with one bin is compared by that bin's photos alone, and
    the notes say so. No bin is left out for its rate: one that stands still counts at the least rate, see `ratio.STILL`.
    Rates are of the days that all bins were followed for, since leaf that goes fast at first has another rate later on.

    Args:
        courses: The bins.
        own_leaves: Kinds of leaf that the trial says something of, whose names are no slips of the pen.
    """
    own = tuple(own_leaves)
    groups: dict[str, list[_Counted]] = {}
    left_out = []
    courses = tuple(courses)
    days, shortest = _shared_days(courses)
    for course, (rate, why) in zip(courses, _rates_within(courses, days + SAME_SPAN_DAYS), strict=True):
        if rate is None or course.leaf is None:
            left_out.append(f"{course.bin}: {why}")
        else:
            leaf = leaf_name(course.leaf, own=own)
            groups.setdefault(leaf, []).append(_Counted(leaf=leaf, course=course, rate=rate))
    ordered = sorted((tuple(group) for group in groups.values()), key=_middle, reverse=True)
    pairs = tuple(_pair(one, other) for one, other in combinations(ordered, 2))
    notes = _notes(ordered, pairs)
    if pairs and shortest:
        notes.append(
            f"Rates are compared over the first {days:.0f} days, as long as {shortest} was followed, since leaf seldom goes "
            "at one and the same rate all along."
        )
    return Comparison(
        kinds=tuple(_kind(group) for group in ordered),
        pairs=pairs,
        left_out=tuple(left_out),
        notes=tuple(notes),
    )


def _shared_days(courses: Sequence[BinCourse]) -> tuple[float, str]:
    """Return the days that all bins which count were followed for, and the bin that set them; no name where all were alike."""
    last = {
        course.bin: float(course.curve.series.days[-1])
        for course in courses
        if course.curve is not None and not _why_not(course)
    }
    if not last:
        return inf, ""
    shortest = min(last, key=lambda name: last[name])
    return last[shortest], shortest if max(last.values()) > last[shortest] + SAME_SPAN_DAYS else ""


def _why_not(course: BinCourse) -> str:
    """Return why a bin's curve tells nothing of its leaf; empty if it does."""
    curve = course.curve
    if not course.leaf:
        return "its kind of leaf is not written in trial.toml"
    if curve is None or not curve.success or None in (curve.k_per_day, curve.k_low, curve.k_high):
        return curve.message if curve else "it has no check-ins"
    return ""


def _rates_within(courses: Sequence[BinCourse], days: float) -> list[tuple[LogRate | None, str]]:
    """Return the rate of each bin by a plain exponential over the first days of its batch, or why it has none."""
    cut = {}
    for course in courses:
        if course.curve is not None and not _why_not(course):
            series = course.curve.series
            n = max(int((series.days <= days).sum()), LEAST_CHECK_INS)
            if n < len(series.days):
                cut[course.bin] = series.first(n)
    anew = dict(zip(cut, exponential_rates([*cut.values()]), strict=True)) if cut else {}
    return [_rate(course, anew.get(course.bin)) for course in courses]


def _rate(course: BinCourse, anew: Floats | None) -> tuple[LogRate | None, str]:
    curve, why = course.curve, _why_not(course)
    if curve is None or why:
        return None, why
    own = (curve.k_per_day or 0.0, curve.k_low or 0.0, curve.k_high or 0.0)
    rate = log_rate(*(own if anew is None else map(float, anew)))
    return rate, "" if rate else "the check-ins set no upper limit to the rate of loss"


def _name(group: Sequence[_Counted]) -> str:
    return group[0].leaf


def _rates(group: Sequence[_Counted]) -> list[LogRate]:
    return [counted.rate for counted in group]


def _middle(group: Sequence[_Counted]) -> float:
    return sum(counted.rate.value for counted in group) / len(group)


def _kind(group: Sequence[_Counted]) -> KindRate:
    """Return a kind's rate; its interval is that of its ratio to one a day, known for certain."""
    ratio = rate_ratio(_rates(group), [LogRate(value=0.0, err=0.0)], certain=True)
    return KindRate(
        leaf=_name(group),
        bins=tuple(counted.course.bin for counted in group),
        bin_rates=tuple(exp(counted.rate.value) for counted in group),
        k_per_day=ratio.value,
        k_low=ratio.low,
        k_high=ratio.high,
    )


def _pair(one: Sequence[_Counted], other: Sequence[_Counted]) -> PairComparison:
    ratio = rate_ratio(_rates(one), _rates(other))
    return PairComparison(
        faster=_name(one),
        slower=_name(other),
        ratio=ratio.value,
        ratio_low=ratio.low,
        ratio_high=ratio.high,
        told=ratio.told,
        slower_stands=_stands(other),
        t_p=t_p(_rates(one), _rates(other)),
        sentence=_sentence(one, other, ratio),
        caution=_caution([*one, *other]),
    )


def _stands(group: Sequence[_Counted]) -> bool:
    return all(counted.rate.stands for counted in group)


def _sentence(one: Sequence[_Counted], other: Sequence[_Counted], ratio: Ratio) -> str:
    if not ratio.told:
        return _not_told(one, other, ratio)
    times, span = f"{ratio.value:.1f} times as fast as", f" ({ratio.low:.1f} to {ratio.high:.1f})"
    if _stands(other):
        times, span = f"more than {ratio.low:.1f} times as fast as", ""
    if len(one) == len(other) == 1:
        return (
            f"The one bin of {_name(one)} went {times} the one bin of {_name(other)}{span}; "
            "more bins will tell whether that is the leaf."
        )
    return f"{_name(one).capitalize()} went {times} {_name(other)}{span}."


def _not_told(one: Sequence[_Counted], other: Sequence[_Counted], ratio: Ratio) -> str:
    start = f"Between {_name(one)} and {_name(other)} no difference can be told yet"
    if _stands(other):
        return f"{start}: what {_name(other)} loses is too little to measure."
    start += f" ({ratio.low:.1f} to {ratio.high:.1f}); "
    if ratio.high <= TWOFOLD:
        return start + "a twofold one would have shown."
    if ratio.half_width < log(TWOFOLD):
        return start + "more bins or check-ins will tell."
    if half_width_later(_rates(one), _rates(other), inf) >= SHOWS_TWOFOLD:
        return start + "the bins of a kind differ too much among themselves, so more bins are needed."
    more = _more_check_ins(one, other)
    if more is None:
        return (
            start + f"a twofold one would take over {MANY_CHECK_INS} more check-ins, so more bins are needed."
        )
    return start + f"a twofold one would show after about {more} more check-in{'s' if more > 1 else ''}."


def _caution(bins: Sequence[_Counted]) -> str:
    """Say which bins have stalled: their rates count, but it is the bin that holds the leaf up."""
    stalled = [c.course.bin for c in bins if c.course.verdict.status is Status.STALLED]
    if not stalled:
        return ""
    *others, last = stalled
    if not others:
        return f"But {last} has stalled: its pace tells of the bin (moisture, contact) and not of its leaf."
    return (
        f"But {', '.join(others)} and {last} have stalled: their pace tells of the bins (moisture, contact) "
        "and not of their leaf."
    )


def _more_check_ins(one: Sequence[_Counted], other: Sequence[_Counted]) -> int | None:
    """Return how many check-ins show a twofold ratio four times in five; None for more than anyone would go on for."""
    counts = [counted.course.curve.n for counted in (*one, *other) if counted.course.curve]
    n = sum(counts) / len(counts)
    for more in range(1, MANY_CHECK_INS + 1):
        if half_width_later(_rates(one), _rates(other), (n + more) / n) <= SHOWS_TWOFOLD:
            return more
    return None


def _notes(groups: Sequence[Sequence[_Counted]], pairs: Sequence[PairComparison]) -> list[str]:
    notes = []
    single = [_name(group) for group in groups if len(group) == 1]
    if len(groups) < 2:
        notes.append("Two kinds of leaf or more are needed; write each bin's leaf in trial.toml.")
    elif single:
        *others, last = single
        kinds = f"each of {', '.join(others)} and {last}" if others else f"of {last}"
        notes.append(
            f"There is but one bin {kinds}: what sets a bin apart cannot be told from what sets its leaf apart."
        )
    if len(pairs) > 1:
        notes.append("Each interval stands for itself: with many pairs, one in ten leaves out the truth.")
    return notes

"""The status of a bin over its newest batch: one word, why, and what helps."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import hypot

from leafwane.breakdown.advice import remedies
from leafwane.breakdown.batches import CONFIRMED_ERRS, CONFIRMED_RISE
from leafwane.breakdown.checkins import CheckIn
from leafwane.breakdown.choice import LEAST_CHECK_INS
from leafwane.breakdown.curve import Curve
from leafwane.breakdown.forms import LN2
from leafwane.breakdown.layers import FULL_PERCENT, cover_left
from leafwane.breakdown.leaves import LeafKind
from leafwane.breakdown.recent import LEAST_SPAN_DAYS, LIMIT, ONE_SIDED, RecentRate
from leafwane.dates import day_text
from leafwane.flags import Flag

STALL_HALF_LIFE_DAYS = 90.0
STALL_HALF_LIFE_LIGNIN_DAYS = 180.0

SLOW_FACTOR = 1.25
"""A bin is slow where its half-life is, at 90%, over this many times what is expected of its leaf."""

LEANING = 0.6
"""Share of the likelihood below the stall line, over the shortest window, from which a bin is not called on course."""


class Status(StrEnum):
    """How a bin goes."""

    TOO_EARLY = "too-early"
    ON_COURSE = "on-course"
    SLOW = "slow"
    STALLED = "stalled"
    FINISHED = "finished"
    TOPPED_UP = "topped-up"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A status with its grounds.

    Attributes:
        status: The status.
        since: The day from which it holds, as far as it can be told; None where there is no such day.
        reasons: Why, in plain sentences with dates and figures.
        remedies: What helps, in plain sentences marked as common practice, with cautions.
    """

    status: Status
    since: date | None = None
    reasons: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a verdict rests on.

    Attributes:
        check_ins: Of the newest batch, in order of date.
        renewed: Whether the bin had a batch before.
        curve: The batch's curve.
        layers_by_grams: Layers of leaf at its start by the grams put in; None where not known.
        rates: Rates over the recent windows, the shortest first; see `recent.windows`.
        kind: What is known of the leaf.
        finish_percent: Leaf cover, 0..100, below which a bin is finished.
        stall_half_life_days: Half-life beyond which a bin has stalled.
    """

    check_ins: Sequence[CheckIn]
    renewed: bool
    curve: Curve | None
    rates: Sequence[RecentRate]
    kind: LeafKind
    finish_percent: float
    stall_half_life_days: float
    layers_by_grams: float | None = None

    @property
    def fitted(self) -> Sequence[CheckIn]:
        """Return the check-ins that fit the others, which the curve and the rates are of."""
        return [check_in for check_in in self.check_ins if Flag.OFF_CURVE not in check_in.flags]


def stall_half_life(kind: LeafKind, override: float | None) -> float:
    """Return the half-life in days beyond which a bin has stalled: 90, 180 for leaves high in lignin, unless set."""
    return override or (STALL_HALF_LIFE_LIGNIN_DAYS if kind.high_lignin else STALL_HALF_LIFE_DAYS)


def judge(evidence: Evidence) -> Verdict:
    """Return the verdict on a bin's newest batch; the first rule that fits decides."""
    rules = (_nothing, _bare, _finished, _topped_up, _too_few, _stalled, _going, _too_short, _unclear)
    for rule in rules:
        verdict = rule(evidence)
        if verdict is not None:
            return verdict
    raise AssertionError("the last rule always fits")


def _verdict(evidence: Evidence, status: Status, *reasons: str, since: date | None = None) -> Verdict:
    return Verdict(
        status=status,
        since=since,
        reasons=tuple(filter(None, (*reasons, _grams_note(evidence)))),
        remedies=remedies(status, evidence.kind),
    )


def _nothing(evidence: Evidence) -> Verdict | None:
    if evidence.check_ins:
        return None
    return _verdict(evidence, Status.TOO_EARLY, "No dated photo of this bin could be scored yet.")


def _bare(evidence: Evidence) -> Verdict | None:
    """Never over the line: what had no leaf from the start is not finished."""
    if evidence.renewed or not hardly_any_leaf(evidence.check_ins, evidence.finish_percent):
        return None
    first = evidence.check_ins[0]
    return _verdict(
        evidence,
        Status.TOO_EARLY,
        f"There is hardly any leaf yet: it covered {_cover(first)} on {day_text(first.date)}, below the finish line of "
        f"{evidence.finish_percent:g}%.",
    )


def hardly_any_leaf(check_ins: Sequence[CheckIn], finish_percent: float) -> bool:
    """Return whether cover began below the finish line and has never been above it beyond its error."""
    below = check_ins[0].leaf_percent < finish_percent
    return below and not any(_surely_above(check_in, finish_percent) for check_in in check_ins)


def _surely_above(check_in: CheckIn, line: float) -> bool:
    return check_in.leaf_percent - ONE_SIDED * check_in.leaf_err > line


def _finished(evidence: Evidence) -> Verdict | None:
    """Cover under the line beyond its error, or twice in a row; it holds until cover is above beyond its error.

    Check-ins that do not fit the others may show another bin, so they neither finish a bin nor open it again.
    """
    line, since, how, before = evidence.finish_percent, None, "", False
    for check_in in evidence.fitted:
        below = check_in.leaf_percent < line
        sure = check_in.leaf_percent + ONE_SIDED * check_in.leaf_err < line
        if since is None and (sure or (below and before)):
            since = check_in.date
            how = "by more than photos err" if sure else "for the second check-in in a row"
        elif since is not None and _surely_above(check_in, line):
            since = None
        before = below
    if since is None:
        return None
    newest = evidence.fitted[-1]
    side = "below" if before else "by no more than photos err above"
    return _verdict(
        evidence,
        Status.FINISHED,
        f"Leaf covered {_cover(newest)} on {day_text(newest.date)}, {side} the finish line of {line:g}%.",
        f"It has counted as finished since {day_text(since)}, when cover was below the line {how}.",
        since=since,
    )


def _topped_up(evidence: Evidence) -> Verdict | None:
    if not evidence.renewed or len(evidence.check_ins) >= LEAST_CHECK_INS:
        return None
    first = evidence.check_ins[0]
    return _verdict(
        evidence,
        Status.TOPPED_UP,
        f"A new batch begins on {day_text(first.date)}, at a cover of {_cover(first)}: cover rose there by more than "
        "photos err, or trial.toml says that the bin was bedded then.",
        f"A new rate needs {LEAST_CHECK_INS} check-ins of this batch; there {_are(len(evidence.check_ins))}.",
        since=first.date,
    )


def _too_few(evidence: Evidence) -> Verdict | None:
    n = len(evidence.check_ins)
    if n >= LEAST_CHECK_INS:
        return None
    return _verdict(
        evidence, Status.TOO_EARLY, f"There {_are(n)}; a rate needs {LEAST_CHECK_INS}.", _rise_note(evidence)
    )


def _stalled(evidence: Evidence) -> Verdict | None:
    said = [rate for rate in evidence.rates if rate.below >= LIMIT]
    if not said or evidence.rates[0].above or _rise_note(evidence) or _fall_note(evidence):
        return None
    rate = said[-1]
    since = evidence.fitted[-rate.n].date
    return _verdict(
        evidence,
        Status.STALLED,
        f"Since {day_text(since)} cover went from {_cover(evidence.fitted[-rate.n])} to {_cover(evidence.fitted[-1])} "
        f"({rate.n} check-ins in {rate.span_days:.0f} days).",
        f"The rate of loss is at most {_rate(rate.high)} (9 times in 10), below the stall line of "
        f"{_rate(_stall_rate(evidence))}, which is a half-life of {evidence.stall_half_life_days:.0f} days.",
        since=since,
    )


def _going(evidence: Evidence) -> Verdict | None:
    """Losing leaf for certain: the whole batch or a recent window says so, and the newest does not lean away."""
    if not evidence.rates:
        return _going_early(evidence)
    if not any(rate.above for rate in evidence.rates) or evidence.rates[0].below > LEANING:
        return None
    longest = evidence.rates[-1]
    since = evidence.fitted[-longest.n].date
    loss = (
        f"Since {day_text(since)} leaf goes at {_rate(longest.best)} ({_span(longest)}, 8 times in 10): "
        f"half in {_half(longest.best)}."
    )
    expected = evidence.kind.expected_half_life_days
    if longest.high < LN2 / (SLOW_FACTOR * expected):
        return _verdict(
            evidence,
            Status.SLOW,
            loss,
            f"Of {evidence.kind.name}, half is expected to go in about {expected:.0f} days.",
            _rise_note(evidence),
            since=since,
        )
    return _verdict(evidence, Status.ON_COURSE, loss, _rise_note(evidence), since=since)


def _going_early(evidence: Evidence) -> Verdict | None:
    curve = evidence.curve
    if curve is None or not curve.success or curve.k_per_day is None or curve.k_low is None:
        return None
    if curve.k_low <= _stall_rate(evidence):
        return None
    first = evidence.check_ins[0].date
    return _verdict(
        evidence,
        Status.ON_COURSE,
        f"Since {day_text(first)} leaf goes at {_rate(curve.k_per_day)}: half in {_half(curve.k_per_day)}.",
        since=first,
    )


def _too_short(evidence: Evidence) -> Verdict | None:
    if evidence.rates:
        return None
    first, last = evidence.fitted[0].date, evidence.fitted[-1].date
    until = first + timedelta(days=LEAST_SPAN_DAYS)
    return _verdict(
        evidence,
        Status.TOO_EARLY,
        f"The check-ins span {(last - first).days} days; from {day_text(until)} on a stall can be told from a slow start.",
        _full_note(evidence),
    )


def _unclear(evidence: Evidence) -> Verdict:
    rate = min(evidence.rates, key=lambda rate: abs(rate.below - 0.5))
    return _verdict(
        evidence,
        Status.UNCLEAR,
        f"Over the last {rate.n} check-ins leaf goes at {_span(rate)} (8 times in 10); "
        f"the stall line of {_rate(_stall_rate(evidence))} lies within reach.",
        _full_note(evidence)
        or _rise_note(evidence)
        or _fall_note(evidence)
        or "More photos at each check-in, and time, will make it clearer.",
        since=evidence.fitted[-rate.n].date,
    )


def _grams_note(evidence: Evidence) -> str:
    """Return what to say of grams that the photos do not bear out; see `Curve.series` for whether they count."""
    by_grams, curve = evidence.layers_by_grams, evidence.curve
    if by_grams is None or curve is None or not curve.success or curve.series.layers_at_start is not None:
        return ""
    by_photos = curve.parameters["layers_at_start"]
    return (
        f"By its grams there were {by_grams:.2g} layers of leaf at the start, by the photos {by_photos:.2g}: "
        "rate and dates go by the photos alone."
    )


def _full_note(evidence: Evidence) -> str:
    if min(check_in.leaf_percent for check_in in evidence.check_ins) <= FULL_PERCENT:
        return ""
    return (
        f"The surface has been covered over {FULL_PERCENT:g}% at every check-in, which says little about how much leaf "
        "lies there; the first gaps will tell."
    )


def _rise_note(evidence: Evidence) -> str:
    if len(evidence.fitted) < 2:
        return ""
    before, newest = evidence.fitted[-2:]
    rise = newest.leaf_percent - before.leaf_percent
    if rise <= max(CONFIRMED_RISE, CONFIRMED_ERRS * hypot(before.leaf_err, newest.leaf_err)):
        return ""
    return (
        f"Cover rose by {rise:.0f} points since {day_text(before.date)}: leaf was added, or the surface was turned. "
        "The next check-in will tell."
    )


def _fall_note(evidence: Evidence) -> str:
    """Return what to say of a newest check-in, which may not fit the others, that lies lower than the stall line allows."""
    if len(evidence.check_ins) < 2:
        return ""
    before, newest = evidence.check_ins[-2:]
    fall = before.leaf_percent - newest.leaf_percent
    lost = _stall_rate(evidence) * (newest.date - before.date).days
    allowed = before.leaf_percent - 100 * cover_left(before.leaf_percent / 100, lost)
    if fall <= allowed + CONFIRMED_ERRS * hypot(before.leaf_err, newest.leaf_err):
        return ""
    return (
        f"Cover fell by {fall:.0f} points since {day_text(before.date)}: the leaf begins to go, or the photo shows "
        "something else. The next check-in will tell."
    )


def _stall_rate(evidence: Evidence) -> float:
    return LN2 / evidence.stall_half_life_days


def _cover(check_in: CheckIn) -> str:
    return f"{check_in.leaf_percent:.0f}% (give or take {1.645 * check_in.leaf_err:.0f})"


def _rate(k_per_day: float) -> str:
    return f"{100 * k_per_day:.1f}% a day"


def _span(rate: RecentRate) -> str:
    return f"{100 * rate.low:.1f} to {_rate(rate.high)}"


def _half(k_per_day: float) -> str:
    return f"{LN2 / k_per_day:.0f} days" if k_per_day > 0 else "no time that can be told"


def _are(n: int) -> str:
    return f"{'is' if n == 1 else 'are'} {n} check-in{'s' if n != 1 else ''}"

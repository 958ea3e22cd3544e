"""Where a new batch of leaf begins: cover rose by more than photos err, and by more than turning brings up."""

from collections.abc import Sequence
from datetime import date
from math import hypot, log

from leafwane.breakdown.checkins import CheckIn
from leafwane.breakdown.layers import cover_left, layers_from_cover

CONFIRMED_RISE = 12.0
"""Points of cover that must be gained where the next check-in bears it out; turning the surface brings up less as a
rule (common practice)."""

SINGLE_RISE = 30.0
"""Points that are enough at the newest check-in, which nothing confirms yet."""

CONFIRMED_ERRS, SINGLE_ERRS = 3.5, 4.0
"""And in standard errors of the difference."""

STANDS_ERRS = 2.0
"""And standard errors by which the next check-in must still lie above the one before the rise, though the new leaf has
gone on breaking down since."""

BEFORE_ERRS = 1.5
"""Standard errors that cover must also lie above the check-in before that, lest one that erred low looks like a rise."""

ON_COURSE_ERRS, OFF_COURSE_ERRS = 2.0, 3.0
"""In a bin that goes fast the next check-in may lie below the one before the rise. Then it must lie above where the two
before led by so many errors as the second says, and the one before the rise must itself lie no lower than the two before
it led, by more than the first says, lest it erred low."""

LEADS_PERCENT = 2.0, 98.0
"""Cover between which two check-ins tell where they lead."""

LARGE = 1.5
"""A rise of so many times `SINGLE_RISE` needs no confirming even if cover has fallen far by the next check-in."""


def batch_starts(check_ins: Sequence[CheckIn], *, bedded: date | None = None) -> tuple[int, ...]:
    """Return the places of check-ins at which a batch begins; the first is always one.

    A batch begins where cover rose by `CONFIRMED_RISE` points, and by as many errors, and the next check-in still stands
    above the one before the rise, or above where those before it led; or by `SINGLE_RISE` at the newest check-in. It
    also begins at the first check-in on or after the day `bedded`.
    """
    starts = [0] if check_ins else []
    for place in range(1, len(check_ins)):
        told = bedded is not None and check_ins[place - 1].date < bedded <= check_ins[place].date
        if told or _rose(check_ins, place, starts[-1]):
            starts.append(place)
    return tuple(starts)


def _rose(check_ins: Sequence[CheckIn], place: int, start: int) -> bool:
    here, before = check_ins[place], check_ins[place - 1]
    confirmed = _above(here, before, CONFIRMED_RISE, CONFIRMED_ERRS)
    if confirmed and _left_its_course(check_ins[max(start, place - 3) : place], check_ins[place + 1 :]):
        return True
    if place - 2 >= start and not _above(here, check_ins[place - 2], 0.0, BEFORE_ERRS):
        return False
    if place + 1 == len(check_ins):
        return _above(here, before, SINGLE_RISE, SINGLE_ERRS)
    stands = _above(check_ins[place + 1], before, 0.0, STANDS_ERRS)
    large = _above(here, before, LARGE * SINGLE_RISE, LARGE * SINGLE_ERRS)
    return large or (stands and confirmed)


def _left_its_course(until: Sequence[CheckIn], after: Sequence[CheckIn]) -> bool:
    """Return whether a batch was on its course until a rise, and above it at the check-in after; see `ON_COURSE_ERRS`."""
    if len(until) < 3 or not after:
        return False
    first, second, before = until
    due, later = _led_to(first, second, before.date), _led_to(second, before, after[0].date)
    if due is None or later is None:
        return False
    on_it = before.leaf_percent > due - ON_COURSE_ERRS * hypot(before.leaf_err, second.leaf_err)
    return on_it and after[0].leaf_percent > later + OFF_COURSE_ERRS * hypot(
        after[0].leaf_err, before.leaf_err
    )


def _led_to(one: CheckIn, other: CheckIn, day: date) -> float | None:
    """Return the cover in percent to which two check-ins lead at a steady rate of loss; None where they tell none."""
    least, most = LEADS_PERCENT
    if not least < other.leaf_percent < one.leaf_percent < most:
        return None
    before, now = (log(layers_from_cover(c.leaf_percent / 100)) for c in (one, other))
    lost = (before - now) * (day - other.date).days / (other.date - one.date).days
    return 100 * cover_left(other.leaf_percent / 100, lost)


def _above(here: CheckIn, other: CheckIn, rise: float, errs: float) -> bool:
    return here.leaf_percent - other.leaf_percent > max(rise, errs * hypot(here.leaf_err, other.leaf_err))

"""Where a new batch of leaf begins: cover rose by more than photos err, and by more than turning brings up."""

from collections.abc import Sequence
from datetime import date
from math import hypot

from leafwane.breakdown.checkins import CheckIn

CONFIRMED_RISE = 12.0
"""Points of cover that must be gained where the next check-in stands as high; turning the surface brings up less as a
rule (common practice)."""

SINGLE_RISE = 30.0
"""Points that are enough at the newest check-in, which nothing confirms yet."""

CONFIRMED_ERRS, SINGLE_ERRS = 3.5, 4.0
"""And in standard errors of the difference."""


def batch_starts(check_ins: Sequence[CheckIn], *, bedded: date | None = None) -> tuple[int, ...]:
    """Return the places of check-ins at which a batch begins; the first is always one.

    A batch begins where cover lies above both check-ins before it, by `CONFIRMED_RISE` points and errors if the next
    check-in stands as high, or by `SINGLE_RISE`. It also begins at the first check-in on or after the day `bedded`.
    """
    starts = [0] if check_ins else []
    for place in range(1, len(check_ins)):
        told = bedded is not None and check_ins[place - 1].date < bedded <= check_ins[place].date
        if told or _rose(check_ins, place, starts[-1]):
            starts.append(place)
    return tuple(starts)


def _rose(check_ins: Sequence[CheckIn], place: int, start: int) -> bool:
    before = check_ins[max(start, place - 2) : place]
    here, *after = check_ins[place : place + 2]
    if _above(here, before, SINGLE_RISE, SINGLE_ERRS):
        return not after or _above(after[0], before, CONFIRMED_RISE, 0.0) or _far_above(here, before)
    return bool(after) and all(_above(c, before, CONFIRMED_RISE, CONFIRMED_ERRS) for c in (here, after[0]))


def _far_above(here: CheckIn, before: Sequence[CheckIn]) -> bool:
    return _above(here, before, 2 * SINGLE_RISE, 2 * SINGLE_ERRS)


def _above(here: CheckIn, before: Sequence[CheckIn], rise: float, errs: float) -> bool:
    return all(
        here.leaf_percent - other.leaf_percent > max(rise, errs * hypot(here.leaf_err, other.leaf_err))
        for other in before
    )

"""Check-ins that do not fit the others of their batch, as where a photo shows another bin or bears a wrong date."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

import numpy as np

from leafwane.breakdown.checkins import APART_POINTS, CheckIn
from leafwane.breakdown.choice import fit_curves
from leafwane.breakdown.curve import Curve
from leafwane.breakdown.ratio import Z
from leafwane.breakdown.series import Series
from leafwane.flags import Flag

OFF_ERRS = 4.0
"""A check-in does not fit if it lies further from the curve of the others than so many joint errors, and `APART_POINTS`.

In simulated bins with errors of 2 points and check-ins a fortnight apart, of check-ins 15 points off between others nine in
ten are flagged; without any, no bin is whose leaf goes steadily or to a floor, 2% are that speed up bit by bit, and up to a
quarter that come to a halt or get going, three quarters at the first check-in after six idle weeks."""

LOOKED_INTO = 0.8
"""Share of the gap of a check-in that does not fit, less what it draws the curve of all towards itself, from which on it is
looked into."""

LEAST_OTHERS = 3


def set_odd_aside(
    parts: Sequence[Sequence[CheckIn]], curves: Sequence[Curve]
) -> list[tuple[tuple[CheckIn, ...], Curve]]:
    """Return the check-ins of batches, OFF_CURVE set on those that do not fit the others, each with the curve of the others.

    The newest counts only where it lies below: above is where it lies when a bin begins to stand still. None of a batch
    is marked where fewer than `LEAST_OTHERS` would be left, since they bear nothing out.

    Args:
        parts: Check-ins of each batch, in order of date.
        curves: Of all of them, a curve a batch.
    """
    suspects = [
        (batch, place)
        for batch, (part, curve) in enumerate(zip(parts, curves, strict=True))
        for place in _suspects(part, curve)
    ]
    without = fit_curves([_without(curves[batch].series, place) for batch, place in suspects])
    odd: list[dict[int, Curve]] = [{} for _ in parts]
    for (batch, place), rest in zip(suspects, without, strict=True):
        if _far(parts[batch], place, rest):
            odd[batch][place] = rest
    odd = [
        found if len(part) - len(found) >= LEAST_OTHERS else {}
        for part, found in zip(parts, odd, strict=True)
    ]
    several = [batch for batch, found in enumerate(odd) if len(found) > 1]
    anew = fit_curves([_without(curves[batch].series, *odd[batch]) for batch in several])
    fitted = {batch: rest for batch, found in enumerate(odd) for rest in found.values()}
    fitted |= dict(zip(several, anew, strict=True))
    return [
        (
            tuple(_marked(c, odd=place in odd[batch]) for place, c in enumerate(part)),
            fitted.get(batch, curves[batch]),
        )
        for batch, part in enumerate(parts)
    ]


def _marked(check_in: CheckIn, *, odd: bool) -> CheckIn:
    return replace(check_in, flags=check_in.flags | Flag.OFF_CURVE) if odd else check_in


def _suspects(part: Sequence[CheckIn], curve: Curve) -> list[int]:
    """Return the places of check-ins, never the first, so far from the curve of all that they may be odd."""
    n = len(part)
    if not curve.success or n <= LEAST_OTHERS:
        return []
    found = curve.predict(curve.series.days)
    apart = 1 - min(
        4 / n, 0.7
    )  # the ends of a straight line draw it by 4 / n of their gap towards themselves
    return [
        place
        for place in range(1, n)
        if abs(_gap(part, place, float(found[place]))) > LOOKED_INTO * apart * _least_gap(part[place])
    ]


def _gap(part: Sequence[CheckIn], place: int, expected: float) -> float:
    gap = part[place].leaf_percent - expected
    return min(gap, 0.0) if place == len(part) - 1 else gap


def _least_gap(check_in: CheckIn) -> float:
    return max(APART_POINTS, OFF_ERRS * check_in.leaf_err)


def _far(part: Sequence[CheckIn], place: int, rest: Curve) -> bool:
    check_in, day = part[place], (part[place].date - part[0].date).days
    if not rest.success:
        return False
    gap = abs(_gap(part, place, float(rest.predict(day)[0])))
    if gap <= _least_gap(check_in):
        return False
    low, high = rest.band(day)
    return gap > OFF_ERRS * hypot(check_in.leaf_err, float(high[0] - low[0]) / 2 / Z)


def _without(series: Series, *places: int) -> Series:
    """Return a batch without some of its check-ins, of which the first is none."""
    days, cover, err = (np.delete(values, places) for values in (series.days, series.cover, series.err))
    return Series(days=days, cover=cover, err=err, layers_at_start=series.layers_at_start)

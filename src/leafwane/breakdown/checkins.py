"""Photos become check-ins: a bin on a day, its photos averaged, with an error that holds for the average."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import reduce
from operator import or_

from leafwane.breakdown.layers import layers_from_cover
from leafwane.flags import Flag
from leafwane.scores import Score

NO_FLAGS = Flag(0)

LEAST_ERR = 1.0
"""Floor of one photo's standard error, in points: no photo tells cover better, whatever its score says."""

UNKNOWN_ERR = 5.0
"""Standard error, in points, of a photo whose score states none: two careful people differ by 3.6 on average."""

LEAST_FIRST_PERCENT = 0.01
"""Of a first cover below this nothing can remain: there was no leaf to speak of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckIn:
    """A bin on a day.

    Attributes:
        bin: The bin's name.
        date: The day.
        day: Days since the bin's start in `trial.toml` if that came before, else since its first check-in.
        n_photos: Photos that were averaged.
        leaf_percent: Leaf cover, 0..100.
        leaf_err: One standard error of it, in points.
        remaining_percent: Cover in percent of that at the bin's first check-in; None where that was bare.
        remaining_err: One standard error of it, the first check-in's own share included; 0 at the first check-in.
        layers_remaining_percent: Layers of leaf in percent of those at the first check-in; None where the first
            check-in was bare or wholly covered, which says nothing about layers.
        flags: All flags of its photos.
    """

    bin: str
    date: date
    day: int
    n_photos: int
    leaf_percent: float
    leaf_err: float
    remaining_percent: float | None = None
    remaining_err: float | None = None
    layers_remaining_percent: float | None = None
    flags: Flag = NO_FLAGS


def gather_check_ins(
    scores: Iterable[Score], *, starts: Mapping[str, date] | None = None
) -> dict[str, tuple[CheckIn, ...]]:
    """Group scores by bin and day and average the photos of a day.

    The error of an average of n photos is the root of their summed squared errors over n. Photos of one day that
    differ by more than their errors say show that one photo does not stand for the surface: that excess, pooled over
    the bin's days, is added to every photo's error.

    Args:
        scores: In any order; those without a date or a figure are left out, and so is NaN.
        starts: The day each bin was bedded, where known.

    Returns:
        Check-ins in order of date, by bin; every bin of `scores` has an entry, which may be empty.
    """
    days: dict[str, dict[date, list[Score]]] = {}
    for score in scores:
        of_bin = days.setdefault(score.bin, defaultdict(list))
        if score.date is not None and score.leaf_percent is not None and math.isfinite(score.leaf_percent):
            of_bin[score.date].append(score)
    return {
        name: _check_ins(name, [of_bin[day] for day in sorted(of_bin)], (starts or {}).get(name))
        for name, of_bin in days.items()
    }


def photo_err(score: Score) -> float:
    """Return one photo's standard error in points, never below the floor; the usual one where none is stated."""
    err = score.leaf_err
    return UNKNOWN_ERR if err is None or not math.isfinite(err) else max(err, LEAST_ERR)


def _check_ins(name: str, days: Sequence[Sequence[Score]], start: date | None) -> tuple[CheckIn, ...]:
    if not days:
        return ()
    first = days[0][0].date
    origin = start if start and first and start <= first else first
    excess = _excess_variance(days)
    found = [_average(name, photos, origin, excess) for photos in days]
    return tuple(_with_remaining(check_in, found[0]) for check_in in found)


def _average(name: str, photos: Sequence[Score], origin: date | None, excess: float) -> CheckIn:
    n, day = len(photos), photos[0].date
    if day is None or origin is None:
        raise ValueError("a check-in needs a date")
    variance = sum(photo_err(photo) ** 2 + excess for photo in photos) / n**2
    return CheckIn(
        bin=name,
        date=day,
        day=(day - origin).days,
        n_photos=n,
        leaf_percent=min(100.0, max(0.0, sum(_leaf(photo) for photo in photos) / n)),
        leaf_err=math.sqrt(variance),
        flags=reduce(or_, (photo.flags for photo in photos), NO_FLAGS),
    )


def _excess_variance(days: Sequence[Sequence[Score]]) -> float:
    """Return by how much photos of one day vary beyond their own errors, in squared points, pooled over days."""
    several = [photos for photos in days if len(photos) > 1]
    freedom = sum(len(photos) - 1 for photos in several)
    if freedom < 2:
        return 0.0
    spread = sum(_sum_of_squares([_leaf(photo) for photo in photos]) for photos in several)
    stated = sum((len(photos) - 1) * _mean([photo_err(p) ** 2 for p in photos]) for photos in several)
    return max(0.0, (spread - stated) / freedom)


def _with_remaining(check_in: CheckIn, first: CheckIn) -> CheckIn:
    if first.leaf_percent < LEAST_FIRST_PERCENT:
        return check_in
    ratio = check_in.leaf_percent / first.leaf_percent
    err = math.hypot(check_in.leaf_err, ratio * first.leaf_err) / first.leaf_percent
    start = float(layers_from_cover(first.leaf_percent / 100))
    layers = float(layers_from_cover(check_in.leaf_percent / 100))
    return replace(
        check_in,
        remaining_percent=100 * ratio,
        remaining_err=0.0 if check_in is first else 100 * err,
        layers_remaining_percent=100 * layers / start if math.isfinite(start + layers) else None,
    )


def _leaf(photo: Score) -> float:
    return photo.leaf_percent if photo.leaf_percent is not None else math.nan


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _sum_of_squares(values: Sequence[float]) -> float:
    middle = _mean(values)
    return sum((value - middle) ** 2 for value in values)

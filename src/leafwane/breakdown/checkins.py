"""Photos become check-ins: a bin on a day, its photos averaged, with an error that holds for the average."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import reduce
from operator import or_
from statistics import NormalDist

from leafwane.breakdown.layers import layers_from_cover
from leafwane.flags import Flag
from leafwane.scores import Score

NO_FLAGS = Flag(0)

LEAST_ERR = 1.0
"""Floor of one photo's standard error, in points: no photo tells cover better, whatever its score says."""

UNKNOWN_ERR = 5.0
"""Standard error, in points, of a photo whose score states none: two careful people differ by 3.6 on average."""

APART_ERRS, APART_POINTS = 3.0, 10.0
"""Two photos disagree if they differ by more than so many of their joint errors, and points of cover.

The farthest of more than two may differ by more errors, see `_apart_errs`.
"""

LEAST_FIRST_ERRS = 3.0
"""Cover of fewer of its errors is no scale: shares of what may be next to nothing are any number at all."""


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
        remaining_percent: Cover in percent of that at the bin's first check-in that shows leaf beyond doubt, see
            `LEAST_FIRST_ERRS`; None before.
        remaining_err: One standard error of it, the first check-in's own share included; 0 at that check-in.
        layers_remaining_percent: Layers of leaf in percent of those at that check-in; None likewise, and where it
            was wholly covered, which says nothing about layers.
        flags: All flags of its photos, PHOTOS_DISAGREE, and OFF_CURVE where it does not fit the bin's other days.
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
    the bin's days, is added to every photo's error. Two photos of a single day say too little of the bin's other days;
    their excess, and that of photos that disagree by far more than the bin's others, is added to their own day.

    Args:
        scores: In any order; those that are not `in_curve` are left out.
        starts: The day each bin was bedded, where known.

    Returns:
        Check-ins in order of date, by bin; every bin of `scores` has an entry, which may be empty.
    """
    scores = tuple(scores)
    days: dict[str, dict[date, list[Score]]] = {}
    for score in scores:
        of_bin = days.setdefault(score.bin, defaultdict(list))
        if score.date is not None and score.in_curve:
            of_bin[score.date].append(score)
    first = first_days(scores, starts=starts)
    return {
        name: _check_ins(name, [of_bin[day] for day in sorted(of_bin)], first.get(name))
        for name, of_bin in days.items()
    }


def first_days(scores: Iterable[Score], *, starts: Mapping[str, date] | None = None) -> dict[str, date]:
    """Return the day from which each bin's days count, in all tables.

    It is the bin's start in `starts`, unless a check-in came before; else its first check-in, or without any its first
    photo. Bins without a dated photo are missing.
    """
    first: dict[str, date] = {}
    for score in sorted(scores, key=lambda score: (not score.in_curve, score.date or date.max)):
        if score.date is not None and score.bin not in first:
            start = (starts or {}).get(score.bin, score.date)
            first[score.bin] = min(start, score.date) if score.in_curve else start
    return first


def photo_err(score: Score) -> float:
    """Return one photo's standard error in points, never below the floor; the usual one where none is stated."""
    err = score.leaf_err
    return UNKNOWN_ERR if err is None or not math.isfinite(err) else max(err, LEAST_ERR)


def _check_ins(name: str, days: Sequence[Sequence[Score]], origin: date | None) -> tuple[CheckIn, ...]:
    usual = _usual_days(days)
    freedom = _freedom(usual)
    pooled = _excess_variance(usual) if freedom > 1 else 0.0
    found = []
    for photos in days:
        apart = _disagree(photos)
        own = _excess_variance([photos]) if apart or freedom == 1 else 0.0
        check_in = _average(name, photos, origin, max(pooled, own))
        found.append(replace(check_in, flags=check_in.flags | Flag.PHOTOS_DISAGREE) if apart else check_in)
    scale = next((place for place, check_in in enumerate(found) if _tells_leaf(check_in)), len(found))
    return (*found[:scale], *(_with_remaining(check_in, found[scale]) for check_in in found[scale:]))


def _usual_days(days: Sequence[Sequence[Score]]) -> list[Sequence[Score]]:
    """Return the days with several photos that tell how photos of this bin differ.

    They are all but those whose photos disagree by more than the bin's other days bear out.
    """
    several = [photos for photos in days if len(photos) > 1]
    return [
        photos
        for place, photos in enumerate(several)
        if not _disagree(photos, _excess_variance(several[:place] + several[place + 1 :]))
    ]


def _freedom(days: Sequence[Sequence[Score]]) -> int:
    return sum(len(photos) - 1 for photos in days)


def _disagree(photos: Sequence[Score], excess: float = 0.0) -> bool:
    """Whether photos of a day differ by more than they say; `excess` is added to each one's squared error."""
    if len(photos) < 2:
        return False
    low, high = min(photos, key=_leaf), max(photos, key=_leaf)
    joint = math.sqrt(photo_err(low) ** 2 + photo_err(high) ** 2 + 2 * excess)
    return _leaf(high) - _leaf(low) > max(APART_POINTS, _apart_errs(len(photos)) * joint)


def _apart_errs(n: int) -> float:
    """Return how many joint errors the two of n photos that lie farthest apart may differ by, 2 or more photos.

    The more pairs there are, the farther apart the farthest lie by chance, so the chance that two photos have beyond
    APART_ERRS is shared out among the pairs (Bonferroni).
    """
    normal = NormalDist()
    return -normal.inv_cdf(normal.cdf(-APART_ERRS) / math.comb(n, 2))


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
    """Return by how much photos of one day vary beyond their own errors, in squared points, pooled over days.

    Two photos are enough. With them the error of their mean is no less than half their difference, so that its 90%
    interval holds both, and is right if either photo is; with the photos' own errors it holds 85% or more. Where both
    are off at random by far more than they say it still holds 65% (Student's t with one degree of freedom within 1.645);
    90% would take 3.8 times its width, which would say nothing. Photos that differ no more than they say change nothing.
    """
    several = [photos for photos in days if len(photos) > 1]
    freedom = _freedom(several)
    if not freedom:
        return 0.0
    spread = sum(_sum_of_squares([_leaf(photo) for photo in photos]) for photos in several)
    stated = sum((len(photos) - 1) * _mean([photo_err(p) ** 2 for p in photos]) for photos in several)
    return max(0.0, (spread - stated) / freedom)


def _tells_leaf(check_in: CheckIn) -> bool:
    return check_in.leaf_percent >= LEAST_FIRST_ERRS * check_in.leaf_err


def _with_remaining(check_in: CheckIn, first: CheckIn) -> CheckIn:
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

"""The course of each bin of a trial: check-ins, batches, curve, status and forecast."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from itertools import islice, pairwise
from math import ceil
from statistics import median
from typing import Any

import numpy as np

from leafwane.breakdown.batches import batch_starts
from leafwane.breakdown.checkins import CheckIn, gather_check_ins
from leafwane.breakdown.choice import fit_curves
from leafwane.breakdown.curve import Curve, DaysToCover, days_to_cover
from leafwane.breakdown.forms import LN2
from leafwane.breakdown.layers import (
    LEAF_AREA_LN_ERR,
    LEAST_LAYERS,
    MOST_LAYERS,
    layers_from_cover,
    layers_from_grams,
)
from leafwane.breakdown.leaves import LeafKind, find_leaf
from leafwane.breakdown.odd import set_odd_aside
from leafwane.breakdown.recent import windows
from leafwane.breakdown.series import Series, stack
from leafwane.breakdown.status import Evidence, Status, Verdict, hardly_any_leaf, judge, stall_half_life
from leafwane.flags import Flag, flag_names
from leafwane.scores import Score
from leafwane.trialfile import BinPlan, TrialPlan

METHOD = "breakdown-4"
"""Version of this method; it changes with every change to what a figure means."""

Day = date  # the name of a field below hides it

BEDDED_DAYS = 3
"""Grams anchor the layers where the first check-in is at most this many days after bedding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """When cover falls below the finish line, with the 90% interval; None where that cannot be told.

    Attributes:
        date: By the curve; for a finished bin the day it was first seen finished.
        earliest: Lower end; None too where it is not after the newest check-in.
        latest: Upper end; None too where it is open, or not after the newest check-in, which the curve then does not fit.
    """

    date: Day | None = None
    earliest: Day | None = None
    latest: Day | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Leaf put in at one time.

    Attributes:
        start: Day of its first check-in, which is day 0 of its curve.
        check_ins: In order of date.
        curve: Its curve, or a refusal; by the check-ins that fit, as a rule all.
        layers_by_grams: Layers of leaf at its start by the grams put in, whether or not the photos bear them out; None
            where not known.
    """

    start: date
    check_ins: tuple[CheckIn, ...]
    curve: Curve
    layers_by_grams: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinCourse:
    """A bin from its first check-in to its newest.

    Attributes:
        bin: The bin's name.
        leaf: Kind of leaf as the trial's plan calls it.
        check_ins: All, in order of date.
        batches: In order; the status, the curve and the forecast are of the last.
        verdict: Its status.
        finish: When it is finished.
        method: Versions of the methods that made the figures.
    """

    bin: str
    leaf: str | None
    check_ins: tuple[CheckIn, ...]
    batches: tuple[Batch, ...]
    verdict: Verdict
    finish: Forecast
    method: str

    @property
    def batch_starts(self) -> tuple[date, ...]:
        """Return the first day of each batch."""
        return tuple(batch.start for batch in self.batches)

    @property
    def curve(self) -> Curve | None:
        """Return the newest batch's curve; None without check-ins."""
        return self.batches[-1].curve if self.batches else None

    @property
    def half_life_days(self) -> float | None:
        """Return the days in which half of the leaf (layers) goes; None where that cannot be told."""
        return self.curve.half_life_days if self.curve else None

    @property
    def cover_half_life_days(self) -> float | None:
        """Return the days until cover is half of what it was at the batch's start; None likewise."""
        return self.curve.cover_half_life_days if self.curve else None

    def to_dict(self) -> dict[str, Any]:
        """Return one object of bins.json."""
        curve = self.curve
        return {
            "bin": self.bin,
            "leaf": self.leaf,
            "status": str(self.verdict.status),
            "since": _iso(self.verdict.since),
            "reasons": list(self.verdict.reasons),
            "remedies": list(self.verdict.remedies),
            **_rates(curve),
            "finish": {name: _iso(getattr(self.finish, name)) for name in ("date", "earliest", "latest")},
            "check_ins": [_plain(check_in) for check_in in self.check_ins],
            "batches": [
                {"start": _iso(batch.start), "n": len(batch.check_ins), **_rates(batch.curve)}
                for batch in self.batches
            ],
            "method": self.method,
        }


def follow_trial(scores: Iterable[Score], plan: TrialPlan) -> tuple[BinCourse, ...]:
    """Follow every bin that has scores; bins come in the order of their first score.

    Args:
        scores: Of photos, in any order.
        plan: The trial's plan: kinds of leaf, starts, grams, finish line and stall line.
    """
    scores = tuple(scores)
    starts = plan.starts
    check_ins = gather_check_ins(scores, starts=starts)
    of_bin: dict[str, list[Score]] = {name: [] for name in check_ins}
    for score in scores:
        of_bin[score.bin].append(score)
    cuts = {name: _cut(found, starts.get(name)) for name, found in check_ins.items()}
    parts = [part for found in cuts.values() for part in found]
    grams = [
        _layers_by_grams(plan.bin_plan(name), of_bin[name])
        if _is_bedding(part, found, starts.get(name))
        else None
        for name, found in cuts.items()
        for part in found
    ]
    curves = _anchored(fit_curves([_series(part) for part in parts]), grams)
    found = iter(map(_batch, set_odd_aside(parts, curves), grams))
    batches = {name: tuple(islice(found, len(cut))) for name, cut in cuts.items()}
    verdicts = _verdicts(batches, plan)
    finishes = _finishes(batches, verdicts, plan.finish_percent)
    return tuple(
        BinCourse(
            bin=name,
            leaf=plan.bin_plan(name).leaf,
            check_ins=tuple(check_in for batch in batches[name] for check_in in batch.check_ins),
            batches=batches[name],
            verdict=verdicts[name],
            finish=finishes[name],
            method="; ".join([METHOD, *sorted({score.method for score in of_bin[name] if score.scored})]),
        )
        for name in check_ins
    )


def _batch(found: tuple[tuple[CheckIn, ...], Curve], layers_by_grams: float | None) -> Batch:
    part, curve = found
    return Batch(start=part[0].date, check_ins=part, curve=curve, layers_by_grams=layers_by_grams)


def _cut(check_ins: Sequence[CheckIn], bedded: date | None) -> list[tuple[CheckIn, ...]]:
    places = [*batch_starts(check_ins, bedded=bedded), len(check_ins)]
    return [tuple(check_ins[a:b]) for a, b in pairwise(places)]


def _series(check_ins: Sequence[CheckIn]) -> Series:
    first = check_ins[0].date
    return Series(
        days=np.array([(check_in.date - first).days for check_in in check_ins], dtype=float),
        cover=np.array([check_in.leaf_percent for check_in in check_ins]) / 100,
        err=np.array([check_in.leaf_err for check_in in check_ins]) / 100,
    )


def _is_bedding(part: Sequence[CheckIn], parts: Sequence[Sequence[CheckIn]], bedded: date | None) -> bool:
    """Return whether a batch of a bin is the leaf that the plan tells the grams of."""
    return part is parts[0] if bedded is None else 0 <= (part[0].date - bedded).days <= BEDDED_DAYS


def _layers_by_grams(plan: BinPlan, scores: Sequence[Score]) -> float | None:
    """Return layers at the start by the grams put in, where the photos show the bin's whole surface."""
    areas = [
        s.surface_cm2
        for s in scores
        if s.surface_cm2 and not s.flags & (Flag.WHOLE_PHOTO | Flag.SMALL_SURFACE)
    ]
    if plan.grams is None or not areas:
        return None
    return min(max(layers_from_grams(plan.grams, median(areas)), LEAST_LAYERS), MOST_LAYERS)


def _anchored(curves: Sequence[Curve], grams: Sequence[float | None]) -> tuple[Curve, ...]:
    """Return curves, fitted anew with the layers at the start by grams, where these are known and the photos bear them out.

    In a deep bin the grams lie in far more layers than a photo sees; then they would only spoil the curve.
    """
    known = {
        row: replace(curve.series, layers_at_start=layers)
        for row, (curve, layers) in enumerate(zip(curves, grams, strict=True))
        if layers is not None and _bears_out(curve, layers)
    }
    anew = dict(zip(known, fit_curves([*known.values()]), strict=True))
    return tuple(anew.get(row, curve) for row, curve in enumerate(curves))


def _bears_out(curve: Curve, layers: float) -> bool:
    """Return whether layers by grams lie within two of their errors of those that the photos allow; without a curve any do."""
    if not curve.success:
        return True
    low, high = (layers_from_cover(end / 100)[0] for end in curve.band(0))
    spare = np.exp(2 * LEAF_AREA_LN_ERR)
    return bool(low / spare <= layers <= high * spare)


def _verdicts(batches: Mapping[str, Sequence[Batch]], plan: TrialPlan) -> dict[str, Verdict]:
    kinds: dict[str, LeafKind] = {
        name: find_leaf(plan.bin_plan(name).leaf, overrides=plan.leaves) for name in batches
    }
    stalls = {name: stall_half_life(kind, plan.stall_half_life_days) for name, kind in kinds.items()}
    seen = [name for name, found in batches.items() if found]
    rates = windows(
        stack([batches[name][-1].curve.series for name in seen]), LN2 / np.array([stalls[n] for n in seen])
    )
    rates_of = dict(zip(seen, rates, strict=True))
    return {
        name: judge(
            Evidence(
                check_ins=found[-1].check_ins if found else (),
                renewed=len(found) > 1,
                curve=found[-1].curve if found else None,
                layers_by_grams=found[-1].layers_by_grams if found else None,
                rates=rates_of.get(name, ()),
                kind=kinds[name],
                finish_percent=plan.finish_percent,
                stall_half_life_days=stalls[name],
            )
        )
        for name, found in batches.items()
    }


def _finishes(
    batches: Mapping[str, Sequence[Batch]], verdicts: Mapping[str, Verdict], percent: float
) -> dict[str, Forecast]:
    found = {name: Forecast() for name in batches}
    wanted = [
        name
        for name in batches
        if verdicts[name].status not in {Status.FINISHED, Status.STALLED, Status.UNCLEAR}
        and batches[name]
        and not hardly_any_leaf(batches[name][-1].check_ins, percent)
    ]
    days = days_to_cover([batches[name][-1].curve for name in wanted], percent)
    for name, span in zip(wanted, days, strict=True):
        found[name] = _forecast(batches[name][-1], span)
    for name, verdict in verdicts.items():
        if verdict.status is Status.FINISHED:
            found[name] = Forecast(date=verdict.since, earliest=verdict.since, latest=verdict.since)
    return found


def _forecast(batch: Batch, span: DaysToCover) -> Forecast:
    """Return when cover falls below the finish line: after the newest check-in, which saw more than that."""
    newest = batch.check_ins[-1].date
    best, low, high = (
        None if days is None else batch.start + timedelta(days=ceil(days))
        for days in (span.best, span.low, span.high)
    )
    return Forecast(
        date=best and max(best, newest + timedelta(days=1)),
        earliest=low if low and low > newest else None,
        latest=high if high and high > newest else None,
    )


def _rates(curve: Curve | None) -> dict[str, Any]:
    names = (
        "form",
        "k_per_day",
        "k_low",
        "k_high",
        "half_life_days",
        "half_life_low",
        "half_life_high",
        "cover_half_life_days",
    )
    plain = {name: getattr(curve, name) if curve and curve.success else None for name in names}
    return plain | {
        "parameters": dict(curve.parameters) if curve else {},
        "message": curve.message if curve else "no check-ins",
    }


def _plain(check_in: CheckIn) -> dict[str, Any]:
    return asdict(check_in) | {"date": _iso(check_in.date), "flags": list(flag_names(check_in.flags))}


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None

"""How fast leaf goes now: the rate over the last check-ins, and whether it lies below or above a line.

Not "is there a significant trend": four check-ins can never show one. The question is which rates the last check-ins
allow. For every rate on a grid the layers are fitted, and the misfit becomes a likelihood; leaf does not come back by
itself, so rates below 0 count for nothing, and all others count alike before the photos are seen. Where check-ins
scatter around the best rate more than their errors make likely, the errors are taken to be larger by as much.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.series import LOG_LEAST, LOG_MOST, Stack

RATES = np.concatenate([np.linspace(0.0, 0.02, 33), np.geomspace(0.0215, 0.1, 23)])
"""Rates a day that are asked about: up to 36 a year."""

LIMIT = 0.90
"""Share of the likelihood that lies below the upper limit, and above the lower one."""

ONE_SIDED = 1.2816
"""Standard errors to a one-sided 90% limit."""

LEAST_CHECK_INS, MOST_CHECK_INS = 3, 6
"""Windows of so many of the last check-ins are looked at, each in turn; where check-ins are so frequent that six span
less than four weeks, the two shortest windows that do."""

USUAL = 0.8
"""Share of windows that scatter less if errors are what they are said to be; what goes beyond widens them."""

N_STEPS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class RecentRate:
    """The rate of loss over the last check-ins.

    Attributes:
        n: How many check-ins.
        span_days: Days from the first to the last of them.
        best: The likeliest rate a day, 0 or more.
        low: The rate above which 90% of the likelihood lies.
        high: The rate below which 90% of the likelihood lies.
        below: Share of the likelihood below the line that was asked about.
        above: Whether every rate below that line fits too badly, at 90% and one-sided, beside the best one. Unlike a
            share, it cannot come from the rates that were thought of before the photos were seen.
    """

    n: int
    span_days: float
    best: float
    low: float
    high: float
    below: float
    above: bool


def rate_misfit(days: Floats, cover: Floats, weights: Floats, rates: Floats = RATES) -> Floats:
    """Return chi-squared (m, len(rates)) of an exponential loss at given rates, the layers fitted to each.

    Args:
        days: (m, n) days.
        cover: (m, n) fractions.
        weights: (m, n) one over the standard errors; 0 leaves a check-in out.
        rates: (r,) rates a day.
    """
    used = weights > 0
    last = np.where(used, days, -np.inf).max(axis=1, keepdims=True)
    shift = (last - np.where(used, days, last))[:, None, :] * rates[None, :, None]
    w2 = (weights**2)[:, None, :]
    seen = cover[:, None, :]
    highest = np.maximum(LOG_MOST - shift.max(axis=2), LOG_LEAST)
    level = np.clip(_start_level(cover, weights, shift), LOG_LEAST, highest)
    for _ in range(N_STEPS):
        layers = np.exp(np.minimum(level[..., None] + shift, 5.0))
        gap = np.exp(-layers)
        slope = gap * layers
        pull = np.einsum("mrn,mrn->mr", w2 * (seen - 1.0 + gap), slope)
        stiff = np.einsum("mrn,mrn->mr", w2 * slope, slope)
        step = np.clip(pull / np.maximum(stiff, 1e-9), -0.7, 0.7)
        level = np.clip(level + step, LOG_LEAST, highest)
    residual = seen - 1.0 + np.exp(-np.exp(np.minimum(level[..., None] + shift, 5.0)))
    return np.asarray(np.einsum("mrn,mrn->mr", w2 * residual, residual))


def _start_level(cover: Floats, weights: Floats, shift: Floats) -> Floats:
    """Return ln(layers) at the last check-in to start from: the weighted mean of what each check-in says."""
    clipped = np.clip(cover, 0.01, 0.99)
    layers = -np.log1p(-clipped)
    weight = (weights * (1 - clipped) * layers) ** 2
    total = np.maximum(weight.sum(axis=1), 1e-30)[:, None]
    mean_shift = np.einsum("mn,mrn->mr", weight, shift) / total
    return np.asarray((weight * np.log(layers)).sum(axis=1, keepdims=True) / total - mean_shift)


LEAST_SPAN_DAYS = 28.0
"""A window must span four weeks, since a week of cold or a turned surface is no stall."""


def windows(seen: Stack, line: Floats) -> tuple[tuple[RecentRate, ...], ...]:
    """Return for every series the rate over each window that is long enough, the shortest first.

    Args:
        seen: m series.
        line: (m,) rates a day that are asked about, see `RecentRate`.
    """
    found: list[list[RecentRate]] = [[] for _ in line]
    for row_sizes in _sizes(seen).T:
        for n in np.unique(row_sizes[row_sizes > 0]):
            rows = np.flatnonzero(row_sizes == n)
            for row, rate in zip(rows, _window(seen.take(rows), int(n), line[rows]), strict=True):
                found[row].append(rate)
    return tuple(tuple(one) for one in found)


def _sizes(seen: Stack) -> NDArray[np.intp]:
    """Return (m, 4) numbers of check-ins of each window, the shortest first; 0 where there is none."""
    last = seen.last_days[:, None]
    recent = (last - seen.times[:, :-1] < LEAST_SPAN_DAYS) & (seen.weights[:, :-1] > 0)
    least = np.maximum(recent.sum(axis=1) + 1, LEAST_CHECK_INS)[:, None]
    sizes = least + np.arange(MOST_CHECK_INS - LEAST_CHECK_INS + 1)
    most = np.minimum(np.maximum(MOST_CHECK_INS, least + 1), seen.counts[:, None])
    return np.where(sizes <= most, sizes, 0)


def _window(seen: Stack, n: int, line: Floats) -> list[RecentRate]:
    """Return the rate over the last n check-ins of each of m series; `line` (m,) is what `below` and `above` speak of."""
    place = seen.counts[:, None] - n + np.arange(n)
    days, cover, weights = (
        np.take_along_axis(a, place, axis=1) for a in (seen.times, seen.values, seen.weights)
    )
    misfit = rate_misfit(days, cover, weights)
    misfit /= np.maximum(1.0, misfit.min(axis=1, keepdims=True) / chi2.ppf(USUAL, n - 2))
    share = _shares_below(misfit)
    added = np.where(line[:, None] >= RATES, misfit, np.inf).min(axis=1) - misfit.min(axis=1)
    return [
        RecentRate(
            n=n,
            span_days=float(days[row, -1] - days[row, 0]),
            best=float(RATES[np.argmin(misfit[row])]),
            low=float(np.interp(1 - LIMIT, share[row], RATES)),
            high=float(np.interp(LIMIT, share[row], RATES)),
            below=float(np.interp(line[row], RATES, share[row])),
            above=bool(added[row] > ONE_SIDED**2),
        )
        for row in range(len(line))
    ]


def _shares_below(misfit: Floats) -> Floats:
    """Return the share of the likelihood that lies below each of `RATES`, (m, len(RATES)), from chi-squared of that shape."""
    likelihood = np.exp(-0.5 * (misfit - misfit.min(axis=1, keepdims=True)))
    area = np.diff(RATES) * 0.5 * (likelihood[:, 1:] + likelihood[:, :-1])
    share = np.concatenate([np.zeros((len(area), 1)), np.cumsum(area, axis=1)], axis=1)
    return np.asarray(share / share[:, -1:])

"""Ratios of rates between kinds of leaf, with bins as the unit of replication, and the F test beside them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy import stats

from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.recent import RATES, rate_misfit
from leafwane.breakdown.series import Series, stack

Z = 1.6449
"""Standard errors on either side that hold 90% of a normal distribution."""

LEAST_LOG_ERR = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRate:
    """ln of one bin's rate.

    Attributes:
        value: ln(k a day).
        err: One standard error, by the bin's own check-ins.
    """

    value: float
    err: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """How many times as fast one kind goes as another.

    Attributes:
        value: Ratio of the geometric means of the bins' rates.
        low: Lower end of the 90% interval.
        high: Upper end.
        half_width: Half the interval of ln(ratio).
        bin_half_width: The part of it that bins which differ among themselves call for; 0 with one bin a kind.
    """

    value: float
    low: float
    high: float
    half_width: float
    bin_half_width: float

    @property
    def told(self) -> bool:
        """Whether the interval leaves 1 out."""
        return self.low > 1 or self.high < 1


def log_rate(k: float, k_low: float, k_high: float) -> LogRate | None:
    """Return ln(k) with its error from the 90% interval; None where no loss was seen or it has no upper end."""
    if k <= 0 or k_high <= k:
        return None
    width = (log(k_high) - log(k_low)) / 2 if k_low > 0 else log(k_high) - log(k)
    return LogRate(value=log(k), err=max(width / Z, LEAST_LOG_ERR))


def rate_ratio(one: Sequence[LogRate], other: Sequence[LogRate], *, certain: bool = False) -> Ratio:
    """Return the ratio of two kinds' rates.

    The 90% interval of ln(ratio) is the wider of two: bins' scatter, pooled over both kinds, with Student's t; and the
    bins' own errors. With one bin a kind only the second is known.

    Args:
        one: Bins of the kind above the line.
        other: Bins of the kind below it.
        certain: Whether the other is no bin but a rate known for certain.
    """
    values = [np.array([rate.value for rate in kind]) for kind in (one, other)]
    middle = float(values[0].mean() - values[1].mean())
    within = sum(sum(rate.err**2 for rate in kind) / len(kind) ** 2 for kind in (one, other))
    freedom = len(one) + len(other) - 2
    scatter = sum(float(((v - v.mean()) ** 2).sum()) for v in values) / freedom if freedom else 0.0
    between = scatter * (1 / len(one) + (0.0 if certain else 1 / len(other)))
    bins = float(stats.t.ppf(0.95, freedom)) * sqrt(between) if freedom else 0.0
    half = max(bins, Z * sqrt(within))
    return Ratio(
        value=exp(middle),
        low=exp(middle - half),
        high=exp(middle + half),
        half_width=half,
        bin_half_width=bins,
    )


def extra_sum_of_squares(
    rss_few: float, n_few: int, rss_many: float, n_many: int, n_values: int
) -> tuple[float, int, int, float]:
    """Return F, its degrees of freedom and p for two fits of which one is a special case of the other.

    F = ((rss_few - rss_many) / (n_many - n_few)) / (rss_many / (n_values - n_many)); Bates & Watts 1988, section 3.10.

    Args:
        rss_few: Residual sum of squares of the fit with fewer parameters.
        n_few: Its parameters.
        rss_many: Residual sum of squares of the fit with more parameters.
        n_many: Its parameters.
        n_values: Values fitted.
    """
    extra, spare = n_many - n_few, n_values - n_many
    f = ((rss_few - rss_many) / extra) / (rss_many / spare)
    return f, extra, spare, float(stats.f.sf(f, extra, spare))


def rates_differ(one: Sequence[Series], other: Sequence[Series]) -> tuple[float, int, int, float]:
    """Return the F test of a rate for each kind against one for both; every bin has layers of its own.

    It takes check-ins for independent, which those of one bin are not wholly, and so is no more than a companion of
    the ratio's interval. Returns NaN for F and p where there are too few check-ins.
    """
    seen = stack([*one, *other])
    misfit = rate_misfit(seen.times[:, :-1], seen.values[:, :-1], seen.weights[:, :-1])
    bins, values = len(seen.counts), int(seen.counts.sum())
    if values <= bins + 2:
        return float("nan"), 1, max(0, values - bins - 2), float("nan")
    apart = _least(misfit[: len(one)].sum(axis=0)) + _least(misfit[len(one) :].sum(axis=0))
    together = max(_least(misfit.sum(axis=0)), apart)
    return extra_sum_of_squares(together, bins + 1, max(apart, 1e-12), bins + 2, values)


def _least(misfit: Floats) -> float:
    """Return the least of a curve on the grid of rates, by the parabola through its lowest three points."""
    place = int(np.clip(np.argmin(misfit), 1, len(RATES) - 2))
    nearby = slice(place - 1, place + 2)
    middle = RATES[place]
    a, b, c = np.polyfit(RATES[nearby] - middle, misfit[nearby], 2)
    inside = a > 0 and RATES[place - 1] <= middle - b / (2 * a) <= RATES[place + 1]
    return float(max(0.0, c - b * b / (4 * a))) if inside else float(misfit.min())

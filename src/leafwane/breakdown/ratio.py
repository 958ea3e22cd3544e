"""Ratios of rates between kinds of leaf, with bins as the unit of replication, and the t test beside them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy import stats

Z = 1.6449
"""Standard errors on either side that hold 90% of a normal distribution."""

LEAST_LOG_ERR = 1e-3

STILL = 1e-3
"""Rates a day below this, and none at all, count as this: a bin that loses under a tenth of a percent a day stands still.
How far below it a measured rate comes out is chance, of which the logarithm would make any ratio whatever."""

STILL_HIGH = 1.5 * STILL
"""Least upper end of a rate's interval, so that a rate that counts as `STILL` is not known for certain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRate:
    """ln of one bin's rate.

    Attributes:
        value: ln(k a day).
        err: One standard error, by the bin's own check-ins.
    """

    value: float
    err: float

    @property
    def stands(self) -> bool:
        """Whether the bin stands still: its rate is but the least that counts."""
        return self.value <= log(STILL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """How many times as fast one kind goes as another.

    Attributes:
        value: Ratio of the geometric means of the bins' rates.
        low: Lower end of the 90% interval.
        high: Upper end.
        half_width: Half the interval of ln(ratio).
    """

    value: float
    low: float
    high: float
    half_width: float

    @property
    def told(self) -> bool:
        """Whether the interval leaves 1 out."""
        return self.low > 1 or self.high < 1


def log_rate(k: float, k_low: float, k_high: float) -> LogRate | None:
    """Return ln(k) with its error from the 90% interval, `STILL` at least; None where the interval has no upper end."""
    rate, high = max(k, STILL), max(k_high, STILL_HIGH)
    if high <= rate:
        return None
    width = (log(high) - log(k_low)) / 2 if k >= STILL and k_low > 0 else log(high) - log(rate)
    return LogRate(value=log(rate), err=max(width / Z, LEAST_LOG_ERR))


def rate_ratio(one: Sequence[LogRate], other: Sequence[LogRate], *, certain: bool = False) -> Ratio:
    """Return the ratio of two kinds' rates.

    The 90% interval of ln(ratio) is the wider of two: bins' scatter, pooled over both kinds, with Student's t; and the
    bins' own errors. With one bin a kind only the second is known.

    Args:
        one: Bins of the kind above the line.
        other: Bins of the kind below it.
        certain: Whether the other is no bin but a rate known for certain.
    """
    middle = float(np.mean([rate.value for rate in one]) - np.mean([rate.value for rate in other]))
    half = _half_width(one, other, scatter=_scatter(one, other), errors=1.0, certain=certain)
    return Ratio(value=exp(middle), low=exp(middle - half), high=exp(middle + half), half_width=half)


def half_width_later(one: Sequence[LogRate], other: Sequence[LogRate], growth: float) -> float:
    """Return about half the interval of ln(ratio) when every bin has `growth` times its check-ins, as far apart as before.

    A bin's error falls as their number to the 3/2, like a slope's. What bins of a kind differ by beyond their errors stays,
    where it is more than errors alone do nine times in ten (the chi-squared test of a variance).

    Args:
        one: Bins of the kind above the line.
        other: Bins of the kind below it.
        growth: 1 or more; infinite for what no check-in helps against.
    """
    errors, freedom = growth**-3, _freedom(one, other)
    variance = float(np.mean([rate.err**2 for rate in (*one, *other)]))
    scatter = _scatter(one, other)
    differ = scatter * freedom > variance * stats.chi2.ppf(0.9, freedom) if freedom else False
    apart = scatter - variance if differ else 0.0
    return _half_width(one, other, scatter=apart + errors * variance, errors=errors, certain=False)


def _half_width(
    one: Sequence[LogRate], other: Sequence[LogRate], *, scatter: float, errors: float, certain: bool
) -> float:
    """Return half the interval of ln(ratio), of the bins' scatter and of their own variances times `errors`."""
    within = sum(sum(rate.err**2 for rate in kind) / len(kind) ** 2 for kind in (one, other)) * errors
    freedom = _freedom(one, other)
    between = scatter * (1 / len(one) + (0.0 if certain else 1 / len(other)))
    bins = float(stats.t.ppf(0.95, freedom)) * sqrt(between) if freedom else 0.0
    return max(bins, Z * sqrt(within))


def _scatter(one: Sequence[LogRate], other: Sequence[LogRate]) -> float:
    """Return the variance of ln(rate) within kinds, pooled; 0 with one bin a kind."""
    values = [np.array([rate.value for rate in kind]) for kind in (one, other)]
    freedom = _freedom(one, other)
    return sum(float(((v - v.mean()) ** 2).sum()) for v in values) / freedom if freedom else 0.0


def _freedom(one: Sequence[LogRate], other: Sequence[LogRate]) -> int:
    """Return the degrees of freedom of the scatter within kinds: 0 with one bin a kind."""
    return len(one) + len(other) - 2


def t_p(one: Sequence[LogRate], other: Sequence[LogRate]) -> float | None:
    """Return p of Student's t test of ln(rate), bin against bin; None for fewer than two bins of a kind or bins all alike.

    The kinds' scatter is pooled, as in the interval of the ratio. Bins are the cases, since check-ins of one bin share all
    that sets it apart.
    """
    values = [np.array([rate.value for rate in kind]) for kind in (one, other)]
    if min(len(one), len(other)) < 2 or max(float(np.ptp(v)) for v in values) < LEAST_LOG_ERR:
        return None
    figures = [(float(v.mean()), float(v.std(ddof=1)), len(v)) for v in values]
    return float(stats.ttest_ind_from_stats(*figures[0], *figures[1], equal_var=True).pvalue)

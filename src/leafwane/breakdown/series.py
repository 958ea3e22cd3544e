"""Covers of bins as stacked arrays, and the model of cover that every form of loss shares."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from leafwane.breakdown.fitting import Fits, Floats, Model, Rows, fit_many
from leafwane.breakdown.forms import Form
from leafwane.breakdown.layers import LEAF_AREA_LN_ERR, LEAST_LAYERS, MOST_LAYERS

GRADIENT_TOL, PERFECT = 1e-6, 1e-10
"""When a fit has converged; misfits are in units of the check-ins' errors."""

LOG_LEAST, LOG_MOST = float(np.log(LEAST_LAYERS)), float(np.log(MOST_LAYERS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """What was seen of one batch in one bin.

    Attributes:
        days: (n,) days since the batch began, 0 or more.
        cover: (n,) fractions 0..1.
        err: (n,) standard errors of cover, above 0.
        layers_at_start: Layers of leaf by the grams that were put in; None where not known.
    """

    days: Floats
    cover: Floats
    err: Floats
    layers_at_start: float | None = None

    def first(self, n: int) -> "Series":
        """Return the first n check-ins."""
        return replace(self, days=self.days[:n], cover=self.cover[:n], err=self.err[:n])


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """m series side by side, filled up to one length with values of no weight.

    Attributes:
        times: (m, n + 1) days; the last column is day 0, for layers known from grams.
        values: (m, n + 1) covers; the last column is ln(layers) at day 0 by the grams.
        weights: (m, n + 1) one over the standard errors.
        counts: (m,) check-ins.
    """

    times: Floats
    values: Floats
    weights: Floats
    counts: NDArray[np.intp]

    def take(self, rows: Rows) -> "Stack":
        """Return some of the series."""
        return Stack(
            times=self.times[rows],
            values=self.values[rows],
            weights=self.weights[rows],
            counts=self.counts[rows],
        )

    @property
    def last_days(self) -> Floats:
        """Return the day of each series' last check-in."""
        return np.asarray(
            np.where(self.weights[:, :-1] > 0, self.times[:, :-1], 0.0).max(axis=1, initial=0.0)
        )


def stack(series: Sequence[Series]) -> Stack:
    """Put series side by side."""
    width = max((len(one.days) for one in series), default=0) + 1
    times, values, weights = np.zeros((3, len(series), width))
    for row, one in enumerate(series):
        n = len(one.days)
        times[row, :n], values[row, :n], weights[row, :n] = one.days, one.cover, 1.0 / one.err
        if one.layers_at_start is not None:
            values[row, -1], weights[row, -1] = np.log(one.layers_at_start), 1.0 / LEAF_AREA_LN_ERR
    counts = np.array([len(one.days) for one in series], dtype=np.intp)
    return Stack(times=times, values=values, weights=weights, counts=counts)


def cover_model(form: Form, times: Floats, origin: Floats) -> Model:
    """Return the model of cover at all columns of `times` but the last, and of ln(layers) at the last.

    The first parameter is ln(layers) on the day `origin` (m,), so that its interval is that of the curve there.
    """

    def model(theta: Floats, rows: Rows) -> tuple[Floats, Floats]:
        rates = theta[:, 1:]
        log_left, slopes = form.log_left(rates, times[rows])
        log_left_0, slopes_0 = form.log_left(rates, origin[rows, None])
        values = theta[:, :1] + log_left - log_left_0
        slopes = np.concatenate([np.ones((*values.shape, 1)), slopes - slopes_0], axis=-1)
        layers = np.exp(np.minimum(values[:, :-1], 7.0))
        open_part = np.exp(-layers)
        slopes[:, :-1] *= (open_part * layers)[..., None]
        values[:, :-1] = 1.0 - open_part
        return values, slopes

    return model


def fit_form(
    form: Form, seen: Stack, start: Floats, *, origin: Floats | None = None, fixed: tuple[int, ...] = ()
) -> Fits:
    """Fit one form to every series of a stack, from one start each.

    Args:
        form: The form, with p parameters: ln of the layers at the origin, then its rates.
        seen: m series.
        start: (m, p) first guesses.
        origin: (m,) days that the layers are those of; day 0 if None.
        fixed: Parameters that stay as they start.
    """
    at = np.zeros(len(start)) if origin is None else origin
    return fit_many(
        cover_model(form, seen.times, at),
        start,
        seen.values,
        seen.weights,
        lower=(LOG_LEAST if 0 not in fixed else -np.inf, *form.lower),
        upper=(LOG_MOST if 0 not in fixed else np.inf, *form.upper),
        fixed=fixed,
        gradient_tol=GRADIENT_TOL,
        perfect=PERFECT,
    )

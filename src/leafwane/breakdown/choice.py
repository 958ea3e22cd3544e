"""Which form of loss a batch's check-ins bear out: all forms fitted, those not identified refused, the best kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from leafwane.breakdown.curve import OTHER_FORMS_FROM, Curve
from leafwane.breakdown.fitting import Fits, Floats, Rows, small_sample_term
from leafwane.breakdown.forms import FORMS, LN2, Form, FormName, days_to_share, logistic
from leafwane.breakdown.layers import FULL_PERCENT, cover_from_layers, layers_from_cover
from leafwane.breakdown.profile import Profile, scatter
from leafwane.breakdown.series import LOG_LEAST, LOG_MOST, Series, Stack, fit_form, stack

LEAST_CHECK_INS = 3
"""Fewer give no curve."""

STARTS: Mapping[FormName, tuple[tuple[float, float], ...]] = {
    "floor": ((1.1, float(np.log(0.05 / 0.95))), (1.8, float(np.log(0.3 / 0.7)))),
    "lagged": ((1.0, float(np.log(1.3))), (1.0, float(np.log(0.75)))),
}
"""For each form with a third parameter: rates in units of the exponential one, and values of the third."""

THIRD_LOWER_BY, FROM_CHECK_INS = 2.0, 10
"""By how much the AICc of a form with a third parameter must be lower than the exponential's, with so many check-ins or
more. Forms within 2 are about as good (Burnham & Anderson 2002, from memory), and to pick one of them by chance makes the
half-life look surer than it is. With fewer, AICc itself asks for more, and true floors and lags would be missed."""

LEAST_ERR_PERCENT = 0.01
"""Errors below this, in points, count as this, so that an error of zero does not outweigh all others for ever."""

NEVER_DAYS = 36525.0
"""A half-life of a hundred years and more is none."""

EDGE = 1e-6


def fit_curve(
    days: ArrayLike, cover_percent: ArrayLike, err_percent: ArrayLike, *, layers_at_start: float | None = None
) -> Curve:
    """Fit one batch; see `fit_curves`.

    Args:
        days: (n,) days since the batch began, 0 or more.
        cover_percent: (n,) leaf cover, 0..100.
        err_percent: (n,) standard errors in points, 0 or more; see `LEAST_ERR_PERCENT`.
        layers_at_start: Layers by the grams put in; None where not known.
    """
    day, cover, err = (np.asarray(a, dtype=float) for a in (days, cover_percent, err_percent))
    err = np.maximum(err, LEAST_ERR_PERCENT)
    series = Series(days=day, cover=cover / 100, err=err / 100, layers_at_start=layers_at_start)
    return fit_curves([series])[0]


def fit_curves(series: Sequence[Series]) -> tuple[Curve, ...]:
    """Fit every batch with each form that its check-ins can identify, and keep the exponential or a clearly better one.

    Cover is fitted through cover = 1 - exp(-layers(t)), each check-in weighted by its own error in cover; so full
    cover, where a wide range of layers gives the same picture, weighs little.

    AICc = chi2 / c + 2 K + 2 K (K + 1) / (n - K - 1) (Burnham & Anderson 2002). K counts the curve's parameters, the
    layers at the start among them (2 for exponential, 3 for floor and lagged), and no error, since check-ins bring
    their own. c is the least scatter of any form that was fitted: over 1 where check-ins vary more than their errors
    say, and then intervals are widened by the root of the form's own. The form of least AICc is kept, where those with a
    third parameter bear a handicap, see `THIRD_LOWER_BY`.
    """
    if not series:
        return ()
    seen = stack(series)
    plain = _fit_exponential(seen)
    fits: dict[FormName, Fits] = {"exponential": plain}
    fits |= {name: _fit_richer(FORMS[name], seen, plain.theta) for name in STARTS}
    choices = [_choose(fits, seen, row) for row in range(len(series))]
    rates = _rates(seen, plain)
    halves = _half_lives(seen, fits, choices, rates)
    return tuple(
        _curve(one, fits, choice, row, (rates[row], halves[row]))
        for row, (one, choice) in enumerate(zip(series, choices, strict=True))
    )


def exponential_rates(series: Sequence[Series]) -> Floats:
    """Return (m, 3) rates a day of the exponential form alone, and the ends of their 90% intervals."""
    seen = stack(series)
    return _rates(seen, _fit_exponential(seen))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Choice:
    form: FormName
    aicc: float
    refused: Mapping[FormName, str]


def _fit_exponential(seen: Stack) -> Fits:
    m, last = len(seen.counts), np.maximum(seen.last_days, 1.0)
    flat = [np.column_stack([np.full(m, level), turns / last]) for level, turns in ((0.0, 0.5), (1.0, 3.0))]
    return _best_of([fit_form(FORMS["exponential"], seen, start) for start in (_line_start(seen), *flat)])


def _line_start(seen: Stack) -> Floats:
    """Return a first guess from a weighted line through ln(layers); it is only a start, never a result."""
    cover = np.clip(seen.values[:, :-1], 0.01, 0.99)
    layers = layers_from_cover(cover)
    weight = (seen.weights[:, :-1] * (1 - cover) * layers) ** 2
    days, height = seen.times[:, :-1], np.log(layers)
    total = np.maximum(weight.sum(axis=1), 1e-30)
    mean_day, mean_height = ((weight * a).sum(axis=1) / total for a in (days, height))
    lever = weight * (days - mean_day[:, None])
    spread = np.maximum((lever * (days - mean_day[:, None])).sum(axis=1), 1e-30)
    k = np.clip(-(lever * height).sum(axis=1) / spread, 1e-4, 0.4)
    return np.column_stack([mean_height + k * mean_day, k])


def _fit_richer(form: Form, seen: Stack, exponential: Floats) -> Fits:
    tries = []
    for factor, third in STARTS[form.name]:
        rate = np.log(np.clip(exponential[:, 1] * factor, 1e-3, 0.3))
        start = np.column_stack([exponential[:, 0], rate, np.full(len(rate), third)])
        tries.append(fit_form(form, seen, start))
    return _best_of(tries)


def _best_of(tries: Sequence[Fits]) -> Fits:
    """Return for each problem the best fit; where a better one did not converge, it counts as not converged."""
    chi2 = np.stack([fits.chi2 for fits in tries])
    low = np.where(np.isfinite(chi2), chi2, np.inf).min(axis=0)
    good = np.stack([fits.converged for fits in tries]) & (chi2 <= low + 1e-6 * (1 + low))
    pick = np.where(good.any(axis=0), np.argmax(good, axis=0), np.argmin(chi2, axis=0))
    rows = np.arange(chi2.shape[1])
    return Fits(
        theta=np.stack([fits.theta for fits in tries])[pick, rows],
        chi2=chi2[pick, rows],
        converged=good.any(axis=0),
        normal=np.stack([fits.normal for fits in tries])[pick, rows],
    )


def _choose(fits: Mapping[FormName, Fits], seen: Stack, row: int) -> _Choice:
    n = int(seen.counts[row])
    refused = {name: why for name in STARTS if (why := _why_not(FORMS[name], fits[name], n, row))}
    allowed = [name for name in fits if name not in refused]
    spread = min(scatter(fits[name].chi2[row], n, FORMS[name].n_parameters) for name in allowed)
    values = {name: _aicc(fits[name].chi2[row] / spread, n, FORMS[name].n_parameters) for name in allowed}
    handicap = THIRD_LOWER_BY if n >= FROM_CHECK_INS else 0.0
    best = min(values, key=lambda name: values[name] + (handicap if name in STARTS else 0.0))
    return _Choice(form=best, aicc=values[best], refused=MappingProxyType(refused))


def _aicc(misfit: float, n: int, n_parameters: int) -> float:
    return float(misfit) + 2 * n_parameters + small_sample_term(n, n_parameters)


def _why_not(form: Form, fits: Fits, n: int, row: int) -> str:
    """Return why a form with a third parameter is refused; empty if it may be used."""
    theta = fits.theta[row]
    if n < OTHER_FORMS_FROM:
        return f"{n} check-ins are too few for {form.n_parameters} parameters"
    if not fits.converged[row]:
        return "the fit did not converge"
    if np.any(theta[1:] <= np.array(form.lower) + EDGE) or np.any(theta[1:] >= np.array(form.upper) - EDGE):
        return "a parameter went to the end of its range, so the check-ins do not fix it"
    if not LOG_LEAST + EDGE < theta[0] < LOG_MOST - EDGE:
        return "the check-ins do not fix the layers at the start"
    return ""


def _profile(form: Form, seen: Stack, fits: Fits, rows: Rows) -> Profile:
    spread = [scatter(fits.chi2[row], int(seen.counts[row]), form.n_parameters) for row in rows]
    return Profile(
        form=form,
        seen=seen.take(rows),
        theta=fits.theta[rows],
        chi2=fits.chi2[rows],
        scatter=np.array(spread),
    )


def _rates(seen: Stack, plain: Fits) -> Floats:
    """Return (m, 3) rate of the exponential form, lower and upper end of its interval."""
    low, high = _profile(FORMS["exponential"], seen, plain, np.arange(len(seen.counts))).rate_limits()
    return np.column_stack([plain.theta[:, 1], low[:, 1], high[:, 1]])


def _half_lives(
    seen: Stack, fits: Mapping[FormName, Fits], choices: Sequence[_Choice], rates: Floats
) -> Floats:
    """Return (m, 3) half-life by the form chosen, lower and upper end; the rest is fitted anew at each end."""
    with np.errstate(divide="ignore"):
        found = np.column_stack([LN2 / rates[:, 0], LN2 / rates[:, 2], LN2 / rates[:, 1]])
    for name in STARTS:
        rows = np.array([row for row, choice in enumerate(choices) if choice.form == name], dtype=np.intp)
        if rows.size:
            low, high = _profile(FORMS[name], seen, fits[name], rows).rate_limits()
            ends = [
                days_to_share(name, t[:, 1:], np.full(len(t), 0.5))
                for t in (fits[name].theta[rows], high, low)
            ]
            found[rows, 0] = ends[0]
            found[rows, 1:] = np.sort(np.column_stack(ends), axis=1)[:, [0, 2]]
    return np.asarray(found)


def _curve(
    series: Series, fits: Mapping[FormName, Fits], choice: _Choice, row: int, ends: tuple[Floats, Floats]
) -> Curve:
    rate, half = ends
    form, found, n = FORMS[choice.form], fits[choice.form], len(series.days)
    why = _why_no_curve(fits["exponential"], series, row, float(rate[2]))
    if why:
        return Curve(success=False, message=why, refused=choice.refused, n=n, series=series)
    theta = found.theta[row]
    cover_half = _cover_half_life(form, theta[None])
    figures: dict[str, Any] = dict(zip(("k_per_day", "k_low", "k_high"), map(float, rate), strict=True))
    figures |= dict(
        zip(("half_life_days", "half_life_low", "half_life_high"), map(_known, half), strict=True)
    )
    return Curve(
        form=form.name,
        parameters=MappingProxyType(_named(form, theta)),
        cover_half_life_days=_known(cover_half),
        success=True,
        refused=choice.refused,
        n=n,
        chi2=float(found.chi2[row]),
        aicc=choice.aicc if np.isfinite(choice.aicc) else None,
        series=series,
        theta=tuple(float(value) for value in theta),
        **figures,
    )


def _why_no_curve(plain: Fits, series: Series, row: int, k_high: float) -> str:
    n = len(series.days)
    if n < LEAST_CHECK_INS:
        return f"{n} check-in{'s' if n != 1 else ''}; a curve needs {LEAST_CHECK_INS}"
    if not plain.converged[row]:
        return "the fit did not converge"
    if plain.theta[row, 0] >= LOG_MOST - EDGE or series.cover.min() > FULL_PERCENT / 100:
        return "the surface is covered so fully that the photos cannot tell how many layers lie there"
    if plain.theta[row, 0] <= LOG_LEAST + EDGE:
        return "there is hardly any leaf to follow"
    if k_high >= FORMS["exponential"].upper[0] * (1 - EDGE):
        return "the check-ins set no upper limit to the rate of loss"
    return ""


def _cover_half_life(form: Form, theta: Floats) -> float:
    layers = np.exp(theta[:, 0])
    share = layers_from_cover(cover_from_layers(layers) / 2) / layers
    return float(days_to_share(form.name, theta[:, 1:], share)[0])


def _named(form: Form, theta: Floats) -> dict[str, float]:
    rate = theta[1] if form.rate_is_k else np.exp(theta[1])
    named = {"layers_at_start": float(np.exp(theta[0])), "k_per_day": float(rate)}
    if form.name == "floor":
        named["floor"] = float(logistic(theta[2:])[0])
    elif form.name == "lagged":
        named["shape"] = float(np.exp(theta[2]))
    return named


def _known(days: float) -> float | None:
    return float(days) if days < NEVER_DAYS else None

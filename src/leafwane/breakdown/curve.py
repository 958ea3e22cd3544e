"""The curve of one batch: a form of loss fitted to cover through the layer model, with intervals, or a refusal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from leafwane.breakdown.fitting import Fits, Floats, small_sample_term
from leafwane.breakdown.forms import FORMS, LN2, Form, FormName, days_to_share, logistic
from leafwane.breakdown.layers import cover_from_layers, layers_from_cover
from leafwane.breakdown.limits import limit
from leafwane.breakdown.series import LOG_LEAST, LOG_MOST, Series, Stack, fit_form, stack

NINETY = 2.7055
"""Rise of chi-squared with one degree of freedom that bounds the 90% interval."""

LEAST_CHECK_INS = 3
"""Fewer give no curve."""

SPARE_CHECK_INS = 3
"""A form with a third parameter is tried only where check-ins outnumber its parameters by this many."""

FAR_RISE = 9.0
"""A fit so far above the best one, in rises that the interval allows, is no place to start the next one from."""

FAR_DAYS = 3650.0
"""Ten years: later is never."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """What a fit says of one batch, or why there is none.

    Attributes:
        form: "exponential", "floor" (part of the leaf stays) or "lagged" (Weibull).
        parameters: By name: layers_at_start, k_per_day, and floor (share that stays) or shape (over 1: a lag).
        k_per_day: Rate of loss on the layer scale. For the lagged form that of an exponential with the same
            half-life; for the floor form that of the part that goes. None without success.
        k_low: Lower end of its 90% interval, 0 or more.
        k_high: Upper end.
        half_life_days: Days until half of the layers are gone; None where that never comes.
        half_life_low: Lower end of its 90% interval.
        half_life_high: Upper end; None where it is open.
        cover_half_life_days: Days until cover is half of what the curve starts with; None where that never comes.
        success: Whether the figures may be used.
        message: Why not, in plain words; empty on success.
        refused: For each form that was refused, the reason.
        n: Check-ins.
        chi2: Sum of squared residuals in units of the check-ins' errors.
        aicc: Akaike's corrected criterion by the rule of `fit_curves`.
    """

    form: FormName = "exponential"
    parameters: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    k_per_day: float | None = None
    k_low: float | None = None
    k_high: float | None = None
    half_life_days: float | None = None
    half_life_low: float | None = None
    half_life_high: float | None = None
    cover_half_life_days: float | None = None
    success: bool
    message: str = ""
    refused: Mapping[FormName, str] = field(default_factory=lambda: MappingProxyType({}))
    n: int
    chi2: float | None = None
    aicc: float | None = None
    series: Series = field(repr=False)
    theta: tuple[float, ...] = field(default=(), repr=False)

    def predict(self, days: ArrayLike) -> Floats:
        """Return cover in percent, 0..100, at days since the batch began; NaN without success."""
        at = np.atleast_1d(np.asarray(days, dtype=float))
        if not self.success:
            return np.full(at.shape, np.nan)
        theta = np.tile(self.theta, (len(at), 1))
        return 100.0 * cover_from_layers(np.exp(_log_layers(FORMS[self.form], theta, at)))

    def band(self, days: ArrayLike) -> tuple[Floats, Floats]:
        """Return the 90% interval of the curve, in percent of cover, by profile likelihood at each day."""
        at = np.atleast_1d(np.asarray(days, dtype=float))
        if not self.success:
            return np.full(at.shape, np.nan), np.full(at.shape, np.nan)
        prof = _Profile.of(self, len(at))
        best = _log_layers(prof.form, prof.theta, at)
        ends = []
        for edge, sign in ((LOG_LEAST - 3.0, -1.0), (LOG_MOST, 1.0)):
            theta = prof.theta.copy()
            theta[:, 0] = best
            prof.warm = theta
            ends.append(
                limit(
                    lambda value: prof.excess(0, value, at),
                    best=best,
                    first=best + 0.2 * sign,
                    cap=np.full(len(at), edge) if sign < 0 else np.maximum(edge, best),
                )
            )
        low, high = (100.0 * cover_from_layers(np.exp(end)) for end in ends)
        return low, high

    def days_to_cover(self, percent: float) -> "DaysToCover":
        """Return the days until cover falls to a percentage, with the 90% interval."""
        return days_to_cover([self], percent)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysToCover:
    """Days since a batch began until cover falls to a line; None where it never does within ten years.

    Attributes:
        best: By the curve.
        low: Lower end of the 90% interval.
        high: Upper end.
    """

    best: float | None = None
    low: float | None = None
    high: float | None = None


def fit_curve(
    days: ArrayLike, cover_percent: ArrayLike, err_percent: ArrayLike, *, layers_at_start: float | None = None
) -> Curve:
    """Fit one batch; see `fit_curves`. Errors must be above 0, in points of cover."""
    days, cover, err = (np.asarray(a, dtype=float) for a in (days, cover_percent, err_percent))
    return fit_curves(
        [Series(days=days, cover=cover / 100, err=err / 100, layers_at_start=layers_at_start)]
    )[0]


def fit_curves(series: Sequence[Series]) -> tuple[Curve, ...]:
    """Fit every batch with each form that its check-ins can identify, and keep the form of least AICc.

    Cover is fitted through cover = 1 - exp(-layers(t)), each check-in weighted by its own error in cover; so full
    cover, where a wide range of layers gives the same picture, weighs little.

    AICc = chi2 / c + 2 K + 2 K (K + 1) / (n - K - 1) (Burnham & Anderson 2002). K counts the curve's parameters, the
    layers at the start among them (2 for exponential, 3 for floor and lagged), and no error, since check-ins bring
    their own. c is 1, or chi2 over its degrees of freedom in the richest form that was fitted where that is more: then
    the check-ins scatter more than their errors say, and the intervals are widened by its root too. On a tie the
    exponential stays.
    """
    if not series:
        return ()
    seen = stack(series)
    exponential, plain = _fit_exponential(seen)
    richer = {name: _fit_richer(FORMS[name], seen, exponential) for name in ("floor", "lagged")}
    return _choose(series, seen, plain, richer)  # type: ignore[arg-type]


def _fit_exponential(seen: Stack) -> tuple[Floats, Fits]:
    """Return the parameters and the fits, each the best of several starts."""
    starts = [_line_start(seen)] + [
        np.column_stack([np.full(len(seen.counts), layers), rate / np.maximum(seen.last_days, 1.0)])
        for layers, rate in ((0.0, 0.5), (1.0, 3.0))
    ]
    fits = _best_of([fit_form(FORMS["exponential"], seen, start) for start in starts])
    return fits.theta, fits


def _line_start(seen: Stack) -> Floats:
    """Return a first guess from a weighted line through ln(layers); it is only a start, never a result."""
    cover = np.clip(seen.values[:, :-1], 0.01, 0.99)
    layers = layers_from_cover(cover)
    weight = (seen.weights[:, :-1] * (1 - cover) * layers) ** 2
    days, height = seen.times[:, :-1], np.log(layers)
    total = np.maximum(weight.sum(axis=1), 1e-30)
    mean_day, mean_height = ((weight * a).sum(axis=1) / total for a in (days, height))
    spread = (weight * (days - mean_day[:, None]) ** 2).sum(axis=1)
    slope = (weight * (days - mean_day[:, None]) * height).sum(axis=1) / np.maximum(spread, 1e-30)
    k = np.clip(-slope, 1e-4, 0.4)
    return np.column_stack([mean_height + k * mean_day, k])


def _fit_richer(form: Form, seen: Stack, exponential: Floats) -> Fits:
    third = (
        (np.log(0.05 / 0.95), np.log(0.3 / 0.7)) if form.name == "floor" else (np.log(1.3), np.log(0.75))
    )
    starts = []
    for value, faster in zip(third, (1.1, 1.8) if form.name == "floor" else (1.0, 1.0), strict=True):
        rate = np.log(np.clip(exponential[:, 1] * faster, 1e-3, 0.3))
        starts.append(np.column_stack([exponential[:, 0], rate, np.full(len(rate), value)]))
    return _best_of([fit_form(form, seen, start) for start in starts])


def _best_of(tries: Sequence[Fits]) -> Fits:
    """Return for each problem the best fit; where a better one did not converge, it counts as not converged."""
    chi2 = np.stack([fits.chi2 for fits in tries])
    reached = np.stack([fits.converged for fits in tries])
    low = np.where(np.isfinite(chi2), chi2, np.inf).min(axis=0)
    good = reached & (chi2 <= low + 1e-6 * (1 + low))
    pick = np.where(good.any(axis=0), np.argmax(good, axis=0), np.argmin(chi2, axis=0))
    rows = np.arange(chi2.shape[1])
    return Fits(
        theta=np.stack([fits.theta for fits in tries])[pick, rows],
        chi2=chi2[pick, rows],
        converged=good.any(axis=0),
        normal=np.stack([fits.normal for fits in tries])[pick, rows],
    )


def _choose(
    series: Sequence[Series], seen: Stack, plain: Fits, richer: Mapping[FormName, Fits]
) -> tuple[Curve, ...]:
    reasons = [
        {name: why for name, fits in richer.items() if (why := _why_not(FORMS[name], fits, seen, row))}
        for row in range(len(series))
    ]
    picks: list[FormName] = []
    spreads = np.ones(len(series))
    criteria = np.full(len(series), np.inf)
    for row in range(len(series)):
        allowed: list[tuple[FormName, Fits]] = [("exponential", plain)]
        allowed += [(name, fits) for name, fits in richer.items() if name not in reasons[row]]
        picks.append("exponential")
        n = int(seen.counts[row])
        scatter = max(1.0, min(_reduced(fits.chi2[row], n, FORMS[name]) for name, fits in allowed))
        for name, fits in allowed:
            parameters = FORMS[name].n_parameters
            value = fits.chi2[row] / scatter + 2 * parameters + small_sample_term(n, parameters)
            if value < criteria[row]:
                picks[row], criteria[row] = name, value
    fits_of: dict[FormName, Fits] = {"exponential": plain, **richer}
    for row, name in enumerate(picks):
        spreads[row] = max(1.0, _reduced(fits_of[name].chi2[row], int(seen.counts[row]), FORMS[name]))
    curves: list[Curve | None] = [None] * len(series)
    for name, fits in fits_of.items():
        rows = np.array([row for row, pick in enumerate(picks) if pick == name], dtype=np.intp)
        if rows.size:
            for row, curve in zip(
                rows, _curves(FORMS[name], seen, fits, rows, spreads, series, reasons, criteria), strict=True
            ):
                curves[row] = curve
    return tuple(curve for curve in curves if curve is not None)


def _reduced(chi2: float, n: int, form: Form) -> float:
    freedom = n - form.n_parameters
    return chi2 / freedom if freedom > 0 else 1.0


def _why_not(form: Form, fits: Fits, seen: Stack, row: int) -> str:
    """Return why a form with a third parameter is refused; empty if it may be used."""
    n, theta = int(seen.counts[row]), fits.theta[row]
    if n < form.n_parameters + SPARE_CHECK_INS:
        return f"{n} check-ins are too few for {form.n_parameters} parameters"
    if not fits.converged[row]:
        return "the fit did not converge"
    for place, (low, high) in enumerate(zip(form.lower, form.upper, strict=True), start=1):
        if theta[place] <= low + 1e-6 or theta[place] >= high - 1e-6:
            return "a parameter went to the end of its range, so the check-ins do not fix it"
    if theta[0] >= LOG_MOST - 1e-6 or theta[0] <= LOG_LEAST + 1e-6:
        return "the check-ins do not fix the layers at the start"
    return ""


def _curves(  # noqa: PLR0917
    form: Form,
    seen: Stack,
    fits: Fits,
    rows: np.ndarray,
    spreads: Floats,
    series: Sequence[Series],
    reasons: Sequence[Mapping[FormName, str]],
    criteria: Floats,
) -> list[Curve]:
    prof = _Profile(
        form=form,
        seen=seen.take(rows),
        theta=fits.theta[rows],
        chi2=fits.chi2[rows],
        allowed=NINETY * spreads[rows],
    )
    low, high, theta_low, theta_high = prof.rate_limits()
    half = days_to_share(form.name, prof.theta[:, 1:], np.full(len(rows), 0.5))
    halves = [days_to_share(form.name, ends[:, 1:], np.full(len(rows), 0.5)) for ends in (theta_high, theta_low)]
    if form.name == "exponential":
        with np.errstate(divide="ignore"):
            halves = [LN2 / high, LN2 / low]
    cover_half = _cover_half_life(form, prof.theta)
    found = []
    for i, row in enumerate(rows):
        theta = prof.theta[i]
        why = _why_no_curve(form, seen, fits, row, float(high[i]))
        base = {"n": int(seen.counts[row]), "series": series[row], "refused": MappingProxyType(dict(reasons[row]))}
        if why:
            found.append(Curve(success=False, message=why, **base))  # type: ignore[arg-type]
            continue
        found.append(
            Curve(
                form=form.name,
                parameters=MappingProxyType(_named(form, theta)),
                k_per_day=_rate(form, theta),
                k_low=float(low[i]),
                k_high=float(high[i]),
                half_life_days=_known(half[i]),
                half_life_low=_known(halves[0][i]),
                half_life_high=_known(halves[1][i]),
                cover_half_life_days=_known(cover_half[i]),
                success=True,
                chi2=float(fits.chi2[row]),
                aicc=float(criteria[row]) if np.isfinite(criteria[row]) else None,
                theta=tuple(float(value) for value in theta),
                **base,  # type: ignore[arg-type]
            )
        )
    return found


def _why_no_curve(form: Form, seen: Stack, fits: Fits, row: int, k_high: float) -> str:
    n, theta = int(seen.counts[row]), fits.theta[row]
    if n < LEAST_CHECK_INS:
        return f"{n} check-in{'s' if n != 1 else ''}; a curve needs {LEAST_CHECK_INS}"
    if not fits.converged[row]:
        return "the fit did not converge"
    if theta[0] >= LOG_MOST - 1e-6:
        return "the surface is covered so fully that the photos cannot tell how many layers lie there"
    if theta[0] <= LOG_LEAST + 1e-6:
        return "there is hardly any leaf to follow"
    if k_high >= FORMS["exponential"].upper[0] * (1 - 1e-6):
        return "the check-ins set no upper limit to the rate of loss"
    return ""


def days_to_cover(curves: Sequence[Curve], percent: float) -> tuple[DaysToCover, ...]:
    """Return for every curve the days until cover falls to a percentage, with profile likelihood intervals."""
    found = [DaysToCover()] * len(curves)
    for name in FORMS:
        rows = [row for row, curve in enumerate(curves) if curve.success and curve.form == name]
        for row, days in zip(rows, _days_to_cover([curves[r] for r in rows], FORMS[name], percent), strict=True):
            found[row] = days
    return tuple(found)


def _days_to_cover(curves: Sequence[Curve], form: Form, percent: float) -> list[DaysToCover]:
    if not curves:
        return []
    prof = _Profile.of_many(curves, form)
    line = float(np.log(layers_from_cover(percent / 100)))
    share = np.exp(line - prof.theta[:, 0])
    best = days_to_share(form.name, prof.theta[:, 1:], share)
    middle = np.where(best < FAR_DAYS, best, prof.seen.last_days)
    fixed = np.full(len(curves), line)
    ends = []
    for cap, factor in ((0.0, 0.9), (FAR_DAYS, 1.1)):
        theta = prof.theta.copy()
        theta[:, 0] = line
        prof.warm = theta
        ends.append(
            limit(
                lambda day: prof.excess(0, fixed, day),
                best=middle,
                first=middle * factor,
                cap=np.full(len(curves), cap),
            )
        )
    return [
        DaysToCover(
            best=_soon(b), low=float(low) if b < FAR_DAYS else None, high=_soon(high) if b < FAR_DAYS else None
        )
        for b, low, high in zip(best, *ends, strict=True)
    ]


@dataclass(slots=True, kw_only=True)
class _Profile:
    """The misfit with one quantity held fixed and the rest fitted anew, from where the last fit ended."""

    form: Form
    seen: Stack
    theta: Floats
    chi2: Floats
    allowed: Floats
    warm: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.warm = self.theta.copy()

    @classmethod
    def of_many(cls, curves: Sequence[Curve], form: Form) -> "_Profile":
        chi2 = np.array([curve.chi2 for curve in curves], dtype=float)
        spread = [max(1.0, _reduced(c, curve.n, form)) for c, curve in zip(chi2, curves, strict=True)]
        return cls(
            form=form,
            seen=stack([curve.series for curve in curves]),
            theta=np.array([curve.theta for curve in curves]),
            chi2=chi2,
            allowed=NINETY * np.array(spread),
        )

    @classmethod
    def of(cls, curve: Curve, copies: int) -> "_Profile":
        one = cls.of_many([curve], FORMS[curve.form])
        rows = np.zeros(copies, dtype=np.intp)
        return cls(
            form=one.form,
            seen=one.seen.take(rows),
            theta=one.theta[rows],
            chi2=one.chi2[rows],
            allowed=one.allowed[rows],
        )

    def excess(self, place: int, value: Floats, origin: Floats) -> Floats:
        """Return the rise of chi-squared over the best fit, in units of the rise that the interval allows."""
        start = self.warm.copy()
        start[:, place] = value
        fits = fit_form(self.form, self.seen, start, origin=origin, fixed=(place,))
        rise = np.asarray((fits.chi2 - self.chi2) / self.allowed)
        near = (rise < FAR_RISE)[:, None]
        self.warm = np.where(near, fits.theta, self.warm)
        return rise

    def rate_limits(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the ends of the rate's interval, a day, and the parameters there."""
        best, origin = self.theta[:, 1], np.zeros(len(self.theta))
        linear = self.form.name == "exponential"
        ends, thetas = [], []
        for edge, factor in ((self.form.lower[0], 0.8), (self.form.upper[0], 1.25)):
            self.warm = self.theta.copy()
            first = best * factor if linear else best + np.log(factor)
            cap = np.full(len(best), edge)
            ends.append(
                limit(lambda value: self.excess(1, value, origin), best=best, first=first, cap=cap)
            )
            self.excess(1, ends[-1], origin)
            thetas.append(self.warm)
        low, high = ends if linear else np.exp(ends)
        return low, high, thetas[0], thetas[1]


def _log_layers(form: Form, theta: Floats, days: Floats) -> Floats:
    return np.asarray(theta[:, 0] + form.log_left(theta[:, 1:], days[:, None])[0][:, 0])


def _cover_half_life(form: Form, theta: Floats) -> Floats:
    layers = np.exp(theta[:, 0])
    return days_to_share(form.name, theta[:, 1:], layers_from_cover(cover_from_layers(layers) / 2) / layers)


def _rate(form: Form, theta: Floats) -> float:
    return float(theta[1]) if form.name == "exponential" else float(np.exp(theta[1]))


def _named(form: Form, theta: Floats) -> dict[str, float]:
    named = {"layers_at_start": float(np.exp(theta[0])), "k_per_day": _rate(form, theta)}
    if form.name == "floor":
        named["floor"] = float(logistic(theta[2]))
    elif form.name == "lagged":
        named["shape"] = float(np.exp(theta[2]))
    return named


def _known(days: float) -> float | None:
    return float(days) if np.isfinite(days) else None


def _soon(days: float) -> float | None:
    return float(days) if days < FAR_DAYS else None

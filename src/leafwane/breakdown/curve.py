"""The curve of one batch: what a fit says of it, with intervals by profile likelihood, or why there is none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.forms import FORMS, Form, FormName, days_to_share
from leafwane.breakdown.layers import cover_from_layers, layers_from_cover
from leafwane.breakdown.limits import limit
from leafwane.breakdown.profile import Profile, scatter
from leafwane.breakdown.series import LOG_LEAST, LOG_MOST, Series, stack

FAR_DAYS = 3650.0
"""Ten years: later is never."""

OTHER_FORMS_FROM = 6
"""Check-ins from which a form with a third parameter is tried, three more than its parameters; with fewer the rate is
taken to be steady."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """What a fit says of one batch, or why there is none.

    Attributes:
        form: Form that draws the curve: "exponential", "floor" (part of the leaf stays) or "lagged" (Weibull).
        parameters: By name: layers_at_start, k_per_day, and floor (share that stays) or shape (over 1: a lag).
        k_per_day: Rate of loss on the layer scale by the exponential form, whichever form draws the curve, so that
            rates of bins and of litter bags compare. None without success.
        k_low: Lower end of its 90% interval, 0 or more.
        k_high: Upper end.
        half_life_days: Days until half of the layers are gone, by the form that draws the curve; None where that
            never comes.
        half_life_low: Lower end of its 90% interval.
        half_life_high: Upper end; None where it is open.
        cover_half_life_days: Days until cover is half of what the curve starts with; None where that never comes.
        success: Whether the figures may be used.
        message: Why not, in plain words; empty on success.
        refused: For each form that was refused, the reason.
        n: Check-ins.
        chi2: Sum of squared residuals of the form, in units of the check-ins' errors.
        aicc: Akaike's corrected criterion, by the rule of `choice.fit_curves`; None where n is too small for it.
        series: The check-ins that were fitted.
        theta: The form's parameters as they were fitted.
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

    @property
    def taken_as_steady(self) -> bool:
        """Whether check-ins are too few to try another form, so that intervals hold only if the rate stays the same."""
        return self.n < OTHER_FORMS_FROM

    def predict(self, days: ArrayLike) -> Floats:
        """Return cover in percent, 0..100, at days since the batch began; NaN without success."""
        at = np.atleast_1d(np.asarray(days, dtype=float))
        if not self.success:
            return np.full(at.shape, np.nan)
        theta = np.tile(self.theta, (len(at), 1))
        return 100.0 * cover_from_layers(np.exp(_log_layers(FORMS[self.form], theta, at)))

    def band(self, days: ArrayLike) -> tuple[Floats, Floats]:
        """Return the 90% interval of the curve at days since the batch began, in percent; NaN without success."""
        at = np.atleast_1d(np.asarray(days, dtype=float))
        if not self.success:
            return np.full(at.shape, np.nan), np.full(at.shape, np.nan)
        profile = _profile([self], FORMS[self.form]).copies(len(at))
        best = _log_layers(profile.form, profile.theta, at)
        low, high = (
            _log_layers_limit(profile, best, at, cap=cap, step=step)
            for cap, step in ((LOG_LEAST - 3.0, -0.2), (LOG_MOST, 0.2))
        )
        return 100.0 * cover_from_layers(np.exp(low)), 100.0 * cover_from_layers(np.exp(high))

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


def days_to_cover(curves: Sequence[Curve], percent: float) -> tuple[DaysToCover, ...]:
    """Return for every curve the days until cover falls to a percentage, with profile likelihood intervals."""
    found = [DaysToCover()] * len(curves)
    for name, form in FORMS.items():
        rows = [row for row, curve in enumerate(curves) if curve.success and curve.form == name]
        if rows:
            for row, days in zip(rows, _days_of_form([curves[r] for r in rows], form, percent), strict=True):
                found[row] = days
    return tuple(found)


def _days_of_form(curves: Sequence[Curve], form: Form, percent: float) -> list[DaysToCover]:
    profile = _profile(curves, form)
    line = float(np.log(layers_from_cover(percent / 100)))
    best = days_to_share(form.name, profile.theta[:, 1:], np.exp(line - profile.theta[:, 0]))
    reached = best < FAR_DAYS
    middle = np.where(reached, best, FAR_DAYS / 2)
    low, high = (_day_limit(profile, line, middle, cap=cap) for cap in (0.0, FAR_DAYS))
    return [
        DaysToCover(best=float(b), low=float(lo), high=float(hi) if hi < FAR_DAYS else None)
        if ok
        else DaysToCover()
        for ok, b, lo, hi in zip(reached, best, low, high, strict=True)
    ]


def _day_limit(profile: Profile, level: float, best: Floats, *, cap: float) -> Floats:
    """Return the end of the interval of the day on which ln(layers) is at a level.

    It is sought in one over the days (and a day more, since they may be 0), which goes with the rate of loss, so that
    the misfit rises alike on both sides.
    """
    levels, haste, edge = np.full(len(best), level), 1 / (best + 1), np.full(len(best), 1 / (cap + 1))
    profile.restart()
    end = limit(
        lambda at: profile.excess(0, levels, 1 / at - 1),
        best=haste,
        first=haste * (1.1 if cap == 0 else 0.9),
        cap=edge,
    )
    return np.asarray(1 / end - 1)


def _log_layers_limit(profile: Profile, best: Floats, at: Floats, *, cap: float, step: float) -> Floats:
    """Return the end of the interval of ln(layers) on given days; past the cap only where the best is."""
    profile.restart()
    edge = np.full(len(best), cap)
    edge = np.maximum(edge, best + step) if step > 0 else np.minimum(edge, best + step)
    return limit(lambda value: profile.excess(0, value, at), best=best, first=best + step, cap=edge)


def _profile(curves: Sequence[Curve], form: Form) -> Profile:
    chi2 = np.array([curve.chi2 for curve in curves], dtype=float)
    spread = [scatter(value, curve.n, form.n_parameters) for value, curve in zip(chi2, curves, strict=True)]
    return Profile(
        form=form,
        seen=stack([curve.series for curve in curves]),
        theta=np.array([curve.theta for curve in curves]),
        chi2=chi2,
        scatter=np.array(spread),
    )


def _log_layers(form: Form, theta: Floats, days: Floats) -> Floats:
    return np.asarray(theta[:, 0] + form.log_left(theta[:, 1:], days[:, None])[0][:, 0])

"""Profile likelihood: how bad the best fit becomes when one quantity is held fixed."""

from dataclasses import dataclass, field

import numpy as np

from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.forms import SLOWEST, Form, days_to_share
from leafwane.breakdown.limits import limit
from leafwane.breakdown.series import Stack, fit_form

NINETY = 2.7055
"""Rise of chi-squared with one degree of freedom that bounds the 90% interval."""

FAR_RISE = 9.0
"""A fit so far above the best one, in rises that the interval allows, is no place to start the next one from."""


def scatter(chi2: float, n: int, n_parameters: int) -> float:
    """Return by how much check-ins vary more than their errors say, as a ratio of variances of 1 or more."""
    freedom = n - n_parameters
    return max(1.0, chi2 / freedom) if freedom > 0 else 1.0


@dataclass(slots=True, kw_only=True)
class Profile:
    """Fits of one form to m series, around which one quantity at a time is held fixed.

    Attributes:
        form: The form.
        seen: The series.
        theta: (m, p) best parameters.
        chi2: (m,) their misfit.
        scatter: (m,) see `scatter`; intervals are widened by its root.
    """

    form: Form
    seen: Stack
    theta: Floats
    chi2: Floats
    scatter: Floats
    _warm: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Start from the best fit."""
        self.restart()

    def restart(self) -> None:
        """Forget where the last fit ended."""
        self._warm = self.theta.copy()

    def copies(self, n: int) -> "Profile":
        """Return the first series n times."""
        rows = np.zeros(n, dtype=np.intp)
        return Profile(
            form=self.form,
            seen=self.seen.take(rows),
            theta=self.theta[rows],
            chi2=self.chi2[rows],
            scatter=self.scatter[rows],
        )

    def excess(self, place: int, value: Floats, origin: Floats) -> Floats:
        """Return the rise of chi-squared over the best fit, in units of the rise that the 90% interval allows.

        Args:
            place: Which parameter is held fixed; 0 is ln(layers) on the day `origin`.
            value: (m,) what it is held at.
            origin: (m,) days.
        """
        start = self._warm.copy()
        if place == 0:
            start[:, 1:] = self._rates_through(value, origin)
        start[:, place] = value
        fits = fit_form(self.form, self.seen, start, origin=origin, fixed=(place,))
        rise = np.asarray((fits.chi2 - self.chi2) / (NINETY * self.scatter))
        self._warm = np.where((rise < FAR_RISE)[:, None], fits.theta, self._warm)
        return rise

    def _rates_through(self, value: Floats, origin: Floats) -> Floats:
        """Return the rate parameters (m, p - 1) that lead from the best fit's start to ln(layers) on the day `origin`.

        A rate that suits another day can put so many layers at the start that cover no longer tells them, and then no
        slope leads a fit back. Every form depends on the rate by its product with the days alone.
        """
        rates = self.theta[:, 1:].copy()
        if self.form.rate_is_k:
            rates[:, 0] = np.maximum(rates[:, 0], SLOWEST)
        days = days_to_share(self.form.name, rates, np.exp(value - self.theta[:, 0]))
        usable = np.isfinite(days) & (origin > 0)
        faster = np.clip(np.where(usable, days, 1.0) / np.where(usable, origin, 1.0), 1e-6, 1e6)
        rates[:, 0] = rates[:, 0] * faster if self.form.rate_is_k else rates[:, 0] + np.log(faster)
        return rates

    def rate_limits(self) -> tuple[Floats, Floats]:
        """Return the parameters (m, p) at the lower and at the upper end of the rate parameter's interval."""
        best, origin = self.theta[:, 1], np.zeros(len(self.theta))
        step = 0.2 * best if self.form.rate_is_k else np.full(len(best), 0.2)
        ends = []
        for edge, sign in ((self.form.lower[0], -1.0), (self.form.upper[0], 1.0)):
            self.restart()
            cap = np.full(len(best), edge)
            end = limit(
                lambda value: self.excess(1, value, origin), best=best, first=best + sign * step, cap=cap
            )
            self.excess(1, end, origin)
            at_end = self._warm.copy()
            at_end[:, 1] = end
            ends.append(at_end)
        return ends[0], ends[1]

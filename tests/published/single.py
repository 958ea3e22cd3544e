"""One series fitted from several starts, as published fits are: what the tests hold the fits of many against."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leafwane.breakdown.fitting import Floats, Model, fit_many, small_sample_term


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One fit, or the reason why there is none.

    Attributes:
        success: Whether parameters may be used.
        message: Why not; empty on success.
        theta: (p,) parameters; empty without success.
        theta_err: (p,) standard errors, from the residuals' own scatter.
        rss: Weighted residual sum of squares; NaN without success.
        n: Number of values.
    """

    success: bool
    message: str
    theta: Floats
    theta_err: Floats
    rss: float
    n: int


def fit_best(model: Model, starts: ArrayLike, values: ArrayLike, weights: ArrayLike | None = None) -> Fit:
    """Fit one series from several starts and return the best that converged and is identified, or a refusal.

    Refused are: fewer than three values more than parameters, no start that converges, and parameters that the
    values do not tell apart (a slope that vanishes, or slopes that lie along each other).

    Args:
        model: See `Model`; it is called for several starts at once.
        starts: (s, p) first guesses.
        values: (n,) what was seen.
        weights: (n,) one over the standard errors; all 1 if None.
    """
    first = np.atleast_2d(np.asarray(starts, dtype=float))
    seen = np.asarray(values, dtype=float)
    n, p = len(seen), first.shape[1]
    if n < p + 3:
        return _refusal(f"{n} values are too few for {p} parameters", n)
    weight = np.ones(n) if weights is None else np.asarray(weights, dtype=float)
    fits = fit_many(model, first, np.tile(seen, (len(first), 1)), np.tile(weight, (len(first), 1)))
    usable = np.flatnonzero(fits.converged)
    if not usable.size:
        return _refusal("the fit did not converge from any start", n)
    best = usable[np.argmin(fits.chi2[usable])]
    if np.any(fits.chi2[~fits.converged] < fits.chi2[best] * (1 - 1e-9)):
        return _refusal("a better fit than the one that converged was seen but not reached", n)
    if not identified(fits.normal[best]):
        return _refusal("the values do not tell the parameters apart", n)
    covariance = np.linalg.inv(fits.normal[best]) * fits.chi2[best] / (n - p)
    return Fit(
        success=True,
        message="",
        theta=fits.theta[best],
        theta_err=np.sqrt(np.diag(covariance)),
        rss=float(fits.chi2[best]),
        n=n,
    )


def identified(normal: Floats) -> bool:
    """Return whether slopes are neither zero nor along each other; the matrix is scaled to a diagonal of 1."""
    size = np.sqrt(np.diag(normal))
    if not np.all(np.isfinite(size)) or np.any(size <= 0):
        return False
    return bool(np.linalg.eigvalsh(normal / np.outer(size, size))[0] > 1e-8)


def aicc(n: int, rss: float, n_parameters: int) -> float:
    """Return Akaike's corrected criterion for least squares with an unknown error that is the same for all.

    n (ln(2 pi rss / n) + 1) + 2 K + 2 K (K + 1) / (n - K - 1), where K counts the parameters of the curve alone and not the
    error (Burnham & Anderson 2002, section 2.4, count it; forms compare alike only under one rule, and this one is
    that of the published litter tables). Infinite where n is too small.
    """
    return (
        n * (float(np.log(2 * np.pi * rss / n)) + 1) + 2 * n_parameters + small_sample_term(n, n_parameters)
    )


def _refusal(message: str, n: int) -> Fit:
    nothing = np.empty(0)
    return Fit(success=False, message=message, theta=nothing, theta_err=nothing, rss=float("nan"), n=n)

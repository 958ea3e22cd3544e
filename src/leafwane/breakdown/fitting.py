"""Least squares for many small problems at once, which says when it failed.

The method is that of Levenberg and Marquardt with Marquardt's scaling (Moré 1978), on a stack of problems of one
size, so that a thousand bins, or the thousands of a simulation, are fitted in the time that one by one a dozen take.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

Model = Callable[[Floats, Rows], tuple[Floats, Floats]]
"""Takes parameters (m, p) and which problems they are for (m,); returns values (m, n) and slopes (m, n, p)."""

LEAST_DAMPING = 1e-9
"""Share of its own slope that keeps each parameter apart where two do the same."""

MAX_STEPS = 300
GRADIENT_TOL = 1e-9
"""Converged when no residual lies along any slope: cosine of the angle, as MINPACK's `gtol`."""

PERFECT = 1e-28
"""Or when the sum of squares is as good as zero."""

STALL_TOL = 1e-13
"""Or when a free step lowers the sum of squares by less than this share of it."""

_FREE = 1e-2  # damping below which a step is as good as undamped
_TOO_DAMPED = 1e20  # no step, however short, lowers the sum of squares


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """Fits of m problems with p parameters.

    Attributes:
        theta: (m, p) parameters.
        chi2: (m,) weighted sums of squared residuals.
        converged: (m,) whether the least was reached; other rows are no results.
        normal: (m, p, p) weighted normal matrices at theta.
    """

    theta: Floats
    chi2: Floats
    converged: NDArray[np.bool_]
    normal: Floats


def fit_many(
    model: Model,
    start: Floats,
    values: Floats,
    weights: Floats,
    *,
    lower: ArrayLike = -np.inf,
    upper: ArrayLike = np.inf,
    fixed: tuple[int, ...] = (),
    gradient_tol: float = GRADIENT_TOL,
    perfect: float = PERFECT,
) -> Fits:
    """Fit m problems, each from its own start.

    Args:
        model: See `Model`.
        start: (m, p) first guesses.
        values: (m, n) what was seen.
        weights: (m, n) one over the standard errors; 0 leaves a value out.
        lower: Least parameters, (p,) or (m, p).
        upper: Greatest parameters.
        fixed: Parameters that stay as they start.
        gradient_tol: See `GRADIENT_TOL`.
        perfect: Sum of squares that counts as zero.
    """
    descent = _Descent(model, start, (values, weights), (lower, upper), fixed)
    for _ in range(MAX_STEPS):
        equations = descent.equations()
        stay = descent.leave_settled(equations, gradient_tol, perfect)
        if not descent.rows.size:
            break
        descent.step(equations.of(stay))
    return descent.fits()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Equations:
    """Normal equations of k problems.

    Attributes:
        square: (k, p, p) products of slopes.
        pull: (k, p) products of slopes and residuals; 0 where a parameter is stuck.
        stuck: (k, p) whether a parameter lies at an edge and is drawn beyond it.
    """

    square: Floats
    pull: Floats
    stuck: NDArray[np.bool_]

    def of(self, chosen: NDArray[np.bool_]) -> "_Equations":
        return _Equations(square=self.square[chosen], pull=self.pull[chosen], stuck=self.stuck[chosen])


class _Descent:
    """m problems on their way to their least; `rows` (k,) are those still moving, `residuals` and `slopes` theirs."""

    def __init__(
        self,
        model: Model,
        start: Floats,
        seen: tuple[Floats, Floats],
        edges: tuple[ArrayLike, ArrayLike],
        fixed: tuple[int, ...],
    ) -> None:
        self.model, self.seen, self.fixed = model, seen, fixed
        self.low, self.high = (np.broadcast_to(np.asarray(edge, dtype=float), start.shape) for edge in edges)
        m, p = start.shape
        self.rows = np.arange(m)
        self.theta = np.clip(start, self.low, self.high)
        self.residuals, self.slopes = self._at(self.theta)
        self.chi2 = _squares(self.residuals)
        self.normal = np.zeros((m, p, p))
        self.damping = np.full(m, 1e-3)
        self.flat = np.zeros(m, dtype=bool)
        self.done = np.zeros(m, dtype=bool)

    def _at(self, theta: Floats) -> tuple[Floats, Floats]:
        return _weighted(self.model, theta, self.rows, self.seen, self.fixed)

    def equations(self) -> _Equations:
        """Return the normal equations of the problems still moving, where they are now."""
        square = np.einsum("mni,mnj->mij", self.slopes, self.slopes)
        pull = np.einsum("mni,mn->mi", self.slopes, self.residuals)
        rows = self.rows
        stuck = _at_edge(self.theta[rows], pull, self.low[rows], self.high[rows])
        self.normal[rows] = square
        return _Equations(square=square, pull=np.where(stuck, 0.0, pull), stuck=stuck)

    def leave_settled(self, equations: _Equations, gradient_tol: float, perfect: float) -> NDArray[np.bool_]:
        """Take out the problems that have reached their least, or cannot; return (k,) which of the rest stay."""
        rows = self.rows
        size = np.sqrt(np.einsum("mii->mi", equations.square))
        size[:, list(self.fixed)] = 1.0
        settled = _settled(size, equations.pull, equations.stuck, self.chi2[rows], gradient_tol)
        settled |= self.flat[rows] | (self.chi2[rows] <= perfect)
        self.done[rows[settled]] = True
        stay = ~settled & (self.damping[rows] < _TOO_DAMPED)
        self.rows, self.residuals, self.slopes = rows[stay], self.residuals[stay], self.slopes[stay]
        return stay

    def step(self, equations: _Equations) -> None:
        """Move the problems whose sum of squares a step lowers, and damp the next step of the others more."""
        rows = self.rows
        moved = self.theta[rows] + _step(equations, self.damping[rows], self.fixed)
        tried = np.clip(moved, self.low[rows], self.high[rows])
        residuals, slopes = self._at(tried)
        chi2, before = _squares(residuals), self.chi2[rows]
        better = np.isfinite(chi2) & (chi2 < before)
        self.flat[rows] = better & (self.damping[rows] < _FREE) & (before - chi2 <= STALL_TOL * before)
        self.theta[rows[better]], self.chi2[rows[better]] = tried[better], chi2[better]
        self.residuals[better], self.slopes[better] = residuals[better], slopes[better]
        self.damping[rows] *= np.where(better, 0.2, 5.0)

    def fits(self) -> Fits:
        converged = self.done & np.isfinite(self.chi2)
        return Fits(theta=self.theta, chi2=self.chi2, converged=converged, normal=self.normal)


def small_sample_term(n: int, n_parameters: int) -> float:
    """Return the correction 2 K (K + 1) / (n - K - 1) of AICc; infinite where n is too small."""
    spare = n - n_parameters - 1
    return 2 * n_parameters * (n_parameters + 1) / spare if spare > 0 else float("inf")


def _weighted(
    model: Model, theta: Floats, rows: Rows, seen: tuple[Floats, Floats], fixed: tuple[int, ...]
) -> tuple[Floats, Floats]:
    values, weights = seen
    with np.errstate(all="ignore"):  # a step too far is turned down by its sum of squares
        fitted, slopes = model(theta, rows)
        slopes = np.nan_to_num(slopes * weights[rows][..., None], nan=0.0, posinf=0.0, neginf=0.0)
        residuals = (values[rows] - fitted) * weights[rows]
    slopes[..., list(fixed)] = 0.0
    return residuals, slopes


def _squares(residuals: Floats) -> Floats:
    with np.errstate(all="ignore"):
        return np.asarray(np.einsum("mn,mn->m", residuals, residuals))


def _at_edge(theta: Floats, pull: Floats, low: Floats, high: Floats) -> NDArray[np.bool_]:
    return ((theta <= low) & (pull < 0)) | ((theta >= high) & (pull > 0))


def _settled(
    size: Floats, pull: Floats, stuck: NDArray[np.bool_], chi2: Floats, tol: float
) -> NDArray[np.bool_]:
    """Return where no residual lies along any slope, and no slope vanishes but at an edge."""
    blind = size <= 0
    along = np.abs(pull) <= tol * size * np.sqrt(chi2)[:, None] + 1e-30
    return np.asarray(np.all(along & ~(blind & ~stuck), axis=1))


def _step(equations: _Equations, damping: Floats, fixed: tuple[int, ...]) -> Floats:
    """Solve the damped normal equations; parameters that are fixed or stuck at an edge stay."""
    still = equations.stuck.copy()
    still[:, list(fixed)] = True
    moving = ~still
    matrix = equations.square * (moving[:, :, None] & moving[:, None, :])
    size = np.einsum("mii->mi", matrix)
    same = np.eye(size.shape[1])
    aim = np.where(still, 0.0, equations.pull)[..., None]
    damped = matrix + np.einsum("mi,ij->mij", damping[:, None] * size + 1e-30 + still, same)
    try:
        return np.linalg.solve(damped, aim)[..., 0]
    except np.linalg.LinAlgError:  # two parameters of some fit do the same to the last digit
        held = damped + np.einsum("mi,ij->mij", LEAST_DAMPING * size + 1e-30, same)
        return np.linalg.solve(held, aim)[..., 0]

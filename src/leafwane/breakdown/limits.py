"""Ends of intervals by profile likelihood: where the best fit with one quantity held fixed becomes too bad."""

from collections.abc import Callable

import numpy as np

from leafwane.breakdown.fitting import Floats

N_STEPS = 9


def limit(excess: Callable[[Floats], Floats], *, best: Floats, first: Floats, cap: Floats) -> Floats:
    """Return between `best` and `cap` the value at which `excess` is 1, or `cap` where it never gets there.

    `excess` is near the square of the distance from `best`, so its root leads straight to the end; a bracket
    keeps the search safe where it is not.

    Args:
        excess: Takes (m,) values, returns (m,) rises of the misfit over the best one, in units of the rise allowed.
        best: (m,) values of the best fit.
        first: (m,) guesses of the end.
        cap: (m,) values beyond which nobody asks; above or below `best`.
    """
    inside, outside = best.copy(), cap.copy()
    open_end = excess(cap) <= 1.0
    at = np.where(_within(first, best, cap) & (first != best), first, 0.5 * (best + cap))
    for _ in range(N_STEPS):
        rise = np.maximum(excess(at), 1e-12)
        high = rise > 1.0
        outside, inside = np.where(high, at, outside), np.where(high, inside, at)
        reached = best + (at - best) / np.sqrt(rise)
        at = np.where(_within(reached, inside, outside), reached, 0.5 * (inside + outside))
    return np.where(open_end, cap, at)


def _within(value: Floats, one: Floats, other: Floats) -> Floats:
    """Return whether values lie between two ends, or on one: a search that is at the end already has to stay there."""
    return np.asarray((value >= np.minimum(one, other)) & (value <= np.maximum(one, other)))

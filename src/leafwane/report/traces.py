"""What a curve shows of one bin: its points, its fitted line and where it is ready, on one scale."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from leafwane.report.words import NINETY

if TYPE_CHECKING:
    from leafwane.breakdown.checkins import CheckIn
    from leafwane.breakdown.course import BinCourse
    from leafwane.breakdown.curve import Curve

N_FIT = 41
"""Places at which the fitted line is drawn."""

LOOK_AHEAD = 0.4
"""How far past the last check-in the line goes, as a share of the time that the newest batch was watched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One bin as drawn; percent of the leaf cover at the first check-in that shows leaf.

    Attributes:
        bin: The bin's name.
        status: Its status.
        dates: (n,) days of the check-ins that have a percentage.
        left: (n,) percent left.
        left_err: (n,) half of the 90% interval, in points; 0 where unknown.
        fit_at: (m,) days at which the fit stands, as proleptic ordinals with fractions; empty without a fit.
        fit: Fitted percent left.
        low: Lower end of the fit's 90% band.
        high: Upper end of it.
        ready_percent: Percent left at which the bin counts as ready; None without a scale.
        batch_starts: Days on which batches after the first were begun.
    """

    bin: str
    status: str
    dates: tuple[date, ...]
    left: NDArray[np.float64]
    left_err: NDArray[np.float64]
    fit_at: NDArray[np.float64]
    fit: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    ready_percent: float | None
    batch_starts: tuple[date, ...]


def trace_bin(course: "BinCourse", *, finish_percent: float = 5.0, banded: bool = True) -> Trace:
    """Put a bin's check-ins and its fit on the scale of percent left.

    Args:
        course: The bin.
        finish_percent: Leaf cover, 0..100, below which a bin is ready.
        banded: Whether the fit's band is wanted, which takes far longer than all else; without it, it is empty.
    """
    shown = [c for c in course.check_ins if c.remaining_percent is not None]
    start = course.batch_starts[-1] if course.batch_starts else (shown[0].date if shown else None)
    scale = _left_per_cover(shown)
    days = _fit_days(course, start)
    fit, low, high = _fitted(course.curve, days, scale, banded=banded)
    if low.size:
        low, high = _with_err_of_whole(shown, fit, low, high)
    return Trace(
        bin=course.bin,
        status=course.verdict.status,
        dates=tuple(c.date for c in shown),
        left=np.array([c.remaining_percent for c in shown], dtype=float),
        left_err=np.array([NINETY * (c.remaining_err or 0.0) for c in shown]),
        fit_at=days[: fit.size] + (start.toordinal() if start else 0),
        fit=fit,
        low=low,
        high=high,
        ready_percent=None if scale is None else finish_percent * scale,
        batch_starts=tuple(course.batch_starts[1:]),
    )


def _left_per_cover(check_ins: list["CheckIn"]) -> float | None:
    """Return points of percent left a point of cover; None where no check-in tells."""
    ratios = (
        c.remaining_percent / c.leaf_percent for c in check_ins if c.remaining_percent and c.leaf_percent
    )
    return next(ratios, None)


def _with_err_of_whole(
    check_ins: list["CheckIn"], fit: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a band widened by the error of the check-in that counts as 100%, since all is a share of that."""
    whole = next(c for c in check_ins if c.leaf_percent)
    spare = NINETY * whole.leaf_err / whole.leaf_percent * fit
    return np.maximum(fit - np.hypot(fit - low, spare), 0.0), fit + np.hypot(high - fit, spare)


def _fit_days(course: "BinCourse", start: date | None) -> NDArray[np.float64]:
    if start is None or not course.check_ins:
        return np.empty(0)
    watched = (course.check_ins[-1].date - start).days
    ready = (course.finish.date - start).days if course.finish.date else watched
    end = min(max(watched, ready) + 0.05 * watched, (1 + LOOK_AHEAD) * watched)
    return np.linspace(0.0, end, N_FIT) if watched > 0 else np.empty(0)


def _fitted(
    curve: "Curve | None", days: NDArray[np.float64], scale: float | None, *, banded: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return fit and band as percent left; empty without a fit that may be used."""
    if curve is None or not curve.success or scale is None or not days.size:
        return (np.empty(0),) * 3
    low, high = curve.band(days) if banded else (np.empty(0),) * 2
    return curve.predict(days) * scale, low * scale, high * scale

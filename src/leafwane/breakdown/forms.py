"""Forms of loss: what share of the layers is left after t days, and how it changes with the parameters.

Each form has the parameters (ln layers at an origin, rate, and for two of them one more). The rate of the exponential
form is k itself, since it may be zero; the others take ln k.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from leafwane.breakdown.fitting import Floats

FormName = Literal["exponential", "floor", "lagged"]

LN2 = float(np.log(2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A form of loss.

    Attributes:
        name: Its name in tables.
        n_parameters: Parameters of the curve, the layers at the start among them.
        log_left: Takes rate parameters (m, n_parameters - 1) and days (m, n); returns ln of the share left (m, n) and
            its slopes (m, n, n_parameters - 1).
        lower: Least rate parameters.
        upper: Greatest rate parameters.
        rate_is_k: Whether the first rate parameter is k a day; else it is ln k. For the lagged form k is that of an
            exponential with the same half-life, for the floor form that of the part that goes.
    """

    name: FormName
    n_parameters: int
    log_left: Callable[[Floats, Floats], tuple[Floats, Floats]]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    rate_is_k: bool = False


def _exponential(rates: Floats, days: Floats) -> tuple[Floats, Floats]:
    return -rates[:, :1] * days, -days[..., None]


def _floor(rates: Floats, days: Floats) -> tuple[Floats, Floats]:
    k, floor = np.exp(rates[:, :1]), logistic(rates[:, 1:2])
    gone = -np.expm1(-k * days)
    left = 1.0 - (1.0 - floor) * gone
    slope_k = -(1.0 - floor) * (1.0 - gone) * k * days / left
    slope_floor = gone * floor * (1.0 - floor) / left
    return np.log(left), np.stack([slope_k, slope_floor], axis=-1)


def _lagged(rates: Floats, days: Floats) -> tuple[Floats, Floats]:
    k, shape = np.exp(rates[:, :1]), np.exp(rates[:, 1:2])
    log_time = np.log(np.maximum(k * days / LN2, 1e-12))
    lost = LN2 * np.exp(shape * log_time)
    return -lost, np.stack([-shape * lost, -shape * log_time * lost], axis=-1)


def logistic(value: Floats) -> Floats:
    """Return 1 / (1 + exp(-value))."""
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * value)), dtype=float)


SLOWEST, FASTEST = 1e-5, 0.5
"""Rates a day within which fits are sought: 0.004 to 180 a year; 0.05 to 30 a year are plausible for leaves."""

LEAST_FLOOR, MOST_FLOOR = 0.005, 0.9
LEAST_SHAPE, MOST_SHAPE = 0.3, 6.0

FORMS: Mapping[FormName, Form] = {
    "exponential": Form(
        name="exponential",
        n_parameters=2,
        log_left=_exponential,
        lower=(0.0,),
        upper=(FASTEST,),
        rate_is_k=True,
    ),
    "floor": Form(
        name="floor",
        n_parameters=3,
        log_left=_floor,
        lower=(np.log(SLOWEST), np.log(LEAST_FLOOR / (1 - LEAST_FLOOR))),
        upper=(np.log(FASTEST), np.log(MOST_FLOOR / (1 - MOST_FLOOR))),
    ),
    "lagged": Form(
        name="lagged",
        n_parameters=3,
        log_left=_lagged,
        lower=(np.log(SLOWEST), np.log(LEAST_SHAPE)),
        upper=(np.log(FASTEST), np.log(MOST_SHAPE)),
    ),
}


def days_to_share(name: FormName, rates: Floats, share: Floats) -> Floats:
    """Return the days until a share of the layers is left; infinite where it never comes to that.

    Args:
        name: The form.
        rates: (m, n_parameters - 1) rate parameters.
        share: (m,) share left, above 0; 1 or more gives 0.
    """
    share = np.minimum(share, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        if name == "exponential":
            days = -np.log(share) / rates[:, 0]
        elif name == "lagged":
            days = LN2 / np.exp(rates[:, 0]) * (-np.log(share) / LN2) ** np.exp(-rates[:, 1])
        else:
            floor = logistic(rates[:, 1])
            days = -np.log((share - floor) / (1.0 - floor)) / np.exp(rates[:, 0])
    days = np.where(share >= 1.0, 0.0, days)
    return np.where(np.isfinite(days), np.maximum(days, 0.0), np.inf)

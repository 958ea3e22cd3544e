"""The tone curve that the neutral ramps tell: a monotone way from the photo's encoded grey to the card's, by channel."""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from leafwane.colour.rising import RisingCurve, pooled
from leafwane.colour.spaces import Floats, srgb_to_linear

Bools: TypeAlias = npt.NDArray[np.bool_]

_NEUTRAL: Final = (
    0.3  # a patch is grey when its weakest channel in linear light is within this share of its strongest
)
_SAME: Final = 0.004  # encoded; steps closer than a grey level are one step
_ONE_STEP: Final = 0.03  # encoded; greys closer than this are one step of the ramp, under light that differs
_ENOUGH_TWINS: Final = 4
_TWIN_GAP: Final = 0.02  # encoded; what noise and compression may do to a twin
_POWERS: Final = (0.5, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyCurve:
    """A rising curve through grey steps, for one channel.

    Between the steps it is a shape-preserving cubic (Fritsch & Carlson 1980). Below the darkest it is the power law
    through the two darkest, so that black stays black; above the brightest it goes on straight. A single step is a mere factor.

    Attributes:
        steps: (m,) encoded values in the photo, rising.
        targets: (m,) encoded values on the card, rising.
    """

    steps: Floats
    targets: Floats

    def __call__(self, encoded: npt.ArrayLike) -> Floats:
        """Return the card's encoded value for the photo's, any shape."""
        x = np.asarray(encoded, dtype=np.float64)
        first, last = self.steps[0], self.steps[-1]
        if len(self.steps) == 1:
            return np.asarray(self.targets[0] * x / first)
        inside = RisingCurve(x=self.steps, y=self.targets)(np.clip(x, first, last))
        below = self.targets[0] * (np.clip(x, 0, first) / first) ** self._power()
        above = self.targets[-1] + self._slope() * (x - last)
        return np.asarray(np.where(x < first, below, np.where(x > last, above, inside)))

    def _power(self) -> float:
        rise = np.log(self.targets[1] / self.targets[0]) / np.log(self.steps[1] / self.steps[0])
        return float(np.clip(rise, *_POWERS))

    def _slope(self) -> float:
        return float((self.targets[-1] - self.targets[-2]) / (self.steps[-1] - self.steps[-2]))


def is_neutral(nominal: Floats) -> Bools:
    """Return which colours of a design, (n, 3) encoded sRGB, are greys, (n,), whatever tint paper and ink give them."""
    linear = srgb_to_linear(nominal)
    strongest = linear.max(axis=1)
    return np.asarray(strongest - linear.min(axis=1) <= _NEUTRAL * np.maximum(strongest, 1e-6))


def grey_twins(nominal: Floats) -> list[tuple[int, int]]:
    """Return the pairs of grey patches that the design, (n, 3) encoded sRGB, gives one and the same colour."""
    greys = [int(index) for index in np.flatnonzero(is_neutral(nominal))]
    return [
        (i, j)
        for place, i in enumerate(greys)
        for j in greys[place + 1 :]
        if np.abs(nominal[i] - nominal[j]).max() < _SAME
    ]


def dirty_greys(measured: Floats, reference: Floats, nominal: Floats) -> Bools:
    """Return which greys cannot be what they were, (n,), of patches (n, 3) encoded sRGB: twins that differ oddly.

    Twins of a printed card differ by as much as its own colours, `reference`, say. Of two twins that differ much more than twins of this photo do, the one further from the line through the other
    greys next to it is the dirty one.
    """
    dirty = np.zeros(len(measured), dtype=bool)
    pairs = grey_twins(nominal)
    if len(pairs) < _ENOUGH_TWINS:
        return dirty
    odd = measured - reference
    gaps = np.array([np.abs(odd[i] - odd[j]).max() for i, j in pairs])
    for number in np.flatnonzero(gaps > _TWIN_GAP + 4 * np.median(gaps)):
        pair = list(pairs[number])
        others = np.setdiff1d(np.flatnonzero(is_neutral(nominal)), pair)
        expected = _between(
            reference[pair[0]].mean(), reference[others].mean(axis=1), measured[others].mean(axis=1)
        )
        dirty[max(pair, key=lambda index: abs(float(measured[index].mean()) - expected))] = True
    return dirty


def _between(x: float, xs: Floats, ys: Floats) -> float:
    """Return y at x by the straight line through the two nearest steps, on either side where there is one."""
    steps, members = np.unique(np.round(xs, 3), return_inverse=True)
    heights = np.array([np.median(ys[members == index]) for index in range(len(steps))])
    right = int(np.clip(np.searchsorted(steps, x), 1, len(steps) - 1))
    share = (x - steps[right - 1]) / (steps[right] - steps[right - 1])
    return float(heights[right - 1] + share * (heights[right] - heights[right - 1]))


def fit_grey_curve(steps: Floats, targets: Floats) -> GreyCurve:
    """Return the curve through grey patches of one channel, (m,) encoded each; twins are averaged.

    Steps that fall where they should rise are pooled (isotonic regression).
    """
    x, y = _pool_twins(steps, targets)
    x = np.maximum(pooled(x), 1e-3)
    keep = np.append(True, np.diff(x) > _SAME)
    return GreyCurve(steps=x[keep], targets=y[keep])


def _pool_twins(steps: Floats, targets: Floats) -> tuple[Floats, Floats]:
    order = np.argsort(targets, kind="stable")
    groups = np.cumsum(np.append(0, np.diff(targets[order]) > _ONE_STEP))
    counts = np.bincount(groups)
    return np.bincount(groups, steps[order]) / counts, np.bincount(groups, targets[order]) / counts

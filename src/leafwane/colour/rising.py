"""Curves that only rise: values pooled until they do, and a smooth curve through points that do.

Of our own, since a photo at the bin is to be answered for within a second, and importing SciPy takes about a third of
one; the tests hold both against SciPy's.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def pooled(values: Floats) -> Floats:
    """Return the values nearest to given ones, (m,), that never fall: neighbours that fall are averaged.

    Isotonic regression by pooling adjacent violators (Barlow, Bartholomew, Bremner & Brunk 1972).
    """
    blocks: list[tuple[float, int]] = []  # sum and count of each run of averaged neighbours
    for value in values:
        total, count = float(value), 1
        while blocks and blocks[-1][0] * count > total * blocks[-1][1]:
            before = blocks.pop()
            total, count = total + before[0], count + before[1]
        blocks.append((total, count))
    return np.repeat([total / count for total, count in blocks], [count for _, count in blocks])


@dataclass(frozen=True, slots=True, kw_only=True)
class RisingCurve:
    """A shape-preserving cubic through points that rise (Fritsch & Carlson 1980; slopes of Fritsch & Butland 1984).

    Attributes:
        x: (m,) rising, two or more.
        y: (m,) rising.
    """

    x: Floats
    y: Floats

    def __call__(self, at: Floats) -> Floats:
        """Return the curve at places of any shape between the first and the last point."""
        slopes = self._slopes()
        left = np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, len(self.x) - 2)
        width, rise = np.diff(self.x)[left], np.diff(self.y)[left]
        share = (at - self.x[left]) / width
        start, end = slopes[left] * width - rise, rise - slopes[left + 1] * width
        bend = share * (1 - share) * ((1 - share) * start + share * end)
        return np.asarray(self.y[left] + share * rise + bend)

    def _slopes(self) -> Floats:
        width = np.diff(self.x)
        steep = np.diff(self.y) / width
        if len(steep) == 1:
            return np.repeat(steep, 2)
        before, after = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
        inner = (before + after) / (before / steep[:-1] + after / steep[1:])
        first, last = _end_slope(width, steep), _end_slope(width[::-1], steep[::-1])
        return np.concatenate([[first], inner, [last]])


def _end_slope(width: Floats, steep: Floats) -> float:
    """Return the slope at the first point by the parabola through three, no less than level."""
    slope = ((2 * width[0] + width[1]) * steep[0] - width[0] * steep[1]) / (width[0] + width[1])
    return max(0.0, float(slope))

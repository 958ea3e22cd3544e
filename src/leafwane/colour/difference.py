"""How different two colours look: CIEDE2000.

Of our own, since a photo at the bin is to be answered for within a second, and the libraries that have it take about
half of that to be imported; the published tests hold it against two of them and against the published pairs.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

_FAR_CHROMA: Final = 25.0**7


def delta_e_2000(lab: npt.ArrayLike, other: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the CIEDE2000 difference of colours in CIELAB, (..., 3) to (...), with kL = kC = kH = 1.

    CIE 142-2001, as Sharma, Wu & Dalal 2005 (Color Research & Application 30:21) spell it out; the names are theirs.
    """
    (l1, a1, b1), (l2, a2, b2) = (
        np.moveaxis(np.asarray(side, dtype=np.float64), -1, 0) for side in (lab, other)
    )
    stretch = 1.5 - 0.5 * _nearness((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2)
    c1, c2 = np.hypot(stretch * a1, b1), np.hypot(stretch * a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, stretch * a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn, hue = _turn(h1, h2), _middle_hue(h1, h2, grey=c1 * c2 == 0)
    lightness, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    d_l = (l2 - l1) / (1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2))
    d_c = (c2 - c1) / (1 + 0.045 * chroma)
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2)) / (1 + 0.015 * chroma * _hue_weight(hue))
    blue = -np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))) * 2 * _nearness(chroma)
    return np.asarray(np.sqrt(d_l**2 + d_c**2 + d_h**2 + blue * d_c * d_h))


def _nearness(chroma: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(np.sqrt(chroma**7 / (chroma**7 + _FAR_CHROMA)))


def _turn(h1: npt.NDArray[np.float64], h2: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the way from one hue to the other, -180..180 degrees."""
    turn = h2 - h1
    return np.asarray(np.where(np.abs(turn) > 180, turn - np.copysign(360, turn), turn))


def _middle_hue(
    h1: npt.NDArray[np.float64], h2: npt.NDArray[np.float64], *, grey: npt.NDArray[np.bool_]
) -> npt.NDArray[np.float64]:
    """Return the hue between two, 0..360 degrees; where one is grey, the other's."""
    total = h1 + h2
    over = np.where(np.abs(h1 - h2) <= 180, 0.0, np.where(total < 360, 360.0, -360.0))
    return np.asarray(np.where(grey, total, (total + over) / 2))


def _hue_weight(hue: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    angles = np.radians(np.stack([hue - 30, 2 * hue, 3 * hue + 6, 4 * hue - 63]))
    return np.asarray(1 + np.tensordot([-0.17, 0.24, 0.32, -0.20], np.cos(angles), axes=1))

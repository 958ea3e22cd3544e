"""Published colours of the 24-patch colour rendition chart, in two editions.

CIE L*a*b* under D50, 2 degree observer, as its maker published them in 2016 for charts made before and from November
2014; read in colour-science 0.4.7, datasets "ColorChecker24 - Before November 2014" and "- After November 2014".
"""

from functools import cache
from types import MappingProxyType
from typing import Final

import numpy as np

from leafwane.card.design import Points
from leafwane.colour.spaces import lab_to_xyz, linear_to_srgb, xyz_to_linear

PATCH_NAMES: Final = (
    "dark skin",
    "light skin",
    "blue sky",
    "foliage",
    "blue flower",
    "bluish green",
    "orange",
    "purplish blue",
    "moderate red",
    "purple",
    "yellow green",
    "orange yellow",
    "blue",
    "green",
    "red",
    "yellow",
    "magenta",
    "cyan",
    "white",
    "neutral 8",
    "neutral 6.5",
    "neutral 5",
    "neutral 3.5",
    "black",
)

EDITIONS: Final = MappingProxyType(
    {
        "from November 2014": (
            (37.54, 14.37, 14.92),
            (64.66, 19.27, 17.50),
            (49.32, -3.82, -22.54),
            (43.46, -12.74, 22.72),
            (54.94, 9.61, -24.79),
            (70.48, -32.26, -0.37),
            (62.73, 35.83, 56.50),
            (39.43, 10.75, -45.17),
            (50.57, 48.64, 16.67),
            (30.10, 22.54, -20.87),
            (71.77, -24.13, 58.19),
            (71.51, 18.24, 67.37),
            (28.37, 15.42, -49.80),
            (54.38, -39.72, 32.27),
            (42.43, 51.05, 28.62),
            (81.80, 2.67, 80.41),
            (50.63, 51.28, -14.12),
            (49.57, -29.71, -28.32),
            (95.19, -1.03, 2.93),
            (81.29, -0.57, 0.44),
            (66.89, -0.75, -0.06),
            (50.76, -0.13, 0.14),
            (35.63, -0.46, -0.48),
            (20.64, 0.07, -0.46),
        ),
        "before November 2014": (
            (37.986, 13.555, 14.059),
            (65.711, 18.130, 17.810),
            (49.927, -4.880, -21.905),
            (43.139, -13.095, 21.905),
            (55.112, 8.844, -25.399),
            (70.719, -33.397, -0.199),
            (62.661, 36.067, 57.096),
            (40.020, 10.410, -45.964),
            (51.124, 48.239, 16.248),
            (30.325, 22.976, -21.587),
            (72.532, -23.709, 57.255),
            (71.941, 19.363, 67.857),
            (28.778, 14.179, -50.297),
            (55.261, -38.342, 31.370),
            (42.101, 53.378, 28.190),
            (81.733, 4.039, 79.819),
            (51.935, 49.986, -14.574),
            (51.038, -28.631, -28.638),
            (96.539, -0.425, 1.186),
            (81.257, -0.638, -0.335),
            (66.766, -0.734, -0.504),
            (50.867, -0.153, -0.270),
            (35.656, -0.421, -1.231),
            (20.461, -0.079, -0.973),
        ),
    }
)

# Bradford adaptation from D50 to D65 (ICC specification, annex E, gives the cone responses; white points of CIE 15).
_BRADFORD: Final = np.array([(0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296)])
_D50: Final = np.array([0.96422, 1.0, 0.82521])
_D65: Final = np.array([0.95047, 1.0, 1.08883])


@cache
def edition_rgb(edition: str) -> Points:
    """Return an edition's colours, (24, 3), encoded sRGB; cyan lies outside sRGB and has a negative red."""
    xyz = lab_to_xyz(EDITIONS[edition], _D50)
    adapt = np.linalg.inv(_BRADFORD) @ np.diag((_BRADFORD @ _D65) / (_BRADFORD @ _D50)) @ _BRADFORD
    colours = np.asarray(linear_to_srgb(xyz_to_linear(xyz @ adapt.T)), dtype=np.float64)
    colours.setflags(write=False)
    return colours

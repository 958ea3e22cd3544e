"""Colour spaces under D65.

Encoded sRGB and linear sRGB run from 0 to 1 and are not clipped here; XYZ has Y = 1 for white. sRGB is that of
IEC 61966-2-1:1999, CIELAB that of CIE 15:2004 with the white that sRGB's own matrix gives.
"""

from functools import cache
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
FloatImage: TypeAlias = npt.NDArray[np.float32]

RGB_TO_XYZ: Final = np.array([(0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505)])
XYZ_TO_RGB: Final = np.linalg.inv(RGB_TO_XYZ)
WHITE_XYZ: Final = RGB_TO_XYZ.sum(axis=1)

_EPSILON: Final = 216 / 24389
_KAPPA: Final = 24389 / 27
_STEPS: Final = 65535


def srgb_to_linear(encoded: npt.ArrayLike) -> Floats:
    """Return linear light of encoded sRGB, any shape (IEC 61966-2-1); values below 0 are mirrored."""
    values = np.asarray(encoded, dtype=np.float64)
    size = np.abs(values)
    curved = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.copysign(curved, values))


def linear_to_srgb(linear: npt.ArrayLike) -> Floats:
    """Return encoded sRGB of linear light, any shape (IEC 61966-2-1); values below 0 are mirrored."""
    values = np.asarray(linear, dtype=np.float64)
    size = np.abs(values)
    curved = np.where(size <= 0.0031308, size * 12.92, 1.055 * size ** (1 / 2.4) - 0.055)
    return np.asarray(np.copysign(curved, values))


def linear_to_xyz(linear: npt.ArrayLike) -> Floats:
    """Return XYZ of linear sRGB, (..., 3) (IEC 61966-2-1)."""
    return np.asarray(np.asarray(linear, dtype=np.float64) @ RGB_TO_XYZ.T)


def xyz_to_linear(xyz: npt.ArrayLike) -> Floats:
    """Return linear sRGB of XYZ, (..., 3) (IEC 61966-2-1)."""
    return np.asarray(np.asarray(xyz, dtype=np.float64) @ XYZ_TO_RGB.T)


def xyz_to_lab(xyz: npt.ArrayLike) -> Floats:
    """Return CIELAB of XYZ, (..., 3) (CIE 15:2004, 8.2.1); below black the straight part goes on."""
    share = np.asarray(xyz, dtype=np.float64) / WHITE_XYZ
    f = np.where(share > _EPSILON, np.cbrt(share), (_KAPPA * share + 16) / 116)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: npt.ArrayLike, white: npt.ArrayLike = WHITE_XYZ) -> Floats:
    """Return XYZ of CIELAB, (..., 3), under a light whose white is (3,) XYZ (CIE 15:2004, annex D)."""
    lightness, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    y = (lightness + 16) / 116
    f = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    share = np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA)
    return np.asarray(share * np.asarray(white))


def linear_to_lab(linear: npt.ArrayLike) -> Floats:
    """Return CIELAB of linear sRGB, (..., 3)."""
    return xyz_to_lab(linear_to_xyz(linear))


def srgb_to_lab(encoded: npt.ArrayLike) -> Floats:
    """Return CIELAB of encoded sRGB, (..., 3)."""
    return linear_to_lab(srgb_to_linear(encoded))


def lab_to_srgb(lab: npt.ArrayLike) -> Floats:
    """Return encoded sRGB of CIELAB, (..., 3), not clipped."""
    return linear_to_srgb(xyz_to_linear(lab_to_xyz(lab)))


def encode_image(linear: FloatImage) -> FloatImage:
    """Return encoded sRGB of a linear image, (h, w, 3), clipped to 0..1; by table, to within 0.0002."""
    return np.asarray(cv2.LUT(_to_steps(linear), _encoded_steps()), dtype=np.float32)


def decode_image(encoded: FloatImage) -> FloatImage:
    """Return linear light of an encoded image, (h, w, 3), clipped to 0..1; by table, to within 0.00002."""
    return np.asarray(cv2.LUT(_to_steps(encoded), _decoded_steps()), dtype=np.float32)


def lab_image(encoded: FloatImage) -> FloatImage:
    """Return CIELAB of an encoded sRGB image, (h, w, 3), values clipped to 0..1; to within 0.05."""
    return np.asarray(cv2.cvtColor(decode_image(encoded), cv2.COLOR_LRGB2Lab), dtype=np.float32)


def _to_steps(image: FloatImage) -> npt.NDArray[np.uint16]:
    scaled = np.multiply(image, np.float32(_STEPS))
    scaled += np.float32(0.5)
    return np.clip(scaled, 0, _STEPS, out=scaled).astype(np.uint16)


@cache
def _encoded_steps() -> npt.NDArray[np.float32]:
    return linear_to_srgb(np.arange(_STEPS + 1) / _STEPS).astype(np.float32)


@cache
def _decoded_steps() -> npt.NDArray[np.float32]:
    return srgb_to_linear(np.arange(_STEPS + 1) / _STEPS).astype(np.float32)

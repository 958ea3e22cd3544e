"""From what a photo shows of a card to the colours that were there: a grey curve a channel, then a matrix in linear light."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.sighting import PatchSamples
from leafwane.colour.greys import GreyCurve, fit_grey_curve, is_neutral
from leafwane.colour.spaces import (
    Floats,
    FloatImage,
    delta_e_2000,
    encode_image,
    linear_to_lab,
    linear_to_srgb,
    srgb_to_lab,
    srgb_to_linear,
)
from leafwane.flags import Flag

MODEL: Final = "grey-curve+matrix"
POOR_DE00: Final = 4.0  # mean, leave one patch out
_RIDGE: Final = 0.02
_ROUNDS: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What turns a photo's colours into the card's.

    Attributes:
        model: Name of the model.
        curves: One grey curve a channel, encoded to encoded.
        matrix: (3, 3) from curved linear light to linear sRGB.
        de00_loo: (n,) CIEDE2000 of each patch from a fit without it; NaN where the patch is not used.
        de00_loo_mean: Their mean.
        de00_loo_max: Their largest.
        flags: What is in doubt.
    """

    model: str
    curves: tuple[GreyCurve, GreyCurve, GreyCurve]
    matrix: Floats
    de00_loo: Floats
    de00_loo_mean: float
    de00_loo_max: float
    flags: Flag

    def apply(self, pixels: npt.NDArray[np.uint8]) -> FloatImage:
        """Return a photo's true colours, encoded sRGB clipped to 0..1, (h, w, 3), of its 8-bit pixels (h, w, 3)."""
        levels = np.arange(256) / 255
        table = np.stack([srgb_to_linear(curve(levels)) for curve in self.curves], axis=-1)
        linear = cv2.LUT(pixels, table[None].astype(np.float32))
        return encode_image(
            np.asarray(cv2.transform(linear, self.matrix.astype(np.float32)), dtype=np.float32)
        )

    def colours(self, encoded: npt.ArrayLike) -> Floats:
        """Return the true colours, encoded sRGB not clipped, of colours in the photo, (n, 3) encoded sRGB."""
        return linear_to_srgb(_curved(self.curves, np.asarray(encoded, dtype=np.float64)) @ self.matrix.T)


def fit_correction(patches: PatchSamples) -> Correction:
    """Return the correction that a card's patches tell; patches that are not `used` take no part."""
    used = np.flatnonzero(patches.used)
    measured, reference = patches.measured[used], patches.reference[used]
    curves, matrix = _fit(measured, reference)
    errors = np.full(len(patches.used), np.nan)
    for place, index in enumerate(used):
        rest = np.arange(len(used)) != place
        left = _fit(measured[rest], reference[rest])
        found = linear_to_lab(_curved(left[0], measured[place : place + 1]) @ left[1].T)
        errors[index] = delta_e_2000(found, srgb_to_lab(reference[place : place + 1]))[0]
    mean = float(np.nanmean(errors))
    return Correction(
        model=MODEL,
        curves=curves,
        matrix=matrix,
        de00_loo=errors,
        de00_loo_mean=mean,
        de00_loo_max=float(np.nanmax(errors)),
        flags=Flag.POOR_COLOUR if mean > POOR_DE00 else Flag(0),
    )


def _fit(measured: Floats, reference: Floats) -> tuple[tuple[GreyCurve, GreyCurve, GreyCurve], Floats]:
    grey = is_neutral(reference)
    red, green, blue = (fit_grey_curve(measured[grey, c], reference[grey, c]) for c in range(3))
    curves = (red, green, blue)
    return curves, _fit_matrix(_curved(curves, measured), srgb_to_linear(reference))


def _curved(curves: tuple[GreyCurve, ...], measured: Floats) -> Floats:
    return np.stack([srgb_to_linear(curve(measured[..., c])) for c, curve in enumerate(curves)], axis=-1)


def _fit_matrix(linear: Floats, target: Floats) -> Floats:
    """Return the (3, 3) matrix that keeps white and brings `linear` close to `target`, both (n, 3), as the eye sees it.

    Errors are counted in CIELAB, linearised at the target, so that dark colours count as much as bright ones;
    far patches lose weight (Huber), and a ridge holds the matrix near the identity.
    """
    slopes = _lab_slopes(target)
    # With rows that sum to 1, M g = g + sum over k of D_jk (g_k - g_j): six unknowns D_jk, j != k.
    pairs = [(j, k) for j in range(3) for k in range(3) if j != k]
    design = np.zeros((len(linear), 3, 6))
    for column, (j, k) in enumerate(pairs):
        design[:, j, column] = linear[:, k] - linear[:, j]
    columns = slopes @ design
    errors = np.einsum("nij,nj->ni", slopes, target - linear)
    weights = np.ones(len(linear))
    ridge = _RIDGE * np.einsum("nij,nij->j", columns, columns).mean() * np.eye(6)
    for _ in range(_ROUNDS):
        normal = np.einsum("n,nij,nik->jk", weights, columns, columns) + ridge
        found = np.linalg.solve(normal, np.einsum("n,nij,ni->j", weights, columns, errors))
        size = np.linalg.norm(errors - columns @ found, axis=1)
        weights = 1 / np.maximum(1, size / (1.5 * np.median(size) + 0.5))
    matrix = np.eye(3)
    for (j, k), value in zip(pairs, found, strict=True):
        matrix[j, k] += value
        matrix[j, j] -= value
    return matrix


def _lab_slopes(linear: Floats) -> Floats:
    """Return the slopes of CIELAB in linear light, (n, 3 of Lab, 3 of RGB), at colours (n, 3)."""
    step = 1e-4
    sides = [
        (linear_to_lab(linear + step * np.eye(3)[c]) - linear_to_lab(linear - step * np.eye(3)[c]))
        / (2 * step)
        for c in range(3)
    ]
    return np.stack(sides, axis=-1)

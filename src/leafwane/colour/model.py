"""The model of a photo's colours: a grey curve a channel, then a root-polynomial of degree 2 in linear light.

The root-polynomial (Finlayson, Mackiewicz & Hurlbert 2015, IEEE Transactions on Image Processing 24:1460) keeps greys
grey and scales with the light, so it cannot run away outside the colours it was fitted to as a polynomial does.
"""

from dataclasses import dataclass
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.colour.greys import Bools, GreyCurve, fit_grey_curve
from leafwane.colour.spaces import FloatImage, Floats, encode_image, linear_to_lab, srgb_to_linear

Curves: TypeAlias = tuple[GreyCurve, GreyCurve, GreyCurve]

MODEL: Final = "grey-curve+root-polynomial-2"

# The ridges are shares of the mean squared pull of the linear terms; the study of corrections compares them.
_RIDGE: Final = 0.005
_ROOT_RIDGE: Final = 0.001
_ROUNDS: Final = 4
_HUBER: Final = 1.5
_SURE_DE: Final = 0.5  # CIELAB; no patch is known better than this
_STRIP_ROWS: Final = 32
_NEXT_CHANNEL: Final = np.roll(
    np.eye(3, dtype=np.float32), 1, axis=1
)  # turns red, green, blue to green, blue, red
_MIXES: Final = tuple((j, k) for j in range(3) for k in range(3) if j != k)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourModel:
    """What turns a photo's encoded colours into true linear ones.

    Attributes:
        curves: One grey curve a channel, encoded to encoded.
        matrix: (3, 3) weights of linear red, green, blue.
        roots: (3, 3) weights of sqrt(red green), sqrt(green blue), sqrt(red blue). A row of both sums to 1.
    """

    curves: Curves
    matrix: Floats
    roots: Floats

    def linear(self, encoded: Floats) -> Floats:
        """Return true linear sRGB, (n, 3), not clipped, of encoded colours in the photo, (n, 3)."""
        return self.from_curved(after_curves(self.curves, encoded))

    def from_curved(self, curved: Floats) -> Floats:
        """Return true linear sRGB, (n, 3), of linear light after the grey curves, (n, 3); k times one is k times the other."""
        return np.asarray(curved @ self.matrix.T + root_terms(curved) @ self.roots.T)

    def apply(self, pixels: npt.NDArray[np.uint8], light: FloatImage | None = None) -> FloatImage:
        """Return true encoded sRGB, (h, w, 3), clipped to 0..1, of 8-bit pixels (h, w, 3), `light` (h, w) divided out."""
        levels = np.repeat(np.arange(256)[:, None] / 255, 3, axis=1)
        curved = after_curves(self.curves, levels)[None]
        tables = curved.astype(np.float32), np.sqrt(curved).astype(np.float32)
        true = np.empty(pixels.shape, dtype=np.float32)
        for top in range(0, len(pixels), _STRIP_ROWS):  # strips stay in the processor's cache
            strip = slice(top, top + _STRIP_ROWS)
            linear = self._linear_strip(pixels[strip], *tables)
            true[strip] = encode_image(linear if light is None else linear / light[strip, :, None])
        return true

    def _linear_strip(
        self, pixels: npt.NDArray[np.uint8], curved: FloatImage, rooted: FloatImage
    ) -> FloatImage:
        linear, root = cv2.LUT(pixels, curved), cv2.LUT(pixels, rooted)
        plain = cv2.transform(linear, self.matrix.astype(np.float32))
        pairs = cv2.multiply(root, cv2.transform(root, _NEXT_CHANNEL))
        mixed = cv2.transform(pairs, self.roots.astype(np.float32))
        return np.asarray(cv2.add(plain, mixed), dtype=np.float32)


def fit_model(measured: Floats, reference: Floats, grey: Bools) -> ColourModel:
    """Return the model that brings patches of a photo to their reference colours, (n, 3) encoded sRGB each; `grey` (n,) tells greys."""
    curves = fit_curves(measured, reference, grey)
    matrix, roots = _fit_weights(after_curves(curves, measured), srgb_to_linear(reference))
    return ColourModel(curves=curves, matrix=matrix, roots=roots)


def fit_curves(measured: Floats, reference: Floats, grey: Bools) -> Curves:
    """Return the grey curves of red, green and blue that the grey ones, (n,), among patches tell, (n, 3) encoded sRGB each."""
    red, green, blue = (fit_grey_curve(measured[grey, c], reference[grey, c]) for c in range(3))
    return red, green, blue


def after_curves(curves: Curves, encoded: Floats) -> Floats:
    """Return linear light after the grey curves, (..., 3), of encoded colours in the photo, (..., 3)."""
    return np.stack([srgb_to_linear(curve(encoded[..., c])) for c, curve in enumerate(curves)], axis=-1)


def root_terms(linear: Floats) -> Floats:
    """Return sqrt(red green), sqrt(green blue), sqrt(blue red), (..., 3), of linear light (..., 3)."""
    root = np.sqrt(np.clip(linear, 0, None))
    return np.asarray(root * np.roll(root, -1, axis=-1))


def _fit_weights(linear: Floats, target: Floats) -> tuple[Floats, Floats]:
    """Return matrix and roots that bring `linear` close to `target`, both (n, 3), as the eye sees it.

    Errors are counted in CIELAB, linearised at the target, so that dark colours count as much as bright ones; far
    patches lose weight (Huber), and a ridge holds the weights near doing nothing.
    """
    slopes = lab_slopes(target)
    columns = slopes @ _moves(linear)
    errors = np.einsum("nij,nj->ni", slopes, target - linear)
    found = _solve(columns, errors)
    mixes = np.zeros((3, 3))
    for (j, k), value in zip(_MIXES, found[:6], strict=True):
        mixes[j, k] = value
    roots = found[6:].reshape(3, 3)
    return np.eye(3) + mixes - np.diag(mixes.sum(axis=1) + roots.sum(axis=1)), roots


def _moves(linear: Floats) -> Floats:
    """Return how each unknown moves each colour, (n, 3, 15); none of them moves a grey."""
    moves = np.zeros((len(linear), 3, 15))
    for column, (j, k) in enumerate(_MIXES):
        moves[:, j, column] = linear[:, k] - linear[:, j]
    roots = root_terms(linear)
    for j in range(3):
        moves[:, j, 6 + 3 * j : 9 + 3 * j] = roots - linear[:, j : j + 1]
    return moves


def _solve(columns: Floats, errors: Floats) -> Floats:
    """Return the ridge solution of columns @ x = errors, (n, 3, 15) and (n, 3), by reweighted least squares."""
    pull = float(np.einsum("nij,nij->j", columns[..., :6], columns[..., :6]).mean())
    ridge = pull * np.diag([_RIDGE] * 6 + [_ROOT_RIDGE] * 9) + 1e-12 * np.eye(15)
    weights = np.ones(len(columns))
    for _ in range(_ROUNDS):
        weighted = weights[:, None, None] * columns
        normal = np.einsum("nij,nik->jk", weighted, columns)
        found = np.linalg.solve(normal + ridge, np.einsum("nij,ni->j", weighted, errors))
        size = np.linalg.norm(errors - columns @ found, axis=1)
        weights = 1 / np.maximum(1, size / (_HUBER * float(np.median(size)) + _SURE_DE))
    return np.asarray(found)


def lab_slopes(linear: Floats) -> Floats:
    """Return the slopes of CIELAB in linear light, (n, 3 of Lab, 3 of RGB), at colours (n, 3)."""
    step = 1e-4
    sides = [linear_to_lab(linear + move) - linear_to_lab(linear - move) for move in step * np.eye(3)]
    return np.stack(sides, axis=-1) / (2 * step)

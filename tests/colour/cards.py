"""A card as a made-up phone would show it."""

import numpy as np

from leafwane.card.design import PATCH_NAMES, patch_centres_mm, reference_rgb
from leafwane.card.sighting import PatchSamples
from leafwane.colour.spaces import linear_to_srgb, srgb_to_linear

SENSOR = np.array([(0.82, 0.20, -0.02), (0.12, 0.80, 0.08), (0.02, 0.16, 0.82)])
"""White-keeping mixture of channels, as a sensor makes it."""


def phone(
    true: np.ndarray,
    *,
    exposure: float = 0.0,
    balance: tuple[float, float, float] = (1.06, 1.0, 0.9),
    contrast: float = 0.0,
    light: np.ndarray | float = 1.0,
) -> np.ndarray:
    """Return encoded sRGB, (n, 3), that a phone makes of true encoded colours: sensor, exposure, S-shaped tone curve."""
    linear = srgb_to_linear(true) @ SENSOR.T * balance * 2**exposure * np.reshape(light, (-1, 1))
    encoded = np.clip(linear_to_srgb(linear), 0, 1)
    return encoded + contrast * (encoded**2 * (3 - 2 * encoded) - encoded)


def samples(
    measured: np.ndarray, reference: np.ndarray | None = None, used: np.ndarray | None = None
) -> PatchSamples:
    """Return patches of our card as measured; clipped ones are not used unless `used` says so."""
    clipped = ((measured <= 2 / 255) | (measured >= 253 / 255)).any(axis=1)
    kept = ~clipped if used is None else used
    return PatchSamples(
        names=PATCH_NAMES,
        measured=measured,
        reference=reference_rgb() if reference is None else reference,
        nominal=reference_rgb(),
        spread=np.full(len(measured), 0.002),
        used=kept,
        left_out=tuple("" if ok else "left out" for ok in kept),
        centres_mm=patch_centres_mm(),
    )

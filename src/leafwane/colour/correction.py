"""From what a photo shows of a card to the colours that were there, with the error that a left-out patch would have."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from leafwane.card.sighting import PatchSamples
from leafwane.colour.difference import delta_e_2000
from leafwane.colour.greys import Bools, dirty_greys, is_neutral
from leafwane.colour.light import LightPlane, fit_light, lit_reference
from leafwane.colour.model import MODEL, ColourModel, fit_model
from leafwane.colour.spaces import (
    FloatImage,
    Floats,
    linear_to_lab,
    linear_to_srgb,
    srgb_to_lab,
)
from leafwane.errors import CardError
from leafwane.flags import Flag

POOR_DE00: Final = 4.0  # mean of the left-out patches; phones without a card are off by 10 and more
WRONG_DE00: Final = 12.0
"""Shadow edges across the card gave 5 to 11, and cover was right within 2.2 points; glare on it 18 to 25, and up to 49 points off."""
GREY_SHARE: Final = 0.12
"""Chroma over what it should be, from here down no colour: photos and prints in black and white or sepia have up to 0.04, a quarter of the colour 0.18 to 0.30."""
UNEVEN_RATIO: Final = (
    1.25  # brightest over darkest place of the card: a quarter of a step of exposure and more
)
_FEWEST: Final = 8
_FEWEST_GREYS: Final = 3
_MOST_DROPPED: Final = 3
_FAR_DE00: Final = 8.0
_FAR_TIMES: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What turns a photo's colours into the card's.

    Attributes:
        model: Name of the model.
        colours: The model as fitted.
        de00_loo: (n,) CIEDE2000 of each patch from a fit without it; NaN where the patch is not used.
        de00_loo_mean: Their mean.
        de00_loo_max: Their largest.
        light: How light falls over the card, by the twins of the grey ramps.
        light_ratio: Light at the brightest patch over light at the darkest.
        flags: POOR_COLOUR where the mean is over `POOR_DE00`, WRONG_COLOUR instead where it is over `WRONG_DE00`,
            NO_COLOUR instead of either where patches that should have colour are grey, and UNEVEN_LIGHT where the ratio is
            over `UNEVEN_RATIO`.
    """

    model: str
    colours: ColourModel
    de00_loo: Floats
    de00_loo_mean: float
    de00_loo_max: float
    light: LightPlane
    light_ratio: float
    flags: Flag

    def apply(self, pixels: npt.NDArray[np.uint8], *, to_px: Floats | None = None) -> FloatImage:
        """Return a photo's true colours, encoded sRGB clipped to 0..1, (h, w, 3).

        Args:
            pixels: The photo or a part or resampling of it, (h, w, 3) 8-bit sRGB.
            to_px: (3, 3) homography from card mm to these pixels. Where it is given, light that falls unevenly over
                the photo, as the card tells it, is evened out to what it is on the card.
        """
        light = None if to_px is None else self.light.over(pixels.shape[:2], to_px)
        return self.colours.apply(pixels, light)

    def true_srgb(self, encoded: npt.ArrayLike) -> Floats:
        """Return the true colours, encoded sRGB not clipped, of colours in the photo, both (n, 3), 0..1."""
        return linear_to_srgb(self.colours.linear(np.asarray(encoded, dtype=np.float64)))


def fit_correction(patches: PatchSamples) -> Correction:
    """Return the correction that a card's patches tell; patches that are not `used` take no part.

    Light that rises or falls evenly across the card is told by the ramps' twins and taken out of the patches. Greys
    that differ oddly from their twins, and up to three patches that stand far from what all the others say, take no
    part either; their errors still count.

    Raises:
        CardError: Fewer than eight patches, or than three greys, are left to fit.
    """
    used = np.flatnonzero(patches.used)
    measured, reference, nominal, places = (
        side[used] for side in (patches.measured, patches.reference, patches.nominal, patches.centres_mm)
    )
    grey = is_neutral(nominal)
    _refuse_too_few(len(used), int(grey.sum()))
    clean = ~dirty_greys(measured, reference, nominal)
    rough = fit_model(measured[clean], reference[clean], grey[clean])
    light = fit_light(rough.linear(measured[clean]), reference[clean], nominal[clean], places[clean])
    lit = lit_reference(reference, light, places)
    colours, errors = _fit_without_dirt(measured, lit, grey, clean)
    levels = light.at(places)
    ratio = float(levels.max() / levels.min())
    mean = float(errors.mean())
    uneven = Flag.UNEVEN_LIGHT if ratio > UNEVEN_RATIO else Flag(0)
    colourless = _colourfulness(measured, nominal, grey) < GREY_SHARE
    all_errors = np.full(len(patches.used), np.nan)
    all_errors[used] = errors
    return Correction(
        model=MODEL,
        colours=colours,
        de00_loo=all_errors,
        de00_loo_mean=mean,
        de00_loo_max=float(errors.max()),
        light=light,
        light_ratio=ratio,
        flags=(Flag.NO_COLOUR if colourless else _colour_doubt(mean)) | uneven,
    )


def _colour_doubt(mean: float) -> Flag:
    if mean > WRONG_DE00:
        return Flag.WRONG_COLOUR
    return Flag.POOR_COLOUR if mean > POOR_DE00 else Flag(0)


def _colourfulness(measured: Floats, nominal: Floats, grey: Bools) -> float:
    """Return the chroma beside greys as light, over what it should be, that a fifth of the coloured patches exceed; NaN without any."""
    if grey.all():
        return float("nan")
    seen, meant = srgb_to_lab(measured), srgb_to_lab(nominal[~grey])
    greys = seen[grey][np.argsort(seen[grey][:, 0])]
    cast = np.stack([np.interp(seen[~grey][:, 0], greys[:, 0], greys[:, axis]) for axis in (1, 2)], axis=1)
    chroma = np.hypot(*(seen[~grey][:, 1:] - cast).T)
    return float(np.quantile(chroma / np.hypot(*meant[:, 1:].T), 0.8))


def _refuse_too_few(patches: int, greys: int) -> None:
    if patches < _FEWEST or greys < _FEWEST_GREYS:
        raise CardError(
            f"only {patches} patches of the card can be used, {greys} of them grey",
            flag=Flag.POOR_COLOUR,
            hint="Wipe the card dry, keep sun and shadow edges off it, and take the photo again",
        )


def _fit_without_dirt(
    measured: Floats, reference: Floats, grey: Bools, clean: Bools
) -> tuple[ColourModel, Floats]:
    """Return the model and each patch's error when it is left out, (n,); those that are not clean take no part."""
    keep = clean.copy()
    while True:
        errors = _left_out_errors(measured, reference, grey, keep)
        scarce = grey if grey[keep].sum() <= _FEWEST_GREYS else ~keep
        worst = int(np.argmax(np.where(keep & ~scarce, errors, 0)))
        dropped = int((clean & ~keep).sum())
        if dropped == _MOST_DROPPED or errors[worst] <= max(_FAR_DE00, _FAR_TIMES * float(np.median(errors))):
            return fit_model(measured[keep], reference[keep], grey[keep]), errors
        keep[worst] = False


def _left_out_errors(measured: Floats, reference: Floats, grey: Bools, keep: Bools) -> Floats:
    found = np.empty_like(measured)
    for index in range(len(measured)):
        rest = keep & (np.arange(len(measured)) != index)
        found[index] = fit_model(measured[rest], reference[rest], grey[rest]).linear(
            measured[index : index + 1]
        )[0]
    return delta_e_2000(linear_to_lab(found), srgb_to_lab(reference))

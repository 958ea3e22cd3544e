"""The colours of a home-printed card, from one photo that shows it beside a 24-patch colour chart in even light."""

from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.chart24 import find_chart
from leafwane.card.design import KIND, PATCH_NAMES, Points
from leafwane.card.find import find_card
from leafwane.card.patches import Reason
from leafwane.card.sighting import Sighting
from leafwane.card.values import CardValues
from leafwane.colour.correction import fit_correction
from leafwane.colour.light import LightPlane
from leafwane.colour.spaces import linear_to_srgb
from leafwane.errors import CardError
from leafwane.flags import Flag
from leafwane.photo import Photo

# What spoils a patch's colour. A patch that does not fit the nominal colours is what this measures, and is kept.
_SPOILT: Final = (Reason.OUT, Reason.BURNT, Reason.SHADOW_EDGE, Reason.SHINY, Reason.DIRTY)


def measure_card(photo: Photo, *, chart_corners: Points | None = None) -> CardValues:
    """Return the colours of the printed card in a photo, as the chart beside it tells them.

    Args:
        photo: Shows card and chart.
        chart_corners: (4, 2) pixels of the whole photo, the outer corners of the chart's patches from the dark skin patch,
            past bluish green, black and white, where a person points them out; else the chart is searched for.

    Raises:
        CardError: The card or the chart is not found, a patch cannot be read, or the light is uneven.
    """
    try:
        card = _card(photo.pixels)
        chart = find_chart(_without(photo.pixels, card), corners=_in_pixels(photo, chart_corners))
    except CardError as error:
        raise CardError(error.what, flag=error.flag, path=photo.path, hint=error.hint) from error
    light = _light_over(card, photo).at(card.patches.centres_mm)
    correction = fit_correction(chart.patches)
    shown = correction.colours.linear(card.patches.measured)
    colours = np.clip(linear_to_srgb(shown / light[:, None]), 0, 1)
    return CardValues(
        patches={
            name: (float(red), float(green), float(blue))
            for name, (red, green, blue) in zip(PATCH_NAMES, colours, strict=True)
        },
        measured_on=photo.taken.date() if photo.taken else None,
        photo_digest=photo.digest,
        chart_edition=chart.edition,
        de00=correction.de00_loo_mean,
    )


def _card(pixels: npt.NDArray[np.uint8]) -> Sighting:
    card = find_card(pixels)
    if card.kind != KIND:
        raise CardError(
            "the photo shows a 24-patch chart, but no printed card",
            flag=Flag.NO_CARD,
            hint="Lay the printed card beside the chart",
        )
    return card


def _without(pixels: npt.NDArray[np.uint8], card: Sighting) -> npt.NDArray[np.uint8]:
    """Return the photo with the printed card painted over, so that its patches are not taken for the chart's."""
    covered = pixels.copy()
    cv2.fillConvexPoly(covered, np.round(card.corners).astype(np.int32), (128, 128, 128))
    return covered


def _in_pixels(photo: Photo, corners: Points | None) -> Points | None:
    """Return points of the whole photo as points of its pixels, which are fewer where the photo was reduced."""
    if corners is None:
        return None
    height, width = photo.pixels.shape[:2]
    return np.asarray((corners + 0.5) * np.array([width, height]) / np.array(photo.full_size) - 0.5)


def _light_over(card: Sighting, photo: Photo) -> LightPlane:
    """Return how light falls over the printed card, lest the card be taken to be darker at one end.

    Raises:
        CardError: A patch cannot be read, or the light is uneven.
    """
    spoilt = [
        f"{name} ({why})"
        for name, why in zip(card.patches.names, card.patches.left_out, strict=True)
        if why in _SPOILT
    ]
    if spoilt:
        raise CardError(
            f"patches of the printed card cannot be read: {', '.join(spoilt)}",
            flag=Flag.PATCHES_LEFT_OUT,
            path=photo.path,
            hint="Wipe the card, lay both in open shade, and take the photo again",
        )
    nominal = fit_correction(card.patches)
    if Flag.UNEVEN_LIGHT in nominal.flags:
        raise CardError(
            "light falls unevenly over the printed card",
            flag=Flag.UNEVEN_LIGHT,
            path=photo.path,
            hint="Lay card and chart side by side in open shade, and take the photo again",
        )
    return nominal.light

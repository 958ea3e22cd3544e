"""Whether a photo is good to score, said at the bin while there is still time to take it again."""

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.design import PatchValues
from leafwane.card.find import find_card
from leafwane.card.patches import BURNT
from leafwane.card.sighting import Sighting
from leafwane.colour.correction import Correction, fit_correction
from leafwane.errors import CardError, PhotoError
from leafwane.flags import NOT_IN_CURVE, NOTES, Flag, flag_names
from leafwane.photo import Photo, open_photo
from leafwane.surface.glare import surface_glare
from leafwane.surface.region import Bound, Polygon, Region, card_doubts, find_region

# Beside the flags that block a score: what makes it worth taking the photo again while one still can.
_RETAKE: Final = (
    Flag.FEW_PIXELS
    | Flag.COMPRESSED
    | Flag.BENT_CARD
    | Flag.CARD_CUT_OFF
    | Flag.BLURRED
    | Flag.SMEARED
    | Flag.TOO_DARK
    | Flag.GRAINY
    | Flag.POOR_COLOUR
    | Flag.WRONG_COLOUR
    | Flag.NO_COLOUR
    | Flag.FEW_RIM_TAGS
    | Flag.OTHER_SURFACE
)
_NOT_THE_PHOTO: Final = Flag.UNKNOWN_SIZE  # blocks a score, but another photo would not help
_FEWEST_PATCHES: Final = 0.6  # of all; with fewer the colours rest on too little
_SIDE_PX: Final = 1200  # of the small picture on which the surface is looked at


class Answer(StrEnum):
    """What to do with a photo."""

    GOOD = "good"
    USABLE = "usable"
    RETAKE = "retake"


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoCheck:
    """What a photo was found to be worth.

    Attributes:
        photo: The file.
        flags: What was seen, as marks.
        sighting: The card, or None where none was found.
        correction: The colour correction, or None.
        burnt_percent: Share of the photo's pixels that are burnt out in all channels, or None for an unreadable file.
        surface: What would bound the surface; None where no card was found.
        refusal: Why the photo cannot be scored, and what to do, where a step said so; else empty.
        digest: SHA-256 of the file's bytes, in hexadecimal; empty where no card was found.
        bin: The bin's name; empty where the photo is looked at by itself.
        date: The day of the check-in; None if unknown.
    """

    photo: Path
    flags: Flag
    sighting: Sighting | None
    correction: Correction | None
    burnt_percent: float | None
    surface: Bound | None = None
    refusal: str = ""
    digest: str = ""
    bin: str = ""
    date: dt.date | None = None

    @property
    def verdict(self) -> Answer:
        """Good to score, usable with doubt, or to be taken again."""
        if self.sighting is None or self.flags & _RETAKE or _blocking(self.flags & ~_NOT_THE_PHOTO):
            return Answer.RETAKE
        return Answer.USABLE if self.flags else Answer.GOOD

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why the photo is not good, and what to do, in plain words."""
        if self.refusal:
            return (self.refusal,)
        return tuple(f"{note.meaning}: {note.advice}" for flag, note in NOTES.items() if flag in self.flags)

    @property
    def readable(self) -> bool:
        """Whether the file could be opened as a photo."""
        return Flag.UNREADABLE not in self.flags

    @property
    def card(self) -> str:
        """Kind of the card in the photo, such as "leafwane-1"; empty where none was found."""
        return self.sighting.kind if self.sighting else ""

    @property
    def scored(self) -> bool:
        """Whether the photo would have a score."""
        return self.sighting is not None and not _blocking(self.flags)

    @property
    def in_curve(self) -> bool:
        """Whether the photo would count in a check-in."""
        return self.scored and self.date is not None and not self.flags & NOT_IN_CURVE

    def to_dict(self) -> dict[str, Any]:
        """Return plain Python: photo, verdict, reasons, flags, card, and the measures behind them."""
        return {
            "photo": str(self.photo),
            "verdict": self.verdict.value,
            "reasons": list(self.reasons),
            "flags": list(flag_names(self.flags)),
            "card": self._card_dict(),
            "surface": self.surface,
            "patches_left_out": self.left_out(),
            "blur_mm": _rounded(self.sighting.blur_px * self.sighting.mm_per_px) if self.sighting else None,
            "burnt_percent": _rounded(self.burnt_percent),
            "light_ratio": _rounded(self.correction.light_ratio) if self.correction else None,
            "note": self.sighting.note if self.sighting else "",
        }

    def left_out(self) -> dict[str, str]:
        """Return which patches were left out, each with why."""
        if self.sighting is None:
            return {}
        patches = self.sighting.patches
        return {name: why for name, why in zip(patches.names, patches.left_out, strict=True) if why}

    def _card_dict(self) -> dict[str, Any] | None:
        if self.sighting is None:
            return None
        mean, worst = (
            (self.correction.de00_loo_mean, self.correction.de00_loo_max) if self.correction else (None, None)
        )
        return self.sighting.to_dict() | {"de00_loo_mean": _rounded(mean), "de00_loo_max": _rounded(worst)}


def check_photo(
    path: Path,
    *,
    values: PatchValues | None = None,
    chart_width_mm: float | None = None,
    polygon: Polygon | None = None,
    doubts: Flag = Flag(0),  # noqa: B008 (flags never change)
) -> PhotoCheck:
    """Look at one photo; never raises for a photo that is bad, since that is what it answers.

    Args:
        path: The photo.
        values: The card's own colours by patch name, encoded sRGB, 0..1; else the nominal ones.
        chart_width_mm: Width of the patches of a 24-patch chart that stands in for the card, if it is known.
        polygon: The bin's outline as the trial gives it, which serves where rim tags are not seen.
        doubts: What is in doubt of the photo's date.
    """
    try:
        photo = open_photo(path)
    except PhotoError as error:
        return _refusal(path, error, error.flag)
    burnt = _burnt_percent(photo.pixels)
    try:
        sighting = find_card(photo.pixels, values=values, chart_width_mm=chart_width_mm)
        enough = sighting.patches.used.mean() >= _FEWEST_PATCHES
        correction = fit_correction(sighting.patches) if enough else None
        small, region = _small_surface(photo, sighting, polygon)
    except CardError as error:
        return _refusal(path, error, error.flag | photo.flags, burnt=burnt)
    flags = photo.flags | doubts | card_doubts(sighting, region.source) | region.flags & ~Flag.WHOLE_PHOTO
    if correction is None:
        flags |= Flag.POOR_COLOUR
    else:
        flags |= correction.flags | surface_glare(small, correction.apply(small), region.mask, sighting)
    return PhotoCheck(
        photo=path,
        flags=flags,
        sighting=sighting,
        correction=correction,
        burnt_percent=burnt,
        surface=region.source,
        digest=photo.digest,
    )


def _small_surface(
    photo: Photo, sighting: Sighting, polygon: Polygon | None
) -> tuple[npt.NDArray[np.uint8], Region]:
    """Return the photo made small, and where the surface is on it.

    Raises:
        CardError: There is hardly any surface beside the card.
    """
    height, width = photo.pixels.shape[:2]
    scale = min(1.0, _SIDE_PX / max(height, width))
    small = cv2.resize(photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    region = find_region((small.shape[0], small.shape[1]), sighting, scale=scale, polygon=polygon)
    region.refuse_if_tiny(px_per_mm=scale / sighting.mm_per_px)
    return np.asarray(small, np.uint8), region


def _blocking(flags: Flag) -> bool:
    return any(note.blocks for flag, note in NOTES.items() if flag in flags)


def _refusal(
    path: Path, error: PhotoError | CardError, flags: Flag, *, burnt: float | None = None
) -> PhotoCheck:
    return PhotoCheck(
        photo=path,
        flags=flags,
        sighting=None,
        correction=None,
        burnt_percent=burnt,
        refusal=f"{error.what}: {error.hint[0].lower()}{error.hint[1:]}" if error.hint else error.what,
    )


def _burnt_percent(pixels: npt.NDArray[np.uint8]) -> float:
    """Return the share of burnt-out pixels in percent, from every fourth row and column."""
    red, green, blue = np.moveaxis(pixels[::4, ::4], 2, 0)
    return float(100 * (np.minimum(np.minimum(red, green), blue) >= BURNT).mean())


def _rounded(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), 3)

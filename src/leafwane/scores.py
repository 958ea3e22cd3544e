"""The score of one photo: what was measured, how sure it is, and what stands in doubt."""

import math
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from leafwane.flags import NOT_IN_CURVE, Flag, flag_names
from leafwane.trialfile import Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What one photo says of its bin.

    A photo that could not be scored has `None` for every figure and says in `message` why, and what to do.

    Attributes:
        photo: The photo's path, relative to the trial's folder where it lies inside it, with forward slashes.
        bin: The bin's name.
        date: The day of the check-in; None if unknown.
        date_source: Where the date comes from: "name", "exif" or "none".
        leaf_percent: Leaf area over surface area, 0..100.
        leaf_err: One standard error of `leaf_percent`, in points of cover.
        castings_percent: Castings area over surface area, 0..100.
        other_percent: Everything that is neither leaf nor castings, 0..100.
        unsure_percent: Surface whose class is a guess, 0..100; it is part of the classes above.
        shine_percent: Surface under wet shine, 0..100; it is part of the classes above.
        kinds_percent: What `other_percent` is made of, by kind, 0..100 of the surface.
        surface_cm2: Area of the surface in square centimetres.
        mm_per_px: Millimetres a photo pixel at the card's middle.
        card_de00: Leave-one-patch-out mean CIEDE2000 difference of the correction.
        fragments_per_dm2: Separate pieces of leaf a square decimetre of surface.
        fragment_median_mm2: Area of the piece that halves the leaf area: half lies in smaller pieces.
        fragment_largest_mm2: Area of the largest piece.
        flags: Marks of doubt.
        method: Version of the method that made these figures.
        message: Empty when scored; else one line for people.
        overlay: File name of the overlay picture in the output folder; empty if none was written.
        card: Kind of the card in the photo, such as "leafwane-1"; empty when not scored.
        surface: What bounds the surface: "rim", "outline" or "photo"; empty when not scored.
        digest: SHA-256 of the file's bytes, in hexadecimal; empty when not scored.
    """

    photo: str
    bin: str
    date: date | None
    date_source: str
    leaf_percent: float | None = None
    leaf_err: float | None = None
    castings_percent: float | None = None
    other_percent: float | None = None
    unsure_percent: float | None = None
    shine_percent: float | None = None
    kinds_percent: dict[str, float] = field(default_factory=dict)
    surface_cm2: float | None = None
    mm_per_px: float | None = None
    card_de00: float | None = None
    fragments_per_dm2: float | None = None
    fragment_median_mm2: float | None = None
    fragment_largest_mm2: float | None = None
    flags: Flag
    method: str
    message: str
    overlay: str = ""
    card: str = ""
    surface: str = ""
    digest: str = ""

    @property
    def scored(self) -> bool:
        """Whether the photo has a score."""
        return self.leaf_percent is not None

    @property
    def in_curve(self) -> bool:
        """Whether the photo counts in a check-in: it has a figure and a date, and nothing that keeps it out."""
        known = self.leaf_percent is not None and math.isfinite(self.leaf_percent)
        return known and self.date is not None and not self.flags & NOT_IN_CURVE

    def to_dict(self) -> dict[str, Any]:
        """Return plain Python values, dates as ISO 8601 and flags by name."""
        plain: dict[str, Any] = {name: getattr(self, name) for name in self.__dataclass_fields__}
        plain["date"] = self.date.isoformat() if self.date else None
        plain["flags"] = list(flag_names(self.flags))
        return plain


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreSettings:
    """What a trial says of how its photos are scored.

    Attributes:
        polygon: Outline of the surface, points as fractions (x, y) of photo width and height, or None.
        card_values: The card's own patch values by patch name, encoded sRGB 0..1; None for the nominal ones.
        chart_width_mm: Width of the 24 patches of a colour chart that stands in for the card; None if not known.
    """

    polygon: Polygon | None = None
    card_values: dict[str, tuple[float, float, float]] | None = None
    chart_width_mm: float | None = None

"""What is known of a card once it is found: the shapes that finding hands to colour, surface and people."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from leafwane.card.design import Points
from leafwane.flags import Flag, raised

_TILTED_DEG: Final = 20
_SMALL_MM_PER_PX: Final = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchSamples:
    """The patches as the photo shows them, beside what they should be.

    Attributes:
        names: The patches' names, n of them.
        measured: (n, 3) encoded sRGB, 0..1, the robust centre of each patch; NaN where it is out of the photo.
        reference: (n, 3) encoded sRGB, as a rule 0..1; a colour outside sRGB lies outside that range.
        nominal: (n, 3) what the design says they are, which tells greys and twins; `reference` where that is nominal.
        spread: (n,) how far the parts of a patch differ from its centre, encoded sRGB, one robust deviation.
        used: (n,) whether the patch can be trusted.
        left_out: Why a patch is not used, in plain words; empty where it is used.
        centres_mm: (n, 2) the patches' middles on the card.
    """

    names: tuple[str, ...]
    measured: Points
    reference: Points
    nominal: Points
    spread: npt.NDArray[np.float64]
    used: npt.NDArray[np.bool_]
    left_out: tuple[str, ...]
    centres_mm: Points


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A card found in a photo. Points are photo pixels, x right, y down, pixel centres at whole numbers.

    Attributes:
        kind: "leafwane-1" or "chart24".
        corners: (4, 2) the card's outer edge, clockwise from the card's own top left.
        to_px: (3, 3) homography from card mm to photo pixels.
        mm_per_px: Size of a pixel at the card's middle; NaN where the card's true size is not known.
        tilt_deg: Angle between the lens's axis and straight down on the card, 0..90.
        blur_px: Width of a sharp edge in the photo, as the sigma of a Gaussian; NaN where not measured.
        n_tags: How many of the card's tags were read or confirmed; 0 for a card without tags.
        patches: The colour patches.
        rim: (4, 2) the corners of the surface by its rim tags, clockwise from the top left, or None.
        flags: What is in doubt.
        edition: Which edition of a chart's published values fits best; empty for our card.
        frame: (4, 2) the outer edge of the frame round a chart's patches; None where `corners` are the outer edge.
        note: What else there is to say of the card, in plain words; may be empty.
    """

    kind: str
    corners: Points
    to_px: Points
    mm_per_px: float
    tilt_deg: float
    blur_px: float
    n_tags: int
    patches: PatchSamples
    rim: Points | None
    flags: Flag
    edition: str = ""
    frame: Points | None = None
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return what people and programs are told of the card, as plain Python."""
        known_size = bool(np.isfinite(self.mm_per_px))
        return {
            "kind": self.kind,
            "corners": self.corners.round(2).tolist(),
            "mm_per_px": round(self.mm_per_px, 5) if known_size else None,
            "tilt_deg": round(self.tilt_deg, 1),
            "patches_used": int(self.patches.used.sum()),
            "edition": self.edition,
        }


def view_doubts(*, mm_per_px: float, tilt_deg: float) -> Flag:
    """Return what is in doubt about where a card or chart was seen from: from too far, or too much from the side.

    Args:
        mm_per_px: As in `Sighting`; NaN, of a card whose size is not known, raises nothing.
        tilt_deg: As in `Sighting`.
    """
    return raised({Flag.SMALL_CARD: mm_per_px > _SMALL_MM_PER_PX, Flag.TILTED: tilt_deg > _TILTED_DEG})

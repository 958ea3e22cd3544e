"""The strip of photos: each check-in as a small picture beside its overlay, ready to stand inside a page.

The pictures are made anew from pixels, so that nothing of the photo's own data, such as the place, goes with them.
"""

import base64
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from leafwane.errors import PhotoError
from leafwane.photo import open_photo
from leafwane.scores import Score

WIDEST = 320
"""Width of a small picture in pixels, where there are few."""

NARROWEST = 112
"""Width below which leaf and castings can no longer be told by eye."""

N_WIDEST = 40
"""Most photos that are shown at full width; beyond that, more photos are shown smaller."""

QUALITY = 72
"""Quality of the small JPEG files, 1..95."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One photo of the strip.

    Attributes:
        score: The photo's score.
        photo: The small picture as a data address; empty if the file cannot be read.
        overlay: The overlay as a data address; empty if there is none.
    """

    score: Score
    photo: str
    overlay: str


def film_frames(scores: Sequence[Score], *, root: Path, out: Path) -> tuple[Frame, ...]:
    """Make the small pictures of a trial's scored photos, in the order given.

    Args:
        scores: Scores of photos; those without a score are left out.
        root: Folder that photo names start from.
        out: Folder that overlay names start from.
    """
    scored = [score for score in scores if score.scored]
    width = small_width(len(scored))

    def frame(score: Score) -> Frame:
        overlay = small_jpeg(out / score.overlay, width) if score.overlay else ""
        return Frame(score=score, photo=small_jpeg(root / score.photo, width), overlay=overlay)

    return tuple(map(frame, scored))


def small_width(n_photos: int) -> int:
    """Return the width in pixels at which n photos make a page of bounded size."""
    if n_photos <= N_WIDEST:
        return WIDEST
    return max(NARROWEST, int(WIDEST * math.sqrt(N_WIDEST / n_photos)))


def small_jpeg(path: Path, width: int) -> str:
    """Return a picture, no wider or higher than `width` pixels, as a data address; empty if it cannot be read."""
    try:
        picture = Image.fromarray(open_photo(path).pixels)
    except PhotoError:
        return ""
    picture.thumbnail((width, width), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, format="JPEG", quality=QUALITY, optimize=True)
    return data_address(file.getvalue(), "image/jpeg")


def data_address(content: bytes, kind: str) -> str:
    """Return bytes as an address that holds them (RFC 2397)."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"

"""One photo from file to score, the steps in order: photo, card, colour, surface, classes, cover."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from leafwane.atomic import make_folder, write_bytes
from leafwane.card.find import find_card
from leafwane.card.sighting import Sighting
from leafwane.colour.correction import Correction, fit_correction
from leafwane.errors import CardError, PhotoError
from leafwane.flags import NOTES, Flag
from leafwane.overlay import draw_overlay, explain_sheet
from leafwane.photo import Photo, open_photo
from leafwane.results import picture_name
from leafwane.scores import Score, ScoreSettings
from leafwane.surface.classes import PX_PER_MM, ClassMap, classify
from leafwane.surface.cover import Cover, measure_cover
from leafwane.surface.glare import surface_glare
from leafwane.surface.region import Region, card_doubts, extent, find_region
from leafwane.trial import DatedPhoto

METHOD: Final = "net-21"
LARGEST_ENLARGEMENT: Final = 1.5  # a photo that is coarser than this is scored as it is, and flagged
LARGEST_SIDE_PX: Final = 3000  # 94 cm; a surface as large as such a photo takes 5 GB of memory
MARGIN_PX: Final = 48  # shown around the surface
MUCH_SHINE_PERCENT: Final = 8.0
MUCH_UNSURE_PERCENT: Final = 25.0
_JPEG_QUALITY: Final = 88


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What the steps saw in one photo, at the scale of `PX_PER_MM`.

    Attributes:
        seen: The part of the photo with the surface, at that scale, 8-bit sRGB (h, w, 3).
        corrected: Its true colours, encoded sRGB 0..1 (h, w, 3).
        sighting: The card, in photo pixels.
        correction: How the colours were corrected.
        region: The surface.
        classes: Leaf, castings, other.
        cover: What they add up to.
        flags: What is in doubt.
    """

    seen: NDArray[np.uint8]
    corrected: NDArray[np.float32]
    sighting: Sighting
    correction: Correction
    region: Region
    classes: ClassMap
    cover: Cover
    flags: Flag


def score_photo(
    dated: DatedPhoto, *, settings: ScoreSettings, root: Path, out: Path | None = None, explain: bool = False
) -> Score:
    """Score one photo; a photo that cannot be scored gives a score without figures that says why.

    Args:
        dated: The photo, its bin and its date.
        settings: What the trial says of how to score it.
        root: The trial's folder; the score names the photo relative to it.
        out: Folder for the overlay picture; None writes none.
        explain: Whether to write a sheet of what each step saw, too.

    Raises:
        OutputError: A picture cannot be written.
    """
    name = _name(dated.path, root)
    try:
        photo = open_photo(dated.path)
        look = look_at(photo, settings)
    except (CardError, PhotoError) as error:
        return _failed(dated, name, error)
    overlay = _write_pictures(look, name, out, explain=explain) if out is not None else ""
    return _score(dated, name, photo, look, overlay)


def look_at(photo: Photo, settings: ScoreSettings) -> Look:
    """Return what every step sees in a photo.

    Raises:
        CardError: The photo shows no card that can be used, none whose size is known, or hardly any surface beside it.
    """
    sighting = find_card(photo.pixels, values=settings.card_values, chart_width_mm=settings.chart_width_mm)
    if not np.isfinite(sighting.mm_per_px):
        note = NOTES[Flag.UNKNOWN_SIZE]
        raise CardError(note.meaning, flag=Flag.UNKNOWN_SIZE, hint=note.advice)
    scale = _scale(photo, sighting)
    seen = _scaled(photo.pixels, scale)
    whole = find_region((seen.shape[0], seen.shape[1]), sighting, scale=scale, polygon=settings.polygon)
    px_per_mm = scale / sighting.mm_per_px
    whole.refuse_if_tiny(px_per_mm=px_per_mm)
    rows, cols = extent(whole.mask, MARGIN_PX)
    region, seen = whole.cut(rows, cols), seen[rows, cols]
    to_px = _shifted(sighting.to_px, scale, rows.start, cols.start)
    correction = fit_correction(sighting.patches)
    corrected = correction.apply(seen, to_px=to_px)
    classes = classify(corrected, region.mask)
    flags = card_doubts(sighting, region.source) | correction.flags | region.flags
    flags |= surface_glare(seen, corrected, region.mask, sighting)
    cover = measure_cover(classes, region, px_per_mm=px_per_mm, flags=flags)
    return Look(seen=seen, corrected=corrected, sighting=sighting, correction=correction,
                region=region, classes=classes, cover=cover, flags=flags | _doubts(cover))  # fmt: skip


def _name(path: Path, root: Path) -> str:
    return path.relative_to(root).as_posix() if path.is_relative_to(root) else path.as_posix()


def _scale(photo: Photo, sighting: Sighting) -> float:
    """Return the factor that brings the photo to `PX_PER_MM`, within reason."""
    side = max(photo.pixels.shape[:2])
    return float(min(sighting.mm_per_px * PX_PER_MM, LARGEST_ENLARGEMENT, LARGEST_SIDE_PX / side))


def _scaled(pixels: NDArray[np.uint8], scale: float) -> NDArray[np.uint8]:
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=how), np.uint8)


def _shifted(to_px: NDArray[np.float64], scale: float, top: int, left: int) -> NDArray[np.float64]:
    """Return a homography to photo pixels as one to the pixels of a part of the scaled photo."""
    return np.array([[scale, 0, -left], [0, scale, -top], [0, 0, 1.0]]) @ to_px


def _doubts(cover: Cover) -> Flag:
    flags = Flag.MUCH_SHINE if cover.shine > MUCH_SHINE_PERCENT else Flag(0)
    return flags | (Flag.MUCH_UNSURE if cover.unsure > MUCH_UNSURE_PERCENT else Flag(0))


def _write_pictures(look: Look, name: str, out: Path, *, explain: bool) -> str:
    """Write the overlay and, if asked, the sheet; return the overlay's path within `out`."""
    picture = np.round(look.corrected * 255).astype(np.uint8)
    flat = picture_name(name)
    overlay = f"overlays/{flat}"
    _write_jpeg(out / overlay, draw_overlay(picture, look.classes, look.region))
    if explain:
        _write_jpeg(
            out / "explain" / flat,
            explain_sheet(look.seen, picture, look.classes, look.region, cover=look.cover),
        )
    return overlay


def _write_jpeg(path: Path, picture: NDArray[np.uint8]) -> None:
    make_folder(path.parent)
    _, encoded = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    write_bytes(path, encoded.tobytes())


def _score(dated: DatedPhoto, name: str, photo: Photo, look: Look, overlay: str) -> Score:
    cover = look.cover
    return Score(
        photo=name,
        bin=dated.bin,
        date=dated.date,
        date_source=dated.source,
        leaf_percent=cover.leaf,
        leaf_err=cover.error.total,
        castings_percent=cover.castings,
        other_percent=cover.other,
        unsure_percent=cover.unsure,
        shine_percent=cover.shine,
        kinds_percent=cover.kinds,
        surface_cm2=cover.surface_cm2,
        mm_per_px=look.sighting.mm_per_px,
        card_de00=look.correction.de00_loo_mean,
        fragments_per_dm2=cover.fragments.per_dm2,
        fragment_median_mm2=cover.fragments.median_mm2,
        fragment_largest_mm2=cover.fragments.largest_mm2,
        flags=photo.flags | dated.flags | look.flags,
        method=METHOD,
        message="",
        overlay=overlay,
        card=look.sighting.kind,
        surface=look.region.source,
        digest=photo.digest,
    )


def _failed(dated: DatedPhoto, name: str, error: CardError | PhotoError) -> Score:
    advice = error.hint or NOTES[error.flag].advice
    return Score(
        photo=name,
        bin=dated.bin,
        date=dated.date,
        date_source=dated.source,
        flags=dated.flags | error.flag,
        method=METHOD,
        message=f"{name}: {error.what}. {advice[:1].upper()}{advice[1:]}",
    )

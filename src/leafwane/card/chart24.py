"""Finding the usual 24-patch colour rendition chart, and which edition of its published values fits it."""

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.chart24_values import EDITIONS, PATCH_NAMES, edition_rgb
from leafwane.card.design import Points
from leafwane.card.geometry import homography, project, tilt_deg, turns_clockwise
from leafwane.card.patches import SOILED, PatchTable, Reason, rank_agreement, sample_patches
from leafwane.card.sighting import PatchSamples, Sighting
from leafwane.colour.spaces import delta_e_2000, linear_to_lab, srgb_to_lab, srgb_to_linear
from leafwane.errors import CardError
from leafwane.flags import NOTES, Flag

KIND: Final = "chart24"

# OpenCV's own proportions: patches 2.5 wide, 2.75 apart, 0.25 of edge; the full-size chart has patches of 40 mm.
_UNIT_MM: Final = 16.0
_PATCH_MM: Final = 2.5 * _UNIT_MM
_PITCH_MM: Final = 2.75 * _UNIT_MM
_EDGE_MM: Final = 0.25 * _UNIT_MM
_BOX_MM: Final = (16.75 * _UNIT_MM, 11.25 * _UNIT_MM)

_TRIES: Final = (
    (1000, 0),
    (2000, 0),
    (1400, 0),
    (2000, 1),
)  # px and random seed: no one of them sees every chart
_AGREEMENT: Final = 0.9  # rank correlation of lightness over 24 patches; a heap of leaves does not reach it
_FEWEST_USED: Final = 12


def find_chart(pixels: npt.NDArray[np.uint8], *, corners: Points | None = None) -> Sighting:
    """Find a 24-patch colour rendition chart.

    Args:
        pixels: The photo, (h, w, 3) 8-bit sRGB, upright.
        corners: (4, 2) photo pixels, the outer corners of the patches from the dark skin patch, past bluish green,
            black and white, where a person had to point them out; else the chart is searched for.

    Returns:
        What was found. Charts come in several sizes that look alike, so `mm_per_px` is NaN, and `to_px` and the
        patches' centres are those of a full-size chart. `note` says which edition of the published values fits.

    Raises:
        CardError: There is no such chart, with flag NO_CARD.
    """
    for box in [corners] if corners is not None else _boxes(pixels):
        sighting = _sighting(pixels, np.asarray(box, dtype=np.float64))
        if sighting is not None:
            return sighting
    note = NOTES[Flag.NO_CARD]
    raise CardError("no 24-patch colour chart was found", flag=Flag.NO_CARD, hint=note.advice)


def _boxes(pixels: npt.NDArray[np.uint8]) -> Iterator[Points]:
    """Yield the corners of what may be charts, (4, 2), from the dark skin patch on."""
    for side, seed in _TRIES:
        scale = min(1.0, side / max(pixels.shape))
        view = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        cv2.setRNGSeed(seed)  # the detector draws lots; one photo gives one answer
        detector = cv2.mcc.CCheckerDetector.create()
        if detector.process(cv2.cvtColor(view, cv2.COLOR_RGB2BGR), 1):
            box = np.array(detector.getBestColorChecker().getBox(), dtype=np.float64)
            yield (box + 0.5) / scale - 0.5


def _sighting(pixels: npt.NDArray[np.uint8], box: Points) -> Sighting | None:
    """Return what the photo shows of a chart with these corners, or None where that is no chart."""
    to_px = homography(_outline_mm(), box)
    if to_px is None or not turns_clockwise(box):
        return None
    samples = {name: sample_patches(pixels, to_px, _table(name)) for name in EDITIONS}
    misfits = {name: _misfit(patches) for name, patches in samples.items()}
    edition = min(misfits, key=lambda name: misfits[name])
    patches = samples[edition]
    if rank_agreement(patches) < _AGREEMENT or patches.used.sum() < _FEWEST_USED:
        return None
    fits = "; ".join(f"{name} {misfit:.2f}" for name, misfit in misfits.items())
    flags = Flag.PATCHES_LEFT_OUT if set(SOILED).intersection(patches.left_out) else Flag(0)
    return Sighting(
        kind=KIND,
        corners=project(to_px, _outline_mm()),
        to_px=to_px,
        mm_per_px=float("nan"),
        tilt_deg=tilt_deg(to_px, (pixels.shape[1], pixels.shape[0])),
        blur_px=float("nan"),
        n_tags=0,
        patches=patches,
        rim=None,
        flags=flags | (Flag.CLIPPED if Reason.BURNT in patches.left_out else Flag(0)),
        edition=edition,
        note=f"24-patch chart, edition {edition} (mean colour difference left: {fits}); its size is not known",
    )


def _outline_mm() -> Points:
    width, height = _BOX_MM
    return np.array([(0, 0), (width, 0), (width, height), (0, height)])


def _table(edition: str) -> PatchTable:
    centres = [(column, row) for row in range(4) for column in range(6)]
    return PatchTable(
        names=PATCH_NAMES,
        reference=edition_rgb(edition),
        centres_mm=np.array(centres) * _PITCH_MM + _EDGE_MM + _PATCH_MM / 2,
        side_mm=_PATCH_MM,
    )


def _misfit(patches: PatchSamples) -> float:
    """Return the mean colour difference that a 3x3 in linear light leaves; inf where too few patches are used."""
    if patches.used.sum() < _FEWEST_USED:
        return float("inf")
    light = srgb_to_linear(patches.measured[patches.used])
    reference = patches.reference[patches.used]
    matrix = np.linalg.lstsq(light, srgb_to_linear(reference), rcond=None)[0]
    return float(delta_e_2000(linear_to_lab(light @ matrix), srgb_to_lab(reference)).mean())

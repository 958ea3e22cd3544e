"""Reading the tags of card and rim, the right way round or mirrored, in views of a photo that suit the reader."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from leafwane.card.design import CARD_TAGS, RIM_TAGS, TAG_FAMILY, Points, tag_bits

Grey: TypeAlias = npt.NDArray[np.uint8]

_IDS: Final = CARD_TAGS + RIM_TAGS
_QUICK_SIDE: Final = 1400  # px; the long side that is read first, since most cards are large
_FINE_SIDE: Final = 2000  # px; a card of 220 px in a photo of 4000 is still read at this size
_ENLARGED_SIDE: Final = 2400  # px; photos up to half of this are also read enlarged
_CRUMB_PX: Final = 5  # at the first size
_COARSE: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tag:
    """A tag read in a photo.

    Attributes:
        tag_id: 0..3 on the card, 10..13 on the rim.
        mirrored: Whether it was read as its mirror image.
        corners: (4, 2) photo pixels, the black square's corners from the tag's own top left, clockwise on the print.
    """

    tag_id: int
    mirrored: bool
    corners: Points

    @property
    def side_px(self) -> float:
        """Mean side of the black square."""
        return float(np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1).mean())

    def same_as(self, other: "Tag") -> bool:
        """Return whether another reading is of this very tag: same id, same way round, same place."""
        gap = float(np.linalg.norm(self.corners.mean(axis=0) - other.corners.mean(axis=0)))
        same_kind = (self.tag_id, self.mirrored) == (other.tag_id, other.mirrored)
        return same_kind and gap < self.side_px / 2


def views(grey: Grey) -> Iterator[tuple[Grey, float]]:
    """Yield the photo in the forms in which tags are looked for, the cheap ones first, with their scale."""
    quick = min(1.0, _QUICK_SIDE / max(grey.shape))
    small = _resized(grey, quick)
    yield small, quick
    yield without_crumbs(small, _CRUMB_PX), quick
    fine = min(1.0, _FINE_SIDE / max(grey.shape))
    if quick < fine:
        yield even_contrast(_resized(grey, fine)), fine
    double = min(2.0, _ENLARGED_SIDE / max(grey.shape))
    if double > 1:
        yield sharpened(even_contrast(_resized(grey, double)), 1.5 * double), double


def even_contrast(grey: Grey) -> Grey:
    """Return the photo with local mean and local contrast made alike, so that dim and shaded tags stand out.

    Both are taken from a picture a quarter as large, since they change slowly.
    """
    side = max(15, max(grey.shape) // 24)
    coarse = (-(-grey.shape[1] // _COARSE), -(-grey.shape[0] // _COARSE))
    values = cv2.resize(grey, coarse, interpolation=cv2.INTER_AREA).astype(np.float32)
    window = (side // _COARSE | 1,) * 2
    mean = cv2.blur(values, window)
    deviation = np.sqrt(np.maximum(cv2.blur(values * values, window) - mean * mean, 0)) + 4
    size = grey.shape[::-1]
    gain = cv2.resize(64 / deviation, size)
    level = cv2.resize(128 - 64 * mean / deviation, size)
    spread = cv2.multiply(grey, gain, dtype=cv2.CV_32F)
    return np.asarray(cv2.add(spread, level, dtype=cv2.CV_8U), dtype=np.uint8)


def without_crumbs(grey: Grey, size_px: int) -> Grey:
    """Return the photo without dark specks of up to `size_px`, which break the outlines of tags."""
    return np.asarray(
        cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((size_px, size_px), np.uint8)), dtype=np.uint8
    )


def sharpened(grey: Grey, sigma: float) -> Grey:
    """Return the photo with blur of about `sigma` pixels partly undone."""
    soft = cv2.GaussianBlur(grey, (0, 0), sigma)
    return np.asarray(cv2.addWeighted(grey, 3.0, soft, -2.0, 0), dtype=np.uint8)


def read_tags(view: Grey, scale: float) -> list[Tag]:
    """Return the tags that stand in a view, with corners in pixels of the photo it was made from."""
    corners, numbers, _ = _reader().detectMarkers(view)
    tags = []
    for quad, number in zip(corners, [] if len(corners) == 0 else np.ravel(numbers), strict=True):
        mirrored, index = divmod(int(number), len(_IDS))
        points = (quad.reshape(4, 2).astype(np.float64) + 0.5) / scale - 0.5
        # The mirror image's corners are named from its own left, which is the print's right.
        tags.append(
            Tag(
                tag_id=_IDS[index],
                mirrored=bool(mirrored),
                corners=points[[1, 0, 3, 2]] if mirrored else points,
            )
        )
    return tags


def _resized(grey: Grey, scale: float) -> Grey:
    if scale == 1:
        return grey
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=how), dtype=np.uint8)


@cache
def _reader() -> cv2.aruco.ArucoDetector:
    """Return the detector of the eight tags and their eight mirror images."""
    bits = [tag_bits(tag_id)[1:-1, 1:-1] for tag_id in _IDS]
    both = bits + [np.ascontiguousarray(square[:, ::-1]) for square in bits]
    family = cv2.aruco.getPredefinedDictionary(TAG_FAMILY)
    codes = np.concatenate([cv2.aruco.Dictionary.getByteListFromBits(square) for square in both])
    dictionary = cv2.aruco.Dictionary(codes, bits[0].shape[0], family.maxCorrectionBits)
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = 7
    settings.adaptiveThreshWinSizeMax = 47
    settings.adaptiveThreshWinSizeStep = 20
    settings.minMarkerPerimeterRate = 0.02
    # Crumbs bend outlines and hide modules; of 62,000 outlines on surfaces and textures none is read as a tag like this,
    # and the print between the tags has the last word on where a card is.
    settings.polygonalApproxAccuracyRate = 0.05
    settings.errorCorrectionRate = 0.8
    settings.maxErroneousBitsInBorderRate = 0.5
    settings.perspectiveRemovePixelPerCell = 6
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return cv2.aruco.ArucoDetector(dictionary, settings)

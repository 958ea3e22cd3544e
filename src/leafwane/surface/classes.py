"""The class of every surface pixel: leaf, castings or other, by two small networks in one file, trained on painted surfaces."""

from dataclasses import dataclass
from enum import IntEnum
from functools import cache
from importlib import resources
from threading import Lock
from typing import Final, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from leafwane.surface.region import extent

FloatImage = NDArray[np.float32]
_Scalar = TypeVar("_Scalar", bound=np.generic)

HIDDEN: Final = 0.5  # grey laid over all but the surface, lest a lawn beside it pass for leaf
PX_PER_MM: Final = 3.2  # the scale that the networks were trained at
UNSURE_WITHIN: Final = (0.25, 0.75)  # chances of leaf that are called a guess
_WEIGHTS: Final = "leafnet.onnx"
_ONE_AT_A_TIME: Final = Lock()  # the network holds its input
_STRIDE: Final = 16
_SMALLEST: Final = 32  # a single row or column at the coarsest level makes OpenCV 5.0 read beyond its memory
_KINDS: Final = ("castings", "leaf", "grit", "paper", "worm", "food", "wood")
OTHER_KINDS: Final = _KINDS[2:]


class PixelClass(IntEnum):
    """Codes of the class map."""

    CASTINGS = 0
    LEAF = 1
    OTHER = 2
    CARD = 3
    OUTSIDE = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassMap:
    """What each pixel of a picture is taken for.

    Attributes:
        leaf: Chance that the pixel is leaf, 0..1, (h, w).
        castings: Chance that it is castings, 0..1, (h, w).
        kind: The likeliest kind of other, an index into `OTHER_KINDS`, (h, w).
        shine: Whether mirrored light hides the pixel, bool (h, w).
    """

    leaf: FloatImage
    castings: FloatImage
    kind: NDArray[np.uint8]
    shine: NDArray[np.bool_]

    @property
    def labels(self) -> NDArray[np.uint8]:
        """The likeliest `PixelClass` of each pixel, without card and outside, (h, w)."""
        other = 1 - self.leaf - self.castings
        castings = (self.castings >= self.leaf) & (self.castings >= other)
        leaf = np.where(self.leaf >= other, np.uint8(PixelClass.LEAF), np.uint8(PixelClass.OTHER))
        return np.where(castings, np.uint8(PixelClass.CASTINGS), leaf)

    @property
    def unsure(self) -> NDArray[np.bool_]:
        """Whether the pixel's class is a guess, (h, w)."""
        low, high = UNSURE_WITHIN
        return (self.leaf > low) & (self.leaf < high)


def classify(colour: FloatImage, surface: NDArray[np.bool_] | None = None) -> ClassMap:
    """Return the classes of a corrected picture at `PX_PER_MM`.

    Args:
        colour: Encoded sRGB 0..1, (h, w, 3).
        surface: Where the surface is, bool (h, w), not empty; all else is hidden from the network and its chances
            are 0. None takes the whole picture for surface.
    """
    if surface is None:
        surface = np.ones(colour.shape[:2], bool)
    box = extent(surface)
    inside = surface[box]
    logits = _logits(np.where(inside[..., None], colour[box], np.float32(HIDDEN)))
    kinds, shine = logits[:-1], logits[-1]
    odds = np.exp(kinds - kinds.max(axis=0))
    share = 1 / odds.sum(axis=0)

    def whole(part: NDArray[_Scalar]) -> NDArray[_Scalar]:
        picture = np.zeros(surface.shape, part.dtype)
        np.copyto(picture[box], part, where=inside)
        return picture

    return ClassMap(
        leaf=whole(odds[1] * share),
        castings=whole(odds[0] * share),
        kind=whole(np.argmax(kinds[2:], axis=0).astype(np.uint8)),
        shine=whole(shine > 0),
    )


def _logits(colour: FloatImage) -> FloatImage:
    """Return logits, (8, h, w): a plane a kind, which are quick to work on, and one of shine."""
    height, width = colour.shape[:2]
    below, right = (max(_SMALLEST, length + -length % _STRIDE) - length for length in (height, width))
    padded = cv2.copyMakeBorder(colour, 0, below, 0, right, borderType=cv2.BORDER_REFLECT_101)
    with _ONE_AT_A_TIME:
        network = _network()
        network.setInput(np.ascontiguousarray(padded.transpose(2, 0, 1)[None]))
        return np.array(network.forward()[0, :, :height, :width])


@cache
def _network() -> cv2.dnn.Net:
    weights = resources.files(__package__).joinpath(_WEIGHTS).read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))

"""The only door for pixels: a photo's file becomes an upright sRGB array of at most about 16 megapixels.

Pillow's file classes are called by name instead of through `Image.open`. That makes the list of formats an allow-list,
and leaves Pillow's process-wide pixel limit and plug-in registry as they are; the limit that holds is the one below.
"""

import hashlib
import io
import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

import numpy as np
import numpy.typing as npt
from PIL import ExifTags, Image
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile
from pillow_heif import HeifImageFile

from leafwane.errors import PhotoError
from leafwane.flags import Flag
from leafwane.profile import to_srgb

PHOTO_SUFFIXES = frozenset({".jpg", ".jpeg", ".jfif", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})

UNREAD_SUFFIXES = (
    frozenset({".avif", ".bmp", ".gif", ".hif", ".jp2", ".jxl", ".psd"})
    | {".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dng", ".nef", ".nrw"}
    | {".orf", ".pef", ".raf", ".raw", ".rw2", ".sr2", ".srw", ".x3f"}
)
"""How pictures end that are not read: those of other formats, and what cameras call raw."""

MAX_PIXELS = 210_000_000
"""The largest photo that is opened: phones reach 200 megapixels; more is taken for a decompression bomb."""

KEPT_PIXELS = 16_000_000
"""Photos above this are reduced to it."""

DRAFT_PIXELS = 10_000_000
"""A JPEG decoder may reduce by 2, 4 or 8 by itself, which costs nothing, but not below this."""

MIN_SIDE = 160
"""The shorter side, in pixels, below which no card can be read in the photo."""

PLAIN_STEPS = 57.625
"""Mean step that luminance is rounded to in the example table of the JPEG standard (ITU-T T.81, Table K.1)."""

COARSE_STEPS = 1.8 * PLAIN_STEPS
"""From here on, about quality 27 of 100, demo photos were seen to read up to some points, later up to 50 points off."""

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What turns a picture upright, by EXIF orientation; 1, 0 and others leave it."""

_SIDEWAYS = (5, 6, 7, 8)

_NO_PHOTO_HINT = "Give a photo in JPEG, PNG, WebP, TIFF or HEIC"

_UNREAD_HEADS = (
    (0, b"GIF8", "a GIF"),
    (0, b"8BPS", "a PSD"),
    (0, b"\0\0\0\x0cJXL ", "a JPEG XL"),
    (0, b"\0\0\0\x0cjP  ", "a JPEG 2000"),
    (4, b"ftypavif", "an AVIF"),
    (4, b"ftypavis", "an AVIF"),
)
"""How files of formats that are not read begin: from which byte on, with which bytes, and what they are called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A photo, decoded.

    Attributes:
        path: The file.
        pixels: uint8 (h, w, 3), sRGB, upright, RGB order, not to be written to. See-through parts are laid over white.
        taken: When the camera says it was taken (EXIF DateTimeOriginal), local time without a zone; else None.
        digest: SHA-256 of the file's bytes, in hexadecimal.
        full_size: Width and height in pixels before any reduction, upright.
        flags: PROFILE_UNUSABLE where the colours had to be taken for sRGB, COMPRESSED where little grain is left.
    """

    path: Path
    pixels: npt.NDArray[np.uint8]
    taken: datetime | None
    digest: str
    full_size: tuple[int, int]
    flags: Flag


def open_photo(path: Path) -> Photo:
    """Read and decode one photo; the file is only read.

    Raises:
        PhotoError: There is no such file, or it is no photo, cut short, too large or too small.
    """
    content = _read_bytes(path)
    with _plain_errors(path):
        picture = _open_picture(io.BytesIO(content))
        _check_size(picture.size)
        taken = _date_taken(picture)
        pixels, full_size, flags = _decode(picture)
    return Photo(
        path=path,
        pixels=pixels,
        taken=taken,
        digest=hashlib.sha256(content).hexdigest(),
        full_size=full_size,
        flags=flags,
    )


def read_taken(path: Path) -> datetime | None:
    """Return the camera's date of a photo, as a rule from the file's head alone; None if it has none.

    Raises:
        PhotoError: There is no such file, or it is no photo, too large or too small.
    """
    try:
        with path.open("rb") as file, _plain_errors(path):
            picture = _open_picture(file)
            _check_size(picture.size)  # a PNG file may hold its date behind its pixels, and is decoded for it
            return _date_taken(picture)
    except OSError as error:
        raise PhotoError(f"the file cannot be read ({error.strerror})", path=path) from error


def _read_bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise PhotoError("there is no such file", path=path, hint="Check the name") from error
    except OSError as error:
        raise PhotoError(f"the file cannot be read ({error.strerror})", path=path) from error


@contextmanager
def _plain_errors(path: Path) -> Iterator[None]:
    """Turn whatever a decoder raises on damaged bytes into one plain line, and keep its warnings quiet."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except PhotoError as error:
        raise PhotoError(error.what, path=path, hint=error.hint, flag=error.flag) from error
    except MemoryError as error:
        raise PhotoError(
            "the photo does not fit into memory", path=path, hint="Close other programs"
        ) from error
    except Exception as error:  # decoders of damaged bytes raise anything
        raise PhotoError(
            "the photo is damaged or cut short", path=path, hint="Copy it from the camera again"
        ) from error


def _open_picture(file: IO[bytes]) -> ImageFile:
    """Read a picture's head; the first bytes decide the format, whatever the name says."""
    head = file.read(16)
    file.seek(0)
    if not head:
        raise PhotoError("the file is empty", hint="Copy it from the camera again")
    return _reader_of(head)(file)


def _reader_of(head: bytes) -> type[ImageFile]:
    if head.startswith(b"\xff\xd8\xff"):
        return JpegImageFile
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return PngImageFile
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return WebPImageFile
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return TiffImageFile
    if head[4:8] == b"ftyp" and head[8:11] in (b"hei", b"hev", b"mif", b"msf"):
        return HeifImageFile
    for start, mark, name in _UNREAD_HEADS:
        if head.startswith(mark, start):
            raise PhotoError(f"this is {name} picture, which leafwane does not read", hint="Save it as JPEG")
    raise PhotoError("this is no photo", hint=_NO_PHOTO_HINT)


def _check_size(size: tuple[int, int]) -> None:
    """Refuse sizes that the head promises, before anything of that size is made."""
    if size[0] * size[1] > MAX_PIXELS:
        raise PhotoError(
            f"the photo is {size[0]} x {size[1]} pixels, more than {MAX_PIXELS // 1_000_000} megapixels",
            hint="Save it smaller",
        )
    if min(size) < MIN_SIDE:
        raise PhotoError(
            f"the photo is only {size[0]} x {size[1]} pixels",
            hint="Send the photo at full size",
            flag=Flag.TOO_SMALL,
        )


def _decode(picture: ImageFile) -> tuple[npt.NDArray[np.uint8], tuple[int, int], Flag]:
    """Decode, reduce, turn upright and bring to sRGB; also return the upright full size."""
    width, height = picture.size
    if picture.format == "JPEG":
        picture.draft(None, _reduced_size(picture.size, DRAFT_PIXELS))
    picture.load()
    orientation = _exif(picture).get(ExifTags.Base.Orientation, 1)  # some formats turn while loading
    profile = picture.info.get("icc_profile")
    image = _over_white(_eight_bits(picture))
    if image.width * image.height > KEPT_PIXELS:
        image = image.resize(_reduced_size(image.size, KEPT_PIXELS), Image.Resampling.BOX)
    if orientation in _TURNS:
        image = image.transpose(_TURNS[orientation])
    full_size = (height, width) if orientation in _SIDEWAYS else (width, height)
    rgb, flags = to_srgb(image, profile=profile)
    if profile is None and _names_other_colours(picture):
        flags |= Flag.PROFILE_UNUSABLE
    if isinstance(picture, JpegImageFile) and _finest_steps(picture) > COARSE_STEPS:
        flags |= Flag.COMPRESSED
    return np.asarray(rgb, dtype=np.uint8), full_size, flags


def _finest_steps(picture: JpegImageFile) -> float:
    """Return the mean step of the finest of a JPEG's tables, which is that of luminance."""
    return min(float(np.mean(steps)) for steps in picture.quantization.values())


def _reduced_size(size: tuple[int, int], pixels: int) -> tuple[int, int]:
    scale = min(1.0, math.sqrt(pixels / (size[0] * size[1])))
    return max(1, int(size[0] * scale)), max(1, int(size[1] * scale))


def _eight_bits(image: Image.Image) -> Image.Image:
    """Return an image of 8 bits a channel in mode L, RGB, RGBA or CMYK."""
    if image.mode.startswith("I"):
        return _from_sixteen_bits(image)
    if image.mode == "F":
        raise PhotoError("the photo's numbers are not those of a photo", hint=_NO_PHOTO_HINT)
    if image.mode in ("L", "RGB", "RGBA", "CMYK"):
        return image
    if image.has_transparency_data:
        return image.convert("RGBA")
    return image.convert("L" if image.mode == "1" else "RGB")


def _from_sixteen_bits(image: Image.Image) -> Image.Image:
    values = np.asarray(image)
    if values.min() < 0 or values.max() > 65535:
        raise PhotoError("the photo's numbers are not those of a photo", hint=_NO_PHOTO_HINT)
    return Image.fromarray(np.round(values / 257).astype(np.uint8))


def _over_white(image: Image.Image) -> Image.Image:
    """Lay see-through parts over white, as paper shows them."""
    if not image.has_transparency_data:
        return image
    shown = image.convert("RGBA")
    white = Image.new("RGB", shown.size, "white")
    white.paste(shown, mask=shown.getchannel("A"))
    return white


def _names_other_colours(picture: ImageFile) -> bool:
    """Whether a photo without a profile says by other means that its colours are not sRGB.

    Cameras name Adobe RGB by the file-name rule's sibling in EXIF, InteropIndex "R03" (DCF 2.0, Exif 2.3);
    HEIC names primaries by number, 1 being those of sRGB and 2 unknown (ITU-T H.273, Table 2).
    """
    interop = _exif(picture).get_ifd(ExifTags.IFD.Interop).get(ExifTags.Interop.InteropIndex)
    primaries = picture.info.get("nclx_profile", {}).get("color_primaries", 1)
    return interop == "R03" or int(primaries) not in (1, 2)


def _exif(picture: ImageFile) -> Image.Exif:
    try:
        return picture.getexif()
    except SyntaxError:  # what Pillow raises on data that is no EXIF; the pixels may be sound
        return Image.Exif()


def _date_taken(picture: ImageFile) -> datetime | None:
    text = _exif(picture).get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal)
    try:
        return datetime.strptime(str(text).strip("\0 ")[:19], "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 (EXIF has no zone)
    except ValueError:
        return None

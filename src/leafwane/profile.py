"""Colour profiles: what a file's numbers mean, turned into sRGB."""

import io
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

from leafwane.flags import Flag

_SPACE_OF_MODE = {"L": "GRAY", "RGB": "RGB", "CMYK": "CMYK"}


def to_srgb(image: Image.Image, *, profile: bytes | None) -> tuple[Image.Image, Flag]:
    """Return the image in mode RGB and sRGB colours, and PROFILE_UNUSABLE where its profile could not be used.

    The conversion is relative colorimetric (ICC.1:2022, 6.2.2), so white stays white. Without a profile, grey and RGB
    are taken for sRGB, which is what cameras mean; CMYK without a profile means no particular colours and is flagged.

    Args:
        image: Mode L, RGB or CMYK.
        profile: The ICC profile embedded in the file, if there is one.
    """
    if not profile and image.mode == "RGB":
        return image, Flag(0)
    if not profile:
        return image.convert("RGB"), Flag.PROFILE_UNUSABLE if image.mode == "CMYK" else Flag(0)
    try:
        space = _colour_space(profile)
        if space == "RGB" and image.mode == "L":  # greys of an RGB space, as editors save them
            image = image.convert("RGB")
        if space != _SPACE_OF_MODE[image.mode]:
            return image.convert("RGB"), Flag.PROFILE_UNUSABLE
        if image.mode == "RGB" and _is_srgb(profile):
            return image, Flag(0)
        return _applied(_transform(profile, image.mode), image), Flag(0)
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image.convert("RGB"), Flag.PROFILE_UNUSABLE


@lru_cache(maxsize=8)
def _colour_space(profile: bytes) -> str:
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    return opened.profile.xcolor_space.strip()


@lru_cache(maxsize=8)
def _transform(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform:
    return ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        mode,
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )


def _applied(transform: ImageCms.ImageCmsTransform, image: Image.Image) -> Image.Image:
    converted = ImageCms.applyTransform(image, transform)
    if converted is None:
        raise ValueError("the profile gave no picture")
    return converted


@lru_cache(maxsize=8)
def _is_srgb(profile: bytes) -> bool:
    """Whether the profile changes no colour of a coarse grid by more than rounding does."""
    levels = np.arange(0, 256, 15, dtype=np.uint8)
    grid = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(len(levels), -1, 3)
    converted = np.asarray(_applied(_transform(profile, "RGB"), Image.fromarray(grid)))
    return bool(np.abs(converted.astype(int) - grid).max() <= 1)

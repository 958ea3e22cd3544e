"""Photos come in upright, in sRGB and of bounded size, whatever the format."""

import hashlib
from datetime import datetime
from pathlib import Path

import colour
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageFile

from fixtures.icc import DISPLAY_P3, SRGB, grey_profile, rgb_profile
from fixtures.small_photos import block_colours, blocks, exif, jpeg_bytes, write_jpeg
from leafwane import photo
from leafwane.errors import PhotoError
from leafwane.flags import Flag
from leafwane.photo import PLAIN_STEPS, open_photo, read_taken

TAKEN = datetime(2031, 10, 4, 10, 15, 0)  # noqa: DTZ001 (EXIF has no zone)

# How the camera's sensor lay, by EXIF orientation (Exif 2.32, 4.6.4 A): what has to be done to an upright picture.
AS_STORED = {
    None: lambda upright: upright,
    0: lambda upright: upright,
    1: lambda upright: upright,
    2: np.fliplr,
    3: lambda upright: np.rot90(upright, 2),
    4: np.flipud,
    5: lambda upright: np.transpose(upright, (1, 0, 2)),
    6: lambda upright: np.rot90(upright, 1),
    7: lambda upright: np.transpose(np.rot90(upright, 2), (1, 0, 2)),
    8: lambda upright: np.rot90(upright, -1),
}


def save(path: Path, image: Image.Image, **options: object) -> Path:
    if path.suffix == ".heic":
        pillow_heif.from_pillow(image).save(path, **options)
    else:
        image.save(path, **options)
    return path


def worst_difference(pixels: np.ndarray, reference: np.ndarray) -> float:
    """Return the largest CIEDE2000 difference between blocks' colours."""
    lab = [colour.XYZ_to_Lab(colour.sRGB_to_XYZ(block_colours(image) / 255)) for image in (pixels, reference)]
    return float(np.max(colour.delta_E(*lab, method="CIE 2000")))


@pytest.mark.parametrize("orientation", AS_STORED)
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif"])
def test_photo_is_turned_upright(tmp_path, orientation, suffix):
    stored = np.ascontiguousarray(AS_STORED[orientation](blocks()))
    path = save(tmp_path / f"photo{suffix}", Image.fromarray(stored), exif=exif(orientation=orientation))

    opened = open_photo(path)

    assert opened.pixels.shape == blocks().shape
    assert opened.full_size == (320, 240)
    assert worst_difference(opened.pixels, blocks()) < 3


def test_every_turn_is_distinct():
    turned = [turn(blocks()).tobytes() for key, turn in AS_STORED.items() if key not in (None, 0)]
    assert len(set(turned)) == 8


def test_heic_that_its_decoder_turns_is_not_turned_again(tmp_path):
    heif = pillow_heif.from_pillow(Image.fromarray(np.ascontiguousarray(np.rot90(blocks(), 1))))
    heif.save(tmp_path / "photo.heic", quality=95, exif=exif(orientation=6).tobytes())

    opened = open_photo(tmp_path / "photo.heic")

    assert opened.full_size == (320, 240)
    assert worst_difference(opened.pixels, blocks()) < 3


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif", ".heic"])
def test_display_p3_is_turned_into_srgb(tmp_path, suffix):
    """The reference for the colours in Display P3 is colour-science."""
    in_p3 = colour.RGB_to_RGB(
        blocks() / 255, "sRGB", "Display P3", apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    stored = np.round(255 * in_p3).astype(np.uint8)
    path = save(
        tmp_path / f"photo{suffix}",
        Image.fromarray(stored),
        icc_profile=rgb_profile(DISPLAY_P3, name="Display P3"),
        **({"lossless": True} if suffix == ".webp" else {"quality": 95}),  # lossy WebP keeps fewer darks
    )
    plain = open_photo(write_jpeg(tmp_path / "plain.jpg"))

    opened = open_photo(path)

    assert opened.flags == Flag(0)
    assert worst_difference(opened.pixels, plain.pixels) < 2
    assert worst_difference(stored, plain.pixels) > 2.5  # what ignoring the profile would cost


def test_srgb_profile_leaves_the_numbers_alone(tmp_path):
    path = save(tmp_path / "photo.png", Image.fromarray(blocks()), icc_profile=rgb_profile(SRGB, name="sRGB"))
    np.testing.assert_array_equal(open_photo(path).pixels, blocks())


def test_grey_profile_is_used(tmp_path):
    grey = Image.fromarray(np.full((200, 200), 128, np.uint8))
    path = save(tmp_path / "photo.png", grey, icc_profile=grey_profile(1.8, name="Grey"))
    linear = (128 / 255) ** 1.8
    expected = 255 * (1.055 * linear ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    np.testing.assert_allclose(open_photo(path).pixels, expected, atol=1)


@pytest.mark.parametrize(
    "profile",
    [b"no profile", rgb_profile(SRGB, name="cut")[:200], grey_profile(1.8, name="grey for a coloured photo")],
    ids=["nonsense", "cut short", "of other colours"],
)
def test_unusable_profile_is_flagged(tmp_path, profile):
    path = save(tmp_path / "photo.png", Image.fromarray(blocks()), icc_profile=profile)
    opened = open_photo(path)
    assert opened.flags == Flag.PROFILE_UNUSABLE
    np.testing.assert_array_equal(opened.pixels, blocks())


def test_adobe_rgb_named_without_a_profile_is_flagged(tmp_path):
    path = save(tmp_path / "photo.jpg", Image.fromarray(blocks()), exif=exif(interop="R03"))
    assert open_photo(path).flags == Flag.PROFILE_UNUSABLE
    path = save(tmp_path / "usual.jpg", Image.fromarray(blocks()), exif=exif(interop="R98"))
    assert open_photo(path).flags == Flag(0)


def test_heic_whose_numbers_mean_display_p3_without_a_profile_is_flagged(tmp_path):
    path = tmp_path / "photo.heic"
    pillow_heif.from_pillow(Image.fromarray(blocks())).save(path, color_primaries=12)
    assert open_photo(path).flags == Flag.PROFILE_UNUSABLE


@pytest.mark.parametrize("mode", ["L", "LA", "P", "RGBA", "1"])
def test_modes_of_png(tmp_path, mode):
    image = Image.fromarray(blocks()).convert(mode)
    opened = open_photo(save(tmp_path / "photo.png", image))
    np.testing.assert_array_equal(opened.pixels, np.asarray(image.convert("RGB")))


def test_cmyk_is_read_and_flagged_since_it_names_no_colours(tmp_path):
    image = Image.fromarray(blocks()).convert("CMYK")
    opened = open_photo(save(tmp_path / "photo.jpg", image, quality=95))
    assert opened.flags == Flag.PROFILE_UNUSABLE
    assert worst_difference(opened.pixels, blocks()) < 3


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_sixteen_bits_are_scaled_to_eight(tmp_path, suffix):
    values = np.linspace(0, 65535, 200 * 200).reshape(200, 200).astype(np.uint16)
    opened = open_photo(save(tmp_path / f"photo{suffix}", Image.fromarray(values)))
    np.testing.assert_array_equal(opened.pixels[..., 0], np.round(values / 257))


@pytest.mark.parametrize(("quality", "flagged"), [(15, True), (25, True), (35, False), (75, False)])
def test_strong_compression_is_flagged(tmp_path, quality, flagged):
    opened = open_photo(save(tmp_path / "photo.jpg", Image.fromarray(blocks()), quality=quality))
    assert (Flag.COMPRESSED in opened.flags) is flagged


def test_plain_steps_are_those_of_the_jpeg_standard(tmp_path):
    """ITU-T T.81 (1992), Table K.1, first row: 16 11 10 16 24 40 51 61. At quality 50 the usual encoders write that table."""
    with Image.open(save(tmp_path / "photo.jpg", Image.fromarray(blocks()), quality=50)) as picture:
        steps = picture.quantization[0]
    assert steps[:8] == [16, 11, 10, 16, 24, 40, 51, 61]
    assert np.mean(steps) == PLAIN_STEPS


def test_a_jpeg_need_not_number_its_tables_from_0(tmp_path):
    plain = save(tmp_path / "photo.jpg", Image.fromarray(blocks()).convert("L"), quality=75).read_bytes()
    table = plain.index(b"\xff\xdb\x00\x43\x00") + 4
    frame = (
        plain.index(b"\xff\xc0") + 12
    )  # the number of the table that the one component uses (ITU-T T.81, B.2.2)
    renumbered = bytearray(plain)
    renumbered[table] = renumbered[frame] = 1
    (tmp_path / "photo.jpg").write_bytes(renumbered)
    assert Flag.COMPRESSED not in open_photo(tmp_path / "photo.jpg").flags


def test_see_through_parts_are_laid_over_white(tmp_path):
    pixels = np.dstack([blocks(), np.full((240, 320), 255, np.uint8)])
    pixels[:80, :80, 3] = 0
    pixels[:80, 80:160, 3] = 128
    opened = open_photo(save(tmp_path / "photo.png", Image.fromarray(pixels)))
    half = 255 - (128 / 255) * (255 - blocks()[0, 80].astype(float))
    np.testing.assert_array_equal(opened.pixels[:80, :80], 255)
    np.testing.assert_allclose(opened.pixels[40, 120], half, atol=1)
    np.testing.assert_array_equal(opened.pixels[80:], blocks()[80:])


def test_palette_with_a_see_through_colour(tmp_path):
    image = Image.fromarray(blocks()).convert("P", palette=Image.Palette.ADAPTIVE)
    image.info["transparency"] = image.getpixel((0, 0))
    opened = open_photo(save(tmp_path / "photo.png", image, transparency=image.getpixel((0, 0))))
    np.testing.assert_array_equal(opened.pixels[0, 0], 255)
    assert opened.pixels[-1, -1].max() < 200


@pytest.mark.parametrize(("width", "height"), [(8000, 6000), (6000, 4000), (4000, 3000)])
def test_large_photos_are_reduced(tmp_path, width, height):
    image = Image.fromarray(blocks()).resize((width, height), Image.Resampling.NEAREST)
    opened = open_photo(save(tmp_path / "photo.jpg", image, quality=60))
    kept_height, kept_width = opened.pixels.shape[:2]
    assert 10_000_000 <= kept_width * kept_height <= photo.KEPT_PIXELS
    assert kept_width / kept_height == pytest.approx(width / height, rel=1e-3)
    assert opened.full_size == (width, height)
    assert worst_difference(opened.pixels, blocks()) < 3


def test_pillow_s_own_limit_is_neither_asked_nor_changed(tmp_path, monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    assert open_photo(write_jpeg(tmp_path / "photo.jpg")).pixels.shape == (240, 320, 3)
    assert Image.MAX_IMAGE_PIXELS == 1000


def test_date_and_digest_come_from_the_file(tmp_path):
    path = write_jpeg(tmp_path / "photo.jpg", taken=TAKEN)
    opened = open_photo(path)
    assert opened.taken == TAKEN == read_taken(path)
    assert opened.digest == hashlib.sha256(jpeg_bytes(blocks(), taken=TAKEN)).hexdigest()


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif", ".heic"])
def test_date_is_read_from_every_format(tmp_path, suffix):
    path = save(tmp_path / f"photo{suffix}", Image.fromarray(blocks()), exif=exif(taken=TAKEN).tobytes())
    assert read_taken(path) == TAKEN


@pytest.mark.parametrize("read", [open_photo, read_taken])
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif", ".heic"])
def test_a_bomb_is_known_by_its_head(tmp_path, monkeypatch, read, suffix):
    path = save(tmp_path / f"photo{suffix}", Image.fromarray(blocks()))
    monkeypatch.setattr(photo, "MAX_PIXELS", 320 * 240 - 1)
    monkeypatch.setattr(
        ImageFile.ImageFile, "load", lambda _picture: pytest.fail("decoded before it was measured")
    )
    with pytest.raises(PhotoError, match="320 x 240 pixels, more than"):
        read(path)


def test_without_exif_there_is_no_date(tmp_path):
    assert read_taken(write_jpeg(tmp_path / "photo.jpg")) is None


@pytest.mark.parametrize("suffix", [".png", ".webp"])
def test_a_photo_whose_exif_is_broken_is_read_without_it(tmp_path, suffix):
    path = save(tmp_path / f"photo{suffix}", Image.fromarray(blocks()), exif=b"Exif\0\0no such thing")
    assert open_photo(path).pixels.shape == (240, 320, 3)
    assert read_taken(path) is None


def test_a_blank_date_is_no_date(tmp_path):
    data = exif()
    data.get_ifd(0x8769)[0x9003] = "0000:00:00 00:00:00"
    assert read_taken(save(tmp_path / "photo.jpg", Image.fromarray(blocks()), exif=data)) is None


def test_the_content_decides_the_format(tmp_path):
    path = write_jpeg(tmp_path / "photo.png")
    assert open_photo(path).pixels.shape == (240, 320, 3)


def test_other_formats_are_refused(tmp_path):
    image = Image.fromarray(blocks())
    for suffix in (".bmp", ".ppm", ".eps"):
        path = save(tmp_path / f"photo{suffix}", image)
        with pytest.raises(PhotoError, match="this is no photo"):
            open_photo(path)


@pytest.mark.parametrize(
    ("suffix", "name"), [(".gif", "a GIF"), (".jp2", "a JPEG 2000"), (".avif", "an AVIF")]
)
def test_pictures_of_formats_that_are_not_read_are_named_whatever_they_are_called(tmp_path, suffix, name):
    if suffix == ".avif":
        made = tmp_path / "made"
        made.write_bytes(b"\0\0\0\x1cftypavif" + bytes(400))
    else:
        made = save(tmp_path / f"made{suffix}", Image.fromarray(blocks()))
    with pytest.raises(PhotoError, match=f"this is {name} picture") as error:
        open_photo(made.rename(tmp_path / "photo.jpg"))
    assert error.value.hint == "Save it as JPEG"


def test_numbers_that_are_no_brightness_are_refused(tmp_path):
    path = save(tmp_path / "photo.tif", Image.fromarray(np.full((200, 200), 0.5, np.float32)))
    with pytest.raises(PhotoError, match="numbers are not those of a photo"):
        open_photo(path)

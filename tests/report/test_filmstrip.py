"""The strip shows each photo small, with nothing of the photo's own data, and never stumbles over a file."""

import base64
import io

import pytest
from PIL import ExifTags, Image

from leafwane.report.filmstrip import NARROWEST, WIDEST, data_address, film_frames, small_jpeg, small_width
from tests.report.invented import a_score, write_photo


def decoded(address):
    kind, content = address.split(",", 1)
    assert kind == "data:image/jpeg;base64"
    return base64.b64decode(content, validate=True)


def exif_with_place():
    exif = Image.Exif()
    exif[ExifTags.Base.Artist] = "Somebody"
    exif[ExifTags.Base.Orientation] = 6
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    gps[ExifTags.GPS.GPSLatitudeRef] = "N"
    gps[ExifTags.GPS.GPSLatitude] = (51.0, 30.0, 0.0)
    return exif


def test_small_pictures_carry_no_data_of_the_photo(tmp_path):
    write_photo(tmp_path / "a.jpg", exif=exif_with_place())
    with Image.open(tmp_path / "a.jpg") as photo:
        assert photo.getexif().get_ifd(ExifTags.IFD.GPSInfo), "the photo itself knows its place"
    content = decoded(small_jpeg(tmp_path / "a.jpg", 320))
    assert b"Exif" not in content
    assert b"Somebody" not in content
    with Image.open(io.BytesIO(content)) as small:
        assert not small.getexif()
        assert set(small.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert small.size == (240, 320), "turned upright before its data were left behind"


def test_a_file_that_is_gone_or_broken_leaves_a_gap(tmp_path):
    (tmp_path / "text.jpg").write_text("no photo", encoding="utf-8")
    assert small_jpeg(tmp_path / "text.jpg", 320) == ""
    assert small_jpeg(tmp_path / "gone.jpg", 320) == ""


def test_frames_come_in_order_and_only_of_scored_photos(tmp_path):
    write_photo(tmp_path / "hedge" / "1.jpg")
    write_photo(tmp_path / "out" / "overlays" / "1.jpg", size=(800, 600))
    scores = [
        a_score("hedge/1.jpg", overlay="overlays/1.jpg"),
        a_score("hedge/2.jpg", leaf=None),
        a_score("hedge/3.jpg"),
    ]
    frames = film_frames(scores, root=tmp_path, out=tmp_path / "out")
    assert [frame.score.photo for frame in frames] == ["hedge/1.jpg", "hedge/3.jpg"]
    assert decoded(frames[0].photo) != decoded(frames[0].overlay)
    assert (frames[1].photo, frames[1].overlay) == ("", "")


@pytest.mark.parametrize("n", [0, 1, 40, 41, 100, 1000, 100_000])
def test_more_photos_are_smaller_but_never_useless(n):
    assert NARROWEST <= small_width(n) <= WIDEST
    assert small_width(n) >= small_width(n + 1)


def test_data_address():
    # RFC 4648, section 10: BASE64("foobar") = "Zm9vYmFy".
    assert data_address(b"foobar", "image/png") == "data:image/png;base64,Zm9vYmFy"

"""Results may lie inside the trial: a later run does not take them for photos, and no photo is written over."""

from datetime import date

import pytest

from fixtures.small_photos import write_jpeg
from leafwane.errors import OutputError
from leafwane.results import MARK, OWN_NAMES, PICTURE_FOLDERS, RESULT_NAMES, prepare_results
from leafwane.trial import read_trial

TODAY = date(2031, 12, 31)


def write_own(out):
    prepare_results(out)
    for name in OWN_NAMES:
        write_jpeg(out / name / "2031-10-04.jpg" if name in PICTURE_FOLDERS else out / name)


def photos_in(folder):
    return [photo.path for photo in read_trial([folder], today=TODAY).photos]


@pytest.mark.parametrize("place", ["results", "a/results", "a", "."])
def test_own_pictures_are_neither_photos_nor_bins(tmp_path, place):
    photo = write_jpeg(tmp_path / "a" / "2031-10-04.jpg")
    write_own(tmp_path / place)
    assert photos_in(tmp_path) == [photo]


def test_without_the_mark_a_bin_may_have_any_name(tmp_path):
    photo = write_jpeg(tmp_path / "overlays" / "2031-10-04.jpg")
    assert photos_in(tmp_path) == [photo]


def test_photos_added_to_a_folder_of_results_are_read(tmp_path):
    write_own(tmp_path / "results")
    photo = write_jpeg(tmp_path / "results" / "2031-10-04.jpg")
    assert photos_in(tmp_path) == [photo]


@pytest.mark.parametrize("photo", ["overlays/1.jpg", "explain/a/1.jpg", "curve.png"])
def test_nothing_is_written_over_that_leafwane_did_not_write(tmp_path, photo):
    path = write_jpeg(tmp_path / photo)
    with pytest.raises(OutputError, match="leafwane did not write"):
        prepare_results(tmp_path)
    assert not (tmp_path / MARK).exists()
    assert photos_in(tmp_path) == [path]


@pytest.mark.parametrize("name", sorted(RESULT_NAMES))
def test_no_file_of_a_results_name_is_written_over_without_the_mark(tmp_path, name):
    (tmp_path / name).write_text("notes")
    with pytest.raises(OutputError, match=f"leafwane did not write {name}"):
        prepare_results(tmp_path)
    assert (tmp_path / name).read_text() == "notes"
    (tmp_path / MARK).touch()
    prepare_results(tmp_path)


def test_the_folder_is_made_with_those_above_it(tmp_path):
    prepare_results(tmp_path / "a" / "b")
    prepare_results(tmp_path / "a" / "b")
    assert "leafwane" in (tmp_path / "a" / "b" / MARK).read_text()


@pytest.mark.parametrize("out", ["file", "file/below"])
def test_a_place_where_no_folder_can_be(tmp_path, out):
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="the folder cannot be made"):
        prepare_results(tmp_path / out)

"""Results may lie inside the trial: a later run does not take them for photos, and no photo is written over."""

import os
from datetime import date

import pytest

from fixtures.small_photos import write_jpeg
from leafwane.errors import OutputError
from leafwane.results import (
    MARK,
    OWN_NAMES,
    PICTURE_FOLDERS,
    RESULT_NAMES,
    look_back,
    outdated,
    prepare_results,
    remove_pictures,
)
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


def written(path, text, *, at):
    """Write a file as one that was written `at` seconds after the epoch."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    os.utime(path, (at, at))


def old_results(earlier):
    """Return the lines on results that are old; the plan, if any, lies beside them."""
    return outdated(earlier, look_back(earlier.out), plan=earlier.out / "trial.toml")


@pytest.mark.parametrize(
    ("again", "told"),
    [
        ({}, []),
        ({"scores.csv": "old", "curve.csv": "old", "compare.json": "first"}, []),
        ({"scores.csv": "new", "curve.csv": "old", "report.html": "new"}, ["explain is"]),
        ({"scores.csv": "new", "explain/a/1.jpg": "new"}, ["curve.csv is", "report.html is"]),
        ({"scores.csv": "old", "curve.csv": "new", "explain/a/1.jpg": "new"}, ["report.html is"]),
    ],
)
def test_results_that_no_longer_fit_the_tables_are_told(tmp_path, again, told):
    for name in ("scores.csv", "curve.csv", "report.html", "explain/a/1.jpg", "notes.txt"):
        written(tmp_path / name, "old", at=1000)
    earlier = look_back(tmp_path)
    for name, text in again.items():
        written(tmp_path / name, text, at=2000)
    lines = old_results(earlier)
    assert [line.split(" of an earlier run")[0] for line in lines] == [f"{tmp_path}/{name}" for name in told]


@pytest.mark.parametrize(
    ("changed", "told"),
    [(500, []), (1500, ["curve.csv", "report.html"]), (2500, ["curve.csv", "report.html"])],
)
def test_results_older_than_the_plan_are_told_though_no_table_changed(tmp_path, changed, told):
    for name in ("scores.csv", "curve.csv", "report.html"):
        written(tmp_path / name, "old", at=1000)
    earlier = look_back(tmp_path)
    written(tmp_path / "trial.toml", "", at=changed)
    for name in ("scores.csv", "compare.json"):
        written(tmp_path / name, "old", at=2000)
    lines = old_results(earlier)
    assert [line.split(" is of an earlier run")[0] for line in lines] == [
        f"{tmp_path}/{name}" for name in told
    ]


@pytest.mark.parametrize(("of", "other"), [("compare.json", "bins.json"), ("bins.json", "compare.json")])
def test_a_table_that_alone_was_old_makes_no_other_old(tmp_path, of, other):
    """As where photos came, and `report` and `compare` then ran in turn."""
    written(tmp_path / of, "old", at=1000)
    for name in ("scores.csv", other):
        written(tmp_path / name, "old", at=1100)
    earlier = look_back(tmp_path)
    written(tmp_path / "scores.csv", "old", at=2000)
    written(tmp_path / of, "new", at=2000)
    assert old_results(earlier) == ()


def test_the_command_that_makes_a_result_again_is_named_once_for_all_that_it_makes(tmp_path):
    for name in ("scores.csv", "curve.csv", "bins.json", "curve.png"):
        written(tmp_path / name, "old", at=1000)
    earlier = look_back(tmp_path)
    written(tmp_path / "scores.csv", "new", at=2000)
    names = ", ".join(str(tmp_path / name) for name in ("bins.json", "curve.csv", "curve.png"))
    assert old_results(earlier) == (f"{names} are of an earlier run; leafwane curve makes them again",)


def test_a_folder_that_is_not_there_holds_nothing(tmp_path):
    earlier = look_back(tmp_path / "nowhere")
    assert (dict(earlier.written), dict(earlier.tables)) == ({}, {})
    written(tmp_path / "nowhere" / "scores.csv", "new", at=2000)
    assert old_results(earlier) == ()


def files_in(folder):
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    return files - {MARK, "scores.csv"}


def scored(out, *, at=9e9):
    """Return what lies in a folder of results whose scores.csv was written later than all else, or `at` a time."""
    written(out / "scores.csv", "", at=at)
    return look_back(out)


def test_pictures_of_photos_that_are_gone_are_removed_and_nothing_else(tmp_path):
    photos = ["a/1.jpg", "a/2.png", "b/3.jpg"]
    prepare_results(tmp_path)
    own = {"overlays/a/own.jpg", "a/1.jpg", "1.jpg", "notes/1.jpg"}
    drawn = {
        f"{folder}/{name}" for folder in PICTURE_FOLDERS for name in ("a/1.jpg", "a/2.png.jpg", "b/3.jpg")
    }
    for name in own | drawn:
        write_jpeg(tmp_path / name)
    remove_pictures(scored(tmp_path), photos, keep=["a/2.png"])
    assert files_in(tmp_path) == own | {"overlays/a/2.png.jpg", "explain/a/2.png.jpg"}
    assert not (tmp_path / "overlays" / "b").exists()
    remove_pictures(scored(tmp_path), photos, keep=[])
    assert files_in(tmp_path) == own
    assert not (tmp_path / "explain").exists()


def test_without_the_mark_no_picture_is_removed(tmp_path):
    write_jpeg(tmp_path / "overlays" / "1.jpg")
    remove_pictures(scored(tmp_path), ["1.jpg"], keep=[])
    assert files_in(tmp_path) == {"overlays/1.jpg"}


@pytest.mark.parametrize(
    "photo", ["../photos/1.jpg", "a/../../photos/1.jpg", "....//photos/1.jpg", "linked/1.jpg", "link.jpg", ""]
)
def test_no_picture_is_removed_by_a_way_out_of_its_folder(tmp_path, photo):
    kept = write_jpeg(tmp_path / "photos" / "1.jpg")
    prepare_results(tmp_path)
    (tmp_path / "overlays" / "a").mkdir(parents=True)
    (tmp_path / "overlays" / "linked").symlink_to(tmp_path / "photos", target_is_directory=True)
    (tmp_path / "overlays" / "link.jpg").symlink_to(kept)
    remove_pictures(scored(tmp_path), [photo], keep=[])
    assert kept.exists()
    assert (tmp_path / "overlays" / "link.jpg").is_symlink()


def test_a_photo_renamed_in_capitals_only_keeps_its_picture(tmp_path):
    """Many computers hold both names for one file, so to remove the old one would remove the new."""
    prepare_results(tmp_path)
    write_jpeg(tmp_path / "overlays" / "Tub" / "1.jpg")
    remove_pictures(scored(tmp_path), ["Tub/1.jpg"], keep=["tub/1.jpg"])
    assert files_in(tmp_path) == {"overlays/Tub/1.jpg"}


def test_a_picture_newer_than_the_earlier_table_is_not_of_that_run(tmp_path):
    prepare_results(tmp_path)
    write_jpeg(tmp_path / "overlays" / "1.jpg")
    remove_pictures(scored(tmp_path, at=1000), ["1.jpg"], keep=[])
    assert files_in(tmp_path) == {"overlays/1.jpg"}


def test_results_without_the_table_that_they_were_made_from_are_told(tmp_path):
    written(tmp_path / "report.html", "old", at=1000)
    earlier = look_back(tmp_path)
    written(tmp_path / "scores.csv", "new", at=2000)
    assert old_results(earlier) == (
        f"{tmp_path}/report.html is of an earlier run; leafwane report makes it again",
    )

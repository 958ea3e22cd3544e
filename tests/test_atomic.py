"""Files are replaced whole or not at all."""

import os
import stat

import pytest

from leafwane.atomic import replacing, write_text
from leafwane.errors import OutputError


def test_text_is_utf_8_and_names_that_are_no_text_are_escaped(tmp_path):
    write_text(tmp_path / "a.txt", "chêne\r\n" + os.fsdecode(b"\xff"))
    assert (tmp_path / "a.txt").read_bytes() == "chêne\r\n\\udcff".encode()


def write_and_fail(path, failure):
    with replacing(path) as temporary:
        temporary.write_text("half of the n")
        raise failure


@pytest.mark.parametrize("failure", [ValueError, KeyboardInterrupt])
def test_what_was_there_stays_when_writing_is_cut_short(tmp_path, failure):
    path = tmp_path / "a.txt"
    write_text(path, "old")
    with pytest.raises(failure):
        write_and_fail(path, failure)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_mode_is_kept_and_a_new_file_has_the_usual_one(tmp_path):
    path, usual = tmp_path / "a.txt", tmp_path / "usual.txt"
    usual.touch()
    write_text(path, "old")
    assert path.stat().st_mode == usual.stat().st_mode
    path.chmod(0o640)
    write_text(path, "new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert path.read_text() == "new"


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    link = tmp_path / "a.txt"
    link.symlink_to(tmp_path / "real" / "b.txt")
    write_text(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "real" / "b.txt").read_text() == "new"


def test_a_place_that_cannot_be_written_to(tmp_path):
    (tmp_path / "file").touch()
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "file" / "a.txt", tmp_path / "none" / "a.txt", tmp_path / "folder"):
        with pytest.raises(OutputError, match="the result cannot be written"):
            write_text(path, "new")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "folder"]

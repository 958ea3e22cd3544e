"""What goes wrong at home: each time one clear line, the photos untouched, and the rest goes on."""

import csv
import hashlib
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixtures.small_photos import blocks, card_photo, huge_png, jpeg_bytes, write_jpeg
from leafwane.results import MARK
from tests.commands import leafwane


def png(image: Image.Image):
    return lambda path: image.save(path, "PNG")


def content(data: bytes):
    return lambda path: path.write_bytes(data)


BLOCKS = Image.fromarray(blocks())
SEE_THROUGH = Image.fromarray(np.dstack([blocks(), np.full((240, 320), 128, np.uint8)]))
SIXTEEN_BITS = Image.fromarray(blocks()[..., 0].astype(np.uint16) * 257)

# What is wrong with a file that is no photo of use, the flag that says so in the table, and the words on the screen.
UNREADABLE = {
    "text.jpg": (content(b"Dear diary, the worms are well.\n"), "unreadable", "this is no photo"),
    "cut-short.jpg": (content(jpeg_bytes(blocks())[:3000]), "unreadable", "damaged or cut short"),
    "head-only.jpg": (content(jpeg_bytes(blocks())[:30]), "unreadable", "damaged or cut short"),
    "empty.jpg": (content(b""), "unreadable", "the file is empty"),
    "dot.png": (png(Image.new("RGB", (1, 1))), "too-small", "only 1 x 1 pixels"),
    "bomb.png": (content(huge_png(40_000, 40_000)), "unreadable", "more than 210 megapixels"),
    "half.webp": (content(b"RIFF\x10\0\0\0WEBPVP8 "), "unreadable", "damaged or cut short"),
    "half.heic": (content(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), "unreadable", "damaged or cut short"),
}

# Photos of unusual kinds, without a card: they are read, and it is the card that is missed.
UNUSUAL = {
    "grey.jpg": png(BLOCKS.convert("L")),
    "cmyk.jpg": lambda path: BLOCKS.convert("CMYK").save(path, "JPEG"),
    "sixteen-bits.png": png(SIXTEEN_BITS),
    "palette.png": png(BLOCKS.convert("P")),
    "see-through.png": png(SEE_THROUGH),
}


@pytest.fixture
def trial(tmp_path):
    """Return a trial of one bin with one good photo."""
    write_jpeg(tmp_path / "trial" / "hazel" / "2025-10-04.jpg", pixels=card_photo())
    return tmp_path / "trial"


def digests(folder: Path) -> dict[Path, str]:
    return {
        path: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()
    }


def rows(out: Path) -> dict[str, dict[str, str]]:
    with (out / "scores.csv").open(newline="", encoding="utf-8") as file:
        return {row["photo"]: row for row in csv.DictReader(file)}


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_is_no_use_is_told_and_the_rest_goes_on(trial, tmp_path, capsys, name):
    make, flag, words = UNREADABLE[name]
    make(trial / "hazel" / name)
    before = digests(trial)

    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")

    assert ended.status == 3
    (line,) = [line for line in ended.lines if name in line]
    assert words in line
    assert ended.lines[-1] == "leafwane: 1 of 2 photos could not be scored. The others were"
    assert digests(trial) == before
    table = rows(tmp_path / "out")
    assert table["hazel/2025-10-04.jpg"]["leaf_percent"]
    assert not table[f"hazel/{name}"]["leaf_percent"]
    assert flag in table[f"hazel/{name}"]["flags"].split(";")


def test_what_is_written_is_told(trial, tmp_path, capsys):
    out = tmp_path / "out"

    ended = leafwane(capsys, "score", trial, "-o", out, "--explain")

    told = {line.removeprefix("written: ") for line in ended.lines if line.startswith("written: ")}
    assert told == {str(path) for path in out.iterdir() if not path.name.startswith(".")}


def test_a_folder_of_which_nothing_is_of_use_says_so(tmp_path, capsys):
    (tmp_path / "hazel").mkdir()
    (tmp_path / "hazel" / "2025-10-04.jpg").write_bytes(b"no photo")

    ended = leafwane(capsys, "score", tmp_path / "hazel", "-o", tmp_path / "out")

    assert ended.status == 3
    assert ended.lines[-1] == "leafwane: no photo could be scored"
    written = [line for line in ended.lines if line.startswith("written")]
    assert written == [f"written: {tmp_path / 'out' / 'scores.csv'}"]


@pytest.mark.parametrize("name", UNUSUAL)
def test_unusual_photos_are_read_and_miss_their_card(trial, tmp_path, capsys, name):
    UNUSUAL[name](trial / "hazel" / name)
    before = digests(trial)

    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")

    assert ended.status == 3
    assert "no-card" in rows(tmp_path / "out")[f"hazel/{name}"]["flags"].split(";")
    assert digests(trial) == before


def test_a_photo_dated_in_the_future_is_flagged(trial, tmp_path, capsys):
    write_jpeg(trial / "hazel" / "2099-01-01.jpg", pixels=card_photo())
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")
    assert ended.status == 0
    assert "future-date" in rows(tmp_path / "out")["hazel/2099-01-01.jpg"]["flags"].split(";")


@pytest.mark.parametrize("command", ["score", "curve", "report"])
def test_an_empty_folder(tmp_path, capsys, command):
    (tmp_path / "empty").mkdir()
    ended = leafwane(capsys, command, tmp_path / "empty", "-o", tmp_path / "out")
    assert ended.status == 4
    (line,) = ended.lines
    assert line.startswith(
        f"leafwane: {tmp_path / 'empty'}: there is no photo in this folder. Photos end in .heic"
    )
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", ["score", "curve", "report"])
def test_no_such_path(tmp_path, capsys, command):
    ended = leafwane(capsys, command, tmp_path / "nowhere", "-o", tmp_path / "out")
    assert ended.status == 4
    assert ended.lines == [
        f"leafwane: {tmp_path / 'nowhere'}: there is no such file or folder. Check the name"
    ]


def test_two_bins_whose_names_differ_in_capital_letters_only(tmp_path, capsys):
    for place in ("north/hazel", "south/Hazel"):
        write_jpeg(tmp_path / place / "1.jpg")
    ended = leafwane(capsys, "score", tmp_path / "north", tmp_path / "south", "-o", tmp_path / "out")
    assert ended.status == 6
    (line,) = ended.lines
    assert "differ in capital letters only. Rename one of the folders" in line


def test_a_malformed_trial_file(trial, tmp_path, capsys):
    (trial / "trial.toml").write_text("[bins.hazel]\ngrams 350\n")
    before = digests(trial)
    ended = leafwane(capsys, "report", trial, "-o", tmp_path / "out")
    assert ended.status == 6
    (line,) = ended.lines
    assert line.startswith(f"leafwane: {trial / 'trial.toml'}: the file is not written as TOML asks")
    assert "line 2" in line
    assert digests(trial) == before


@pytest.mark.parametrize("out", ["file", "file/below"])
def test_an_output_folder_that_cannot_be_one(trial, tmp_path, capsys, out):
    (tmp_path / "file").write_text("mine")
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / out)
    assert ended.status == 7
    (line,) = ended.lines
    assert line.endswith("Name another folder after -o")
    assert (tmp_path / "file").read_text() == "mine"


def test_a_read_only_output_folder(trial, tmp_path, capsys, monkeypatch):
    """Whoever runs the tests as root may write everywhere, so there the system's refusal is played."""
    out = tmp_path / "out"
    out.mkdir(mode=0o555)
    if os.access(out, os.W_OK):
        monkeypatch.setattr(os, "open", refuse_to_make(os.open))
    ended = leafwane(capsys, "score", trial, "-o", out)
    out.chmod(0o755)
    assert ended.status == 7
    (line,) = ended.lines
    assert line.startswith(f"leafwane: {out}")
    assert line.endswith("the result cannot be written (Permission denied). Name another folder after -o")
    assert not list(out.iterdir())


def refuse_to_make(really_open):
    def refusing(path, flags, *rest):  # noqa: ANN002, ANN202 (as the system's own)
        if flags & os.O_CREAT:
            raise PermissionError(13, "Permission denied", path)
        return really_open(path, flags, *rest)

    return refusing


def test_pictures_that_cannot_be_written_end_the_run_and_are_no_fault_of_the_photo(trial, tmp_path, capsys):
    out = tmp_path / "out"
    out.mkdir()
    (out / MARK).touch()
    (out / "overlays").touch()  # a file where a folder is needed
    ended = leafwane(capsys, "score", trial, "-o", out)
    assert ended.status == 7
    (line,) = ended.lines
    assert line.startswith(f"leafwane: {out / 'overlays' / 'hazel'}: the folder cannot be made (")
    assert line.endswith("Name another folder after -o")
    assert not (out / "scores.csv").exists()


def test_names_that_a_terminal_would_obey_are_shown_tame(trial, tmp_path, capsys):
    (trial / "hazel" / "a\x1b[31m[bold]\nb.jpg").write_text("no photo")
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")
    assert ended.status == 3
    assert "\x1b" not in ended.err
    assert "a?[31m[bold] b.jpg" in ended.err

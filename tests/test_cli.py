"""The command line answers at once, keeps data and words apart, and says what its documents say."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest
import typer

from fixtures.small_photos import card_photo, write_jpeg
from leafwane import __version__, shell
from leafwane.errors import CardError, LeafwaneError
from leafwane.flags import Flag
from tests.card.test_find import bin_with_rim_tags
from tests.commands import leafwane

HEAVY = {"cv2", "numpy", "scipy", "skimage", "matplotlib", "PIL", "pillow_heif", "jinja2"}
COMMANDS = {"card", "check", "score", "curve", "report", "compare", "plan"}


@pytest.fixture
def trial(tmp_path):
    write_jpeg(tmp_path / "trial" / "hazel" / "2025-10-04.jpg", pixels=card_photo(leaf_share=0.6))
    write_jpeg(tmp_path / "trial" / "hazel" / "2025-10-18.jpg", pixels=card_photo(leaf_share=0.4))
    return tmp_path / "trial"


def spawn(*words: object, **options: object) -> subprocess.Popen[str]:
    """Start the program with Ctrl-C in force, which a shell switches off for what it runs in the background."""
    heard = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
    command = [sys.executable, "-c", f"{heard}; from leafwane.cli import main; main()", *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options)


@pytest.mark.parametrize("words", [["--help"], ["score", "--help"], ["card", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(words):
    code = (
        "import sys\n"
        "from leafwane import shell, cli\n"
        "try:\n"
        f"    shell.run(cli.app, {words})\n"
        "except SystemExit as ended:\n"
        "    print(ended.code, *sorted(sys.modules), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    status, *modules = done.stderr.split()
    assert status == "0"
    assert not HEAVY & set(modules)


def test_help_names_every_command(capsys):
    ended = leafwane(capsys, "--help")
    assert ended.status == 0
    assert set(re.findall(r"[a-z]+", ended.out)) >= COMMANDS


def test_no_words_print_the_help(capsys):
    ended = leafwane(capsys)
    assert ended.status == 2
    assert "report" in ended.out + ended.err


def test_version(capsys):
    assert leafwane(capsys, "--version").out == f"leafwane {__version__}\n"


@pytest.mark.parametrize(
    "words", [["scroe", "x"], ["score"], ["score", "x"], ["score", "x", "-o", "y", "--jsn"]]
)
def test_wrong_words_end_with_2(capsys, words):
    ended = leafwane(capsys, *words)
    assert ended.status == 2
    assert ended.out == ""


def test_exit_statuses_are_one_a_kind():
    kinds = LeafwaneError.__subclasses__()
    statuses = [kind.exit_code for kind in kinds]
    assert len(set(statuses)) == len(kinds)
    assert not {0, 1, 130} & set(statuses)


def failing(error):
    program = typer.Typer(cls=shell.ProgramGroup, pretty_exceptions_enable=False)

    @program.callback()
    def options(*, verbose: bool = False) -> None:
        del verbose

    @program.command()
    def fail() -> None:
        raise error

    return program


@pytest.mark.parametrize(
    ("error", "status", "line"),
    [
        (
            CardError("no card", flag=Flag.NO_CARD, path=Path("a.jpg"), hint="Lay it down"),
            8,
            "leafwane: a.jpg: no card. Lay it down",
        ),
        (
            ZeroDivisionError("by zero"),
            1,
            "leafwane: unexpected fault (ZeroDivisionError: by zero). Run it again with --verbose and report what it says",
        ),
    ],
)
def test_one_line_for_a_failure_and_all_of_it_when_asked(capsys, error, status, line):
    for words in (["fail"], ["--verbose", "fail"], ["fail", "--verbose"]):
        with pytest.raises(SystemExit) as ended:
            shell.run(failing(error), words)
        err = capsys.readouterr().err.splitlines()
        assert ended.value.code == status
        assert err[-1] == line
        assert ("Traceback" in err[0]) == ("--verbose" in words)
        assert len(err) == 1 or "--verbose" in words


def test_score_keeps_data_and_words_apart(trial, tmp_path, capsys):
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out", "--json")
    assert ended.status == 0
    data = json.loads(ended.out)
    assert [score["photo"] for score in data] == ["hazel/2025-10-04.jpg", "hazel/2025-10-18.jpg"]
    assert data[0]["leaf_percent"] > data[1]["leaf_percent"]
    assert "2025-10-18" in ended.err
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")
    assert ended.out == ""


@pytest.mark.parametrize(
    "words",
    [
        ["OUT"],
        ["--paper", "A4", "OUT"],
        ["--paper", "letter", "OUT"],
        ["OUT", "--paper", "letter"],
        ["print", "OUT"],
    ],
)
def test_card_is_written_for_either_paper(tmp_path, capsys, words):
    out = tmp_path / "card.pdf"
    ended = leafwane(capsys, "card", *(out if word == "OUT" else word for word in words))
    assert (ended.status, ended.out) == (0, "")
    width, height = (
        (612, 792) if "letter" in words else (595.28, 841.89)
    )  # ISO 216 A4 and US Letter, in points
    media_box = re.search(rb"/MediaBox \[ ?0 0 ([0-9.]+) ([0-9.]+)", out.read_bytes())
    assert [float(side) for side in media_box.groups()] == pytest.approx([width, height], abs=0.5)


@pytest.mark.parametrize(
    ("name", "words"),
    [("2025-10-04.jpg", "Did you mean leafwane card measure?"), ("card", "Name it like card.pdf")],
)
def test_the_card_is_written_to_no_name_but_that_of_a_pdf(tmp_path, capsys, name, words):
    there = write_jpeg(tmp_path / name)
    before = there.read_bytes()
    ended = leafwane(capsys, "card", there)
    assert (ended.status, there.read_bytes()) == (2, before)
    assert ended.lines == [
        f"leafwane: {there}: the card for printing is a PDF, and this name does not end in .pdf. {words}"
    ]


@pytest.mark.parametrize("content", [b"notes", b"%PDF-1.4 leaf counts"])
def test_the_card_replaces_a_card_and_no_other_file(tmp_path, capsys, content):
    other, card = tmp_path / "notes.pdf", tmp_path / "card.PDF"
    other.write_bytes(content)
    ended = leafwane(capsys, "card", other)
    assert (ended.status, other.read_bytes()) == (7, content)
    (line,) = ended.lines
    assert line.startswith(
        f"leafwane: {other}: the file that is there already is not a card that leafwane wrote"
    )
    for paper in ("a4", "letter"):
        assert leafwane(capsys, "card", card, "--paper", paper).status == 0


def test_a_card_that_cannot_be_written_names_no_option_that_card_lacks(tmp_path, capsys):
    (line,) = leafwane(capsys, "card", tmp_path / "nowhere" / "card.pdf").lines
    assert line.startswith(f"leafwane: {tmp_path / 'nowhere' / 'card.pdf'}: the result cannot be written")
    assert line.endswith("Name another file or folder for it")


def test_a_chart_that_is_not_found_is_named_with_what_to_do(trial, capsys):
    (line,) = leafwane(capsys, "card", "measure", trial / "hazel" / "2025-10-04.jpg").lines
    assert line.endswith(
        "no 24-patch colour chart was found. Lay one beside the card and take the photo again, "
        "or say where it is with --chart-corners"
    )


def test_advice_begins_with_a_capital_letter(tmp_path, capsys):
    (line,) = leafwane(capsys, "card", "measure", write_jpeg(tmp_path / "1.jpg")).lines
    assert ": no reference card was found. Lay " in line


def test_card_that_cannot_be_measured(trial, tmp_path, capsys):
    photo = trial / "hazel" / "2025-10-04.jpg"
    ended = leafwane(capsys, "card", "measure", photo, "-o", tmp_path / "values.toml")
    assert ended.status == 8
    (line,) = ended.lines
    assert line.startswith(f"leafwane: {photo}: no 24-patch")
    assert not (tmp_path / "values.toml").exists()


def test_check_answers_for_every_photo(trial, tmp_path, capsys):
    good = trial / "hazel" / "2025-10-04.jpg"
    bad = write_jpeg(tmp_path / "bad.jpg")
    ended = leafwane(capsys, "check", good, bad, "--json")
    assert ended.status == 3
    assert ended.lines[-1] == "leafwane: 1 of 2 photos should be taken again"
    first, second = json.loads(ended.out)
    assert (first["photo"], first["verdict"]) == (str(good), "good")
    assert first.keys() >= {"photo", "verdict", "reasons", "flags", "card"}
    card_keys = {"kind", "corners", "mm_per_px", "tilt_deg", "de00_loo_mean", "de00_loo_max", "patches_used"}
    assert first["card"].keys() >= card_keys
    assert first["card"]["mm_per_px"] == pytest.approx(1 / 3, rel=0.01)
    assert (second["verdict"], second["flags"], second["card"]) == ("retake", ["no-card"], None)
    assert leafwane(capsys, "check", good).status == 0
    assert leafwane(capsys, "check", bad).lines[-1] == "leafwane: the photo should be taken again"


def test_check_of_a_folder_looks_at_the_photos_that_would_be_scored(trial, capsys, monkeypatch):
    single = write_jpeg(trial / "plane" / "2025-10-04.jpg")
    (trial / "hazel" / "notes.txt").write_text("eggs")
    monkeypatch.chdir(trial)
    ended = leafwane(capsys, "check", "hazel", single, "--json")
    assert [check["photo"] for check in json.loads(ended.out)] == [
        str(Path("hazel", "2025-10-04.jpg")),
        str(Path("hazel", "2025-10-18.jpg")),
        str(single),
    ]
    everything = json.loads(leafwane(capsys, "check", ".", "--json").out)
    assert [Path(check["photo"]).parent.name for check in everything] == ["hazel", "hazel", "plane"]


def test_check_of_a_folder_tells_what_score_tells_of_its_photos_together(
    trial, tmp_path, capsys, monkeypatch
):
    monkeypatch.chdir(trial)
    for place, hidden in enumerate(((), (), (), (0, 1, 2, 3)), start=1):
        pixels = bin_with_rim_tags(hidden=hidden)[0]
        pixels[-1, -1] = place  # no two files are the same
        write_jpeg(trial / "plane" / f"2025-10-{place:02}.jpg", pixels=pixels)
    content = (trial / "plane" / "2025-10-01.jpg").read_bytes()
    (trial / "plane" / "2025-10-01 (1).jpg").write_bytes(content)
    write_jpeg(trial / "oak" / "2025-10-11.jpg").write_bytes(content)
    ended = leafwane(capsys, "check", ".", "--json")
    checks = {check["photo"]: check for check in json.loads(ended.out)}
    scores = json.loads(leafwane(capsys, "score", ".", "-o", tmp_path / "out", "--json").out)
    for score in scores:
        assert {"copy", "other-surface"}.intersection(score["flags"]) == set(
            checks[score["photo"]]["flags"]
        ), score["photo"]
    other, copy = checks["plane/2025-10-04.jpg"], checks["plane/2025-10-01 (1).jpg"]
    assert (other["verdict"], copy["verdict"]) == ("retake", "usable")
    assert "show the rim tags in every photo" in other["reasons"][0]
    assert copy["reasons"][0].endswith(": delete the copy")
    (line,) = (line for line in ended.lines if line.startswith("the same photo counts under several dates"))
    assert "oak/2025-10-11.jpg and plane/2025-10-01.jpg" in line


def test_check_names_no_photo_twice(trial, capsys):
    photo = trial / "hazel" / "2025-10-04.jpg"
    checks = json.loads(leafwane(capsys, "check", photo, trial / "hazel", "--json").out)
    assert [check["flags"] for check in checks] == [[], []]


def test_check_says_what_is_left_lying_in_a_folder(trial, capsys):
    (trial / "hazel" / "2025-10-11.gif").touch()
    assert leafwane(capsys, "check", trial).lines[0] == (
        f"{trial}: pictures of a kind that is not read (1): hazel/2025-10-11.gif. Save them as JPEG"
    )


def test_check_says_why_and_what_to_do_in_one_sentence(tmp_path, capsys):
    no_photo = tmp_path / "list.jpg"
    no_photo.write_text("eggs")
    (check,) = json.loads(leafwane(capsys, "check", no_photo, "--json").out)
    assert check["reasons"] == ["this is no photo: give a photo in JPEG, PNG, WebP, TIFF or HEIC"]


def test_check_asks_for_no_second_photo_in_place_of_a_file_that_is_none(tmp_path, capsys):
    no_photo, no_card = tmp_path / "list.jpg", write_jpeg(tmp_path / "bad.jpg")
    no_photo.write_text("eggs")
    lines = leafwane(capsys, "check", no_photo).lines
    assert lines[0].endswith("list.jpg: cannot be read")
    assert lines[-1] == "leafwane: the photo cannot be read"
    both = leafwane(capsys, "check", no_photo, no_card)
    assert both.lines[-1] == "leafwane: 2 of 2 photos cannot be read or should be taken again"
    assert both.status == 3


def test_check_of_a_file_that_is_not_there(tmp_path, capsys):
    ended = leafwane(capsys, "check", tmp_path / "nowhere.jpg")
    assert ended.status == 4
    assert len(ended.lines) == 1


def test_check_of_a_photo_without_a_date_is_a_doubt_and_no_reason_to_take_it_again(trial, capsys):
    undated = (trial / "hazel" / "2025-10-04.jpg").rename(trial / "hazel" / "one.jpg")
    ended = leafwane(capsys, "check", undated, "--json")
    (check,) = json.loads(ended.out)
    assert (ended.status, check["verdict"], check["flags"]) == (0, "usable", ["no-date"])
    assert "like 2031-10-04.jpg" in check["reasons"][0]


@pytest.mark.parametrize("command", ["score", "curve", "report", "compare"])
def test_photos_in_no_curve_are_told_once_even_to_the_quiet(trial, tmp_path, capsys, command):
    photos = trial / "hazel"
    photo = (photos / "2025-10-04.jpg").read_bytes()
    for name in (
        "4.10.2025",
        "5.10.2025",
        "6.10.2025",
        "7.10.2025",
        "2025-10-05",
        "2025-10-05 (1)",
        "2199-01-01",
    ):
        (photos / f"{name}.jpg").write_bytes(photo)
    (photos / "2025-10-04.jpg").rename(photos / "2025-01-04.jpg")
    (trial / "trial.toml").write_text("[bins.hazel]\nstart = 2025-10-04\n")
    out = tmp_path / "out"
    ended = leafwane(capsys, "--quiet", command, trial, "-o", out)
    told = {line.split(" (")[0]: line for line in ended.lines}
    assert (ended.status, len(ended.lines)) == (0, 4)
    assert told["no-date"] == (
        "no-date (4 photos, in no curve): the file's name holds no date with the year first, and the photo's data hold none: "
        "hazel/4.10.2025.jpg, hazel/5.10.2025.jpg, hazel/6.10.2025.jpg and 1 more. Put the date in the file's name, like "
        "2031-10-04.jpg, to have the photo in the curve"
    )
    assert told.keys() == {"no-date", "future-date", "before-start", "copy"}
    assert "hazel/2025-01-04.jpg. Put the right date in the file's name" in told["before-start"]
    if command in {"curve", "report"}:
        rows = (out / "curve.csv").read_text(encoding="utf-8").splitlines()[1:]
        assert [row.split(",")[1:4] for row in rows] == [["2025-10-05", "1", "1"], ["2025-10-18", "14", "1"]]
    if command != "compare":
        assert len((out / "scores.csv").read_text(encoding="utf-8").splitlines()) == 10


def test_how_folders_lie_is_told_once(trial, tmp_path, capsys):
    (trial / "plane").mkdir()
    ended = leafwane(capsys, "--quiet", "curve", trial, "-o", tmp_path / "out")
    assert ended.lines == [f"{trial}: folders without a photo, which are left out: plane"]


@pytest.mark.parametrize("before", [True, False])
def test_quiet_may_stand_anywhere(trial, tmp_path, capsys, before):
    words = ["score", trial, "-o", tmp_path / "out"]
    ended = leafwane(capsys, *(["--quiet", *words] if before else [*words, "--quiet"]))
    assert (ended.status, ended.out, ended.err) == (0, "", "")
    assert (tmp_path / "out" / "scores.csv").exists()


def test_quiet_still_names_the_photo_that_could_not_be_scored(trial, tmp_path, capsys):
    (trial / "hazel" / "2025-10-11.jpg").write_bytes(b"no photo")
    ended = leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out")
    assert (ended.status, ended.out, len(ended.lines)) == (3, "", 2)
    assert ended.lines[0].startswith("not scored: ")
    assert "2025-10-11.jpg: this is no photo" in ended.lines[0]


def test_quiet_still_names_a_bin_without_a_folder(trial, tmp_path, capsys):
    (trial / "trial.toml").write_text('[bins.plane]\nleaf = "plane"\n')
    ended = leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out")
    assert ended.lines == ["trial.toml names the bin plane, but there is no such folder"]


@pytest.mark.parametrize("command", ["score", "curve"])
def test_flags_are_explained_where_they_are_shown(trial, tmp_path, capsys, command):
    ended = leafwane(capsys, command, trial, "-o", tmp_path / "out")
    explained = [line for line in ended.lines if line.startswith("whole-photo (2 photos): ")]
    assert len(explained) == 1
    assert explained[0].endswith("trial.toml")


def test_quiet_still_says_what_of_the_plan_is_not_taken_as_written(trial, tmp_path, capsys):
    plan = '[bins.hazel]\nleaf = "hazle"\ngrams = 0.35\n[leaves.plane]\nhalf_life_days = 90\n'
    (trial / "trial.toml").write_text(plan)
    lines = leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out").lines
    assert lines == [
        "trial.toml: bins.hazel.grams = 0.35 is hardly any leaf; if kilograms were meant, write 350",
        "trial.toml: hazle is taken for hazel",
        "trial.toml: [leaves.plane] is not used, since no bin has this leaf; write both alike",
    ]


@pytest.mark.parametrize("given", [".", "hazel"])
def test_quiet_still_says_that_a_plan_is_not_read(trial, tmp_path, capsys, given):
    (trial / "trial.toml.txt").touch()
    lines = leafwane(capsys, "--quiet", "score", trial / given, "-o", tmp_path / "out").lines
    assert lines == [f"{trial / 'trial.toml.txt'} is not read; rename it to trial.toml"]


def test_curve_prints_what_bins_json_holds(trial, tmp_path, capsys):
    out = tmp_path / "out"
    ended = leafwane(capsys, "curve", trial, "-o", out, "--json")
    assert ended.status == 0
    assert json.loads(ended.out) == json.loads((out / "bins.json").read_text(encoding="utf-8"))
    assert {path.name for path in out.iterdir()} >= {"scores.csv", "curve.csv", "bins.json", "curve.png"}
    assert "hazel" in ended.err


def test_report_writes_all_of_it_twice_over_and_inside_the_trial(trial, capsys):
    out = trial / "out"
    for _ in range(2):
        ended = leafwane(capsys, "report", trial, "-o", out)
        assert ended.status == 0
        assert ended.out == ""
        assert str(out / "report.html") in ended.err
    names = {path.name for path in out.iterdir()}
    assert names >= {"scores.csv", "curve.csv", "bins.json", "curve.png", "report.html", "overlays"}
    assert len(json.loads(leafwane(capsys, "score", trial, "-o", out, "--json").out)) == 2


@pytest.mark.parametrize("passed", [False, True])
def test_the_day_of_the_run_tells_whether_a_day_for_ready_has_passed(
    trial, tmp_path, capsys, monkeypatch, passed
):
    for day, share in zip(("2025-11-01", "2025-11-15", "2025-11-29"), (0.27, 0.18, 0.12), strict=True):
        write_jpeg(trial / "hazel" / f"{day}.jpg", pixels=card_photo(leaf_share=share))
    monkeypatch.setattr("leafwane.cli._today", lambda: date(2026, 11, 30) if passed else date(2025, 12, 1))
    ended = leafwane(capsys, "report", trial, "-o", tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert ("hazel: It should have been ready about" in ended.err) == passed
    assert ("Should have been ready about" in page) == passed
    assert ("Ready about" in page) != passed


def test_compare_holds_kinds_of_leaf_against_each_other(trial, tmp_path, capsys):
    (trial / "trial.toml").write_text('[bins.hazel]\nleaf = "hazel"\n[bins.plane]\nleaf = "plane"\n')
    for place, share in enumerate((0.65, 0.63, 0.61, 0.6, 0.58)):
        write_jpeg(
            trial / "plane" / f"2025-1{place // 2}-{1 + 14 * (place % 2):02}.jpg",
            pixels=card_photo(leaf_share=share),
        )
    ended = leafwane(capsys, "compare", trial, "--json")
    assert ended.status == 0
    data = json.loads(ended.out)
    assert {kind["leaf"] for kind in data["kinds"]} <= {"hazel", "plane"}
    assert not (trial / "out").exists()
    ended = leafwane(capsys, "compare", trial, "-o", tmp_path / "out")
    assert (ended.status, ended.out) == (0, "")
    assert json.loads((tmp_path / "out" / "compare.json").read_text(encoding="utf-8")) == data


def test_plan_says_what_a_trial_takes(capsys):
    ended = leafwane(capsys, "plan", "--ratio", "4", "--photo-error", "1", "--json")
    assert ended.status == 0
    data = json.loads(ended.out)
    assert data["assumptions"]["ratio"] == 4
    assert data["sentences"]
    assert all(sentence in ended.err for sentence in data["sentences"])


def test_plan_names_the_photos_that_could_not_be_scored(trial, capsys):
    (trial / "hazel" / "2025-10-11.jpg").write_bytes(b"no photo")
    ended = leafwane(capsys, "plan", trial, "--ratio", "4", "--json")
    assert ended.status == 3
    assert json.loads(ended.out)["sentences"]
    assert [line for line in ended.lines if "2025-10-11.jpg: this is no photo" in line]
    assert ended.lines[-1] == "leafwane: 1 of 3 photos could not be scored. The others were"


def test_plan_of_a_trial_without_a_photo_of_use(trial, capsys):
    for photo in (trial / "hazel").iterdir():
        photo.write_bytes(b"no photo")
    ended = leafwane(capsys, "plan", trial)
    assert (ended.status, ended.out) == (3, "")
    assert [line.split(": ")[0] for line in ended.lines] == ["not scored", "not scored", "leafwane"]
    assert ended.lines[-1] == "leafwane: no photo could be scored"


@pytest.mark.parametrize(
    ("option", "value", "least"),
    [
        ("--ratio", "0.5", "1"),
        ("--ratio", "1", "1"),
        ("--rate", "0", "0"),
        ("--days-apart", "-1", "0"),
        ("--photo-error", "nan", "0"),
    ],
)
def test_plan_of_nonsense(capsys, option, value, least):
    ended = leafwane(capsys, "plan", option, value)
    assert ended.status == 2
    assert ended.lines == [f"leafwane: {option} {value} must be over {least}"]


def test_ctrl_c_ends_with_130_and_leaves_nothing_half_done(tmp_path):
    photo = write_jpeg(tmp_path / "trial" / "hazel" / "1.jpg", pixels=card_photo())
    for place in range(2, 60):
        (photo.parent / f"{place}.jpg").hardlink_to(photo)
    out = tmp_path / "out"
    program = spawn("score", tmp_path / "trial", "-o", out, "--jobs", "2", start_new_session=True)
    wait_for(lambda: list(out.rglob("*.jpg")))
    os.killpg(program.pid, signal.SIGINT)  # as a terminal does: to the program and to its processes
    said, err = program.communicate(timeout=60)
    assert program.returncode == 130
    assert said == ""
    assert "Traceback" not in err
    assert not (out / "scores.csv").exists()
    assert not [path for path in out.rglob(".*") if path.name != ".leafwane-results"]


def wait_for(happened, seconds=60):
    end = time.monotonic() + seconds
    while not happened():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_run_that_replaces_the_scores_of_other_bins_says_so(trial, tmp_path, capsys):
    out = tmp_path / "out"
    for name, share in (("oak", 0.3), ("plane", 0.5)):
        write_jpeg(trial / name / "2025-10-04.jpg", pixels=card_photo(leaf_share=share))
    (trial / "trial.toml").touch()
    assert leafwane(capsys, "--quiet", "score", trial, "-o", out).lines == []
    assert leafwane(capsys, "--quiet", "score", trial, "-o", out).lines == []
    assert leafwane(capsys, "--quiet", "score", trial / "oak", "-o", out).lines == [
        (
            f"{out}/scores.csv held 3 bins and now holds 1, without hazel, plane: each run replaces it. If what is missing "
            "is still there, give all bins at once (score TRIAL -o OUT), or a folder of results for each"
        )
    ]
    assert (out / "overlays" / "hazel" / "2025-10-04.jpg").is_file()
    (line,) = leafwane(capsys, "--quiet", "compare", trial / "plane", "-o", out).lines
    assert line.startswith(f"{out}/scores.csv held 1 bin and now holds 1, without oak: ")
    assert "(compare TRIAL -o OUT)" in line
    (out / "scores.csv").write_bytes(b"\xff")
    assert leafwane(capsys, "--quiet", "score", trial / "oak", "-o", out).lines == [
        f"{out}/compare.json, {out}/compare.png are of an earlier run; leafwane compare makes them again"
    ]


def test_results_beside_new_tables_are_told_to_be_of_an_earlier_run(trial, tmp_path, capsys):
    out = tmp_path / "out"
    for command in ("report", "compare", "score"):  # of the same photos, so that all results fit each other
        assert leafwane(capsys, "--quiet", command, trial, "-o", out).lines == []
    (trial / "hazel" / "2025-10-18.jpg").unlink()
    lost, *lines = leafwane(capsys, "--quiet", "curve", trial, "-o", out).lines
    assert lost.startswith(
        f"{out}/scores.csv held 2 photos of hazel and now holds 1: each run replaces it. If "
    )
    assert lines == [
        f"{out}/compare.json, {out}/compare.png are of an earlier run; leafwane compare makes them again",
        f"{out}/report.html is of an earlier run; leafwane report makes it again",
    ]
    assert leafwane(capsys, "--quiet", "report", trial, "-o", out).lines == []


def test_overlays_of_photos_that_are_gone_go_with_them(trial, tmp_path, capsys):
    """Whatever a photo is called, what removes its pictures knows their name as what drew them gave it."""
    out = tmp_path / "out"
    content = (trial / "hazel" / "2025-10-04.jpg").read_bytes()
    for name in ("2025-10-19 10:15.JPG", "deep/2025-10-20.jpeg", "2025-10-21..jpg"):
        path = trial / "hazel" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)
    leafwane(capsys, "score", trial, "-o", out, "--explain")
    pictures = [path for folder in ("overlays", "explain") for path in (out / folder).rglob("*.jpg")]
    assert len(pictures) == 10
    for path in (trial / "hazel").rglob("*.*"):
        if path.is_file() and path.name != "2025-10-18.jpg":
            path.unlink()
    lines = leafwane(capsys, "--quiet", "score", trial, "-o", out).lines
    assert lines[0].startswith(f"{out}/scores.csv held 5 photos of hazel and now holds 1: ")
    assert lines[1:] == [f"{out}/explain is of an earlier run; leafwane score --explain makes it again"]
    left = {path.relative_to(out).as_posix() for path in out.rglob("*.jpg")}
    assert left == {"overlays/hazel/2025-10-18.jpg", "explain/hazel/2025-10-18.jpg"}


def test_overlays_of_a_bin_whose_folder_has_another_name_go_too(trial, tmp_path, capsys):
    out = tmp_path / "out"
    write_jpeg(trial / "oak" / "2025-10-04.jpg", pixels=card_photo(leaf_share=0.3))
    leafwane(capsys, "--quiet", "report", trial, "-o", out)
    (trial / "oak").rename(trial / "Eiche")
    (line,) = leafwane(capsys, "--quiet", "report", trial, "-o", out).lines
    assert line == (
        f"{out}/scores.csv held 2 bins and now holds 2, without oak: each run replaces it. If what is missing is still "
        "there, give all bins at once (report TRIAL -o OUT), or a folder of results for each"
    )
    assert {path.name for path in (out / "overlays").iterdir()} == {"Eiche", "hazel"}


def test_a_photo_under_a_new_name_is_no_loss(trial, tmp_path, capsys):
    leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out")
    (trial / "hazel" / "2025-10-18.jpg").rename(trial / "hazel" / "2025-10-19.jpg")
    assert leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out").lines == []


def test_results_of_a_plan_that_has_changed_are_told(trial, tmp_path, capsys):
    out = tmp_path / "out"
    leafwane(capsys, "--quiet", "report", trial, "-o", out)
    (trial / "trial.toml").write_text('[bins.hazel]\nleaf = "oak"\n')
    lines = leafwane(capsys, "--quiet", "compare", trial, "-o", out).lines
    assert lines == [
        f"{out}/bins.json, {out}/curve.csv, {out}/curve.png are of an earlier run; leafwane curve makes them again",
        f"{out}/report.html is of an earlier run; leafwane report makes it again",
    ]
    assert leafwane(capsys, "--quiet", "report", trial, "-o", out).lines == []
    assert leafwane(capsys, "--quiet", "compare", trial, "-o", out).lines == []


def test_a_start_after_all_photos_is_told(trial, tmp_path, capsys):
    (trial / "trial.toml").write_text("[bins.hazel]\nstart = 2062-10-04\n")
    assert leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out").lines == [
        "trial.toml: hazel starts on 2062-10-04, after all its photos; check the year. Days count from the first photo"
    ]


def test_an_outline_that_rim_tags_stand_in_for_is_told_once(trial, tmp_path, capsys):
    for name, hidden in (("2025-10-04", ()), ("2025-10-18", (0,))):
        write_jpeg(trial / "plane" / f"{name}.jpg", pixels=bin_with_rim_tags(hidden=hidden)[0])
    outline = "polygon = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]\n"
    (trial / "trial.toml").write_text(f"[bins.hazel]\n{outline}[bins.plane]\n{outline}")
    assert leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out").lines == [
        (
            "trial.toml: the polygon of plane is not used where rim tags are seen, since these bound the surface; "
            "take out whichever is wrong"
        )
    ]
    (trial / "trial.toml").write_text(f"[bins.hazel]\n{outline}")
    assert leafwane(capsys, "--quiet", "score", trial, "-o", tmp_path / "out").lines == []


def test_a_paper_that_there_is_not_is_told_in_our_words(tmp_path, capsys):
    ended = leafwane(capsys, "card", tmp_path / "card.pdf", "--paper", "a5")
    assert ended.status == 2
    assert "Invalid value for '--paper': 'a5' is not one of a4, letter." in ended.err


def test_card_values_that_are_not_there_are_told(trial, tmp_path, capsys):
    (trial / "trial.toml").write_text('card_values = "nothere.toml"\n')
    ended = leafwane(capsys, "score", trial, "-o", tmp_path / "out")
    assert (ended.status, ended.lines) == (
        6,
        [
            (
                f"leafwane: {trial / 'nothere.toml'}: there is no such file. Check the name after card_values in trial.toml"
            )
        ],
    )


def test_overlays_of_photos_that_were_not_asked_for_stay(trial, tmp_path, capsys):
    out = tmp_path / "out"
    leafwane(capsys, "--quiet", "score", trial, "-o", out)
    leafwane(capsys, "--quiet", "score", trial / "hazel" / "2025-10-04.jpg", "-o", out)
    assert len(list((out / "overlays" / "hazel").glob("*.jpg"))) == 2

"""A folder becomes bins and dated photos; trial.toml is read strictly."""

import ntpath
import os
import unicodedata
from datetime import date, datetime
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, strategies

from fixtures.small_photos import write_jpeg
from leafwane.dates import date_in_name, is_day, photo_date
from leafwane.errors import NoPhotosError, TrialFileError, UsageError
from leafwane.flags import Flag
from leafwane.results import MARK
from leafwane.trial import Trial, late_starts, read_trial
from leafwane.trialfile import BinPlan, LeafOverride, TrialPlan, doubts, read_plan, unread_plans

TODAY = date(2031, 12, 31)


def read(*paths: Path) -> Trial:
    return read_trial(paths, today=TODAY)


def found(trial: Trial) -> list[tuple[str, str]]:
    return [(photo.bin, photo.path.relative_to(trial.root).as_posix()) for photo in trial.photos]


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("2031-10-04.jpg", date(2031, 10, 4)),
        ("20311004.jpg", date(2031, 10, 4)),
        ("IMG_20311004_101500.jpg", date(2031, 10, 4)),
        ("IMG-20311004-WA0007.jpg", date(2031, 10, 4)),
        ("PXL_20311004_101500123.jpg", date(2031, 10, 4)),
        ("20311004101500.jpg", date(2031, 10, 4)),
        ("hazel 2031_10_04 b.jpg", date(2031, 10, 4)),
        ("2031.10.04.heic", date(2031, 10, 4)),
        ("20319999 2031-10-04.jpg", date(2031, 10, 4)),
        ("2031-02-30.jpg", None),
        ("IMG_1234.jpg", None),
        ("04-10-2031.jpg", None),
        ("120311004.jpg", None),
        ("2031-10_04.jpg", None),
        ("2031-9-5.jpg", date(2031, 9, 5)),
        ("hazel 2031.9.05 b.jpg", date(2031, 9, 5)),
        ("2031 11 15.jpg", date(2031, 11, 15)),
        ("WhatsApp Image 2031-11-29 at 10.15.00.jpg", date(2031, 11, 29)),
        ("203195.jpg", None),
        ("2031 11 151.jpg", None),
        ("4.10.2031.jpg", None),
        ("18-10-2031.jpg", None),
        ("5.9.2031 10 15.jpg", None),
        ("5.9.2031.12.1.jpg", None),
        ("12-10-2031-1-2.jpg", None),
        ("04-10-2031-10-15-22.jpg", None),
        ("5.9.2031 2031-09-05.jpg", date(2031, 9, 5)),
        ("2031-10-04 10.15.00.jpg", date(2031, 10, 4)),
        ("2031-9-5-2031-9-6.jpg", date(2031, 9, 5)),
        ("12-2031-10-04.jpg", date(2031, 10, 4)),
        ("bin_3_1_2031-10-18.jpg", date(2031, 10, 18)),
        ("3 1 2031-10-18.jpg", date(2031, 10, 18)),
        ("bin_3_1_2031-10-18_101500.jpg", date(2031, 10, 18)),
        ("bin_3_12_1_2031-10-18.jpg", date(2031, 10, 18)),
        ("5.9.2031.jpg", None),
        ("05.09.2031_101500.jpg", None),
        ("18.10.2031 10.15.00.jpg", None),
        ("18-10-2031_10-15-00.jpg", None),
        ("18.10.2031-10-15-00.jpg", None),
        ("18.10.2031-10-15.jpg", None),
        ("18_10_2031-10-15-00.jpg", None),
        ("3_1_2031_10_18.jpg", None),
        ("IMG_98765432.jpg", None),
    ],
)
def test_date_in_name(name, day):
    assert date_in_name(name) == day


@given(
    day=strategies.dates(date(1900, 1, 1), date(2199, 12, 31)),
    form=strategies.sampled_from(
        ["%Y-%m-%d", "%Y%m%d", "%Y_%m_%d", "%Y.%m.%d", "%Y%m%d%H%M%S", "%Y%m%d_%H%M%S"]
    ),
    before=strategies.text("abcXYZ _-()é", max_size=8),
    behind=strategies.text("abcXYZ _-()é", max_size=8),
)
def test_any_date_in_any_usual_form_is_found(day, form, before, behind):
    assert date_in_name(f"{before}{day:{form}}{behind}.jpg") == day


@pytest.mark.parametrize(
    ("name", "taken", "day", "source", "flags"),
    [
        ("2031-10-04.jpg", None, date(2031, 10, 4), "name", Flag(0)),
        ("2031-10-04.jpg", date(2031, 10, 5), date(2031, 10, 4), "name", Flag(0)),
        ("2031-10-04.jpg", date(2031, 10, 6), date(2031, 10, 4), "name", Flag.DATES_DIFFER),
        ("one.jpg", date(2031, 10, 5), date(2031, 10, 5), "exif", Flag(0)),
        ("one.jpg", None, None, "none", Flag.NO_DATE),
        ("2031-12-31.jpg", None, date(2031, 12, 31), "name", Flag(0)),
        ("2032-01-01.jpg", None, date(2032, 1, 1), "name", Flag.FUTURE_DATE),
        (
            "2032-01-01.jpg",
            date(2031, 12, 31),
            date(2032, 1, 1),
            "name",
            Flag(0),
        ),  # names may go by Greenwich
        ("one.jpg", date(2040, 1, 1), date(2040, 1, 1), "exif", Flag.FUTURE_DATE),
        ("2031-02-30.jpg", date(2031, 3, 2), date(2031, 3, 2), "exif", Flag.IMPOSSIBLE_DATE),
        ("2031-02-30.jpg", None, None, "none", Flag.NO_DATE | Flag.IMPOSSIBLE_DATE),
        ("2031-02-30 2031-03-02.jpg", None, date(2031, 3, 2), "name", Flag(0)),
        ("IMG_20319999.jpg", date(2031, 3, 2), date(2031, 3, 2), "exif", Flag(0)),
    ],
)
def test_name_goes_before_camera(name, taken, day, source, flags):
    dated = photo_date(name, taken, today=TODAY)
    assert (dated.day, dated.source, dated.flags) == (day, source, flags)


@pytest.mark.parametrize(
    ("days", "flagged"),
    [
        (("2031-01-10", "2031-10-04"), [0]),
        (("2031-01-10", "2031-09-20", "2031-10-04"), [0]),
        (("2031-09-13", "2031-10-04"), []),  # a first look
        (("2031-01-10", "2031-02-10", "2031-10-04"), []),  # an earlier batch
        (("2031-09-06", "2031-09-20", "2031-10-04"), []),  # a short one, whose last photo may be a first look
        (("2031-01-10",), []),  # others may be on the disk, or the start mistyped
        (("2031-01-10", "2031-01-10 b"), []),
        (("2031-01-10", "2031-01-10 b", "2031-10-04"), [0, 1]),
    ],
)
def test_a_photo_alone_from_long_before_its_bin_s_start_is_flagged(tmp_path, days, flagged):
    for name in (*(f"a/{day}.jpg" for day in days), "b/2031-01-10.jpg"):
        write_jpeg(tmp_path / name)
    (tmp_path / "trial.toml").write_text("[bins.a]\nstart = 2031-10-04\n")
    photos = read(tmp_path).photos
    assert [place for place, photo in enumerate(photos) if photo.flags == Flag.BEFORE_START] == flagged


@pytest.mark.parametrize(
    ("days", "start", "told"),
    [
        (("2031-10-04", "2031-10-18"), "2062-10-04", "year"),
        (("2031-09-04", "2031-09-18"), "2031-10-04", "date"),
        (("2031-09-20",), "2031-10-04", ""),  # a first look
        (("2031-01-10", "2031-09-20"), "2031-10-04", ""),  # the same beside a photo that is set aside
        (("2031-10-04", "2031-10-18"), "2031-10-18", ""),
        (("2062-10-04",), "2063-10-04", ""),  # of the future, which is told otherwise
        (("one",), "2031-10-04", ""),
    ],
)
def test_a_bin_that_starts_after_all_its_photos_is_told(tmp_path, days, start, told):
    for day in days:
        write_jpeg(tmp_path / "a" / f"{day}.jpg")
    write_jpeg(tmp_path / "b" / "2031-01-04.jpg")
    (tmp_path / "trial.toml").write_text(f"[bins.a]\nstart = {start}\n[bins.c]\nstart = {start}\n")
    lines = late_starts(read(tmp_path))
    assert [line.split("; ")[1] for line in lines] == (
        [f"check the {told}. Days count from the first photo"] if told else []
    )


@pytest.mark.parametrize(
    ("given", "start", "told"),
    [
        (".", "2031-08-04", True),
        ("a", "2030-10-04", True),
        (".", "2031-08-05", False),
        ("a/2.jpg", "2030-10-04", False),
    ],
)
def test_a_start_long_before_the_first_photo_is_told_where_all_photos_are_given(tmp_path, given, start, told):
    for name in ("a/1 2031-10-04.jpg", "a/2.jpg"):
        write_jpeg(tmp_path / name, taken=datetime(2031, 11, 4, 8, 0))  # noqa: DTZ001 (EXIF has no zone)
    (tmp_path / "trial.toml").write_text(f"[bins.a]\nstart = {start}\n")
    days = (date(2031, 10, 4) - date.fromisoformat(start)).days
    line = f"trial.toml: a starts on {start}, {days} days before its first photo; check the date. Days count from the start"
    assert read(tmp_path / given).remarks == ((line,) if told else ())


@pytest.mark.parametrize(
    ("days", "gap"),
    [
        (("2030-10-11", "2031-02-01", "2031-10-04", "2031-10-18"), "between 2031-02-01 and 2031-10-04"),
        (("2031-04-04", "2031-10-04"), ""),
        (("2031-10-04", "2062-10-04"), ""),  # of the future, which is told otherwise
        (("2031-10-04", "one"), ""),
    ],
)
def test_half_a_year_without_a_photo_is_told_once_a_bin(tmp_path, days, gap):
    for day in days:
        write_jpeg(tmp_path / "a" / f"{day}.jpg")
    write_jpeg(tmp_path / "b" / "2030-01-04.jpg")
    lines = read(tmp_path).remarks
    assert lines == (
        (f"a: no photo {gap}, over half a year; if a year is wrong, put the right one in the file's name",)
        if gap
        else ()
    )
    assert read(*(tmp_path / "a").iterdir()).remarks == ()


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("2031-10-04", True),
        ("2031.10.04", True),
        ("20311004", True),
        ("4.10.2031", True),
        ("20319999", False),
        ("bin 2031-10-04", False),
        ("2031-10-04 b", False),
        ("bin-7", False),
    ],
)
def test_folders_named_by_a_day_are_told(tmp_path, name, day):
    assert is_day(name) == day
    for place in (name, "hazel", "2031-11-01"):
        write_jpeg(tmp_path / place / "1.jpg")
    (line,) = read(tmp_path).remarks
    assert line.startswith(f"{tmp_path}: folders named by a day, which count as bins: ")
    assert (name in line) == day
    assert line.endswith(
        "If they hold photos of several bins, sort these into one folder a bin, since those of one folder and day "
        "are averaged"
    )
    assert read(tmp_path / "hazel").remarks == ()


def test_folders_that_are_taken_together_as_one_bin_are_told(tmp_path):
    for name in ("A/bin-10/1.jpg", "A/bin-2/1.jpg", "B/1.jpg", "B/more/1.jpg"):
        write_jpeg(tmp_path / name)
    assert read(tmp_path).remarks == (
        (
            f"{tmp_path / 'A'}: the photos in bin-2, bin-10 are taken together as one bin. If each of these folders is "
            "a bin, give this folder itself, or move them into the one above it"
        ),
    )
    assert read(tmp_path / "A").remarks == ()


def test_photos_beside_the_bins_folders_are_told(tmp_path):
    for name in ("a/1.jpg", "a/2.jpg", "poster.jpg"):
        write_jpeg(tmp_path / name)
    assert read(tmp_path).remarks == (
        (
            f"{tmp_path}: photos that lie beside the bins' folders, and so count as a bin of their own, "
            f"{tmp_path.name}: poster.jpg. Move them into the folder of their bin"
        ),
    )
    assert read(tmp_path / "a").remarks == ()


def test_a_bin_s_folder_without_a_photo_is_told_and_no_other(tmp_path):
    write_jpeg(tmp_path / "a" / "1.jpg")
    for name in ("bin-10", "bin-2/more", "a/empty", ".hidden", "out"):
        (tmp_path / name).mkdir(parents=True)
    (tmp_path / "out" / MARK).touch()
    (tmp_path / "notes.txt").touch()
    assert read(tmp_path).remarks == (
        f"{tmp_path}: folders without a photo, which are left out: bin-2, bin-10",
    )
    assert read(tmp_path / "a").remarks == ()


def test_a_jpeg_by_another_name_is_a_photo(tmp_path):
    write_jpeg(tmp_path / "a" / "2031-10-04.JFIF")
    assert found(read(tmp_path)) == [("a", "a/2031-10-04.JFIF")]


def test_pictures_that_are_not_read_are_told_once_a_run(tmp_path):
    for name in ("a/1.jpg", "b/1.jpg"):
        write_jpeg(tmp_path / name)
    for name in (
        "a/10.gif",
        "a/2.DNG",
        "b/3.avif",
        "b/more/4.cr2",
        ".hidden/5.gif",
        "b/._6.gif",
        "b/notes.txt",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert read(tmp_path, tmp_path / "a").remarks == (
        (
            f"{tmp_path}: pictures of a kind that is not read (4): a/2.DNG, a/10.gif, b/3.avif and 1 more. "
            "Save them as JPEG"
        ),
    )
    assert read(tmp_path / "b" / "1.jpg").remarks == ()


def test_linked_folders_are_told_and_not_followed(tmp_path):
    write_jpeg(tmp_path / "elsewhere" / "hazel" / "1.jpg")
    write_jpeg(tmp_path / "trial" / "a" / "1.jpg")
    for name, to in (
        ("hazel", tmp_path / "elsewhere" / "hazel"),
        ("a/round", tmp_path / "trial"),
        (".h", "."),
    ):
        (tmp_path / "trial" / name).symlink_to(to, target_is_directory=True)
    (tmp_path / "trial" / "a" / "2.jpg").symlink_to(tmp_path / "elsewhere" / "hazel" / "1.jpg")
    trial = read(tmp_path / "trial")
    assert found(trial) == [("a", "a/1.jpg"), ("a", "a/2.jpg")]
    assert trial.remarks == (
        (
            f"{tmp_path / 'trial'}: linked folders, which are not followed (2): a/round, hazel. "
            "Put the folders themselves in their place"
        ),
    )
    assert found(read(tmp_path / "trial" / "hazel")) == [("hazel", "1.jpg")]


def test_a_folder_of_linked_folders_says_what_to_do(tmp_path):
    write_jpeg(tmp_path / "elsewhere" / "1.jpg")
    (tmp_path / "trial").mkdir()
    (tmp_path / "trial" / "a").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    with pytest.raises(NoPhotosError, match=r"Linked folders, which are not followed \(1\): a\. Put "):
        read(tmp_path / "trial")


def test_sub_folders_are_bins_in_the_order_of_their_numbers(tmp_path):
    for name in ("bin-10/2031-10-04.jpg", "bin-2/IMG_10.jpg", "bin-2/IMG_9.jpg", "bin-2/more/IMG_1.jpg"):
        write_jpeg(tmp_path / name)
    assert found(read(tmp_path)) == [
        ("bin-2", "bin-2/IMG_9.jpg"),
        ("bin-2", "bin-2/IMG_10.jpg"),
        ("bin-2", "bin-2/more/IMG_1.jpg"),
        ("bin-10", "bin-10/2031-10-04.jpg"),
    ]


def test_a_flat_folder_is_one_bin(tmp_path):
    write_jpeg(tmp_path / "hazel" / "2031-10-04.jpg")
    assert found(read(tmp_path / "hazel")) == [("hazel", "2031-10-04.jpg")]


def test_camera_s_date_stands_in_for_a_name_without_one(tmp_path):
    write_jpeg(tmp_path / "one.jpg", taken=datetime(2031, 10, 4, 8, 0))  # noqa: DTZ001 (EXIF has no zone)
    photo = read(tmp_path).photos[0]
    assert (photo.date, photo.source) == (date(2031, 10, 4), "exif")


def test_the_file_s_own_time_is_never_a_date(tmp_path):
    write_jpeg(tmp_path / "one.jpg")
    photo = read(tmp_path).photos[0]
    assert (photo.date, photo.source, photo.flags) == (None, "none", Flag.NO_DATE)


def test_what_is_no_photo_is_passed_over_and_what_claims_to_be_one_is_kept(tmp_path):
    write_jpeg(tmp_path / "a" / "2031-10-04.jpg")
    write_jpeg(tmp_path / "a" / "._2031-10-04.jpg")
    write_jpeg(tmp_path / ".thumbnails" / "2031-10-04.jpg")
    write_jpeg(tmp_path / "@eaDir" / "2031-10-04.jpg")
    (tmp_path / "a" / "notes.txt").write_text("wet day")
    (tmp_path / "a" / "fake.jpg").write_text("no photo")
    (tmp_path / "empty bin").mkdir()
    assert found(read(tmp_path)) == [("a", "a/2031-10-04.jpg"), ("a", "a/fake.jpg")]


def test_several_paths_and_none_twice(tmp_path):
    one, two = write_jpeg(tmp_path / "a" / "1.jpg"), write_jpeg(tmp_path / "b" / "2.jpg")
    trial = read(one, tmp_path / "a", two.parent)
    assert trial.root == tmp_path
    assert found(trial) == [("a", "a/1.jpg"), ("b", "b/2.jpg")]


def test_a_bin_s_folder_finds_the_plan_above_it(tmp_path):
    write_jpeg(tmp_path / "a" / "1.jpg")
    (tmp_path / "trial.toml").write_text('[bins.a]\nleaf = "hazel"\n')
    for start in (tmp_path / "a", tmp_path / "a" / "1.jpg", tmp_path):
        trial = read(start)
        assert found(trial) == [("a", "a/1.jpg")]
        assert trial.plan.bin_plan("a").leaf == "hazel"


def test_relative_paths(tmp_path, monkeypatch):
    write_jpeg(tmp_path / "garden" / "a" / "1.jpg")
    monkeypatch.chdir(tmp_path / "garden")
    assert found(read(Path())) == [("a", "a/1.jpg")]
    monkeypatch.chdir(tmp_path / "garden" / "a")
    assert found(read(Path())) == [("a", "1.jpg")]


def test_no_plan_is_a_plan(tmp_path):
    write_jpeg(tmp_path / "garden" / "a" / "1.jpg")
    plan = read(tmp_path / "garden").plan
    assert plan == TrialPlan(name="garden")
    assert plan.bin_plan("a") == BinPlan(name="a")


FULL = """\
name = "Invented garden"
finish_percent = 4
stall_half_life_days = 120
card_values = "our-card.toml"
chart_width_mm = 260

[bins.bin-a]
leaf = "hazel"
start = 2031-10-04
grams = 350
notes = "chopped"
polygon = [[0.1, 0.1], [0.9, 0.1], [0.9, 1], [0, 0.9]]

[bins.bin-b]
start = "2031-10-05"

[leaves.hazel]
half_life_days = 40
high_lignin = false
"""


def test_all_keys_of_the_plan(tmp_path):
    write_jpeg(tmp_path / "bin-a" / "1.jpg")
    (tmp_path / "trial.toml").write_text(FULL)
    trial = read(tmp_path)
    assert trial.plan == TrialPlan(
        name="Invented garden",
        finish_percent=4.0,
        stall_half_life_days=120.0,
        card_values=tmp_path / "our-card.toml",
        chart_width_mm=260.0,
        bins={
            "bin-a": BinPlan(
                name="bin-a",
                leaf="hazel",
                start=date(2031, 10, 4),
                grams=350.0,
                notes="chopped",
                polygon=((0.1, 0.1), (0.9, 0.1), (0.9, 1.0), (0.0, 0.9)),
            ),
            "bin-b": BinPlan(name="bin-b", start=date(2031, 10, 5)),
        },
        leaves={"hazel": LeafOverride(half_life_days=40.0, high_lignin=False)},
    )
    assert trial.planned_only == ("bin-b",)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "[bins.a]\nfinish_percent = 5",
            "bins.a.finish_percent: the key stands in the wrong place. Write it above the first [ ... ]",
        ),
        ("leaf = 'oak'", "leaf: the key stands in the wrong place. Write it under [bins.NAME]"),
        (
            "[bins.a]\nhigh_lignin = true",
            "high_lignin: the key stands in the wrong place. Write it under [leaves.NAME]",
        ),
        ("[bins]\nleaf = 'oak'", "stands where a table belongs. Write it under [bins.NAME]"),
        ("[bins.a]\nbins = 5", "bins.a.bins: there is no such key. Known keys are leaf, start"),
        (
            "[bins]\na = 'oak'",
            "bins.a: 'oak' stands where a table belongs. Write [bins.a] and below it lines like leaf = \"oak\"",
        ),
        ("[bins]\n'bin 1' = 'oak'", 'Write [bins."bin 1"] and below it'),
        ("[leaves]\noak = 40", "Write [leaves.oak] and below it lines like half_life_days = 40"),
        ("finish_persent = 5", "finish_persent: there is no such key. Did you mean finish_percent?"),
        ("xyzzy = 5", "xyzzy: there is no such key. Known keys are name, finish_percent"),
        ("[bins.a]\nlaef = 'hazel'", "bins.a.laef: there is no such key. Did you mean leaf?"),
        ("[bins.a]\nGrams = 5", "bins.a.Grams: there is no such key. Did you mean grams?"),
        (
            "[leaves.oak]\nhalflife = 5",
            "leaves.oak.halflife: there is no such key. Did you mean half_life_days?",
        ),
        ("name = 5", "name: 5 is no text"),
        ("bins = 5", "bins: 5 stands where a table belongs"),
        ("bins.a = 5", "bins.a: 5 stands where a table belongs"),
        ("finish_percent = '5'", "finish_percent: '5' is no number"),
        (
            "[bins.a]\ngrams = '350 g'",
            "bins.a.grams: '350 g' is no number. Write grams = 350, without quotation marks and unit",
        ),
        ("[bins.a]\ngrams = '0.35'", "Write grams = 0.35, without quotation marks and unit"),
        ("[bins.a]\ngrams = '1,200 g'", "Write a number like 350 or 0.35, without quotation marks and unit"),
        (
            "[bins.a]\ngrams = '2 x 350 g'",
            "Write a number like 350 or 0.35, without quotation marks and unit",
        ),
        ("finish_percent = true", "finish_percent: True is no number"),
        ("finish_percent = nan", "finish_percent: nan is no number"),
        ("finish_percent = 0", "finish_percent: 0 is not between 0 and 100"),
        ("finish_percent = 100", "finish_percent: 100 is not between 0 and 100"),
        ("chart_width_mm = 0", "chart_width_mm: 0 is not above 0"),
        ("stall_half_life_days = -3", "stall_half_life_days: -3 is not above 0"),
        ("[bins.a]\ngrams = 0", "bins.a.grams: 0 is not above 0"),
        ("[bins.a]\nstart = '4 October'", "bins.a.start: '4 October' is no date. Write it as year-month-day"),
        ("[bins.a]\nstart = 2031-02-30", "not written as TOML asks"),
        ("[bins.a]\nstart = 20311004", "bins.a.start: 20311004 is no date"),
        ("[bins.a]\npolygon = [[0, 0], [1, 1]]", "bins.a.polygon: an outline needs 3 points or more"),
        ("[bins.a]\npolygon = 'all'", "bins.a.polygon: an outline needs 3 points or more"),
        (
            "[bins.a]\npolygon = [[0, 0], [1, 1], [2, 0]]",
            "bins.a.polygon, point 3: [2, 0] lies outside the photo",
        ),
        ("[bins.a]\npolygon = [[0, 0], [1, 1], [1]]", "bins.a.polygon, point 3: [1] is no pair of numbers"),
        (
            "[bins.a]\npolygon = [[0, 0], [1, 1], [1, '0']]",
            "bins.a.polygon, point 3: '0' is no number. Write 0, without quotation marks and unit",
        ),
        ("[leaves.oak]\nhigh_lignin = 'yes'", "leaves.oak.high_lignin: 'yes' is neither true nor false"),
        ("[bins.a]\n[bins.A]", "bins: a and A differ in capital letters only"),
        ("[leaves.oak]\n[leaves.Oak]", "leaves: oak and Oak differ in capital letters only"),
        ("[bins.A]", "trial.toml names the bin A, but its folder is a"),
        ("name = ", "not written as TOML asks"),
        ("name = 'one'\nname = 'two'", "not written as TOML asks"),
    ],
)
def test_slips_in_the_plan_are_refused_with_their_place(tmp_path, text, says):
    write_jpeg(tmp_path / "a" / "1.jpg")
    (tmp_path / "trial.toml").write_text(text)
    with pytest.raises(TrialFileError) as refused:
        read(tmp_path)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


NAMES = "Put a name with spaces, or with letters beyond a to z, between quotation marks: "
DATES = "Write a date as year-month-day, with two digits for month and day, like 2031-10-04"
NUMBERS = "Write a number without its unit, and with a point, like 350 or 0.35"
BRACKETS = "Close each bracket that you open, in this line or above it, and put a comma between two values"
QUOTES = 'Between quotation marks of one kind write only the other: "Ann\'s bin"'
TEXT = 'Put text between straight quotation marks, like leaf = "oak"'


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("[bins.Green bin 1]", NAMES + '[bins."Green bin 1"]'),
        ("[bins.twice a]", NAMES + '[bins."twice a"]'),
        ("[bins.Ann's bin]", NAMES + '[bins."Ann\'s bin"]'),
        ("[bins.Grüner]", NAMES + '[bins."Grüner"]'),
        ("[leaves.red oak]", NAMES + '[leaves."red oak"]'),
        ("start = 04.10.2031", DATES),
        ("start = 2031-10-4", DATES),
        ("start = 4 October 2031", DATES),
        ("start = 2031-02-30", "There is no such day in the calendar"),
        ("start = 2031-13-01  # bedded", "There is no such day in the calendar"),
        ("start date = 2031-10-04", "Write one word before the = sign, like start or half_life_days"),
        ("start 2031-10-04", "Write lines like grams = 400"),
        ("high_lignin true", "Write lines like grams = 400"),
        ("polygon = [[0.1 0.1], [0.9 0.1]]", BRACKETS),
        ("leaf = oak", TEXT),
        ("leaf = \u201coak\u201d", 'Use straight quotation marks, like leaf = "oak"'),
        ('leaf = "oak', "Close every quotation mark and every bracket that you open"),
        ("grams = 350g", NUMBERS),
        ("grams = 350 g", NUMBERS),
        ("grams = 0,35", NUMBERS),
        ("high_lignin = Yes", "Write true or false, in small letters"),
        ('card_values = "C:\\Users"', "Write / in place of each \\"),
        ("[bins.a]", "It stands there twice: keep one of them"),
        ("leaf: oak", 'Write = in place of the colon, like leaf = "oak"'),
        ('leaf : "oak"', 'Write = in place of the colon, like leaf = "oak"'),
        ('notes = "the "big" bin"', QUOTES),
        ("notes = 'Ann's bin'", QUOTES),
        ("grams 350", "Write lines like grams = 400"),
        ("name =", "Write lines like grams = 400"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_with_a_hint_that_fits(tmp_path, line, hint):
    write_jpeg(tmp_path / "a" / "1.jpg")
    (tmp_path / "trial.toml").write_bytes(f"[bins.a]\r\n{line}\r\n\r\n".encode())
    with pytest.raises(TrialFileError) as refused:
        read(tmp_path)
    told = f"trial.toml: the file is not written as TOML asks in line 2 ({line}). {hint}"
    assert str(refused.value) == f"{tmp_path}/{told}"


@pytest.mark.parametrize("comma", ["", ","])
@pytest.mark.parametrize("line", ["start = 2031-10-04", "  high_lignin = true", "[bins.b]"])
def test_a_line_below_a_list_that_is_not_closed_is_not_blamed(tmp_path, line, comma):
    plan = tmp_path / "trial.toml"
    plan.write_text(f"[bins.a]\npolygon = [[0.1, 0.1], [0.9, 0.1]{comma}\n{line}\n")
    with pytest.raises(TrialFileError) as refused:
        read_plan(plan, default_name="")
    assert str(refused.value).endswith(f"in line 3 ({line.strip()}). {BRACKETS}")


CROSSES = r"bins\.a\.polygon: the outline crosses itself\. Write its points in"
TINY = (
    r"bins\.a\.polygon: the outline holds less than 1% of the photo\. Write the corners of the whole surface"
)


@pytest.mark.parametrize(
    ("points", "refusal"),
    [
        ("[0.1, 0.1], [0.9, 0.9], [0.9, 0.1], [0.1, 0.9]", CROSSES),
        ("[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]", ""),
        ("[0.1, 0.1], [0.9, 0.1], [0.5, 0.3], [0.9, 0.9], [0.1, 0.9]", ""),
        ("[0, 0], [1, 0], [0, 1]", ""),
        ("[0, 0], [1, 0], [1, 1], [0.5, -0.0], [0, 1]", ""),
        ("[0.5, 0.5], [0.5, 0.5], [0.5, 0.5]", TINY),
        ("[0, 0], [0.5, 0.5], [1, 1]", TINY),
        ("[0.9, 0.9], [0.9, 0.99], [0.99, 0.99], [0.99, 0.9]", TINY),
        ("[0.8, 0.8], [0.8, 0.92], [0.92, 0.92], [0.92, 0.8]", ""),
    ],
)
def test_an_outline_that_crosses_itself_or_has_hardly_any_area_is_refused(tmp_path, points, refusal):
    plan = tmp_path / "trial.toml"
    plan.write_text(f"[bins.a]\npolygon = [{points}]")
    if not refusal:
        assert read_plan(plan, default_name="").bins["a"].polygon
        return
    with pytest.raises(TrialFileError, match=refusal):
        read_plan(plan, default_name="")


def test_a_finish_line_under_one_percent_is_doubted(tmp_path):
    plan = tmp_path / "trial.toml"
    plan.write_text("finish_percent = 0.05")
    assert doubts(read_plan(plan, default_name="")) == (
        "trial.toml: finish_percent = 0.05 is percent, not a part of 1; write 5 if 5% was meant",
    )
    plan.write_text("finish_percent = 1")
    assert doubts(read_plan(plan, default_name="")) == ()


def test_figures_that_are_hardly_meant_are_doubted(tmp_path):
    plan = tmp_path / "trial.toml"
    plan.write_text("finish_percent = 99\n[bins.a]\ngrams = 0.35\n[bins.b]\ngrams = 350")
    finish, grams = doubts(read_plan(plan, default_name=""))
    assert finish.startswith(
        "trial.toml: finish_percent = 99 calls a bin ready with that much of it under leaf"
    )
    assert grams == "trial.toml: bins.a.grams = 0.35 is hardly any leaf; if kilograms were meant, write 350"
    plan.write_text("finish_percent = 20\n[bins.a]\ngrams = 10")
    assert doubts(read_plan(plan, default_name="")) == ()


@pytest.mark.parametrize("name", ["trial.toml.txt", "Trial.toml", "TRIAL.TOML.TXT"])
def test_a_plan_under_a_name_that_is_not_read_is_found(tmp_path, name):
    (tmp_path / name).touch()
    (tmp_path / "trial.txt").touch()
    assert unread_plans(tmp_path) == (tmp_path / name,)
    (tmp_path / "trial.toml").touch()
    assert unread_plans(tmp_path) == ()


def test_a_plan_that_is_no_text(tmp_path):
    write_jpeg(tmp_path / "a" / "1.jpg")
    (tmp_path / "trial.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(TrialFileError, match=r"trial\.toml: the file is no UTF-8 text"):
        read(tmp_path)


def test_a_plan_that_is_a_folder(tmp_path):
    write_jpeg(tmp_path / "a" / "1.jpg")
    (tmp_path / "trial.toml").mkdir()
    with pytest.raises(TrialFileError, match="cannot be read"):
        read(tmp_path)


def test_one_plan_at_a_time(tmp_path):
    for garden in ("north", "south"):
        write_jpeg(tmp_path / garden / "a" / "1.jpg")
        (tmp_path / garden / "trial.toml").touch()
    with pytest.raises(TrialFileError, match="Give one trial at a time"):
        read(tmp_path / "north", tmp_path / "south")


def test_bins_that_differ_in_capital_letters_only(tmp_path):
    write_jpeg(tmp_path / "north" / "hazel" / "1.jpg")
    write_jpeg(tmp_path / "south" / "Hazel" / "1.jpg")
    with pytest.raises(TrialFileError, match=r"differ in capital letters only\. Rename one of the folders"):
        read(tmp_path / "north", tmp_path / "south")


def test_bins_of_one_name(tmp_path):
    write_jpeg(tmp_path / "north" / "hazel" / "1.jpg")
    write_jpeg(tmp_path / "south" / "hazel" / "1.jpg")
    with pytest.raises(TrialFileError, match="have the same name"):
        read(tmp_path / "north", tmp_path / "south")


def test_accents_are_composed_whatever_the_file_system_does(tmp_path):
    write_jpeg(tmp_path / unicodedata.normalize("NFD", "chêne") / "1.jpg")
    (tmp_path / "trial.toml").write_text('[bins."chêne"]\nleaf = "oak"\n', encoding="utf-8")
    trial = read(tmp_path)
    assert trial.plan.bin_plan(trial.photos[0].bin).leaf == "oak"


def test_photos_on_several_drives_are_refused(tmp_path, monkeypatch):
    """As paths of Windows are, which have no folder in common there."""
    for bin_ in ("north/hazel", "south/oak"):
        write_jpeg(tmp_path / bin_ / "2031-10-04.jpg")
    apart = partial(ntpath.commonpath, ["C:\\north", "D:\\south"])
    monkeypatch.setattr(os.path, "commonpath", lambda _paths: apart())
    with pytest.raises(UsageError, match="several drives"):
        read(tmp_path / "north", tmp_path / "south")


@pytest.mark.parametrize("given", ["nowhere", "empty"])
def test_nothing_to_read(tmp_path, given):
    (tmp_path / "empty").mkdir()
    with pytest.raises(NoPhotosError, match="there is no"):
        read(tmp_path / given)


def test_reading_a_trial_changes_nothing(tmp_path):
    photo = write_jpeg(tmp_path / "a" / "1.jpg")
    before = (photo.read_bytes(), photo.stat().st_mtime_ns, sorted(tmp_path.rglob("*")))
    read(tmp_path)
    assert (photo.read_bytes(), photo.stat().st_mtime_ns, sorted(tmp_path.rglob("*"))) == before


def test_a_photo_without_a_date_is_not_told_to_be_from_before_the_start(tmp_path):
    for name in ("a/2031-10-04.jpg", "a/2031-10-18.jpg", "a/one.jpg"):
        write_jpeg(tmp_path / name)
    (tmp_path / "trial.toml").write_text("[bins.a]\nstart = 2031-10-04\n")
    assert [photo.flags for photo in read(tmp_path).photos] == [Flag(0), Flag(0), Flag.NO_DATE]


def test_a_start_with_a_time_of_day_is_that_day(tmp_path):
    path = tmp_path / "trial.toml"
    path.write_text("[bins.a]\nstart = 2031-10-04T08:30:00\n")
    start = read_plan(path, default_name="t").bin_plan("a").start
    assert type(start) is date
    assert start == date(2031, 10, 4)

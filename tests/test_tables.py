"""The tables hold what design promised, as RFC 4180 and UTF-8."""

import csv
import json
import math
from datetime import date

import pytest

from leafwane.breakdown.checkins import gather_check_ins
from leafwane.flags import Flag
from leafwane.scores import Score
from leafwane.tables import (
    CURVE_COLUMNS,
    SCORE_COLUMNS,
    read_photos,
    score_days,
    to_json,
    write_curve,
    write_json,
    write_scores,
)
from leafwane.trialfile import BinPlan, TrialPlan
from tests.report.invented import a_course

NONE = Flag(0)
PLAN = TrialPlan(name="Invented garden")


def a_score(photo="a/2031-10-04.jpg", *, day=date(2031, 10, 4), leaf=62.3456789, name="a", flags=NONE):
    return Score(
        photo=photo,
        bin=name,
        date=day,
        date_source="name" if day else "none",
        leaf_percent=leaf,
        leaf_err=None if leaf is None else 2.0,
        castings_percent=None if leaf is None else 30.0,
        other_percent=None if leaf is None else 7.6543211,
        unsure_percent=None if leaf is None else 4.5,
        shine_percent=None if leaf is None else 0.0,
        surface_cm2=None if leaf is None else 1234.5678,
        mm_per_px=None if leaf is None else 0.3125,
        card_de00=None if leaf is None else math.nan,
        fragments_per_dm2=None if leaf is None else 12.0,
        fragment_median_mm2=None if leaf is None else 345.6,
        fragment_largest_mm2=None if leaf is None else 4567.8,
        flags=flags,
        method="1",
        message="" if leaf is not None else "no card",
    )


def rows_of(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, strict=True))


def test_score_columns(tmp_path):
    write_scores(tmp_path / "scores.csv", [], plan=PLAN)
    assert (tmp_path / "scores.csv").read_bytes() == (
        b"photo,bin,date,day,leaf_percent,leaf_err,castings_percent,other_percent,surface_cm2,mm_per_px,card_de00,"
        b"flags,method,unsure_percent,fragments_per_dm2,fragment_median_mm2\r\n"
    )


def test_curve_columns(tmp_path):
    write_curve(tmp_path / "curve.csv", [])
    assert (tmp_path / "curve.csv").read_bytes() == (
        b"bin,date,day,n_photos,leaf_percent,leaf_err,remaining_percent,remaining_err,flags\r\n"
    )


def test_a_scored_photo(tmp_path):
    write_scores(tmp_path / "scores.csv", [a_score(flags=Flag.BLURRED | Flag.NO_DATE)], plan=PLAN)
    (row,) = rows_of(tmp_path / "scores.csv")
    assert tuple(row) == SCORE_COLUMNS
    assert row == {
        "photo": "a/2031-10-04.jpg",
        "bin": "a",
        "date": "2031-10-04",
        "day": "0",
        "leaf_percent": "62.346",
        "leaf_err": "2",
        "castings_percent": "30",
        "other_percent": "7.6543",
        "surface_cm2": "1234.6",
        "mm_per_px": "0.3125",
        "card_de00": "",
        "flags": "no-date;blurred",
        "method": "1",
        "unsure_percent": "4.5",
        "fragments_per_dm2": "12",
        "fragment_median_mm2": "345.6",
    }


def test_an_unscored_undated_photo_has_empty_cells(tmp_path):
    write_scores(tmp_path / "scores.csv", [a_score(day=None, leaf=None)], plan=PLAN)
    (row,) = rows_of(tmp_path / "scores.csv")
    assert {key for key, value in row.items() if value} == {"photo", "bin", "method"}


def test_names_with_commas_quotes_lines_and_accents_survive(tmp_path):
    name = 'chêne, "wet"\nlow'
    write_scores(tmp_path / "scores.csv", [a_score(photo=f"{name}/1.jpg", name=name)], plan=PLAN)
    (row,) = rows_of(tmp_path / "scores.csv")
    assert (row["photo"], row["bin"]) == (f"{name}/1.jpg", name)


def test_names_that_are_no_text_are_escaped(tmp_path):
    write_scores(tmp_path / "scores.csv", [a_score(photo="a/\udcff.jpg")], plan=PLAN)
    assert rows_of(tmp_path / "scores.csv")[0]["photo"] == "a/\\udcff.jpg"


def test_days_count_from_the_first_scored_check_in_or_the_start_in_the_plan():
    scores = [
        a_score(day=date(2031, 10, 18)),
        a_score(day=date(2031, 10, 1), leaf=None),
        a_score(day=date(2031, 10, 4)),
        a_score(day=None),
        a_score(name="b", day=date(2031, 11, 1)),
        a_score(name="c", day=date(2031, 11, 3), leaf=None),
    ]
    plan = TrialPlan(name="", bins={"b": BinPlan(name="b", start=date(2031, 10, 1)), "d": BinPlan(name="d")})
    assert score_days(scores, plan=plan) == (14, -3, 0, None, 31, 0)


def test_days_of_photos_are_those_of_their_check_ins():
    scores = [
        a_score(day=date(2031, 1, 10), flags=Flag.BEFORE_START),
        *(a_score(day=date(2031, 10, day)) for day in (4, 18)),
        a_score(name="b", day=date(2031, 10, 11)),
    ]
    starts = {"a": date(2031, 10, 1), "b": date(2031, 10, 18)}
    bins = {name: BinPlan(name=name, start=start) for name, start in starts.items()}
    days = score_days(scores, plan=TrialPlan(name="", bins=bins))
    assert days == (-264, 3, 17, 0)
    check_ins = gather_check_ins(scores, starts=starts)
    assert tuple(check_in.day for found in check_ins.values() for check_in in found) == days[1:]


def test_a_row_a_check_in(tmp_path):
    course = a_course(covers=(80.0, 40.0))
    write_curve(tmp_path / "curve.csv", [course])
    rows = rows_of(tmp_path / "curve.csv")
    assert [tuple(row) for row in rows] == [CURVE_COLUMNS] * 2
    assert [row["date"] for row in rows] == [check_in.date.isoformat() for check_in in course.check_ins]
    assert [float(row["remaining_percent"]) for row in rows] == [100.0, 50.0]


def test_json_holds_numbers_only_where_there_are_numbers(tmp_path):
    data = {"a": math.nan, "b": [math.inf, 1.5], "c": ("é", None), "d": True}
    write_json(tmp_path / "bins.json", data)
    text = (tmp_path / "bins.json").read_text(encoding="utf-8")
    assert json.loads(text) == {"a": None, "b": [None, 1.5], "c": ["é", None], "d": True}
    assert text == to_json(data) + "\n"
    assert "é" in text


def test_photos_and_bins_are_read_back(tmp_path):
    name = 'chêne, "wet"\nlow'
    scores = [a_score(photo=f"{name}/1.jpg", name=name), a_score(leaf=None)]
    write_scores(tmp_path / "scores.csv", scores, plan=PLAN)
    table = (tmp_path / "scores.csv").read_bytes()
    assert read_photos(table) == {f"{name}/1.jpg": name, "a/2031-10-04.jpg": "a"}


@pytest.mark.parametrize(
    "table",
    [
        b"",
        b"notes",
        b"photo;bin\r\n1;a\r\n",
        b"photo,bin\r\n1\r\n",
        b"\xff\xfe\x00",
        b'photo,bin\r\n"1"x,a\r\n',
        b"\0",
    ],
)
def test_a_table_of_another_make_holds_no_photos(table):
    assert read_photos(table) == {}

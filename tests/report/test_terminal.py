"""The terminal shows the same answers within 80 columns, with or without colour, in UTF-8 or in ASCII."""

import io
from datetime import date

import pytest
from rich.console import Console

from leafwane.breakdown.course import Forecast
from leafwane.report import words
from leafwane.report.looks import LOOKS
from leafwane.report.terminal import course_table, curves
from tests.report.invented import ADVICE, START, a_course


def printed(*renderables: object, width=80, encoding="utf-8", **console: object):
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    Console(file=file, width=width, **console).print(*renderables)
    file.flush()
    return file.buffer.getvalue().decode(encoding)


def test_the_table_says_it_all_in_80_columns():
    course = a_course(status="slow", finish=Forecast(date=START, latest=START))
    text = printed(course_table([course]))
    half_life = words.days_text(course.half_life_days)
    give_or_take = words.ninety_text(course.check_ins[-1].remaining_err)
    row = text.splitlines()[1]
    for said in ("Bin by the hedge", "hazel", "▼ slow", "38", give_or_take, half_life, "2031-10-04"):
        assert said in row
    assert ADVICE[0] in text
    assert max(map(len, text.splitlines())) <= 80


def test_long_names_fold_and_figures_stay_whole():
    course = a_course("The bin behind the shed of the allotment " * 3, leaf="sweet chestnut")
    text = printed(course_table([course]))
    assert max(map(len, text.splitlines())) <= 80
    assert words.days_text(course.half_life_days) in text
    assert "on course" in text


@pytest.mark.parametrize("status", sorted(LOOKS))
def test_status_by_sign_and_word(status):
    look = LOOKS[status]
    assert f"{look.sign} {look.word.lower()}" in printed(course_table([a_course(status=status)]))
    plain = printed(course_table([a_course(status=status)]), encoding="ascii")
    assert f"{look.ascii_sign} {look.word.lower()}" in plain


def test_ascii_terminals_get_ascii():
    courses = [a_course("Kübel", leaf="Ahorn ü", remedies=("20 °C",))]
    assert printed(course_table(courses), curves(courses), encoding="ascii").isascii()
    assert printed(course_table(courses * 9), curves(courses * 9), encoding="ascii").isascii()


def test_no_colour_codes_outside_a_terminal():
    courses = [a_course(), a_course("Tub")]
    assert "\x1b" not in printed(course_table(courses), curves(courses))
    assert "\x1b[" in printed(course_table(courses), force_terminal=True, color_system="standard")


def test_names_cannot_steer_the_terminal():
    name = "tub\x1b[2J\x1b]0;owned\x07[red]x[/red]"
    course = a_course(name, leaf=name, remedies=(name,))
    text = printed(course_table([course]), curves([course]), curves([course] * 9))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[red]x[/red]" in text, "markup is text, not style"


def test_plot_puts_points_where_they_belong():
    rows = printed(curves([a_course(covers=(80.0, 40.0, 2.0))])).splitlines()
    plot = [row for row in rows if "●" in row and "on course" not in row]
    assert plot[0].startswith(" 100% ●")
    assert len(plot) == 3
    columns = [row.index("●") for row in plot]
    assert columns[1] - columns[0] == pytest.approx(columns[2] - columns[1], abs=1)
    heights = [rows.index(row) for row in plot]
    assert heights[1] - heights[0] == heights[2] - heights[1]
    assert plot[2].startswith("   0%")
    assert rows[-1].split()[0] == "2031-10-04"


def test_top_up_is_marked_and_scale_grows():
    rows = printed(
        curves([a_course(covers=(40.0, 10.0, 80.0), batches=(2,), status="topped-up")])
    ).splitlines()
    assert any(row.startswith(" 200% ") for row in rows)
    assert sum("|" in row for row in rows) >= 5


@pytest.mark.parametrize(
    ("covers", "batches", "why"),
    [
        ((80.0, 20.0, 45.0), (2,), "fresh leaf was added"),
        ((3.0, 4.0, 5.0), (), "no check-in shows leaf beyond doubt"),
    ],
)
def test_where_no_share_can_be_named_the_cover_stands_below_the_table(covers, batches, why):
    text = printed(course_table([a_course("Tub", covers=covers, batches=batches), a_course("Box")]))
    row = next(line for line in text.splitlines() if line.startswith("Tub "))
    assert row.split()[5:7] == ["-", "-"]
    assert (
        f"Tub: {why}, so no share of it is named. On 1 November 2031, leaf covered {covers[-1]:.0f}%"
        in " ".join(text.split())
    )
    assert text.count("so no share of it is named") == 1


def test_a_bin_whose_shares_cannot_be_named_has_an_empty_plot():
    text = printed(curves([a_course(covers=(3.0, 4.0, 3.0))]))
    assert "nothing to draw yet" in text
    assert "no dated check-in" not in text


def test_many_bins_get_a_line_each():
    rows = printed(curves([a_course(f"Bin {n}", covers=(80.0, 40.0, 1.0)) for n in range(40)])).splitlines()
    assert len(rows) == 41
    assert rows[1].split() == ["Bin", "0", "●", "on", "course", "█▅▁"]


@pytest.mark.parametrize("covers", [(), (80.0,), (0.0,), (0.0, 0.0)])
def test_little_or_nothing_to_show(covers):
    first = covers[0] if covers else 0.0
    course = a_course(covers=covers) if first else a_course(covers=())
    text = printed(course_table([course]), curves([course]))
    assert "Bin by the hedge" in text


def test_no_bins():
    assert "bin" in printed(course_table([]), curves([]))


def test_narrow_terminals_do_not_break():
    text = printed(course_table([a_course()]), curves([a_course()]), width=40)
    assert max(map(len, text.splitlines())) <= 40


def test_below_the_table_stands_which_bin_should_be_ready_by_now():
    course = a_course("Tub", finish=Forecast(date=START, latest=START))
    after = " ".join(printed(course_table([course, a_course()], today=date(2032, 1, 1))).split())
    assert after.count("look again") == 1
    assert "Tub: It should have been ready about 4 October 2031, but its curve has no photo since" in after
    assert "look again" not in printed(course_table([course]))


def test_bins_whose_days_have_passed_are_told_in_one_line():
    courses = [a_course(f"Tub {n}", finish=Forecast(date=START, latest=START)) for n in range(12)]
    after = " ".join(printed(course_table(courses, today=date(2032, 1, 1))).split())
    assert "Tub 0, Tub 1" in after
    assert "more: They should have been ready by now" in after
    assert after.count("look again") == 1


SHORT_AND_LONG = ["kettle", "Bin behind the shed of the allotment", "oak" * 9]


@pytest.mark.parametrize(
    ("width", "head"),
    [
        (80, "bin leaf status left % +/- half-life ready about"),
        (60, "bin status left % +/- half-life ready about"),
        (50, "bin status left % +/- ready about"),
        (40, "bin status left % ready about"),
        (30, "bin status left %"),
        (20, "bin status"),
    ],
)
def test_a_narrow_window_leaves_out_columns_and_no_name(width, head):
    day = Forecast(date=START, latest=START)
    text = printed(
        course_table(
            [a_course(name, leaf="sweet chestnut", finish=day, remedies=()) for name in SHORT_AND_LONG]
        ),
        width=width,
    )
    first, *rows = text.split("+/- holds")[0].splitlines()
    assert " ".join(first.split()) == head
    names = "".join(row[: first.index(head.split()[1])] for row in rows)
    assert names.replace(" ", "") == "".join(SHORT_AND_LONG).replace(" ", "")
    assert sum("● on course" in row for row in rows) == len(SHORT_AND_LONG)
    assert ("2031-10-04" in text) == ("ready about" in head)


def test_advice_that_many_bins_share_is_read_once():
    text = printed(course_table([a_course("Tub"), a_course("Crate"), a_course("Box", remedies=("Wait.",))]))
    assert text.count(ADVICE[0]) == 1
    assert "Tub, Crate: what helps" in text
    assert "Box: what helps" in text

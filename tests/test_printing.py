"""What people read in the terminal: no name is cut off, and every flag that is shown is explained."""

import re
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from fixtures.studies.trials import a_score
from leafwane.breakdown.compare import compare_leaves
from leafwane.breakdown.course import follow_trial
from leafwane.flags import NOTES, Flag
from leafwane.printing import print_comparison, print_courses, print_flags, print_left_out, print_scores
from leafwane.progress import people
from leafwane.trialfile import BinPlan, TrialPlan
from tests.breakdown.invented import covers_of, scores_of
from tests.report.invented import a_course

DAYS = np.arange(6) * 14

FLAGS = Flag.DATES_DIFFER | Flag.PATCHES_LEFT_OUT | Flag.WHOLE_PHOTO
LONG = replace(a_score("hazel", 0, 40.0, 3.0), photo=f"hazel/{'abcdefghij' * 5}/2031-10-04.jpg", flags=FLAGS)


@pytest.fixture(autouse=True)
def heard(monkeypatch):
    """Undo the quiet that a command may have asked for in this process before."""
    monkeypatch.setattr(people, "quiet", False)


HEADS = {
    (12, 120): ["photo               date  leaf %  give or take  castings %  other %  flags"],
    (12, 80): ["photo               date  leaf %  give or take  castings %  other %"],
    (12, 60): ["photo               date  leaf %  give or take  castings %"],
    (12, 40): ["photo", "        date  leaf %  give or take"],
    (40, 80): ["photo", "        date  leaf %  give or take  castings %  other %"],
    (40, 60): ["photo", "        date  leaf %  give or take  castings %  other %"],
    (66, 40): ["photo", "        date  leaf %  give or take"],
}


@pytest.mark.parametrize(("length", "width"), HEADS)
def test_no_name_is_broken_however_narrow_the_window(capsys, monkeypatch, length, width):
    narrow = Console(stderr=True, width=width, highlight=False, markup=False, emoji=False)
    monkeypatch.setattr("leafwane.printing.people", narrow)
    name = f"{'abcdefghij' * 7}"[: length - 4] + ".jpg"
    print_scores([replace(LONG, photo=name)] * 2)
    table = capsys.readouterr().err.split("dates-differ (")[0].splitlines()
    head = HEADS[length, width]
    assert table[: len(head)] == head
    assert sum(name in line for line in table) == 2
    assert all(line == name or len(line) <= width for line in table)
    listed = [flag.strip(" ,") for line in table for flag in line.split() if re.match(r"[a-z]+-", flag)]
    assert listed == ["dates-differ", "patches-left-out", "whole-photo"] * 2


def test_wide_letters_keep_columns_in_line(capsys):
    scores = [replace(LONG, photo=f"{name}.jpg", flags=Flag(0)) for name in ("葉葉", "abcd")]
    print_scores(scores)
    _, one, other = capsys.readouterr().err.splitlines()
    assert one.replace("葉葉", "abcd") == other


def test_each_flag_that_is_shown_is_explained_once(capsys):
    print_scores([LONG, replace(LONG, flags=Flag.WHOLE_PHOTO), replace(LONG, flags=Flag(0))])
    lines = capsys.readouterr().err.splitlines()
    note = NOTES[Flag.WHOLE_PHOTO]
    advice = f"{note.advice[0].upper()}{note.advice[1:]}"
    assert lines.count(f"whole-photo (2 photos): {note.meaning}. {advice}") == 1
    assert any(line.startswith("dates-differ (1 photo): ") for line in lines)
    assert any(line.startswith("patches-left-out (1 photo): ") for line in lines)


def test_flags_that_no_scored_photo_has_are_not_explained(capsys):
    unscored = replace(LONG, leaf_percent=None, flags=Flag.UNREADABLE)
    print_flags([replace(LONG, flags=Flag(0)), unscored])
    assert capsys.readouterr().err == ""


def test_beside_the_sentence_stands_which_bin_has_stalled(capsys):
    bins = {
        "box": ("hazel", covers_of(0.04, DAYS)),
        "tub": ("plane", [90.0, 60.0, 45.0, 44.0, 44.0, 43.0]),
    }
    scores = [
        score for name, (_, seen) in bins.items() for score in scores_of(DAYS, seen, err=1.0, name=name)
    ]
    plans = {name: BinPlan(name=name, leaf=leaf) for name, (leaf, _) in bins.items()}
    print_comparison(compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=plans))))
    lines = capsys.readouterr().err.splitlines()
    (place,) = [place for place, line in enumerate(lines) if "times as fast" in line]
    assert lines[place + 1].startswith("  But tub has stalled: its pace tells of the bin (moisture, contact)")


@pytest.mark.parametrize("n_bins", [1, 2])
def test_behind_the_sentence_stands_p_by_its_name_where_bins_give_one(capsys, n_bins):
    rates = {
        f"{leaf} {row}": k + 0.001 * row
        for leaf, k in (("hazel", 0.04), ("plane", 0.02))
        for row in range(n_bins)
    }
    scores = [s for name, k in rates.items() for s in scores_of(DAYS, covers_of(k, DAYS), err=1.0, name=name)]
    plans = {name: BinPlan(name=name, leaf=name.split()[0]) for name in rates}
    print_comparison(compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=plans))))
    (line,) = [line for line in capsys.readouterr().err.splitlines() if "times as fast" in line]
    assert (". t test of the bins: p = 0.00" in line) == (n_bins == 2)
    assert "F(" not in line


@pytest.mark.parametrize(
    ("flag", "name", "advice"),
    [
        (Flag.PHOTOS_DISAGREE, "photos-disagree", "Look at their overlays"),
        (Flag.DATES_DIFFER, "dates-differ", "Check the date"),
    ],
)
def test_doubts_of_a_day_are_told_with_bin_and_day(capsys, flag, name, advice):
    course = a_course("Tub", covers=(80.0, 50.0), flags=flag)
    print_courses([course, a_course()], finish_percent=5.0)
    *_, line = capsys.readouterr().err.splitlines()
    assert line.startswith(f"{name} (2 check-ins): ")
    assert f": Tub on 2031-10-04, Tub on 2031-10-18. {advice}" in line


def test_one_photo_under_two_dates_is_told_in_one_line(capsys):
    one = replace(a_score("a", 0, 40.0, 3.0), photo="a/2031-10-04.jpg", digest="x")
    other = replace(a_score("a", 7, 40.0, 3.0), photo="a/2031-10-11.jpg", digest="x")
    print_left_out([one, other, replace(one, photo="a/other.jpg", digest="y")])
    assert capsys.readouterr().err.splitlines() == [
        (
            "the same photo counts under several dates or in several bins: a/2031-10-04.jpg and a/2031-10-11.jpg. Keep the "
            "one whose date and bin are right, and delete the others"
        )
    ]

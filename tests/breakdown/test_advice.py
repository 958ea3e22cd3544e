"""What is advised for leaf that is better kept out of a worm bin: caution first, and nothing that makes it worse."""

import pytest

from leafwane.breakdown.advice import HARVEST, remedies
from leafwane.breakdown.leaves import LEAVES, find_leaf
from leafwane.breakdown.status import Status
from leafwane.report.terminal import course_table
from tests.breakdown.invented import a_plan, covers_of, follow
from tests.report.test_terminal import printed

KEPT_OUT = [leaf for leaf in LEAVES if leaf.keep_out]
DAYS = [0, 14, 28, 42]


@pytest.mark.parametrize("status", Status)
@pytest.mark.parametrize("leaf", KEPT_OUT, ids=lambda leaf: leaf.name)
def test_leaf_better_kept_out_is_named_once_whatever_the_status(leaf, status):
    caution, *others = remedies(status, leaf)
    assert caution.startswith(
        f"Common practice: {leaf.name} is better kept out of a worm bin: {leaf.keep_out}. "
    )
    assert "do not tear, shred or crush it" in caution
    for word in ("kept out", "shred", "squeeze", "mix", "by hand", "touch with"):
        assert word not in " ".join(others).lower()


def test_a_bin_of_leaf_better_kept_out_is_harvested_like_others():
    assert remedies("finished", find_leaf("walnut"))[1:] == (HARVEST,)


def test_other_leaf_is_still_shredded_and_needs_no_advice_on_course():
    assert any("shred" in remedy for remedy in remedies("stalled", find_leaf("oak")))
    assert remedies("on-course", find_leaf("oak")) == ()


def test_the_caution_stands_in_the_terminal_and_in_the_results_before_anything_stalls():
    course = follow(DAYS, covers_of(0.03, DAYS), plan=a_plan("yew"))
    assert course.verdict.status == "on-course"
    (said,) = course.to_dict()["remedies"]
    assert "all of it is poisonous" in said
    assert printed(course_table([course]), width=200).count("better kept out") == 1

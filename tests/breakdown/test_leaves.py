"""Kinds of leaf are found as people write them, and what is not found is said."""

import numpy as np
import pytest

from leafwane.breakdown.leaves import LEAVES, OTHERS, UNKNOWN, find_leaf, leaf_name, leaf_notes
from leafwane.trialfile import LeafOverride
from tests.breakdown.invented import a_plan, covers_of, status_of

DAYS = np.arange(8) * 14


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("oaks", "oak"),
        ("birches", "birch"),
        ("cherries", "cherry"),
        ("cypresses", "thuja"),
        ("silver birch", "birch"),
        ("Copper Beech leaves", "beech"),
        ("red oaks", "oak"),
        ("black walnut", "walnut"),
        ("norway maples", "norway maple"),
        ("chestnut oak", "chestnut oak"),
        ("horse chestnuts", "horse chestnut"),
        ("american sycamore", "plane"),
        ("mountain ash", "rowan"),
        ("box elder", "maple"),
        ("pear", "apple"),
        ("beach", "beech"),
        ("hazle", "hazel"),
        ("mapel", "maple"),
        ("oka", "oak"),
        ("silver brich", "birch"),
        ("hosre chestnut", "horse chestnut"),
        ("rodadendron", "rhododendron"),
        ("hosre chesnut", "horse chestnut"),
        ("oak tree", "oak"),
        ("Plane trees", "plane"),
        ("red oak trees", "oak"),
        ("maple-tree leaves", "maple"),
        ("sweet gum trees", "sweet gum"),
        ("gum trees", "eucalyptus"),
    ],
)
def test_plurals_kinds_of_a_kind_and_slips_of_the_pen(said, found):
    assert find_leaf(said).name == found


@pytest.mark.parametrize(
    "said",
    [
        "vine",  # a leaf of its own, one letter from pine
        "fig",  # and from fir
        "ealder",  # as near to elder as to alder
        "hazel and oak",
        "larch and oak",
        "oak, hazel",
        "willow oak",
        "witch hazel",
        "peach",
        "leaves",
        "trees",
        "christmas tree",
        "black gum tree",
        "common witch hazel",
        "plants",
        "tomato plants",
        "house plants",
        "place",
        "linen",
        "benches",
        "white wine",  # two letters from white pine, but wine is no slip of pine
    ],
)
def test_what_may_be_another_leaf_stays_unknown(said):
    kind = find_leaf(said)
    assert (kind.name, kind.half_life_days) == (said, UNKNOWN.half_life_days)


@pytest.mark.parametrize("said", OTHERS)
def test_other_plants_that_are_called_like_a_leaf_are_none(said):
    assert find_leaf(f"{said}s").half_life_days == UNKNOWN.half_life_days
    assert leaf_notes([said], overrides={})[0].startswith(
        f"trial.toml: no leaf called {said} is in the table"
    )


def test_every_name_of_the_table_finds_its_own_kind():
    for kind in LEAVES:
        for word in (kind.name, kind.latin, *kind.also, *kind.like):
            assert find_leaf(word) is kind
            assert find_leaf(f"{word.upper()} LEAVES") is kind
            assert leaf_notes([word], overrides={}) == ()


@pytest.mark.parametrize("leaf", ["oak", "english oak", "red oak", "oka"])
def test_the_verdict_does_not_hang_on_how_the_leaf_is_written(leaf):
    assert status_of(DAYS, covers_of(np.log(2) / 140, DAYS), err=0.5, plan=a_plan(leaf)) == "slow"


def test_what_the_trial_says_of_a_leaf_goes_before_the_table():
    overrides = {
        "red oak": LeafOverride(half_life_days=70.0),
        "Quercus robur": LeafOverride(half_life_days=80.0),
    }
    halves = [
        find_leaf(said, overrides=overrides).half_life_days for said in ("Red Oaks", "oak", "white oak")
    ]
    assert halves == [70.0, 80.0, 80.0]
    own = {"oka": LeafOverride(half_life_days=20.0)}
    oka, oak = (find_leaf(said, overrides=own) for said in ("oka", "oak"))
    assert (oka.half_life_days, oka.high_lignin) == (20.0, False)
    assert oak.high_lignin


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("Hazel leaves", "hazel"),
        ("Corylus avellana", "hazel"),
        ("hazle", "hazel"),
        ("linden", "lime"),
        ("Silver Birches", "silver birch"),
        ("pear", "pear"),
        ("London plane", "plane"),
        ("English oak", "oak"),
        ("common beech", "beech"),
        ("sugar maples", "maple"),
        ("red oak", "red oak"),
        ("Purple Quandong", "purple quandong"),
    ],
)
def test_one_leaf_has_one_name(said, name):
    assert leaf_name(said) == name


def test_a_name_that_the_trial_defines_is_no_slip():
    assert (leaf_name("oka"), leaf_name("oka", own=["oka"])) == ("oak", "oka")


def test_what_was_put_right_and_what_stays_unknown_is_said_once():
    names = ["oak", "red oak", "Hazel leaves", "oka", "oka", "purple quandong", "wattle"]
    notes = leaf_notes(names, overrides={"wattle": LeafOverride(half_life_days=50.0)})
    slip, unknown, table = notes
    assert slip == "trial.toml: oka is taken for oak"
    assert unknown.startswith(
        "trial.toml: no leaf called purple quandong is in the table, so its pace is taken to be"
    )
    assert '[leaves."purple quandong"]' in unknown
    assert unknown.endswith("find out whether it harms worms or people")
    assert table.startswith("leaves in the table: ash, elder, ")
    assert "poison ivy" not in table
    assert leaf_notes(["oak", "birches"], overrides={}) == ()


@pytest.mark.parametrize(
    ("said", "taken_for"),
    [("scarlet oak", "oak"), ("silver brich", "silver birch"), ("tomato brich", "birch"), ("paers", "pear")],
)
def test_a_guess_is_said_with_the_name_that_the_table_has(said, taken_for):
    assert leaf_notes([said], overrides={}) == (f"trial.toml: {said} is taken for {taken_for}",)


def test_what_the_trial_says_of_a_leaf_is_no_guess():
    assert leaf_notes(["Scarlet oaks"], overrides={"scarlet oak": LeafOverride()}) == ()


def test_what_is_said_of_a_leaf_that_no_bin_has_is_said_to_be_unused():
    overrides = {"hazle": LeafOverride(), "Tilia": LeafOverride(), "Oak leaves": LeafOverride()}
    (note,) = leaf_notes(["hazel", "lime", "red oak"], overrides=overrides)
    assert note.startswith("trial.toml: [leaves.hazle] is not used, since no bin has this leaf")

"""Which leaf is faster, how a trial is planned, and what is known of leaves."""

import json
import re
from math import exp, log

import numpy as np
import pytest
from scipy import stats

from leafwane.breakdown.compare import PairComparison, compare_leaves
from leafwane.breakdown.course import follow_trial
from leafwane.breakdown.leaves import LEAVES, UNKNOWN, find_leaf
from leafwane.breakdown.plan import Assumptions, measured_photo_err, plan_trial, power
from leafwane.breakdown.ratio import STILL, log_rate
from leafwane.trialfile import BinPlan, LeafOverride, TrialPlan
from tests.breakdown.invented import covers_of, scores_of

DAYS = np.arange(6) * 14


def courses_of(*kinds: tuple[str, float, int], n=6, err=3.0, seed=1):
    """Follow bins of (leaf, rate, bins)."""
    rng = np.random.default_rng(seed)
    scores, bins = [], {}
    for leaf, k, count in kinds:
        for row in range(count):
            name = f"{leaf} {row}"
            covers = covers_of(k * np.exp(rng.normal(0, 0.08)), DAYS[:n]) + rng.normal(0, err, n)
            scores += scores_of(DAYS[:n], np.clip(covers, 0, 100), err=err, name=name)
            bins[name] = BinPlan(name=name, leaf=leaf)
    return follow_trial(scores, TrialPlan(name="t", bins=bins))


def test_the_faster_leaf_is_told():
    comparison = compare_leaves(courses_of(("plane", 0.017, 3), ("hazel", 0.04, 3)))
    (pair,) = comparison.pairs
    assert [kind.leaf for kind in comparison.kinds] == ["hazel", "plane"]
    assert pair.told
    assert pair.ratio_low < 0.04 / 0.017 < pair.ratio_high
    assert pair.sentence.startswith(f"Hazel went {pair.ratio:.1f} times as fast as plane (")
    assert pair.t_p < 0.01
    json.dumps(comparison.to_dict(), allow_nan=False)


def test_like_leaves_are_not_told_apart():
    (pair,) = compare_leaves(courses_of(("lime", 0.03, 3), ("hazel", 0.03, 3))).pairs
    assert not pair.told
    assert "a twofold one would have shown" in pair.sentence


def test_a_twofold_difference_would_have_shown_only_where_the_interval_ends_at_two():
    pairs = [
        compare_leaves(courses_of(("lime", 0.02, 2), ("hazel", 0.028, 2), n=5, err=5.0, seed=seed)).pairs[0]
        for seed in range(25)
    ]
    open_pairs = [pair for pair in pairs if not pair.told]
    shown = [pair.ratio_high for pair in open_pairs if "a twofold one would have shown" in pair.sentence]
    assert shown
    assert max(shown) <= 2
    assert any("more bins or check-ins will tell" in pair.sentence for pair in open_pairs)


def test_p_counts_bins_and_not_check_ins():
    """Where bins of a kind differ by a fifth, an F test of check-ins has p < .05 in a third of trials of one leaf."""
    rng = np.random.default_rng(3)
    p = []
    for _ in range(60):
        kinds = [(leaf, 0.02 * np.exp(rng.normal(0, 0.2)), 1) for leaf in ("lime", "hazel") * 3]
        (pair,) = compare_leaves(follow_bins(kinds, rng)).pairs
        p.append(pair.t_p)
    assert np.mean(np.array(p) < 0.05) <= 0.1


def follow_bins(kinds, rng):
    """Follow one bin of each (leaf, rate, _), in order."""
    bins = {f"b{row}": BinPlan(name=f"b{row}", leaf=leaf) for row, (leaf, _, _) in enumerate(kinds)}
    scores = [
        score
        for name, (_, k, _) in zip(bins, kinds, strict=True)
        for score in scores_of(DAYS, np.clip(covers_of(k, DAYS) + rng.normal(0, 3, 6), 0, 100), name=name)
    ]
    return follow_trial(scores, TrialPlan(name="t", bins=bins))


@pytest.mark.parametrize(("planes", "hazels"), [(1, 1), (1, 3)])
def test_one_bin_of_a_kind_has_no_p(planes, hazels):
    (pair,) = compare_leaves(courses_of(("plane", 0.017, planes), ("hazel", 0.04, hazels))).pairs
    assert pair.t_p is None


def test_how_much_longer_it_takes_is_said():
    (pair,) = compare_leaves(courses_of(("lime", 0.012, 1), ("hazel", 0.012, 1), n=4, err=5.0)).pairs
    assert not pair.told
    assert "a twofold one would show after about" in pair.sentence


def test_two_photos_of_one_bin_are_not_two_bins():
    comparison = compare_leaves(courses_of(("plane", 0.017, 1), ("hazel", 0.04, 2)))
    assert any("but one bin of plane" in note for note in comparison.notes)


def test_kinds_with_but_one_bin_are_named_in_one_breath():
    notes = compare_leaves(courses_of(("plane", 0.017, 1), ("hazel", 0.04, 1), ("oak", 0.02, 1))).notes
    (said,) = [note for note in notes if "but one bin" in note]
    assert "one bin each of hazel, oak and plane:" in said


def test_with_one_bin_of_each_the_bins_are_compared_and_not_the_leaves():
    """Where bins of a kind differ by 15%, such intervals hold the leaves' ratio in a fifth to two thirds of trials."""
    (pair,) = compare_leaves(courses_of(("plane", 0.017, 1), ("hazel", 0.04, 1))).pairs
    assert pair.told
    assert pair.sentence.startswith("The one bin of hazel went ")
    assert "more bins will tell whether that is the leaf" in pair.sentence


def test_one_leaf_written_in_many_ways_is_one_kind():
    hazel = [(said, 0.04, 1) for said in ("hazel", "Hazel leaves", "Corylus avellana", "hazle")]
    courses = courses_of(*hazel, ("plane", 0.017, 2))
    kinds = compare_leaves(courses).kinds
    assert [(kind.leaf, len(kind.bins)) for kind in kinds] == [("hazel", 4), ("plane", 2)]
    assert len(compare_leaves(courses, own_leaves=["hazle"]).kinds) == 3


def test_a_kind_goes_by_the_table_s_name_and_a_kind_of_a_kind_by_its_own():
    planes = [(said, 0.017, 1) for said in ("London plane", "plaen", "plane trees")]
    oaks = [("English oak", 0.03, 1), ("oak", 0.03, 1), ("Red oaks", 0.04, 1)]
    comparison = compare_leaves(courses_of(*planes, *oaks))
    assert {kind.leaf: len(kind.bins) for kind in comparison.kinds} == {"red oak": 1, "oak": 2, "plane": 3}
    assert {pair.slower for pair in comparison.pairs} == {"oak", "plane"}


def stalled_courses(*stalled: str):
    covers = {"hazel": covers_of(0.04, DAYS)} | {
        name: [90.0, 60.0, 45.0, 44.0, 44.0, 43.0] for name in stalled
    }
    scores = [score for name, seen in covers.items() for score in scores_of(DAYS, seen, err=1.0, name=name)]
    bins = {name: BinPlan(name=name, leaf="hazel" if name == "hazel" else "plane") for name in covers}
    return follow_trial(scores, TrialPlan(name="t", bins=bins))


def test_the_pace_of_a_bin_that_has_stalled_is_not_put_down_to_its_leaf():
    (pair,) = compare_leaves(stalled_courses("tub")).pairs
    assert pair.caution == (
        "But tub has stalled: its pace tells of the bin (moisture, contact) and not of its leaf."
    )
    assert "times as fast" in pair.sentence
    (pair,) = compare_leaves(stalled_courses("tub", "crate")).pairs
    assert pair.caution.startswith("But tub and crate have stalled: their pace tells of the bins")


FLAT = [71.0, 69.0, 70.0, 70.0, 70.0]


def with_flat(*flat: list, moving=0):
    """Compare three bins of hazel with bins of plane: some that move, and some with the covers given."""
    covers = {f"hazel {row}": covers_of(k, DAYS) for row, k in enumerate((0.029, 0.030, 0.028))}
    covers |= {f"plane {row}": covers_of(k, DAYS) for row, k in enumerate((0.0285, 0.0305)[:moving])}
    covers |= {f"flat {row}": seen for row, seen in enumerate(flat)}
    scores = [score for name, seen in covers.items() for score in scores_of(DAYS, seen, err=1.5, name=name)]
    bins = {name: BinPlan(name=name, leaf="hazel" if name[0] == "h" else "plane") for name in covers}
    return compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=bins)))


@pytest.mark.parametrize("newest", [71.0, 70.0, 69.9, 69.5, 68.0])
def test_a_bin_that_stands_still_counts_and_half_a_point_makes_no_other_ratio(newest):
    comparison = with_flat([*FLAT, newest], moving=2)
    (pair,) = comparison.pairs
    assert comparison.left_out == ()
    assert (pair.faster, pair.slower) == ("hazel", "plane")
    assert pair.ratio == pytest.approx(3.04, abs=0.02)
    assert min(comparison.kinds[1].bin_rates) == pytest.approx(STILL)
    assert pair.ratio_high < 100
    assert pair.caution.startswith("But flat 0 has stalled:")


def test_where_a_kind_stands_still_the_ratio_is_said_as_its_least():
    (pair,) = with_flat([*FLAT, 70.0], [*FLAT, 69.5], [*FLAT, 71.0]).pairs
    assert pair.slower_stands
    assert pair.sentence == f"Hazel went more than {pair.ratio_low:.1f} times as fast as plane."
    assert pair.ratio_low > 10
    assert "have stalled" in pair.caution
    json.dumps(pair.t_p, allow_nan=False)


def test_between_kinds_that_both_stand_still_there_is_no_ratio_and_no_p():
    scores = [s for name in "abcd" for s in scores_of(DAYS, [*FLAT, 70.0], err=1.5, name=name)]
    bins = {name: BinPlan(name=name, leaf="ash" if name in "ab" else "oak") for name in "abcd"}
    (pair,) = compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=bins))).pairs
    assert pair.t_p is None
    assert "no difference can be told yet: what" in pair.sentence


def test_without_a_stalled_bin_there_is_no_caution():
    (pair,) = compare_leaves(courses_of(("plane", 0.017, 3), ("hazel", 0.04, 3))).pairs
    assert pair.caution == ""


def test_bins_that_differ_among_themselves_widen_the_interval():
    plan = TrialPlan(
        name="t", bins={f"b{i}": BinPlan(name=f"b{i}", leaf="ash" if i < 2 else "oak") for i in range(4)}
    )
    scores = [
        s
        for i, k in enumerate((0.06, 0.02, 0.03, 0.01))
        for s in scores_of(DAYS, covers_of(k, DAYS), name=f"b{i}")
    ]
    (pair,) = compare_leaves(follow_trial(scores, plan)).pairs
    assert not pair.told
    assert "more bins are needed" in pair.sentence


def test_bins_that_cannot_count_are_named():
    comparison = compare_leaves(follow_trial(scores_of(DAYS, covers_of(0.03, DAYS)), TrialPlan(name="t")))
    assert comparison.kinds == ()
    assert comparison.left_out == ("bin-a: its kind of leaf is not written in trial.toml",)
    assert "Two kinds of leaf or more" in comparison.notes[0]


def test_power_grows_with_the_ratio_and_is_small_without_one():
    kind = {"bins": 3, "photos": 1, "check_ins": 6, "runs": 150}
    none, some, much = (power(Assumptions(ratio=ratio), **kind) for ratio in (1.0001, 1.6, 3.0))
    assert none < 0.1
    assert none < some < much
    assert much > 0.95


def test_a_plan_tells_designs_and_calls_the_progress_bar():
    calls = []
    plan = plan_trial(Assumptions(ratio=3.0), runs=20, progress=lambda done, of: calls.append((done, of)))
    assert calls[-1] == (10, 10)
    assert any(design.check_ins for design in plan.designs)
    assert "check-ins 14 days apart" in plan.sentences[0]
    json.dumps(plan.to_dict(), allow_nan=False)
    with pytest.raises(ValueError, match="ratio must be over 1"):
        plan_trial(Assumptions(ratio=0.5))


def test_the_photo_error_is_measured_per_photo():
    assert measured_photo_err(courses_of(("hazel", 0.03, 2), err=4.0)) == pytest.approx(4.0)
    assert measured_photo_err(()) is None


@pytest.mark.parametrize(
    ("said", "found"),
    [("Hazel leaves", "hazel"), ("QUERCUS ROBUR", "oak"), ("linden", "lime"), ("sycamor", "sycamore")],
)
def test_leaves_are_found_by_the_names_people_use(said, found):
    assert find_leaf(said).name == found


def test_a_leaf_that_is_not_in_the_table_is_taken_for_middling():
    assert find_leaf("purple quandong").half_life_days == UNKNOWN.half_life_days
    assert find_leaf(None) is UNKNOWN


def test_the_trial_overrides_the_table():
    overrides = {"Oak": LeafOverride(half_life_days=40.0, high_lignin=False)}
    oak = find_leaf("oak", overrides=overrides)
    assert (oak.expected_half_life_days, oak.high_lignin) == (40.0, False)


def test_every_figure_of_the_table_says_where_it_is_from():
    for leaf in LEAVES:
        assert leaf.speed_source
        assert leaf.chemistry_source or leaf.lignin_percent is None
        assert leaf.keep_out_source or not leaf.keep_out
    names = [word for leaf in LEAVES for word in (leaf.name, *leaf.also)]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    "name",
    [
        "walnut",
        "eucalyptus",
        "oleander",
        "yew",
        "pine",
        "cherry laurel",
        "poison oak",
        "boxwood",
        "Thorn apples",
    ],
)
def test_leaves_better_kept_out_are_marked(name):
    assert find_leaf(name).keep_out


def two_phases(days):
    """Leaf of which seven tenths go with a half-life of 20 days and the rest with one of 90, from 2.5 layers on."""
    left = 0.7 * 0.5 ** (np.asarray(days) / 20) + 0.3 * 0.5 ** (np.asarray(days) / 90)
    return 100 * -np.expm1(-2.5 * left)


def test_kinds_alike_but_followed_for_different_times_do_not_differ():
    long, short = 14 * np.arange(12), 14 * np.arange(5)
    bins = {f"ash-{n}": ("ash", short) for n in range(3)} | {f"oak-{n}": ("oak", long) for n in range(3)}
    rng = np.random.default_rng(4)
    scores = [
        score
        for name, (_, days) in bins.items()
        for score in scores_of(days, two_phases(days) + rng.normal(0, 1, len(days)), err=1.0, name=name)
    ]
    plan = TrialPlan(name="t", bins={name: BinPlan(name=name, leaf=leaf) for name, (leaf, _) in bins.items()})
    comparison = compare_leaves(follow_trial(scores, plan))
    (pair,) = comparison.pairs
    assert not pair.told
    assert any("over the first 56 days, as long as ash-" in note for note in comparison.notes)
    whole = [course.curve for course in follow_trial(scores, plan)]
    assert whole[0].k_low > whole[-1].k_high  # what each bin's own span would have said


def test_the_interval_of_a_kind_is_student_s_over_its_bins():
    kinds = compare_leaves(courses_of(("plane", 0.017, 4), ("hazel", 0.04, 3), err=1.0)).kinds
    for kind in kinds:
        logs = np.log(kind.bin_rates)
        low, high = stats.t.interval(0.9, len(logs) - 1, logs.mean(), logs.std(ddof=1) / len(logs) ** 0.5)
        assert (kind.k_low, kind.k_high) == pytest.approx((exp(low), exp(high)), rel=1e-3)


def test_bins_that_do_not_count_shorten_no_span_and_equal_spans_go_unsaid():
    seen = {"ash": (12, "ash"), "oak": (12, "oak"), "unnamed": (4, None), "bare": (3, "oak")}
    scores = [
        score
        for name, (n, _) in seen.items()
        for score in scores_of(
            14 * np.arange(n),
            np.zeros(n) if name == "bare" else covers_of(0.02, 14 * np.arange(n)),
            name=name,
        )
    ]
    bins = {name: BinPlan(name=name, leaf=leaf) for name, (_, leaf) in seen.items()}
    comparison = compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=bins)))
    assert len(comparison.left_out) == 2
    assert not any("Rates are compared over" in note for note in comparison.notes)


def test_after_the_check_ins_that_are_named_a_twofold_difference_does_show():
    """Covers without chance in them; shown four times in five, by normal deviates. A third of those check-ins is too few."""

    def pair_after(n: int) -> PairComparison:
        days, bins = 14 * np.arange(n), {name: BinPlan(name=name, leaf=name) for name in ("ash", "oak")}
        scores = [s for name in bins for s in scores_of(days, covers_of(0.006, days), err=5.0, name=name)]
        return compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=bins))).pairs[0]

    shows = 1.645 / (1.645 + 0.842) * log(2)
    (more,) = map(int, re.findall(r"after about (\d+) more check-in", pair_after(6).sentence))
    assert log(pair_after(6 + more).ratio_high) < shows < log(pair_after(6 + more // 3).ratio_high)


def test_bins_whose_few_check_ins_leave_their_rates_open_are_not_said_to_differ():
    """Bins go at rates 8% apart; what their rates scatter by is error, of which more check-ins are the cure."""
    pairs = [
        compare_leaves(courses_of(("ash", 0.01, 2), ("oak", 0.01, 2), n=4, err=5.0, seed=seed)).pairs[0]
        for seed in range(20)
    ]
    wide = [pair.sentence for pair in pairs if not pair.told and pair.ratio_high > 4]
    assert len(wide) >= 5
    assert sum("differ too much among themselves" in sentence for sentence in wide) <= len(wide) / 5
    assert sum("more check-in" in sentence for sentence in wide) >= len(wide) * 4 / 5


def test_more_check_ins_than_anyone_would_go_on_for_are_not_advised():
    days, bins = np.arange(6), {name: BinPlan(name=name, leaf=name) for name in ("ash", "oak")}
    scores = [s for name in bins for s in scores_of(days, covers_of(0.002, days), err=5.0, name=name)]
    (pair,) = compare_leaves(follow_trial(scores, TrialPlan(name="t", bins=bins))).pairs
    assert "over 24 more check-ins, so more bins are needed" in pair.sentence


def test_a_bin_known_to_stand_still_is_not_left_out_for_its_rate():
    for k, k_high in ((0.0, 0.0004), (0.0005, 0.0009)):
        rate = log_rate(k, 0.0, k_high)
        assert rate is not None
        assert exp(rate.value) == pytest.approx(STILL)
        assert rate.err == pytest.approx(log(1.5) / 1.645, rel=1e-3)


def test_every_design_of_a_plan_has_the_power_it_promises_and_the_cheapest_stands_first():
    plan = plan_trial(Assumptions(ratio=2.0), runs=40)
    enough = [design for design in plan.designs if design.check_ins]
    assert all((design.power >= 0.8) == (design in enough) for design in plan.designs)
    photos = [
        int(b) * int(p) * int(c) for b, p, c in (re.findall(r"\d+", line)[:3] for line in plan.sentences)
    ]
    assert photos == sorted(photos)
    assert len(photos) == len(enough) > 1


def test_a_plan_that_no_design_fulfils_says_so():
    plan = plan_trial(Assumptions(ratio=1.01), runs=10)
    assert plan.sentences == ("No design with up to 8 bins a kind and 12 check-ins tells them apart.",)

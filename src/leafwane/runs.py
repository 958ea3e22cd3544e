"""What the commands do, without their printing: photos in, files in the folder of results out."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import MappingProxyType

from leafwane.at_the_bin import own_card
from leafwane.atomic import write_bytes
from leafwane.batch import score_trial
from leafwane.breakdown.compare import Comparison, compare_leaves
from leafwane.breakdown.course import BinCourse, follow_trial
from leafwane.breakdown.leaves import leaf_notes
from leafwane.breakdown.plan import (
    BINS,
    MORE_THAN,
    PHOTOS,
    Assumptions,
    TrialDesigns,
    measured_photo_err,
    plan_trial,
    too_little,
)
from leafwane.errors import NoPhotosError, UsageError, few_of
from leafwane.mixed import mark_together
from leafwane.report.compared import compare_figure
from leafwane.report.figures import curve_figure, png_bytes
from leafwane.results import Held, look_back, outdated, prepare_results, remove_pictures
from leafwane.scores import Score
from leafwane.tables import SCORES, read_photos, write_curve, write_json, write_scores
from leafwane.trial import Trial, late_starts
from leafwane.trialfile import TRIAL_FILE, doubts, unread_plans

PLAN_OPTIONS = MappingProxyType(
    {
        "ratio": "--ratio",
        "k_per_day": "--rate",
        "photo_err": "--photo-error",
        "days_apart": "--days-apart",
    }
)
"""The options that say what a plan takes for granted, by the name of the assumption."""


def plan_remarks(trial: Trial) -> tuple[str, ...]:
    """Return a line on each thing in `trial.toml` that is taken otherwise than it may be meant, or not at all."""
    plan = trial.plan
    folder = trial.root
    near = (folder,) if (folder / TRIAL_FILE).exists() else (folder, folder.parent)
    unread = (path for place in near for path in unread_plans(place))
    leaves = (bin_plan.leaf for bin_plan in plan.bins.values() if bin_plan.leaf)
    return (
        *(f"{path} is not read; rename it to {TRIAL_FILE}" for path in unread),
        *doubts(plan),
        *late_starts(trial),
        *leaf_notes(leaves, overrides=plan.leaves),
    )


def unused_outlines(trial: Trial, scores: Sequence[Score]) -> tuple[str, ...]:
    """Return a line on outlines in `trial.toml` that photos with rim tags pass over, if there are any."""
    rimmed = {score.bin: None for score in scores if score.surface == "rim"}
    bins = [name for name in rimmed if trial.plan.bin_plan(name).polygon]
    of = f"{TRIAL_FILE}: the polygon of {few_of(bins)}"
    why = "is not used where rim tags are seen, since these bound the surface; take out whichever is wrong"
    return (f"{of} {why}",) if bins else ()


def score_into(
    earlier: Held | None,
    trial: Trial,
    *,
    explain: bool = False,
    jobs: int | None = None,
    on_done: Callable[[Score], None] = lambda _score: None,
) -> tuple[Score, ...]:
    """Score a trial's photos and write scores.csv and the overlay pictures; those of photos that the trial no longer has are removed.

    Args:
        earlier: The folder of results, by `look_back`; None writes nothing.
        trial: The photos and the plan.
        explain: Whether to write a sheet of what each step saw.
        jobs: Number of processes; None for one a processor that there is memory for.
        on_done: Called with each score as it comes.

    Raises:
        OutputError: A result cannot be written.
        TrialFileError: The file with the card's values makes no sense.
    """
    out = earlier.out if earlier else None
    if out:
        prepare_results(out)
    scores = score_trial(
        trial, out=out, card_values=own_card(trial.plan), explain=explain, jobs=jobs, on_done=on_done
    )
    scores = mark_together(scores)
    if earlier:
        write_scores(earlier.out / SCORES, scores, plan=trial.plan)
        kept = [score.photo for score in scores if score.scored]
        remove_pictures(earlier, _gone(earlier, trial, scores), keep=kept)
    return scores


def _gone(earlier: Held, trial: Trial, scores: Sequence[Score]) -> list[str]:
    """Return the photos of an earlier run that the trial no longer has.

    A trial read at another folder names photos otherwise, so the runs must have the folder of a bin in common.
    """
    old = _photos_in(earlier)
    known = {(score.bin, _folder(score.photo)) for score in scores}
    if known.isdisjoint((name, _folder(photo)) for photo, name in old.items()):
        return []
    return [photo for photo in old if not (trial.root / photo).exists()]


def _folder(photo: str) -> str:
    """Return the first folder in a photo's name; empty where it has none."""
    return photo.partition("/")[0] if "/" in photo else ""


def replaced(earlier: Held, trial: Trial, *, command: str) -> tuple[str, ...]:
    """Return a line on each thing that a run replaced or left behind in its folder, and that people may miss or trust.

    Args:
        earlier: What was there before the run, by `look_back`.
        trial: What the run was given.
        command: The command that ran, such as "score".
    """
    now = look_back(earlier.out)
    return (*_lost(earlier, now, command), *outdated(earlier, now, plan=trial.root / TRIAL_FILE))


def _lost(earlier: Held, now: Held, command: str) -> Iterator[str]:
    """Yield a line on bins that `scores.csv` no longer holds, and one on those of which it holds fewer photos."""
    old, new = (Counter(_photos_in(held).values()) for held in (earlier, now))
    lines = []
    lost = sorted(old.keys() - new.keys())
    if lost:
        bins = f"{len(old)} bin{'' if len(old) == 1 else 's'}"
        lines.append(f"{bins} and now holds {len(new)}, without {few_of(lost)}")
    fewer = sorted(name for name in old.keys() & new.keys() if new[name] < old[name])
    if fewer:
        n_old, n_new = (sum(held[name] for name in fewer) for held in (old, new))
        lines.append(f"{n_old} photos of {few_of(fewer)} and now holds {n_new}")
    for line in lines:
        yield (
            f"{earlier.out / SCORES} held {line}: each run replaces it. If what is missing is still there, give all bins "
            f"at once ({command} TRIAL -o OUT), or a folder of results for each"
        )


def _photos_in(held: Held) -> dict[str, str]:
    return read_photos(held.tables.get(SCORES, b""))


def curve_into(out: Path, trial: Trial, scores: Sequence[Score]) -> tuple[BinCourse, ...]:
    """Follow each bin through its scores and write curve.csv, bins.json and curve.png.

    Raises:
        OutputError: A result cannot be written.
    """
    courses = follow_trial(scores, trial.plan)
    write_curve(out / "curve.csv", courses)
    write_json(out / "bins.json", [course.to_dict() for course in courses])
    picture = curve_figure(courses, finish_percent=trial.plan.finish_percent)
    write_bytes(out / "curve.png", png_bytes(picture))
    return courses


def compare_into(out: Path | None, trial: Trial, scores: Sequence[Score]) -> Comparison:
    """Hold the trial's kinds of leaf against each other, and write compare.json and compare.png if there is a folder.

    Raises:
        OutputError: A result cannot be written.
    """
    comparison = compare_leaves(follow_trial(scores, trial.plan), own_leaves=trial.plan.leaves)
    if out is not None:
        write_json(out / "compare.json", comparison.to_dict())
        write_bytes(out / "compare.png", png_bytes(compare_figure(comparison)))
    return comparison


def measured_error(trial: Trial, scores: Sequence[Score]) -> float:
    """Return the usual standard error of one photo of a trial, in points of cover.

    Raises:
        NoPhotosError: No photo could be used.
    """
    err = measured_photo_err(follow_trial(scores, trial.plan))
    if err is None:
        raise NoPhotosError("no photo of this trial tells the error of one", path=trial.root)
    return err


def simulate_plan(assumptions: Assumptions, *, on_done: Callable[[object], None]) -> TrialDesigns:
    """Simulate trials and return what tells two kinds of leaf apart.

    Args:
        assumptions: What is taken for granted.
        on_done: Called after each of `n_designs` designs.

    Raises:
        UsageError: An assumption makes no sense.
    """
    for name in too_little(assumptions):
        given = f"{PLAN_OPTIONS.get(name, name)} {getattr(assumptions, name):g}"
        raise UsageError(f"{given} must be over {MORE_THAN[name]:g}")
    try:
        return plan_trial(assumptions, progress=lambda done, _total: on_done(done))
    except ValueError as error:
        raise UsageError(str(error)) from error


def n_designs() -> int:
    """Return how many designs `simulate_plan` goes through."""
    return len(BINS) * len(PHOTOS)

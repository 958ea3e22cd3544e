"""What the commands do, without their printing: photos in, files in the folder of results out."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path

from leafwane.at_the_bin import own_card
from leafwane.atomic import write_bytes
from leafwane.batch import score_trial
from leafwane.breakdown.course import BinCourse, follow_trial
from leafwane.report.figures import curve_figure, png_bytes
from leafwane.results import prepare_results
from leafwane.scores import Score
from leafwane.tables import write_curve, write_json, write_scores
from leafwane.trial import Trial


def score_into(
    out: Path | None,
    trial: Trial,
    *,
    explain: bool = False,
    jobs: int | None = None,
    on_done: Callable[[Score], None] = lambda _score: None,
) -> tuple[Score, ...]:
    """Score a trial's photos and write scores.csv and the overlay pictures.

    Args:
        out: Folder of results; None writes nothing.
        trial: The photos and the plan.
        explain: Whether to write a sheet of what each step saw.
        jobs: Number of processes; None for one a processor.
        on_done: Called with each score as it comes.

    Raises:
        OutputError: A result cannot be written.
        TrialFileError: The file with the card's values makes no sense.
    """
    if out is not None:
        prepare_results(out)
    scores = score_trial(
        trial, out=out, card_values=own_card(trial.plan), explain=explain, jobs=jobs, on_done=on_done
    )
    if out is not None:
        write_scores(out / "scores.csv", scores, plan=trial.plan)
    return scores


def curve_into(
    out: Path, trial: Trial, scores: Sequence[Score], *, today: date | None = None
) -> tuple[BinCourse, ...]:
    """Follow each bin through its scores and write curve.csv, bins.json and curve.png.

    Raises:
        OutputError: A result cannot be written.
    """
    courses = follow_trial(scores, trial.plan, today=today or datetime.now().astimezone().date())
    write_curve(out / "curve.csv", courses)
    write_json(out / "bins.json", [course.to_dict() for course in courses])
    picture = curve_figure(courses, finish_percent=trial.plan.finish_percent)
    write_bytes(out / "curve.png", png_bytes(picture))
    return courses

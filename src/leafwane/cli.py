"""The command line: parses, calls, prints. Heavy modules are imported inside the commands, so that help answers at once."""

import sys
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from leafwane import __version__, shell
from leafwane.errors import NotScoredError
from leafwane.options import AsJson, Folder, Jobs, MaybeOut, Out, Paper, PaperChoice, Paths

if TYPE_CHECKING:
    from leafwane.results import Held
    from leafwane.scores import Score
    from leafwane.trial import Trial

app = typer.Typer(
    cls=shell.ProgramGroup, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False
)
card_app = typer.Typer(cls=shell.CardGroup, no_args_is_help=True)
app.add_typer(
    card_app,
    name="card",
    help="Write the reference card for printing (card OUT.pdf), or measure a printed one (card measure PHOTO).",
)


def main() -> None:
    """Run the command line and leave with its exit status."""
    shell.run(app, sys.argv[1:])


def _print_version(wanted: bool) -> None:  # noqa: FBT001 (typer calls it)
    if wanted:
        typer.echo(f"leafwane {__version__}")
        raise typer.Exit


@app.callback()
def program(
    *,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print no tables and no progress.")] = False,
    verbose: Annotated[  # noqa: ARG001 (read where a run ends)
        bool, typer.Option("--verbose", help="When something fails, print all details.")
    ] = False,
    version: Annotated[  # noqa: ARG001 (acted on by its callback)
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Tell from photos of a worm bin how much leaf is left, how fast it goes, and which bin has stopped.

    Print the card once, lay it on the bin at every check-in, and take one photo from straight above.
    """
    from leafwane.progress import people

    people.quiet = quiet


@card_app.command("print")
def card_print(
    out: Annotated[
        Path, typer.Argument(help="The PDF file to write.", metavar="OUT.pdf", show_default=False)
    ],
    *,
    paper: PaperChoice = Paper.A4,
) -> None:
    """Write the reference card and the four rim tags, at true size, for printing."""
    from leafwane.card.sheet import write_card_pdf
    from leafwane.printing import print_written

    write_card_pdf(out, paper=paper.value)
    print_written(out)


@card_app.command("measure")
def card_measure(
    photo: Annotated[
        Path,
        typer.Argument(
            help="A photo that shows the printed card beside a 24-patch colour chart.", show_default=False
        ),
    ],
    *,
    out: Annotated[Path, typer.Option("--out", "-o", help="The file to write.")] = Path("card-values.toml"),
    chart_corners: Annotated[
        str,
        typer.Option(
            help="Where the chart is, if it is not found: the outer corners of its patches in pixels, from the dark skin "
            "patch past bluish green, black and white, like '120,80 900,85 890,610 115,600'.",
            metavar="CORNERS",
            show_default=False,
        ),
    ] = "",
) -> None:
    """Measure the colours of a home-printed card, for trial.toml to name as card_values."""
    from leafwane.at_the_bin import measure_into
    from leafwane.printing import print_card_values

    print_card_values(measure_into(out, photo, chart_corners=chart_corners), out)


@app.command()
def check(paths: Paths, *, as_json: AsJson = False) -> None:
    """Say whether photos are good to score, or should be taken again, and why.

    The exit status is 3 if any should be taken again or cannot be read.
    """
    from leafwane.at_the_bin import check_photos
    from leafwane.printing import print_check, print_copied
    from leafwane.progress import progress_bar
    from leafwane.trial import read_trial

    trial = read_trial(paths, today=_today())
    for remark in trial.remarks:
        shell.warn(remark)
    with progress_bar("Looking at photos", total=len(trial.photos)) as step:
        checks = check_photos(paths, trial, on_done=step)
    for checked in checks:
        print_check(checked)
    print_copied(checks)
    if as_json:
        _print_json([checked.to_dict() for checked in checks])
    bad = [checked for checked in checks if checked.verdict == "retake"]
    if bad:
        which = "the photo" if len(checks) == 1 else f"{len(bad)} of {len(checks)} photos"
        whys = sorted({"should be taken again" if checked.readable else "cannot be read" for checked in bad})
        raise NotScoredError(f"{which} {' or '.join(whys)}")


@app.command()
def score(
    paths: Paths,
    *,
    out: Out,
    as_json: AsJson = False,
    explain: Annotated[
        bool, typer.Option("--explain", help="Also write, for each photo, a sheet of what each step saw.")
    ] = False,
    jobs: Jobs = None,
) -> None:
    """Score photos: how much of the surface is leaf, castings and other things.

    Writes scores.csv and, for each photo, a picture with the leaf tinted.
    """
    from leafwane.printing import print_scores, print_written
    from leafwane.results import look_back

    earlier = look_back(out)
    trial, scores = _scored(paths, earlier, explain=explain, jobs=jobs)
    print_scores(scores)
    pictures = ("overlays", "explain") if explain else ("overlays",)
    drawn = any(score.scored for score in scores)
    print_written(out / "scores.csv", *(out / folder for folder in pictures if drawn))
    _warn_of_replaced(earlier, trial, command="score")
    if as_json:
        _print_json([score.to_dict() for score in scores])
    _refuse_unscored(scores)


@app.command()
def curve(folder: Folder, *, out: Out, as_json: AsJson = False, jobs: Jobs = None) -> None:
    """Follow each bin from check-in to check-in: leaf left, rate, status, and when it is ready.

    Writes scores.csv, curve.csv, bins.json and curve.png.
    """
    from leafwane.flags import NOT_IN_CURVE
    from leafwane.printing import DOUBTS_OF_A_DAY, print_courses, print_flags, print_left_out, print_written
    from leafwane.results import look_back
    from leafwane.runs import curve_into

    earlier = look_back(out)
    trial, scores = _scored([folder], earlier, jobs=jobs)
    courses = curve_into(out, trial, scores)
    print_courses(courses, finish_percent=trial.plan.finish_percent, today=_today())
    print_flags(scores, but=NOT_IN_CURVE | DOUBTS_OF_A_DAY)
    print_left_out(scores)
    print_written(out / "curve.csv", out / "bins.json", out / "curve.png")
    _warn_of_replaced(earlier, trial, command="curve")
    if as_json:
        _print_json([course.to_dict() for course in courses])
    _refuse_unscored(scores)


@app.command()
def report(folder: Folder, *, out: Out, jobs: Jobs = None) -> None:
    """Do all that score and curve do, and write one page, report.html, to read and to pass on."""
    from leafwane.printing import print_courses, print_left_out, print_written
    from leafwane.report.page import write_report
    from leafwane.results import look_back
    from leafwane.runs import curve_into

    earlier = look_back(out)
    trial, scores = _scored([folder], earlier, jobs=jobs)
    courses = curve_into(out, trial, scores)
    today = _today()
    page = write_report(trial=trial, scores=scores, courses=courses, out=out, today=today)
    print_courses(courses, finish_percent=trial.plan.finish_percent, today=today)
    print_left_out(scores)
    print_written(page)
    _warn_of_replaced(earlier, trial, command="report")
    _refuse_unscored(scores)


@app.command()
def compare(
    folder: Folder,
    *,
    out: MaybeOut = None,
    as_json: AsJson = False,
    jobs: Jobs = None,
) -> None:
    """Hold kinds of leaf against each other: which is faster, how much, and how sure that is.

    The kind of leaf in each bin is read from trial.toml. With -o, writes compare.json and compare.png.
    """
    from leafwane.printing import print_comparison, print_left_out, print_written
    from leafwane.results import look_back
    from leafwane.runs import compare_into

    earlier = look_back(out) if out is not None else None
    trial, scores = _scored([folder], earlier, jobs=jobs)
    comparison = compare_into(out, trial, scores)
    print_comparison(comparison)
    print_left_out(scores)
    if out is not None and earlier is not None:
        print_written(out / "compare.json", out / "compare.png")
        _warn_of_replaced(earlier, trial, command="compare")
    if as_json:
        _print_json(comparison.to_dict())
    _refuse_unscored(scores)


@app.command()
def plan(
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="A trial whose photos tell the error of one photo.", metavar="[PATH]", show_default=False
        ),
    ] = None,
    *,
    ratio: Annotated[float, typer.Option(help="How many times as fast one kind of leaf goes.")] = 2.0,
    rate: Annotated[
        float, typer.Option(help="Rate of the slower kind, a day; 0.02 halves it in 35 days.")
    ] = 0.02,
    photo_error: Annotated[
        float, typer.Option(help="Standard error of one photo, in points of cover, where no PATH tells it.")
    ] = 3.0,
    days_apart: Annotated[float, typer.Option(help="Days between check-ins.")] = 14.0,
    as_json: AsJson = False,
    jobs: Jobs = None,
) -> None:
    """Say how many bins, photos and check-ins tell two kinds of leaf apart in 80% of trials."""
    from leafwane.breakdown.plan import Assumptions
    from leafwane.printing import print_designs, print_left_out
    from leafwane.progress import progress_bar
    from leafwane.runs import measured_error, n_designs, simulate_plan

    scores: tuple[Score, ...] = ()
    if folder is not None:
        trial, scores = _scored([folder], None, jobs=jobs)
        print_left_out(scores)
        if not any(score.in_curve for score in scores):
            _refuse_unscored(scores)
        photo_error = measured_error(trial, scores)
    given = Assumptions(ratio=ratio, k_per_day=rate, photo_err=photo_error, days_apart=days_apart)
    with progress_bar("Simulating trials", total=n_designs()) as step:
        designs = simulate_plan(given, on_done=step)
    print_designs(designs)
    if as_json:
        _print_json(designs.to_dict())
    if scores:
        _refuse_unscored(scores)


def _today() -> date:
    """Return the present day, by which the dates of photos and the days for "ready" are judged."""
    return datetime.now().astimezone().date()


def _scored(
    paths: Sequence[Path], earlier: "Held | None", *, explain: bool = False, jobs: int | None = None
) -> tuple["Trial", tuple["Score", ...]]:
    """Find the photos and score them, with a bar to wait by."""
    from leafwane.progress import progress_bar
    from leafwane.runs import plan_remarks, score_into, unused_outlines
    from leafwane.trial import read_trial

    trial = read_trial(paths, today=_today())
    for name in trial.planned_only:
        shell.warn(f"trial.toml names the bin {name}, but there is no such folder")
    for remark in (*trial.remarks, *plan_remarks(trial)):
        shell.warn(remark)
    with progress_bar("Scoring photos", total=len(trial.photos)) as step:
        scores = score_into(earlier, trial, explain=explain, jobs=jobs, on_done=step)
    for remark in unused_outlines(trial, scores):
        shell.warn(remark)
    return trial, scores


def _warn_of_replaced(earlier: "Held", trial: "Trial", *, command: str) -> None:
    """Tell what the run replaced or left behind of earlier ones."""
    from leafwane.runs import replaced

    for line in replaced(earlier, trial, command=command):
        shell.warn(line)


def _refuse_unscored(scores: Sequence["Score"]) -> None:
    """End with the exit status for photos that could not be scored, if there are any."""
    n_unscored = sum(not score.scored for score in scores)
    if n_unscored == len(scores):
        raise NotScoredError("no photo could be scored")
    if n_unscored:
        raise NotScoredError(
            f"{n_unscored} of {len(scores)} photos could not be scored", hint="The others were"
        )


def _print_json(data: object) -> None:
    from leafwane.tables import to_json

    sys.stdout.buffer.write(to_json(data).encode("utf-8", "backslashreplace") + b"\n")

"""The report: one page that holds everything it shows, for the people who keep the bins."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce
from operator import or_
from pathlib import Path
from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined

from leafwane.atomic import write_text
from leafwane.breakdown.compare import Comparison, compare_leaves
from leafwane.flags import NOT_IN_CURVE, NOTES, Flag, FlagNote
from leafwane.mixed import COUNTS_TWICE, KEEP_ONE, copied_elsewhere
from leafwane.report import words
from leafwane.report.compared import rates_figure
from leafwane.report.figures import N_TOGETHER, bin_figure, svg_text, traces_figure
from leafwane.report.filmstrip import Frame, data_address, film_frames
from leafwane.report.looks import LOOKS, Look
from leafwane.report.traces import Trace, trace_bin
from leafwane.scores import Score

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from leafwane.breakdown.checkins import CheckIn
    from leafwane.breakdown.course import BinCourse
    from leafwane.trial import Trial
    from leafwane.trialfile import BinPlan

NAME = "report.html"

N_OPEN = 6
"""Most bins whose photos and tables are shown unfolded."""

OVERLAY_WORDS = (
    "leaf is tinted, castings are left as they are, other things are marked, what is in doubt is hatched"
)

NEEDS_HAND = frozenset({"stalled", "slow", "unclear"})
"""Statuses that call for somebody to go to the bin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A flag as people read it: its note, and how many photos have it."""

    note: FlagNote
    n_photos: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BinView:
    """What the page shows of one bin."""

    anchor: str
    course: "BinCourse"
    plan: "BinPlan | None"
    look: Look
    newest: "CheckIn | None"
    summary: tuple[str, ...]
    overdue: bool
    curve: str
    frames: tuple[Frame, ...]
    marks: tuple[Mark, ...]


def write_report(
    *,
    trial: "Trial",
    scores: Sequence[Score],
    courses: Sequence["BinCourse"],
    out: Path,
    today: date | None = None,
) -> Path:
    """Write `report.html` into a folder and return its path.

    Args:
        trial: The trial, for its name, its bins and the folder that photo names start from.
        scores: The photos' scores.
        courses: The bins, as followed through those scores.
        out: Folder of the results; overlay names start from it.
        today: The day on which the page is made; with it, what should have been ready by then is said to be overdue.

    Raises:
        OutputError: The page cannot be written.
    """
    path = out / NAME
    write_text(path, report_html(trial=trial, scores=scores, courses=courses, out=out, today=today))
    return path


def report_html(
    *,
    trial: "Trial",
    scores: Sequence[Score],
    courses: Sequence["BinCourse"],
    out: Path,
    today: date | None = None,
) -> str:
    """Return the page's text; everything from outside the project in it is escaped."""
    frames = film_frames(scores, root=trial.root, out=out)
    finish = trial.plan.finish_percent
    ordered = sorted(courses, key=lambda course: LOOKS[course.verdict.status].urgency)
    traces = [trace_bin(course, finish_percent=finish) for course in ordered]
    views = [
        _bin_view(n, course, trace, trial, [f for f in frames if f.score.bin == course.bin], today=today)
        for n, (course, trace) in enumerate(zip(ordered, traces, strict=True), start=1)
    ]
    unscored = [score for score in scores if not score.scored]
    aside = [score for score in scores if score.scored and score.date and not score.in_curve]
    comparison = compare_leaves(courses, own_leaves=trial.plan.leaves)
    return (
        _environment()
        .get_template("report.html.jinja")
        .render(
            trial=trial.plan.name or trial.root.name,
            bins=views,
            tally=_tally(courses),
            odd=[
                (view, check_in.date)
                for view in views
                for check_in in view.course.check_ins
                if Flag.OFF_CURVE in check_in.flags
            ],
            needing=[view for view in views if view.overdue or view.course.verdict.status in NEEDS_HAND],
            together=_together(traces) if 1 < len(courses) <= N_TOGETHER else (),
            comparison=comparison,
            compared=_compared(comparison),
            unfolded=len(courses) <= N_OPEN,
            finish_percent=finish,
            overlay_words=OVERLAY_WORDS,
            copied=copied_elsewhere(scores),
            counts_twice=COUNTS_TWICE,
            keep_one=KEEP_ONE,
            unscored=unscored,
            unscored_marks=_marks(score.flags for score in unscored),
            undated=[score for score in scores if score.scored and score.date is None],
            aside=aside,
            aside_marks=_marks(score.flags & NOT_IN_CURVE for score in aside),
            n_photos=len(scores),
            days=sorted(score.date for score in scores if score.date and not score.flags & NOT_IN_CURVE),
            methods=sorted({score.method for score in scores if score.method}),
        )
    )


def _bin_view(
    n: int, course: "BinCourse", trace: Trace, trial: "Trial", frames: Sequence[Frame], *, today: date | None
) -> BinView:
    dated = sorted((f for f in frames if f.score.date), key=lambda f: (f.score.date, f.score.photo))
    return BinView(
        anchor=f"bin-{n}",
        course=course,
        plan=trial.plan.bins.get(course.bin),
        look=LOOKS[course.verdict.status],
        newest=course.check_ins[-1] if course.check_ins else None,
        summary=words.summary(course, today),
        overdue=words.overdue(course, today),
        curve=_svg(bin_figure(trace)),
        frames=tuple(dated),
        marks=_marks([*(f.score.flags for f in frames)], also=(c.flags for c in course.check_ins)),
    )


def _marks(photo_flags: Iterable[Flag], *, also: Iterable[Flag] = ()) -> tuple[Mark, ...]:
    """Return the notes of all flags that are set, in the registry's order, with their count of photos."""
    counts = Counter(flag for flags in photo_flags for flag in flags)
    anywhere = reduce(or_, (*counts, *also), Flag(0))
    return tuple(Mark(note=note, n_photos=counts[flag]) for flag, note in NOTES.items() if flag in anywhere)


def _tally(courses: Sequence["BinCourse"]) -> list[tuple[Look, int]]:
    """Return how many bins have each status, the most urgent first."""
    counts = Counter(str(course.verdict.status) for course in courses)
    return [(look, counts[status]) for status, look in LOOKS.items() if counts[status]]


def _together(traces: Sequence[Trace]) -> tuple[str, str]:
    """Return the picture of all bins for wide and for narrow pages."""
    return _svg(traces_figure(traces)), _svg(traces_figure(traces, narrow=True))


def _compared(comparison: Comparison) -> tuple[str, ...]:
    """Return the picture of rates by kind of leaf for wide and for narrow pages; none for fewer than two kinds."""
    if len(comparison.kinds) < 2:
        return ()
    return tuple(_svg(rates_figure(comparison.kinds, narrow=narrow)) for narrow in (False, True))


def _svg(figure: "Figure") -> str:
    return data_address(svg_text(figure).encode(), "image/svg+xml")


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("leafwane.report"),
        autoescape=True,  # the automatic choice goes by file names and is off for ours
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "day": words.day_text,
        "percent": words.percent_text,
        "points": words.points_text,
        "range": words.range_text,
        "ninety": words.ninety_text,
        "first_up": words.first_up,
        "remedy": words.remedy_text,
        "ready_about": words.ready_about,
        "flag_notes": lambda flags: [note for flag, note in NOTES.items() if flag in flags],
    }
    return environment

"""What a bin's course means, in sentences for the person at the bin."""

from datetime import date, timedelta
from math import inf
from typing import TYPE_CHECKING

from leafwane import dates
from leafwane.breakdown.advice import MARK
from leafwane.flags import Flag
from leafwane.report.looks import LOOKS

if TYPE_CHECKING:
    from leafwane.breakdown.course import BinCourse

NINETY = 1.645
"""Standard errors on either side of the value that hold 90% of a normal distribution."""

LONG_AGO = timedelta(weeks=6)
"""Where a bin's newest photo is older than this, a day for "ready" that has passed is no longer promised."""

OPENINGS = {
    "stalled": "The leaf goes so slowly, if it goes at all, that the bin counts as stalled.",
    "slow": "The leaf is going, but more slowly than is usual for it.",
    "unclear": "The photos do not yet tell whether the leaf is going.",
    "finished": "Nearly all the leaf is gone: the bin is ready.",
    "topped-up": "Fresh leaf was added; the counting starts again from there.",
    "on-course": "The leaf is going as it should.",
    "too-early": "It is too early to say how it goes.",
}


def day_text(day: date | None) -> str:
    """Return a day as people write it, like 4 October 2031; "no date" for None."""
    return dates.day_text(day) if day else "no date"


def percent_text(percent: float | None) -> str:
    """Return a share of 0..100 for reading, without false precision; a dash for None."""
    if percent is None:
        return "-"
    return "under 1%" if 0 < percent < 1 else f"{percent:.0f}%"


def points_text(percent: float | None) -> str:
    """Return a percentage or a difference of percentages for a table's cell; a dash for None."""
    if percent is None:
        return "-"
    return f"{percent:.1f}" if percent < 9.95 else f"{percent:.0f}"


def ninety_text(err: float | None) -> str:
    """Return the half width of the 90% interval that belongs to a standard error; a question mark for None."""
    return "?" if err is None else points_text(NINETY * err)


def first_up(text: str) -> str:
    """Return a clause as the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def range_text(value: float, err: float | None, most: float = inf) -> str:
    """Return the range that holds the true percentage, at most 100 for cover, nine times in ten; empty if the error is unknown."""
    if err is None:
        return ""
    low, high = (min(max(0.0, end), most) for end in (value - NINETY * err, value + NINETY * err))
    return f"{low:.0f} to {high:.0f}%"


def days_text(days: float | None) -> str:
    """Return a length of time in the unit people would use; a dash for None or for what never ends."""
    if days is None or days > 3650:
        return "-"
    if days < 60:
        return f"{days:.0f} days"
    return f"{days / 30.44:.0f} months" if days < 730 else f"{days / 365.25:.1f} years"


def opening(course: "BinCourse") -> str:
    """Return one sentence on the status."""
    return OPENINGS[course.verdict.status]


def share_left(course: "BinCourse") -> tuple[float, float | None] | None:
    """Return the percentage of leaf cover left at the newest check-in and its error, which is 0 at the very first one.

    None where there is no share to give: without a scale, and after a new batch, since shares are of the bin's first
    check-in while the half-life and the date are the batch's.
    """
    newest = course.check_ins[-1] if course.check_ins else None
    if newest is None or newest.remaining_percent is None or len(course.batches) > 1:
        return None
    return newest.remaining_percent, newest.remaining_err


def leaf_left(course: "BinCourse") -> str:
    """Return one sentence on how much leaf is left at the newest check-in, and how sure that is."""
    if not course.check_ins:
        return "No photo of this bin could be used in the curve."
    newest, share = course.check_ins[-1], share_left(course)
    cover = f"leaf covered {percent_text(newest.leaf_percent)} of the surface"
    if share is None:
        sure = range_text(newest.leaf_percent, newest.leaf_err, 100)
        return f"On {day_text(newest.date)}, {cover}{_nine_in_ten(sure)}."
    sure = range_text(*share) if share[1] else ""  # at the first check-in all is left, by its meaning
    left = f"{percent_text(share[0])} of the leaf cover was left{_nine_in_ten(sure)}"
    return f"On {day_text(newest.date)}, {left}: {cover}."


def _nine_in_ten(sure: str) -> str:
    return f" (nine times in ten between {sure.replace(' to ', ' and ')})" if sure else ""


def half_life(course: "BinCourse") -> float | None:
    """Return the days in which half of the leaf goes; None where the batch's figure says nothing of today."""
    unsaid = course.verdict.status in {"stalled", "unclear", "too-early", "topped-up"}
    return None if unsaid else course.half_life_days


def speed(course: "BinCourse") -> str:
    """Return one sentence on the rate of loss of the newest batch; empty where there is none to speak of."""
    half = half_life(course)
    if half is None or half > 3650:
        return ""
    over = "At a steady rate" if _taken_as_steady(course) else "Over this batch"
    return f"{over}, half of the leaf goes in {days_text(half)}."


def _taken_as_steady(course: "BinCourse") -> bool:
    return course.curve is not None and course.curve.taken_as_steady


def remedy_text(remedy: str) -> str:
    """Return a remedy without the mark that the heading over all remedies bears."""
    return first_up(remedy.removeprefix(MARK))


def odd(course: "BinCourse") -> str:
    """Return one sentence on check-ins of the newest batch that do not fit the others; empty where all do."""
    batch = course.batches[-1].check_ins if course.batches else ()
    days = [day_text(check_in.date) for check_in in batch if Flag.OFF_CURVE in check_in.flags]
    if not days:
        return ""
    if len(days) == 1:
        return f"The check-in of {days[0]} does not fit the others, and rate and dates leave it out."
    return f"The check-ins of {', '.join(days)} do not fit the others, and rate and dates leave them out."


ALL_OVERDUE = (
    "They should have been ready by now, but their curves have no photo of the last weeks: look again."
)
"""What is said of several bins in place of a sentence each."""


def overdue(course: "BinCourse", today: date | None) -> bool:
    """Return whether the day for "ready" has passed since the newest photo, which is long ago; never where `today` is None."""
    day = ready_about(course)
    if today is None or day is None or course.verdict.status == "finished":
        return False
    return day < today and today - course.check_ins[-1].date > LONG_AGO


def ready(course: "BinCourse", today: date | None = None) -> str:
    """Return one sentence on when the bin is ready, as read on a day; empty where nothing can be said."""
    if course.verdict.status == "finished":
        return ""
    finish = course.finish
    if overdue(course, today):
        about, since = day_text(finish.date), day_text(course.check_ins[-1].date)
        return (
            f"It should have been ready about {about}, but its curve has no photo since {since}: look again."
        )
    if finish.date is None:
        return "No date can be given yet for when it will be ready."
    early, late = finish.earliest, finish.latest
    if late is None:
        start = f"It will not be ready before {day_text(early)}; how" if early else "How"
        return f"{start} late it may get cannot be told yet."
    if _taken_as_steady(course):
        return f"If it goes on at a steady rate, it should be ready about {day_text(finish.date)}{_between(early, late)}."
    if early:
        span = f", nine times in ten between {day_text(early)} and {day_text(late)}"
    else:
        span = f", nine times in ten by {day_text(late)}"
    return f"If it goes on like this, it should be ready about {day_text(finish.date)}{span}."


def _between(early: date | None, late: date) -> str:
    return (
        f" (between {day_text(early)} and {day_text(late)})"
        if early
        else f" (by {day_text(late)} at the latest)"
    )


def ready_short(course: "BinCourse") -> str:
    """Return the date of readiness for a narrow column."""
    if course.verdict.status == "finished":
        return "ready"
    day = ready_about(course)
    return day.isoformat() if day else "-"


def ready_about(course: "BinCourse") -> date | None:
    """Return the day to name by itself for when the bin is ready; None where how late it may get cannot be told."""
    return course.finish.date if course.finish.latest else None


def summary(course: "BinCourse", today: date | None = None) -> tuple[str, ...]:
    """Return what matters of a bin in a few sentences, as read on a day: status, leaf left, speed, when it is ready."""
    said = (opening(course), leaf_left(course), odd(course), speed(course), ready(course, today))
    return tuple(filter(None, said))


def word(course: "BinCourse") -> str:
    """Return the status in plain words."""
    return LOOKS[course.verdict.status].word

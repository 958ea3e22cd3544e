"""Where a photo's date comes from, its file's name or the camera and never the file's age, and how people read it."""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

from leafwane.flags import Flag

DateSource = Literal["name", "exif", "none"]

_DATE = re.compile(
    r"(?<!\d)\d\d?(?P<between>[-_. ])\d\d?(?P=between)(?:19|20|21)\d\d(?!\d)"
    r"(?!(?<=[_ ]\d{4})-\d\d-\d\d(?![-\d]))"
    r"|(?<!\d)(?P<year>(?:19|20|21)\d\d)"
    r"(?:(?P<sign>[-_. ])(?P<month>\d\d?)(?P=sign)(?P<day>\d\d?)|(?P<mm>\d\d)(?P<dd>\d\d))"
    r"(?:(?!\d)|(?=\d{6}(?!\d)))"
)
"""Year, month and day in that order, together or parted by one sign, alone or with a time of day right behind.

A date whose year stands last is found first, without a `year`, so that its year and a time behind it are read as nothing.
Numbers of other things may stand before a date, as in `bin_3_1_2031-10-04`: parted by _ or a space, they leave the year to
an ISO date that ends there. Points and hyphens part dates so often that 4.10.2031-10-15 stays unread.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoDate:
    """A photo's day and where it stands.

    Attributes:
        day: The day, or None if neither name nor camera tells.
        source: "name", "exif" or "none".
        flags: NO_DATE, DATES_DIFFER, IMPOSSIBLE_DATE and FUTURE_DATE.
    """

    day: date | None
    source: DateSource
    flags: Flag


def photo_date(name: str, taken: date | None, *, today: date) -> PhotoDate:
    """Weigh the date in a file's name against the camera's; the name goes first, since somebody meant it.

    Args:
        name: The file's name, such as "2031-10-04.jpg" or "IMG_20311004_101500.jpg".
        taken: The camera's date (EXIF DateTimeOriginal), if the photo holds one.
        today: Later days are flagged.
    """
    named = date_in_name(name)
    day = named or taken
    source: DateSource = "name" if named else "exif" if taken else "none"
    flags = Flag(0) if day else Flag.NO_DATE
    if named and taken and abs(named - taken) > timedelta(days=1):
        flags |= Flag.DATES_DIFFER
    if named is None and _names_impossible_date(name):
        flags |= Flag.IMPOSSIBLE_DATE
    clock_said_so = taken is not None and taken <= today  # names may count days by Greenwich
    if day and day > today + timedelta(days=1 if clock_said_so else 0):
        flags |= Flag.FUTURE_DATE
    return PhotoDate(day=day, source=source, flags=flags)


def date_in_name(name: str) -> date | None:
    """Return the first real date in a file's name, read as year, month, day; None if there is none."""
    return next(_real_dates(name), None)


def _names_impossible_date(name: str) -> bool:
    """Whether a name holds what somebody wrote for a date, such as 2031-02-30; digits in a row may be a counter."""
    return any(found["sign"] for found in _written_dates(name))


def _written_dates(name: str) -> Iterator[re.Match[str]]:
    return (found for found in _DATE.finditer(Path(name).stem) if found["year"])


def _real_dates(name: str) -> Iterator[date]:
    return (day for day in map(_day_of, _written_dates(name)) if day)


def _day_of(found: re.Match[str]) -> date | None:
    """Return the day that digits with a year stand for; None where they are no date, such as a camera's counter."""
    with suppress(ValueError):
        return date(int(found["year"]), int(found["month"] or found["mm"]), int(found["day"] or found["dd"]))
    return None


def is_day(text: str) -> bool:
    """Whether a text is a date and nothing else, in whatever order."""
    found = _DATE.fullmatch(text)
    return found is not None and (found["year"] is None or _day_of(found) is not None)


def day_text(day: date) -> str:
    """Return a day as people write it, like 4 October 2031."""
    return f"{day.day} {day:%B} {day.year}"

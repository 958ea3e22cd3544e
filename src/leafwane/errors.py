"""What can go wrong, each kind with the exit status it ends the program with.

0 is success, 1 the unexpected, 2 wrong usage, 130 Ctrl-C; the kinds below start at 3.
"""

from collections.abc import Sequence
from pathlib import Path

from leafwane.flags import Flag

FEW = 3
"""Most names in one line."""


def few_of(names: Sequence[str]) -> str:
    """Return the first names for a line of a message, and how many more there are."""
    more = len(names) - FEW
    return ", ".join(names[:FEW]) + (f" and {more} more" if more > 0 else "")


class LeafwaneError(Exception):
    """Something a person can act on: what happened, in which file, and what to do next.

    All kinds can be made of `what` alone, since that is how they come back from another process.

    Args:
        what: What happened, in plain words, without a full stop.
        path: The file or folder it happened in, if there is one.
        hint: What to do next, without a full stop; may be empty.
    """

    exit_code = 1

    def __init__(self, what: str, *, path: Path | None = None, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.path = path
        self.hint = hint

    def __str__(self) -> str:
        """Return the one line that people are shown."""
        place = f"{self.path}: " if self.path is not None else ""
        advice = f". {self.hint[0].upper()}{self.hint[1:]}" if self.hint else ""
        return f"{place}{self.what}{advice}"


class UsageError(LeafwaneError):
    """The command was called in a way that cannot work."""

    exit_code = 2


class NotScoredError(LeafwaneError):
    """Photos could not be scored or should be taken again; the others, if any, are good."""

    exit_code = 3


class NoPhotosError(LeafwaneError):
    """There is no photo where photos were expected."""

    exit_code = 4


class PhotoError(LeafwaneError):
    """A file is no photo that can be read.

    Args:
        flag: The flag that says in the tables what is wrong with the file.
    """

    exit_code = 5

    def __init__(
        self, what: str, *, path: Path | None = None, hint: str = "", flag: Flag = Flag.UNREADABLE
    ) -> None:
        super().__init__(what, path=path, hint=hint)
        self.flag = flag


class TrialFileError(LeafwaneError):
    """`trial.toml`, or a file that it names, cannot be understood."""

    exit_code = 6


class OutputError(LeafwaneError):
    """A result cannot be written."""

    exit_code = 7


class CardError(LeafwaneError):
    """No card that can be used is in the photo.

    Args:
        flag: The flag that says in the tables what is wrong with the card.
    """

    exit_code = 8

    def __init__(
        self, what: str, *, flag: Flag = Flag.NO_CARD, path: Path | None = None, hint: str = ""
    ) -> None:
        super().__init__(what, path=path, hint=hint)
        self.flag = flag

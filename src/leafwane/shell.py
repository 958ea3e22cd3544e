"""How the words of a command line are read, and how a run ends: with an exit status and, if it failed, one line."""

import sys
import traceback
from collections.abc import Sequence
from typing import Any

import typer
from typer.core import TyperGroup

from leafwane.errors import LeafwaneError

ANYWHERE = ("--quiet", "--verbose")
"""Options of the whole program, which may also stand behind a command."""

UNEXPECTED = 1


class ProgramGroup(TyperGroup):
    """The program: its own options may stand anywhere before a lone "--"."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 (typer names no public context here)
        """Move the program's options to the front."""
        end = args.index("--") if "--" in args else len(args)
        ours = [word for word in args[:end] if word in ANYWHERE]
        return super().parse_args(
            ctx, [*ours, *(word for word in args[:end] if word not in ours), *args[end:]]
        )


class CardGroup(TyperGroup):
    """`card OUT.pdf` prints the card; `card measure PHOTO` is a command beside it."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 (typer names no public context here)
        """Take words that are no command for those of `print`."""
        known = not args or args[0] in {*self.commands, "--help"}
        return super().parse_args(ctx, args if known else ["print", *args])


def run(app: typer.Typer, args: Sequence[str]) -> None:
    """Run the program and leave it with its exit status; a failure is told in one line on stderr."""
    try:
        app(args=list(args))
    except Exception as error:  # noqa: BLE001 (the one place where every failure ends)
        if "--verbose" in args:
            traceback.print_exc()
        sys.exit(_told(error))


def _told(error: Exception) -> int:
    if isinstance(error, LeafwaneError):
        warn(f"leafwane: {error}")
        return error.exit_code
    warn(
        f"leafwane: unexpected fault ({type(error).__name__}: {error}). Run it again with --verbose and report what it says"
    )
    return UNEXPECTED


def printable(text: str) -> str:
    """Return text as one line, with nothing in it that a terminal would obey; file names may hold anything."""
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(text.splitlines()))


def warn(line: str) -> None:
    """Print one line about what went wrong, even to those who asked for quiet."""
    sys.stderr.write(f"{printable(line)}\n")

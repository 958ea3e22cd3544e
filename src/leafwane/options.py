"""Words of the command line that several commands share."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

Paths = Annotated[
    list[Path], typer.Argument(help="Photos, or folders with photos.", metavar="PATH...", show_default=False)
]
Folder = Annotated[
    Path,
    typer.Argument(
        help="The trial's folder: a sub-folder for each bin, or the photos of one bin.",
        metavar="PATH",
        show_default=False,
    ),
]
Out = Annotated[
    Path,
    typer.Option(
        "--out",
        "-o",
        help="Folder for the results; made if it is not there.",
        metavar="OUT",
        show_default=False,
    ),
]
MaybeOut = Annotated[
    Path | None,
    typer.Option("--out", "-o", help="Folder for the results, if they are to be kept.", metavar="OUT"),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the results as data on standard output.")]
Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        min=1,
        help="How many photos to work on at a time.",
        show_default="one for each processor that there is memory for",
    ),
]


class Paper(StrEnum):
    """Sizes of paper."""

    A4 = "a4"
    LETTER = "letter"


def paper_named(name: str) -> Paper:
    """Return the paper of a name in any case; a wrong one is told in our words, since the library's begin with its own."""
    try:
        return Paper(name.casefold())
    except ValueError as error:
        raise typer.BadParameter(f"{name!r} is not one of {', '.join(Paper)}.") from error


PaperChoice = Annotated[
    Paper, typer.Option(help="Paper in the printer.", parser=paper_named, metavar=f"[{'|'.join(Paper)}]")
]

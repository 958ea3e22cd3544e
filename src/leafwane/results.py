"""The folder that results are written to, and how a later run tells leafwane's own pictures from photos.

Results may lie inside the trial's own folder. A mark, a small hidden file, is laid into every folder of results; where
it lies, the names below are leafwane's own and are not read as photos or as bins.
"""

from pathlib import Path

from leafwane.atomic import write_text
from leafwane.errors import OutputError

MARK = ".leafwane-results"

PICTURE_FOLDERS = ("overlays", "explain")
OWN_NAMES = frozenset({*PICTURE_FOLDERS, "curve.png", "compare.png"})

_HINT = "Name another folder after -o"

_MARK_TEXT = (
    "leafwane writes its results into this folder. Where this file lies, leafwane does not read\n"
    f"{', '.join(sorted(OWN_NAMES))} as photos or bins.\n"
)


def is_own(path: Path) -> bool:
    """Whether leafwane wrote this file or folder, so that it is no photo and no bin."""
    return path.name in OWN_NAMES and (path.parent / MARK).is_file()


def prepare_results(out: Path) -> None:
    """Make the folder of results, if it is not there, and lay the mark into it.

    Raises:
        OutputError: The folder cannot be made or written to, or holds something of a result's name that leafwane
            did not write, such as photos.
    """
    if not (out / MARK).is_file():
        for name in sorted(OWN_NAMES):
            if (out / name).exists():
                raise OutputError(
                    f"leafwane did not write {name}, which is there already", path=out, hint=_HINT
                )
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder cannot be made ({error.strerror})", path=out, hint=_HINT) from error
    write_text(out / MARK, _MARK_TEXT)

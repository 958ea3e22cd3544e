"""The folder that results are written to, and how a later run tells leafwane's own pictures from photos.

Results may lie inside the trial's own folder. A mark, a small hidden file, is laid into every folder of results; where
it lies, `OWN_NAMES` are leafwane's own and are not read as photos or as bins. Where it does not lie, nothing that has
the name of a result is written over.
"""

from pathlib import Path

from leafwane.atomic import OTHER_FOLDER, make_folder, write_text
from leafwane.errors import OutputError

MARK = ".leafwane-results"

PICTURE_FOLDERS = ("overlays", "explain")
OWN_NAMES = frozenset({*PICTURE_FOLDERS, "curve.png", "compare.png"})
"""Results that would else be taken for photos or bins."""

RESULT_NAMES = OWN_NAMES | {"scores.csv", "curve.csv", "bins.json", "compare.json", "report.html"}
"""All results."""

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
            did not write, such as photos or somebody's own table.
    """
    if not (out / MARK).is_file():
        for name in sorted(RESULT_NAMES):
            if (out / name).exists():
                raise OutputError(
                    f"leafwane did not write {name}, which is there already", path=out, hint=OTHER_FOLDER
                )
    make_folder(out)
    write_text(out / MARK, _MARK_TEXT)

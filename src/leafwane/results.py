"""The folder that results are written to, and how a later run tells leafwane's own pictures from photos.

Results may lie inside the trial's own folder. A mark, a small hidden file, is laid into every folder of results; where
it lies, the names below are leafwane's own and are not read as photos or as bins.
"""

from collections.abc import Iterable
from pathlib import Path

from leafwane.atomic import write_text
from leafwane.errors import OutputError

MARK = ".leafwane-results"

PICTURE_FOLDERS = ("overlays", "explain")
OWN_NAMES = frozenset({*PICTURE_FOLDERS, "curve.png", "compare.png"})

_MARK_TEXT = (
    "leafwane writes its results into this folder. Where this file lies, leafwane does not read\n"
    f"{', '.join(sorted(OWN_NAMES))} as photos or bins.\n"
)


def is_own(path: Path) -> bool:
    """Whether leafwane wrote this file or folder, so that it is no photo and no bin."""
    return path.name in OWN_NAMES and (path.parent / MARK).is_file()


def prepare_results(out: Path, *, photos: Iterable[Path]) -> None:
    """Make the folder of results and lay the mark into it.

    Args:
        out: The folder; it may exist.
        photos: The photos that are read; none of them may be written over.

    Raises:
        OutputError: The folder cannot be made or written to, or a result would take a photo's place.
    """
    folder = out.absolute()
    for photo in photos:
        if _in_the_way(photo.absolute(), folder):
            raise OutputError(
                f"results would be written over the photo {photo.name}",
                path=out,
                hint="Name another folder after -o",
            )
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror})", path=out, hint="Name another folder after -o"
        ) from error
    write_text(out / MARK, _MARK_TEXT)


def _in_the_way(photo: Path, folder: Path) -> bool:
    return photo.is_relative_to(folder) and photo.relative_to(folder).parts[0] in OWN_NAMES

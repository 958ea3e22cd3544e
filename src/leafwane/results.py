"""The folder that results are written to, and how a later run tells leafwane's own pictures from photos.

Results may lie inside the trial's own folder. A mark, a small hidden file, is laid into every folder of results; where
it lies, `OWN_NAMES` are leafwane's own and are not read as photos or as bins. Where it does not lie, nothing that has
the name of a result is written over.

A run replaces what an earlier one wrote. `look_back` keeps what was there, so that people can be told what they no longer
find, and which results no longer fit the new tables.
"""

import math
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from leafwane.atomic import OTHER_FOLDER, make_folder, write_text
from leafwane.errors import OutputError, few_of

MARK = ".leafwane-results"

PICTURE_FOLDERS = ("overlays", "explain")
OWN_NAMES = frozenset({*PICTURE_FOLDERS, "curve.png", "compare.png"})
"""Results that would else be taken for photos or bins."""

RESULT_NAMES = OWN_NAMES | {"scores.csv", "curve.csv", "bins.json", "compare.json", "report.html"}
"""All results."""

_SCORES = "scores.csv"
_TABLES = (_SCORES, "curve.csv", "bins.json", "compare.json")

_MAKERS = (
    ("score --explain", ("explain",)),
    ("curve", ("bins.json", "curve.csv", "curve.png")),
    ("compare", ("compare.json", "compare.png")),
    ("report", ("report.html",)),
)
"""The commands that make again what a run of another command leaves as it was."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a folder of results held before a run, or holds after it.

    Attributes:
        out: The folder.
        written: When each result in it was last written, in nanoseconds, by its name.
        tables: What its tables held, by their names.
    """

    out: Path
    written: Mapping[str, int]
    tables: Mapping[str, bytes]


def look_back(out: Path) -> Held:
    """Return what a folder of results holds now; what cannot be read counts as not there."""
    times = {name: _last_written(out / name) for name in RESULT_NAMES}
    tables = {name: _content(out / name) for name in _TABLES}
    return Held(
        out=out,
        written={name: time for name, time in times.items() if time},
        tables={name: content for name, content in tables.items() if content is not None},
    )


def outdated(earlier: Held, now: Held, *, plan: Path) -> tuple[str, ...]:
    """Return a line on the results that a run left as they were though a table beside them, or the plan, has changed.

    Where the tables hold what they held before, results that are newer than the plan fit them as they did. A table older
    than the scores or the plan beside it was due to change, and tells nothing of the others.

    Args:
        earlier: What was there before the run.
        now: What is there after it.
        plan: The trial's `trial.toml`, which need not be there.
    """
    planned = _last_written(plan)
    due = max(planned, earlier.written.get(_SCORES, 0))
    telling = [name for name in earlier.tables if earlier.written.get(name, 0) >= due]
    same = all(now.tables.get(name) == earlier.tables[name] for name in telling)
    changed = planned if same and _SCORES in earlier.tables else math.inf
    left = {name for name, time in earlier.written.items() if 0 < now.written.get(name, 0) <= time < changed}
    found = (
        (command, [str(earlier.out / name) for name in names if name in left]) for command, names in _MAKERS
    )
    return tuple(_outdated_line(command, paths) for command, paths in found if paths)


def _outdated_line(command: str, paths: Collection[str]) -> str:
    are, them = ("is", "it") if len(paths) == 1 else ("are", "them")
    return f"{few_of(list(paths))} {are} of an earlier run; leafwane {command} makes {them} again"


def _last_written(path: Path) -> int:
    """Return when a file, or the newest file of a folder, was written; 0 where there is none."""
    with suppress(OSError):
        files = path.rglob("*") if path.is_dir() else [path]
        return max((file.stat().st_mtime_ns for file in files if file.is_file()), default=0)
    return 0


def _content(path: Path) -> bytes | None:
    with suppress(OSError):
        return path.read_bytes()
    return None


def picture_name(photo: str) -> str:
    """Return the name, within its folder, of the pictures that are drawn of a photo named as scores name it."""
    flat = photo.replace(":", "_").strip("/").replace("../", "")
    return flat if flat.endswith(".jpg") else f"{flat}.jpg"


def remove_pictures(earlier: Held, photos: Iterable[str], *, keep: Iterable[str]) -> None:
    """Remove the pictures that an earlier run drew of photos that are gone; all of them can be made again.

    Only files that such a run wrote are touched: in a folder that bears the mark, with the name of a photo of the
    earlier `scores.csv`, no newer than that, since it is written last, and behind no link. What cannot be removed stays.

    Args:
        earlier: What was there before the new `scores.csv`.
        photos: Photos that the earlier `scores.csv` holds.
        keep: Photos whose pictures stay.
    """
    out = earlier.out.resolve()
    if not (out / MARK).is_file():
        return
    kept = {_one_case(picture_name(photo)) for photo in keep}
    gone = [name for name in map(picture_name, photos) if _one_case(name) not in kept]
    for folder in PICTURE_FOLDERS:
        for name in gone:
            _remove_within(out / folder, name, until=earlier.written.get(_SCORES, 0))


def _one_case(name: str) -> str:
    """Return a name as the many computers see it that hold letters and accents of either form for the same."""
    return unicodedata.normalize("NFC", name).casefold()


def _remove_within(folder: Path, name: str, *, until: int) -> None:
    """Remove a file of a folder and what it leaves empty, if no link or step up leads to it and it is not newer."""
    path = folder / PurePosixPath(name)
    with suppress(OSError, ValueError):
        if not path.is_file() or path.resolve() != path or path.stat().st_mtime_ns > until:
            return
        path.unlink()
        for empty in path.relative_to(folder.parent).parents[:-1]:
            (folder.parent / empty).rmdir()  # fails where it is not empty, which ends this

"""A folder becomes bins, and bins become dated photos.

A sub-folder is a bin. Photos that lie in the trial's folder itself are a bin of that folder's name.
"""

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from leafwane.dates import DateSource, photo_date
from leafwane.errors import NoPhotosError, PhotoError, TrialFileError
from leafwane.flags import Flag
from leafwane.photo import PHOTO_SUFFIXES, read_taken
from leafwane.results import is_own
from leafwane.trialfile import TRIAL_FILE, TrialPlan, read_plan

_PASSED_OVER = (".", "@eaDir")
"""How names begin that hold no photos of people: hidden files, and a file server's folder of thumbnails."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedPhoto:
    """A photo of a bin on a day, not yet opened.

    Attributes:
        path: The file, absolute.
        bin: The bin's name.
        date: The day of the check-in; None if unknown.
        source: Where the date comes from: "name", "exif" or "none".
        flags: NO_DATE, DATES_DIFFER or FUTURE_DATE.
    """

    path: Path
    bin: str
    date: date | None
    source: DateSource
    flags: Flag


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What is known of a trial before any photo is scored.

    Attributes:
        root: The folder that photos' names are relative to, absolute.
        plan: What `trial.toml` says.
        photos: Sorted by bin and name, numbers in names as numbers.
        planned_only: Bins that `trial.toml` names and that have no folder.
    """

    root: Path
    plan: TrialPlan
    photos: tuple[DatedPhoto, ...]
    planned_only: tuple[str, ...] = ()


def read_trial(paths: Sequence[Path], *, today: date | None = None) -> Trial:
    """Find the photos in the files and folders given, their bins, their dates, and the trial's plan.

    The plan is the `trial.toml` in a folder that is given, or in the one above it.

    Args:
        paths: Photos, bins' folders or trials' folders. A file that is named is taken for a photo whatever its suffix.
        today: Photos of later days are flagged; the present day if None.

    Raises:
        NoPhotosError: A path does not exist or holds no photo.
        TrialFileError: `trial.toml` makes no sense, there are two of them, or two bins have one name.
    """
    places = {Path(os.path.abspath(path)): None for path in paths}  # noqa: PTH100 (links keep their names)
    roots = {_root_of(place): None for place in places}
    plan = _plan_of(list(roots))
    bins = {photo: _bin_of(photo, root) for photo, root in _photos_of(list(places))}
    folders = {(name, folder) for name, folder in bins.values()}
    _refuse_one_name(folders, plan)
    day = today or datetime.now().astimezone().date()
    dated = [_dated(photo, name, today=day) for photo, (name, _) in bins.items()]
    root = Path(os.path.commonpath(roots))
    return Trial(
        root=root,
        plan=plan,
        photos=tuple(sorted(dated, key=lambda photo: (_by_number(photo.bin), _by_number(str(photo.path))))),
        planned_only=_planned_only(plan, folders, roots),
    )


def _root_of(place: Path) -> Path:
    """Return the trial's folder: the one given, or the one above if only that holds a trial.toml."""
    folder = place if place.is_dir() else place.parent
    if not (folder / TRIAL_FILE).exists() and (folder.parent / TRIAL_FILE).is_file():
        return folder.parent
    return folder


def _plan_of(roots: Sequence[Path]) -> TrialPlan:
    files = [root / TRIAL_FILE for root in roots if (root / TRIAL_FILE).exists()]
    if len(files) > 1:
        raise TrialFileError(
            f"there is another trial file, {files[1]}", path=files[0], hint="Give one trial at a time"
        )
    name = roots[0].name
    return read_plan(files[0], default_name=name) if files else TrialPlan(name=name)


def _photos_of(places: Iterable[Path]) -> Iterator[tuple[Path, Path]]:
    """Yield each photo with the trial's folder it belongs to."""
    for place in places:
        if not place.exists():
            raise NoPhotosError("there is no such file or folder", path=place, hint="Check the name")
        photos = [place] if place.is_file() else list(_walk(place))
        if not photos:
            raise NoPhotosError(
                "there is no photo in this folder",
                path=place,
                hint=f"Photos end in {', '.join(sorted(PHOTO_SUFFIXES))}",
            )
        yield from ((photo, _root_of(place)) for photo in photos)


def _walk(folder: Path) -> Iterator[Path]:
    for here, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not _to_pass_over(Path(here, name))]
        photos = (Path(here, name) for name in files if Path(name).suffix.lower() in PHOTO_SUFFIXES)
        yield from (photo for photo in photos if not _to_pass_over(photo))


def _to_pass_over(path: Path) -> bool:
    return path.name.startswith(_PASSED_OVER) or is_own(path)


def _bin_of(photo: Path, root: Path) -> tuple[str, Path]:
    """Return a bin's name, accents composed whatever the file system does, and its folder."""
    inner = photo.relative_to(root).parts[:-1]
    folder = root / inner[0] if inner else root
    return unicodedata.normalize("NFC", folder.name), folder


def _refuse_one_name(folders: Iterable[tuple[str, Path]], plan: TrialPlan) -> None:
    """Refuse two bins of one name, capital letters aside, since many computers hold such folders for one."""
    seen: dict[str, tuple[str, Path]] = {}
    for name, folder in sorted(folders):
        twin, other = seen.setdefault(name.casefold(), (name, folder))
        if other != folder:
            same = "have the same name" if twin == name else "differ in capital letters only"
            raise TrialFileError(f"the bins {other} and {folder} {same}", hint="Rename one of the folders")
    for name in plan.bins:
        found, _ = seen.get(name.casefold(), (name, None))
        if found != name:
            raise TrialFileError(
                f"{TRIAL_FILE} names the bin {name}, but its folder is {found}", hint="Write both alike"
            )


def _planned_only(
    plan: TrialPlan, folders: Iterable[tuple[str, Path]], roots: Iterable[Path]
) -> tuple[str, ...]:
    found = {name for name, _ in folders}
    return tuple(
        name for name in plan.bins if name not in found and not any((root / name).is_dir() for root in roots)
    )


def _dated(photo: Path, name: str, *, today: date) -> DatedPhoto:
    try:
        taken = read_taken(photo)
    except PhotoError:  # scoring reports it; here it only has no date
        taken = None
    found = photo_date(photo.name, taken.date() if taken else None, today=today)
    return DatedPhoto(path=photo, bin=name, date=found.day, source=found.source, flags=found.flags)


def _by_number(text: str) -> tuple[tuple[str, int], ...]:
    """Return a key that sorts bin-2 before bin-10."""
    parts = re.findall(r"(\D*)(\d*)", text.casefold())
    return tuple((words, int(digits or 0)) for words, digits in parts)

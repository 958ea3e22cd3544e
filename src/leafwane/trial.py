"""A folder becomes bins, and bins become dated photos.

A sub-folder is a bin. Photos that lie in the trial's folder itself are a bin of that folder's name.
"""

import os
import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

from leafwane.dates import DateSource, is_day, photo_date
from leafwane.errors import NoPhotosError, PhotoError, TrialFileError, UsageError, few_of
from leafwane.flags import NOT_IN_CURVE, Flag
from leafwane.photo import PHOTO_SUFFIXES, UNREAD_SUFFIXES, read_taken
from leafwane.results import MARK, is_own
from leafwane.trialfile import TRIAL_FILE, TrialPlan, read_plan

FIRST_LOOK = timedelta(days=21)
"""A photo so long before the bin's start may still be its first; one that is older, and alone, bears a wrong date."""

LONG_BEDDED = timedelta(days=60)
LONG_GAP = timedelta(days=183)
"""A start so long before the first photo, or check-ins so far apart, are more often a slip of the pen than meant."""

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
        flags: What is in doubt of the date: those of `PhotoDate`, and BEFORE_START.
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
        remarks: What people may not have meant by how their folders lie, or by dates, a line each.
    """

    root: Path
    plan: TrialPlan
    photos: tuple[DatedPhoto, ...]
    planned_only: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def read_trial(paths: Sequence[Path], *, today: date) -> Trial:
    """Find the photos in the files and folders given, their bins, their dates, and the trial's plan.

    The plan is the `trial.toml` in a folder that is given, or in the one above it.

    Args:
        paths: Photos, bins' folders or trials' folders. A file that is named is taken for a photo whatever its suffix.
        today: Photos of later days are flagged.

    Raises:
        NoPhotosError: A path does not exist or holds no photo.
        TrialFileError: `trial.toml` makes no sense, there are two of them, or two bins have one name.
        UsageError: The paths lie on several drives, as Windows has them.
    """
    places = {Path(os.path.abspath(path)): None for path in paths}  # noqa: PTH100 (links keep their names)
    roots = {_root_of(place): None for place in places}
    plan = _plan_of(list(roots))
    lying = {place: list(_all_in(place)) for place in places}
    bins = {photo: _bin_of(photo, root) for photo, root in _photos_of(lying)}
    folders = {(name, folder) for name, folder in bins.values()}
    _refuse_one_name(folders, plan)
    dated = [_dated(photo, name, today=today) for photo, (name, _) in bins.items()]
    photos = tuple(
        sorted(
            _strays_marked(dated, plan),
            key=lambda photo: (_by_number(photo.bin), _by_number(str(photo.path))),
        )
    )
    whole = {name for name, folder in folders if any(map(folder.is_relative_to, places))}
    try:
        root = Path(os.path.commonpath(roots))
    except ValueError as error:  # as Windows has them
        raise UsageError("photos lie on several drives", hint="Give those of one drive at a time") from error
    return Trial(
        root=root,
        plan=plan,
        photos=photos,
        planned_only=_planned_only(plan, folders, roots),
        remarks=(
            *_remarks(bins, [root for root in roots if root in places]),
            *(f"{root}: {line}" for line in _left_lying(set().union(*lying.values()) - lying.keys(), root)),
            *_long_waits((photo for photo in photos if photo.bin in whole), plan),
        ),
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


def _photos_of(lying: Mapping[Path, Sequence[Path]]) -> Iterator[tuple[Path, Path]]:
    """Yield each photo with the trial's folder it belongs to, of what lies in the places given."""
    for place, found in lying.items():
        if not place.exists():
            raise NoPhotosError("there is no such file or folder", path=place, hint="Check the name")
        photos = [place] if place.is_file() else list(filter(_is_photo, found))
        if not photos:
            raise NoPhotosError(
                "there is no photo in this folder",
                path=place,
                hint=next(_left_lying(found, place), f"Photos end in {', '.join(sorted(PHOTO_SUFFIXES))}"),
            )
        yield from ((photo, _root_of(place)) for photo in photos)


def _is_photo(path: Path) -> bool:
    return path.suffix.lower() in PHOTO_SUFFIXES and not _is_link(path)


def _all_in(folder: Path) -> Iterator[Path]:
    """Yield the files in a folder and in those within, and linked folders, which are not followed: they may lead in circles."""
    for here, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not _to_pass_over(Path(here, name))]
        links = (path for path in (Path(here, name) for name in folders) if _is_link(path))
        yield from (path for path in (Path(here, name) for name in files) if not _to_pass_over(path))
        yield from links


def _is_link(path: Path) -> bool:
    return path.is_symlink() and path.is_dir()


def _left_lying(found: Collection[Path], root: Path) -> Iterator[str]:
    """Yield a line on the pictures found that cannot be read, and one on linked folders, where there are any."""
    pictures = [path for path in found if path.suffix.lower() in UNREAD_SUFFIXES]
    links = [path for path in found if _is_link(path)]
    for what, paths, advice in (
        ("pictures of a kind that is not read", pictures, "Save them as JPEG"),
        ("linked folders, which are not followed", links, "Put the folders themselves in their place"),
    ):
        names = sorted((path.relative_to(root).as_posix() for path in paths), key=_by_number)
        if names:
            yield f"{what} ({len(names)}): {few_of(names)}. {advice}"


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


def _remarks(bins: Mapping[Path, tuple[str, Path]], roots: Iterable[Path]) -> Iterator[str]:
    """Yield a line for each bin made of several folders, and for what lies beside the bins in the trials given."""
    photos: dict[Path, list[Path]] = {}
    for photo, (_, folder) in bins.items():
        photos.setdefault(folder, []).append(photo.relative_to(folder))
    for folder, inner in sorted(photos.items(), key=lambda found: _by_number(str(found[0]))):
        inside = sorted({photo.parts[0] for photo in inner if len(photo.parts) > 1}, key=_by_number)
        if len(inside) > 1:
            yield (
                f"{folder}: the photos in {few_of(inside)} are taken together as one bin. If each of these folders "
                "is a bin, give this folder itself, or move them into the one above it"
            )
    yield from _named_by_day(sorted(photos, key=lambda folder: _by_number(str(folder))))
    for root in roots:
        if any(folder.parent == root for folder in photos):
            yield from _beside_bins(root, photos)


def _named_by_day(folders: Iterable[Path]) -> Iterator[str]:
    days: dict[Path, list[str]] = {}
    for folder in folders:
        if is_day(folder.name):
            days.setdefault(folder.parent, []).append(folder.name)
    for parent, names in days.items():
        yield (
            f"{parent}: folders named by a day, which count as bins: {few_of(names)}. If they hold photos of several "
            "bins, sort these into one folder a bin, since those of one folder and day are averaged"
        )


def _beside_bins(root: Path, photos: Mapping[Path, Sequence[Path]]) -> Iterator[str]:
    loose = sorted((photo.name for photo in photos.get(root, ())), key=_by_number)
    if loose:
        yield (
            f"{root}: photos that lie beside the bins' folders, and so count as a bin of their own, {root.name}: "
            f"{few_of(loose)}. Move them into the folder of their bin"
        )
    empty = [folder.name for folder in root.iterdir() if folder not in photos and _is_empty_bin(folder)]
    if empty:
        yield f"{root}: folders without a photo, which are left out: {few_of(sorted(empty, key=_by_number))}"


def _is_empty_bin(folder: Path) -> bool:
    if not folder.is_dir() or not os.access(folder, os.X_OK) or _to_pass_over(folder):
        return False
    return not (folder / MARK).is_file() and not any(map(_is_photo, _all_in(folder)))


def _dated(photo: Path, name: str, *, today: date) -> DatedPhoto:
    try:
        taken = read_taken(photo)
    except PhotoError:  # scoring reports it; here it only has no date
        taken = None
    found = photo_date(photo.name, taken.date() if taken else None, today=today)
    return DatedPhoto(path=photo, bin=name, date=found.day, source=found.source, flags=found.flags)


def _strays_marked(photos: Sequence[DatedPhoto], plan: TrialPlan) -> list[DatedPhoto]:
    """Return photos, those marked BEFORE_START that are dated long before their bin's start and all its other photos.

    Several such days are an earlier batch, and the start is that of the newest. A bin's only day may be of one, too.
    """
    days: dict[str, set[date]] = {}
    for photo in photos:
        if photo.date:
            days.setdefault(photo.bin, set()).add(photo.date)
    strays = {(name, _stray_day(sorted(of_bin), plan.bin_plan(name).start)) for name, of_bin in days.items()}
    return [
        replace(photo, flags=photo.flags | Flag.BEFORE_START)
        if photo.date and (photo.bin, photo.date) in strays
        else photo
        for photo in photos
    ]


def _stray_day(days: Sequence[date], start: date | None) -> date | None:
    """Return the first of a bin's sorted days if it alone is more than FIRST_LOOK before the start, and before the next."""
    if start is None or len(days) < 2:
        return None
    first, second = days[:2]
    return first if min(start, second) - first > FIRST_LOOK >= start - second else None


def late_starts(trial: Trial) -> tuple[str, ...]:
    """Return a line on each bin that starts after all its photos, the first of which is no first look.

    Photos that are in no curve for their date do not count: where one is in the future, it is its date that is wrong.
    """
    days = _curve_days(trial.photos)
    starts = trial.plan.starts
    return tuple(
        f"{TRIAL_FILE}: {name} starts on {starts[name]}, after all its photos; check the "
        f"{'year' if starts[name].year > max(of_bin).year else 'date'}. Days count from the first photo"
        for name, of_bin in days.items()
        if name in starts and starts[name] > max(of_bin) and starts[name] - min(of_bin) > FIRST_LOOK
    )


def _long_waits(photos: Iterable[DatedPhoto], plan: TrialPlan) -> Iterator[str]:
    """Yield a line on each start long before the first photo, and on the widest gap between a bin's check-ins if it is wide."""
    for name, days in _curve_days(photos).items():
        first, start = min(days), plan.bin_plan(name).start
        if start and first - start > LONG_BEDDED:
            yield (
                f"{TRIAL_FILE}: {name} starts on {start}, {(first - start).days} days before its first photo; check the "
                "date. Days count from the start"
            )
        gaps = ((after - before, before, after) for before, after in pairwise(sorted(days)))
        gap, before, after = max(gaps, default=(timedelta(0), first, first))
        if gap > LONG_GAP:
            yield (
                f"{name}: no photo between {before} and {after}, over half a year; if a year is wrong, put the right one "
                "in the file's name"
            )


def _curve_days(photos: Iterable[DatedPhoto]) -> dict[str, set[date]]:
    """Return the days of each bin's photos, less those that are in no curve for their date."""
    days: dict[str, set[date]] = {}
    for photo in photos:
        if photo.date and not photo.flags & NOT_IN_CURVE:
            days.setdefault(photo.bin, set()).add(photo.date)
    return days


def _by_number(text: str) -> tuple[tuple[str, int], ...]:
    """Return a key that sorts bin-2 before bin-10."""
    parts = re.findall(r"(\D*)(\d*)", text.casefold())
    return tuple((words, int(digits or 0)) for words, digits in parts)

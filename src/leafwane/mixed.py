"""What photos of a trial are to each other: shown with one kind of card, of one kind of surface, or copies.

Scores are comparable only where photos of a trial show the same kind of card, and those of a bin the same surface. Kinds
of card are told apart; two prints of one design are not. What a print adds to its nominal colours looks like what another
camera or another light adds, so no photo can tell which of two printers made the card in it.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from leafwane.flags import Flag
from leafwane.scores import Score

if TYPE_CHECKING:
    from leafwane.checking import PhotoCheck

One = TypeVar("One", Score, "PhotoCheck")
"""One photo, be it scored or only looked at."""

COUNTS_TWICE = "the same photo counts under several dates or in several bins"
KEEP_ONE = "keep the one whose date and bin are right, and delete the others"
"""What people are told of photos that are `copied_elsewhere`, and what to do."""

_ENOUGH_BOUNDED = 3
"""Photos with rim tags or an outline that make these the bin's usual surface, however many others there are."""


def mark_together(photos: Sequence[One]) -> tuple[One, ...]:
    """Return a trial's photos with all marks that only several photos tell."""
    return mark_other_surfaces(mark_mixed_cards(mark_copies(photos)))


def mark_mixed_cards(photos: Sequence[One]) -> tuple[One, ...]:
    """Return a trial's photos, those marked MIXED_CARDS that show another kind of card than most do.

    Where two kinds are equally common, the one that comes first in `photos` is taken for the trial's.
    """
    kinds = Counter(photo.card for photo in photos if photo.scored)
    if len(kinds) < 2:
        return tuple(photos)
    usual = kinds.most_common(1)[0][0]
    return _marked(photos, Flag.MIXED_CARDS, lambda photo: photo.scored and photo.card != usual)


def mark_other_surfaces(photos: Sequence[One]) -> tuple[One, ...]:
    """Return photos, those marked OTHER_SURFACE whose surface is bounded otherwise than is usual in their bin.

    A surface is bounded by rim tags or an outline, or it is the whole photo; one curve cannot hold both. Bounded ones are
    usual where they are `_ENOUGH_BOUNDED` or the half, or where tags that cannot be read show that they were meant.
    """
    meant = {photo.bin for photo in photos if Flag.FEW_RIM_TAGS in photo.flags}
    usual = {name: _mostly_bounded(of_bin, meant=name in meant) for name, of_bin in _by_bin(photos).items()}
    return _marked(
        photos, Flag.OTHER_SURFACE, lambda photo: photo.in_curve and _bounded(photo) != usual[photo.bin]
    )


def _by_bin(photos: Sequence[One]) -> dict[str, list[One]]:
    found: dict[str, list[One]] = defaultdict(list)
    for photo in photos:
        if photo.in_curve:
            found[photo.bin].append(photo)
    return found


def _mostly_bounded(of_bin: Sequence[One], *, meant: bool) -> bool:
    n = sum(map(_bounded, of_bin))
    return n > 0 and (n >= _ENOUGH_BOUNDED or 2 * n >= len(of_bin) or meant)


def _bounded(photo: One) -> bool:
    return Flag.WHOLE_PHOTO not in photo.flags and photo.surface != "photo"


def mark_copies(photos: Sequence[One]) -> tuple[One, ...]:
    """Return photos, those marked COPY whose file is another's of the same bin and day, byte for byte.

    The one with the shortest name is taken for the photo itself, since copying makes names longer.
    """
    by_length = sorted(photos, key=lambda photo: (len(str(photo.photo)), photo.photo), reverse=True)
    originals = {_file_of(photo): photo.photo for photo in by_length}
    return _marked(
        photos,
        Flag.COPY,
        lambda photo: bool(photo.date and photo.digest) and originals[_file_of(photo)] != photo.photo,
    )


def _file_of(photo: One) -> tuple[object, ...]:
    return photo.bin, photo.date, photo.digest


def copied_elsewhere(photos: Iterable[One]) -> tuple[tuple[str, ...], ...]:
    """Return the photos of each file that counts under several dates or in several bins, byte for byte the same.

    Nobody can tell which of them is right, so none is marked.
    """
    files: dict[str, list[str]] = defaultdict(list)
    for photo in photos:
        if photo.digest and photo.in_curve:
            files[photo.digest].append(str(photo.photo))
    return tuple(tuple(same) for same in files.values() if len(same) > 1)


def _marked(photos: Sequence[One], flag: Flag, doubted: Callable[[One], bool]) -> tuple[One, ...]:
    return tuple(replace(photo, flags=photo.flags | flag) if doubted(photo) else photo for photo in photos)

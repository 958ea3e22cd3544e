"""What photos of a trial are to each other: shown with one kind of card, of one kind of surface, or copies.

Scores are comparable only where photos of a trial show the same kind of card, and those of a bin the same surface. Kinds
of card are told apart; two prints of one design are not. What a print adds to its nominal colours looks like what another
camera or another light adds, so no photo can tell which of two printers made the card in it.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from leafwane.flags import Flag
from leafwane.scores import Score

COUNTS_TWICE = "the same photo counts under several dates or in several bins"
KEEP_ONE = "keep the one whose date and bin are right, and delete the others"
"""What people are told of photos that are `copied_elsewhere`, and what to do."""

_ENOUGH_BOUNDED = 3
"""Photos with rim tags or an outline that make these the bin's usual surface, however many others there are."""


def mark_mixed_cards(scores: Sequence[Score]) -> tuple[Score, ...]:
    """Return a trial's scores, those marked MIXED_CARDS whose photos show another kind of card than most do.

    Where two kinds are equally common, the one that comes first in `scores` is taken for the trial's.
    """
    kinds = Counter(score.card for score in scores if score.scored)
    if len(kinds) < 2:
        return tuple(scores)
    usual = kinds.most_common(1)[0][0]
    return _marked(scores, Flag.MIXED_CARDS, lambda score: score.scored and score.card != usual)


def mark_other_surfaces(scores: Sequence[Score]) -> tuple[Score, ...]:
    """Return scores, those marked OTHER_SURFACE whose surface is bounded otherwise than is usual in their bin.

    A surface is bounded by rim tags or an outline, or it is the whole photo; one curve cannot hold both. Bounded ones are
    usual where they are `_ENOUGH_BOUNDED` or the half, or where tags that cannot be read show that they were meant.
    """
    usual = {name: _mostly_bounded(of_bin) for name, of_bin in _by_bin(scores).items()}
    return _marked(
        scores, Flag.OTHER_SURFACE, lambda score: score.in_curve and _bounded(score) != usual[score.bin]
    )


def _by_bin(scores: Sequence[Score]) -> dict[str, list[Score]]:
    found: dict[str, list[Score]] = defaultdict(list)
    for score in scores:
        if score.in_curve:
            found[score.bin].append(score)
    return found


def _mostly_bounded(of_bin: Sequence[Score]) -> bool:
    n = sum(map(_bounded, of_bin))
    meant = any(Flag.FEW_RIM_TAGS in score.flags for score in of_bin)
    return n > 0 and (n >= _ENOUGH_BOUNDED or 2 * n >= len(of_bin) or meant)


def _bounded(score: Score) -> bool:
    return Flag.WHOLE_PHOTO not in score.flags


def mark_copies(scores: Sequence[Score]) -> tuple[Score, ...]:
    """Return scores, those marked COPY whose file is another's of the same bin and day, byte for byte.

    The one with the shortest name is taken for the photo itself, since copying makes names longer.
    """
    by_length = sorted(scores, key=lambda score: (len(score.photo), score.photo), reverse=True)
    originals = {_file_of(score): score.photo for score in by_length}
    return _marked(
        scores,
        Flag.COPY,
        lambda score: bool(score.date and score.digest) and originals[_file_of(score)] != score.photo,
    )


def _file_of(score: Score) -> tuple[object, ...]:
    return score.bin, score.date, score.digest


def copied_elsewhere(scores: Iterable[Score]) -> tuple[tuple[str, ...], ...]:
    """Return the photos of each file that counts under several dates or in several bins, byte for byte the same.

    Nobody can tell which of them is right, so none is marked.
    """
    photos: dict[str, list[str]] = defaultdict(list)
    for score in scores:
        if score.digest and score.in_curve:
            photos[score.digest].append(score.photo)
    return tuple(tuple(same) for same in photos.values() if len(same) > 1)


def _marked(scores: Sequence[Score], flag: Flag, doubted: Callable[[Score], bool]) -> tuple[Score, ...]:
    return tuple(replace(score, flags=score.flags | flag) if doubted(score) else score for score in scores)

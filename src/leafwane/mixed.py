"""Scores are comparable only where photos of a trial show the same kind of card, and those of a bin the same surface.

Kinds of card are told apart; two prints of one design are not. What a print adds to its nominal colours looks like
what another camera or another light adds, so no photo can tell which of two printers made the card in it.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace

from leafwane.flags import Flag
from leafwane.scores import Score


def mark_mixed_cards(scores: Sequence[Score]) -> tuple[Score, ...]:
    """Return a trial's scores, those marked MIXED_CARDS whose photos show another kind of card than most do.

    Where two kinds are equally common, the one that comes first in `scores` is taken for the trial's.
    """
    kinds = Counter(score.card for score in scores if score.scored)
    if len(kinds) < 2:
        return tuple(scores)
    usual = kinds.most_common(1)[0][0]
    return tuple(
        replace(score, flags=score.flags | Flag.MIXED_CARDS)
        if score.scored and score.card != usual
        else score
        for score in scores
    )


def mark_other_surfaces(scores: Sequence[Score]) -> tuple[Score, ...]:
    """Return scores, those marked OTHER_SURFACE whose surface is the whole photo though their bin's was bounded before.

    Rim tags that were glued on in mid-trial leave the photos before them as they are; once they are there, a photo
    without them shows another surface, unless most photos since do.
    """
    others = {score.photo for of_bin in _by_bin(scores).values() for score in _unbounded_since(of_bin)}
    return tuple(
        replace(score, flags=score.flags | Flag.OTHER_SURFACE) if score.photo in others else score
        for score in scores
    )


def _by_bin(scores: Sequence[Score]) -> dict[str, list[Score]]:
    found: dict[str, list[Score]] = defaultdict(list)
    for score in scores:
        if score.scored and score.date:
            found[score.bin].append(score)
    return found


def _unbounded_since(of_bin: Sequence[Score]) -> list[Score]:
    """Return the photos without bounds from the day on which the first one had some, unless they are the most."""
    bounded = [score.date for score in of_bin if score.date and Flag.WHOLE_PHOTO not in score.flags]
    if not bounded:
        return []
    since = [score for score in of_bin if score.date and score.date >= min(bounded)]
    whole = [score for score in since if Flag.WHOLE_PHOTO in score.flags]
    return whole if 2 * len(whole) <= len(since) else []

"""One card for a whole trial: scores are comparable only where photos show the same kind of card.

Kinds of card are told apart; two prints of one design are not. What a print adds to its nominal colours looks like
what another camera or another light adds, so no photo can tell which of two printers made the card in it.
"""

from collections import Counter
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

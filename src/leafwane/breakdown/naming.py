"""How people write a name, and which known name they mean: capitals, plurals, kinds of a kind, slips of the pen."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

_LITTLE_WORDS = {"leaf", "leaves"}
_JOINING = {"and", "or", "with"}

SHORT = 4
LONG = 10
"""Letters up to which a name may only have two neighbours swapped, since most others are words of their own (vine and
pine); and from which it may have two slips. In between it may have one."""

_EVERYDAY = {"bench", "birth", "corner", "linen", "minus", "older", "pillow", "place", "planet", "plank", "plant", "plate",
             "polar", "popular", "roman"}  # fmt: skip
"""Words that are one letter from a leaf's name and no slip of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a name is understood.

    Attributes:
        names: What it goes by, the closest first: ("hazel",) for "Hazel leaves", ("red oak", "oak") for "Red Oaks".
        guess: The known name that it is taken for by its last words or as a slip of the pen; empty if it is known as it
            stands, or not at all.
    """

    names: tuple[str, ...]
    guess: str = ""


def plain_name(written: str) -> str:
    """Return a name without capitals, hyphens and the word leaves."""
    words = written.casefold().replace("-", " ").replace("_", " ").split()
    return " ".join(word for word in words if word not in _LITTLE_WORDS) or " ".join(words)


def read_name(written: str, known: Mapping[str, tuple[str, ...]], *, slips: bool = True) -> Reading:
    """Return which known name is meant: itself, its plural, the nearest, or else the one that its last words make.

    Args:
        written: As somebody wrote it.
        known: What each plain name goes by.
        slips: Whether slips of the pen are put right.
    """
    words = plain_name(written).split()
    for start in range(len(words)):
        before, last = words[:start], " ".join(words[start:])
        if not _tells_apart(before, known):
            break
        same = next((known[form] for form in _forms(last) if form in known), None)
        names = same or (_nearest(last, known) if slips else None)
        if names:
            finer = (" ".join([*before, names[0]]),) if before else ()
            return Reading(names=(*finer, *names), guess="" if same and not before else names[0])
    return Reading(names=(" ".join(words),))


def _tells_apart(words: Sequence[str], known: Mapping[str, object]) -> bool:
    """Whether words before a name tell a kind of it, as in "red oak", and not another one, as in "hazel and oak"."""
    return all(word.isalpha() and word not in _JOINING and word not in known for word in words)


def _forms(name: str) -> Iterator[str]:
    """Yield a name, what it may be the plural of, and what it is the tree of."""
    yield name
    for ending, instead in (("s", ""), ("es", ""), ("ies", "y"), (" tree", ""), (" trees", "")):
        if name.endswith(ending):
            yield name.removesuffix(ending) + instead


def _nearest(name: str, known: Mapping[str, tuple[str, ...]]) -> tuple[str, ...] | None:
    """Return what is meant by a slip of the pen, where but one thing can be."""
    meant = {known[other] for form in _forms(name) for other in known if _is_slip(form, other)}
    return meant.pop() if len(meant) == 1 else None


def _is_slip(one: str, other: str) -> bool:
    """Whether one is the other with a slip of the pen, word by word where both have as many words."""
    words, wanted = one.split(), other.split()
    if len(words) == len(wanted) > 1:
        return all(a == b or _is_slip(a, b) for a, b in zip(words, wanted, strict=True))
    if one in _EVERYDAY:
        return False
    shorter = min(len(one), len(other))
    n_slips = 2 if shorter >= LONG else 1
    if abs(len(one) - len(other)) > n_slips or (shorter <= SHORT and sorted(one) != sorted(other)):
        return False
    return _n_slips(one, other) <= n_slips


def _n_slips(one: str, other: str) -> int:
    """Return how many letters are wrong, missing, too many or swapped with their neighbour, none of them twice.

    These four are the slips of Damerau 1964, Commun. ACM 7:171.
    """
    before: list[int] = []
    above = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        row = [i]
        for j, wanted in enumerate(other, start=1):
            row.append(min(above[j] + 1, row[j - 1] + 1, above[j - 1] + (letter != wanted)))
            if i > 1 and j > 1 and (letter, one[i - 2]) == (other[j - 2], wanted):
                row[j] = min(row[j], before[j - 2] + 1)
        before, above = above, row
    return above[-1]

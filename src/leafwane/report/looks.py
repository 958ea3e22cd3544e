"""How each status looks: its word, colour, sign and marker, the same in the terminal, the figures and the page."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

INK = "#2b2622"
QUIET = "#6a625a"
PAPER = "#fffdf8"
GRID = "#e4ddd2"
READY = "#3f6b35"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a status is shown; no sign stands by its colour alone.

    Attributes:
        word: The status in plain words.
        colour: Hex colour, dark enough to carry white text (WCAG 2.2, contrast of at least 4.5).
        ansi: Style in a terminal, in the terminal's own colours, whatever its background.
        sign: One character with the shape of `marker`.
        ascii_sign: The sign where only ASCII can be printed.
        marker: Marker of matplotlib.
        filled: Whether the marker is filled.
        urgency: Rank among statuses; the lower, the sooner somebody should go to the bin.
    """

    word: str
    colour: str
    ansi: str
    sign: str
    ascii_sign: str
    marker: str
    filled: bool
    urgency: int


LOOKS: Mapping[str, Look] = MappingProxyType(
    {
        "stalled": Look(
            word="Stalled",
            colour="#a3123f",
            ansi="bold red",
            sign="■",
            ascii_sign="#",
            marker="s",
            filled=True,
            urgency=0,
        ),
        "slow": Look(
            word="Slow",
            colour="#8f5c00",
            ansi="yellow",
            sign="▼",
            ascii_sign="v",
            marker="v",
            filled=True,
            urgency=1,
        ),
        "unclear": Look(
            word="Unclear",
            colour="#4a4640",
            ansi="bold",
            sign="◆",
            ascii_sign="?",
            marker="D",
            filled=True,
            urgency=2,
        ),
        "finished": Look(
            word="Finished",
            colour="#00685a",
            ansi="bold green",
            sign="★",
            ascii_sign="*",
            marker="*",
            filled=True,
            urgency=3,
        ),
        "topped-up": Look(
            word="Topped up",
            colour="#7a3fb0",
            ansi="magenta",
            sign="▲",
            ascii_sign="^",
            marker="^",
            filled=True,
            urgency=4,
        ),
        "on-course": Look(
            word="On course",
            colour="#1259b8",
            ansi="cyan",
            sign="●",
            ascii_sign="o",
            marker="o",
            filled=True,
            urgency=5,
        ),
        "too-early": Look(
            word="Too early",
            colour="#6e6a66",
            ansi="dim",
            sign="○",
            ascii_sign=".",
            marker="o",
            filled=False,
            urgency=6,
        ),
    }
)

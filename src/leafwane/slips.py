"""What is often wrong where `trial.toml` is no TOML: the line at fault, and what to do."""

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class _Hint:
    """What to do where a file is no TOML.

    Attributes:
        say: The advice; it may quote groups of `line`.
        line: Pattern of the line at which TOML ends.
        fault: Pattern of what tomllib says of it. The advice fits where both are found.
    """

    say: str
    line: str = ""
    fault: str = ""


_OPEN = "Close each bracket that you open, in this line or above it, and put a comma between two values"

_HINTS = (
    _Hint(_OPEN, fault="^Unclosed"),
    _Hint(_OPEN, line=r"^([\w-]+\s*=|\[\w)", fault=r"^Invalid value .*column [1-5]\)"),
    _Hint("It stands there twice: keep one of them", fault="twice|overwrite"),
    _Hint('Use straight quotation marks, like leaf = "oak"', line=r"[=.\[,]\s*[\u2018-\u201f\u00ab\u00bb]"),
    _Hint(
        r'Put a name with spaces, or with letters beyond a to z, between quotation marks: [\1."\2"]',
        line=r"^\[(bins|leaves)\.(?![\"'])([^\"\]]*(?a:[^\w.\"\]-])[^\"\]]*)\]?",
    ),
    _Hint("Write one word before the = sign, like start or half_life_days", line=r"^[\w-]+\s+[\w-][^=]*="),
    _Hint(
        "There is no such day in the calendar",
        line=r"=\s*\d{4}-\d\d-\d\d\s*(#|$)",
        fault="^(Invalid date|Expected newline)",
    ),
    _Hint(
        "Write a date as year-month-day, with two digits for month and day, like 2031-10-04",
        line=r"^start\s*=|=\s*\d+[./-]\d+[./-]\d+",
    ),
    _Hint(
        "Write a number without its unit, and with a point, like 350 or 0.35",
        line=r"=\s*[\d.]+\s*[^\W\d]|=\s*\d+,\d|=\s*\d.*%",
    ),
    _Hint('Write = in place of the colon, like leaf = "oak"', line=r"^[\"\w-]+\s*:"),
    _Hint(
        'Between quotation marks of one kind write only the other: "Ann\'s bin"',
        line=r"=\s*(\"[^\"]*\"|'[^']*')\s*[^\s#]",
        fault="^Expected newline",
    ),
    _Hint("Write true or false, in small letters", line=r"^high_lignin\s*="),
    _Hint(r"Write / in place of each \\", line=r"=\s*\"[^\"]*\\"),
    _Hint('Put text between straight quotation marks, like leaf = "oak"', line=r"=\s*[^\W\d]"),
    _Hint("Close every quotation mark and every bracket that you open", line=r"=\s*\"[^\"]*$|\[[^\]]*$"),
    _Hint("Write lines like grams = 400"),
)
"""What is often wrong; the first that fits counts. A value that is missed where a line begins is one of a list that is still
open above it."""


def faulty_line(text: str, fault: str) -> tuple[int, str, str]:
    """Return the number of the line at which TOML ends, the last one if it is not said, the line, and what to do."""
    lines = text.rstrip().split("\n")
    said = re.search(r"at line (\d+)", fault)
    number = min(int(said[1]), len(lines)) if said else len(lines)
    line = lines[number - 1].strip()
    for hint in _HINTS:
        found = re.search(hint.line, line)
        if found and re.search(hint.fault, fault):
            return number, line, found.expand(hint.say)
    raise AssertionError("the last hint always fits")

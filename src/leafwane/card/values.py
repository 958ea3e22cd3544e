"""A printed card's own patch values: how they are kept in a file, and read back."""

import datetime as dt
import json
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from leafwane.atomic import OTHER_FILE, refuse_to_replace, write_text
from leafwane.card.design import KIND, PATCH_NAMES
from leafwane.errors import TrialFileError

_VALUES: Final = re.compile(rb'^card = "leafwane-', re.MULTILINE)  # damaged ones too, which are made again
_KEYS: Final = ("card", "measured_on", "photo_digest", "chart_edition", "de00", "patches")


@dataclass(frozen=True, slots=True, kw_only=True)
class CardValues:
    """The colours of one printed card.

    Attributes:
        patches: Encoded sRGB, 0..1, of each patch by its name.
        measured_on: The day the photo was taken, or None where that is not known.
        photo_digest: SHA-256 of the photo they were measured in.
        chart_edition: Edition of the 24-patch chart beside it.
        de00: Mean leave-one-patch-out colour difference on that chart: how far these values can be trusted.
    """

    patches: dict[str, tuple[float, float, float]]
    measured_on: dt.date | None
    photo_digest: str
    chart_edition: str
    de00: float


def write_card_values(path: Path, values: CardValues) -> None:
    """Write a card's values as TOML, replacing the file in one step.

    Raises:
        OutputError: The file cannot be written, or one is there that holds no card's values.
    """
    refuse_to_replace(path, unless=_VALUES, kind="a file of card values")
    head = [
        "# Colours of one printed reference card, sRGB 0 to 255. trial.toml names this file as card_values.",
        f"card = {json.dumps(KIND)}",
        f"photo_digest = {json.dumps(values.photo_digest)}",
        f"chart_edition = {json.dumps(values.chart_edition)}",
        f"de00 = {values.de00:.3f}",
    ]
    if values.measured_on is not None:
        head.insert(2, f"measured_on = {values.measured_on.isoformat()}")
    rows = [
        f"{json.dumps(name)} = [{', '.join(f'{255 * channel:.2f}' for channel in rgb)}]"
        for name, rgb in values.patches.items()
    ]
    write_text(path, "\n".join([*head, "", "[patches]", *rows, ""]), hint=OTHER_FILE)


def read_card_values(path: Path) -> CardValues:
    """Read a card's values.

    Raises:
        TrialFileError: The file cannot be read or is not what `leafwane card measure` writes.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as problem:
        raise TrialFileError(
            "there is no such file", path=path, hint="Check the name after card_values in trial.toml"
        ) from problem
    except OSError as problem:
        raise _unusable(path, problem.strerror or str(problem)) from problem
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise _unusable(path, str(problem)) from problem
    try:
        return _from_table(table)
    except (KeyError, TypeError, ValueError) as problem:
        raise _unusable(path, str(problem).strip("'\"")) from problem


def _from_table(table: dict[str, Any]) -> CardValues:
    unknown = sorted(set(table) - set(_KEYS))
    if unknown:
        raise ValueError(f"unknown key {unknown[0]}")
    if table["card"] != KIND:
        raise ValueError(f"values of another card, {table['card']}")
    patches = {name: _colour(name, table["patches"]) for name in PATCH_NAMES}
    measured_on = table.get("measured_on")
    if measured_on is not None and not isinstance(measured_on, dt.date):
        raise ValueError("measured_on is no date")
    return CardValues(
        patches=patches,
        measured_on=measured_on,
        photo_digest=str(table["photo_digest"]),
        chart_edition=str(table["chart_edition"]),
        de00=float(table["de00"]),
    )


def _colour(name: str, patches: dict[str, Any]) -> tuple[float, float, float]:
    if name not in patches:
        raise ValueError(f"patch {name} is missing")
    red, green, blue = (float(channel) for channel in patches[name])
    if not all(math.isfinite(channel) and 0 <= channel <= 255 for channel in (red, green, blue)):
        raise ValueError(f"patch {name} is not three figures from 0 to 255")
    return red / 255, green / 255, blue / 255


def _unusable(path: Path, why: str) -> TrialFileError:
    return TrialFileError(
        f"cannot be used as a card's values ({why})",
        path=path,
        hint="Make it again with: leafwane card measure PHOTO",
    )

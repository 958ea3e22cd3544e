"""What the commands for use at the bin do, without their printing: a photo is checked, a printed card is measured.

They answer while somebody waits, so nothing is imported here that draws figures or follows curves.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from leafwane.card.measure import measure_card
from leafwane.card.values import CardValues, read_card_values, write_card_values
from leafwane.checking import PhotoCheck, check_photo
from leafwane.errors import UsageError
from leafwane.mixed import mark_together
from leafwane.photo import open_photo
from leafwane.trial import Trial
from leafwane.trialfile import TrialPlan


def own_card(plan: TrialPlan) -> dict[str, tuple[float, float, float]] | None:
    """Return the patch values of the trial's own card, or None where it goes by the nominal ones.

    Raises:
        TrialFileError: The file with the values makes no sense.
    """
    return dict(read_card_values(plan.card_values).patches) if plan.card_values else None


def check_photos(
    paths: Sequence[Path],
    trial: Trial,
    *,
    on_done: Callable[[PhotoCheck], None] = lambda _check: None,
) -> tuple[PhotoCheck, ...]:
    """Look at photos, by the card of the trial that they lie in, and return what they are worth, by themselves and together.

    Args:
        paths: Photos, or folders, of which all photos are looked at that would be scored.
        trial: What they make up, by `read_trial`.
        on_done: Called with what each photo is worth by itself, as it is known.

    Raises:
        TrialFileError: The file with the card's values makes no sense.
    """
    values = own_card(trial.plan)
    names = {_absolute(photo): photo for path in paths for photo in _photos_at(path, trial)}
    dated = {photo.path: photo for photo in trial.photos}
    checks = []
    for path, name in names.items():
        known = dated[path]
        check = check_photo(
            name,
            values=values,
            chart_width_mm=trial.plan.chart_width_mm,
            polygon=trial.plan.bin_plan(known.bin).polygon,
            doubts=known.flags,
        )
        checks.append(replace(check, bin=known.bin, date=known.date))
        on_done(checks[-1])
    return mark_together(checks)


def _photos_at(path: Path, trial: Trial) -> list[Path]:
    """Return the photo given, or those of the folder given, named as people named it."""
    if not path.is_dir():
        return [path]
    folder = _absolute(path)
    photos = (photo.path for photo in trial.photos)
    return [path / photo.relative_to(folder) for photo in photos if photo.is_relative_to(folder)]


def _absolute(path: Path) -> Path:
    return Path(os.path.abspath(path))  # noqa: PTH100 (as trials name their photos)


def measure_into(out: Path, photo: Path, *, chart_corners: str = "") -> CardValues:
    """Measure the printed card that a photo shows beside a 24-patch chart, and write its values.

    Args:
        out: The file to write.
        photo: The photo.
        chart_corners: Where the chart is, if it has to be pointed out: "X,Y X,Y X,Y X,Y" in pixels of the photo.

    Raises:
        CardError: Card or chart cannot be used.
        OutputError: The file cannot be written.
        PhotoError: The file is no photo.
        UsageError: The corners are not four points.
    """
    corners = _four_points(chart_corners) if chart_corners else None
    values = measure_card(open_photo(photo), chart_corners=corners)
    write_card_values(out, values)
    return values


def _four_points(text: str) -> npt.NDArray[np.float64]:
    try:
        points = np.array([pair.split(",") for pair in text.split()], dtype=np.float64)
    except ValueError:
        points = np.empty(0)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise UsageError(
            f"{text!r} is not four points", hint="Write corners like '120,80 900,85 890,610 115,600'"
        )
    return points

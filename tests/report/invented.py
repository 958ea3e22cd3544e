"""Invented bins of an invented garden, as scoring and breakdown hand them to the report."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from types import MappingProxyType

import numpy as np
from PIL import Image

from leafwane.flags import Flag
from leafwane.scores import Score
from leafwane.trial import Trial
from leafwane.trialfile import BinPlan, TrialPlan

NO_FLAGS = Flag(0)

START = date(2031, 10, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckIn:
    bin: str
    date: date
    day: int
    n_photos: int
    leaf_percent: float
    leaf_err: float
    remaining_percent: float | None
    remaining_err: float | None
    flags: Flag


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Cover that halves every 20 days, from `start_percent`."""

    start_percent: float
    success: bool = True

    def predict(self, days):
        return self.start_percent * 0.5 ** (np.asarray(days) / 20)

    def band(self, days):
        return self.predict(days) - 2, self.predict(days) + 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    status: str
    reasons: tuple[str, ...] = ("the figures say so",)
    remedies: tuple[str, ...] = ("wet the bedding until it feels like a wrung-out sponge",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    date: "date | None" = None
    earliest: "date | None" = None
    latest: "date | None" = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinCourse:
    bin: str
    leaf: str | None = "hazel"
    check_ins: tuple[CheckIn, ...]
    batch_starts: tuple[date, ...]
    curve: Curve | None
    verdict: Verdict
    half_life_days: float | None = 20.0
    finish: Forecast = field(default_factory=Forecast)


def a_course(
    name="Bin by the hedge",
    covers=(80.0, 50.0, 30.0),
    *,
    status="on-course",
    fitted=True,
    batches=(),
    **more: object,
):
    """Make a bin with a check-in every 14 days; `batches` are the numbers of check-ins with fresh leaf."""
    days = [START + timedelta(days=14 * n) for n in range(len(covers))]
    check_ins = tuple(
        CheckIn(
            bin=name,
            date=day,
            day=14 * n,
            n_photos=1,
            leaf_percent=cover,
            leaf_err=2.0,
            remaining_percent=100 * cover / covers[0],
            remaining_err=100 * 2.0 / covers[0],
            flags=more.get("flags", Flag(0)),
        )
        for n, (day, cover) in enumerate(zip(days, covers, strict=True))
    )
    starts = tuple(days[n] for n in (0, *batches)) if days else ()
    newest = covers[batches[-1] if batches else 0] if covers else 0.0
    return BinCourse(
        bin=name,
        leaf=more.get("leaf", "hazel"),
        check_ins=check_ins,
        batch_starts=starts,
        curve=Curve(start_percent=newest) if fitted else None,
        verdict=Verdict(status=status, remedies=more.get("remedies", ("wet the bedding",))),
        finish=more.get("finish", Forecast()),
    )


def a_score(
    photo="hedge/2031-10-04.jpg", *, name="Bin by the hedge", leaf=80.0, flags=NO_FLAGS, **more: object
):
    """Make the score of a photo; `leaf=None` for one that could not be scored."""
    figure = None if leaf is None else 1.0
    return Score(
        photo=photo,
        bin=name,
        date=more.get("date", START),
        date_source="name",
        leaf_percent=leaf,
        leaf_err=figure,
        castings_percent=figure,
        other_percent=figure,
        unsure_percent=figure,
        shine_percent=figure,
        surface_cm2=figure,
        mm_per_px=figure,
        card_de00=figure,
        fragments_per_dm2=figure,
        fragment_median_mm2=figure,
        fragment_largest_mm2=figure,
        flags=flags,
        method=more.get("method", "test-1"),
        message=more.get("message", ""),
        overlay=more.get("overlay", ""),
    )


def a_trial(root: Path, *, name="Quince Lane garden", bins=()):
    plans = {plan.name: plan for plan in bins}
    return Trial(root=root, plan=TrialPlan(name=name, bins=MappingProxyType(plans)), photos=())


def a_plan(name, **more: object):
    return BinPlan(name=name, **more)


def write_photo(path: Path, *, size=(1600, 1200), seed=1, exif=None):
    """Write a noisy photo: noise is what JPEG makes the largest files of."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 255, (size[1] // 8, size[0] // 8, 3), dtype=np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
    picture.save(path, quality=85, **({"exif": exif} if exif else {}))

"""Invented bins of an invented garden, as scoring and breakdown hand them to the report."""

import itertools
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import MappingProxyType

import numpy as np
from PIL import Image

from leafwane.breakdown.checkins import CheckIn, gather_check_ins
from leafwane.breakdown.choice import fit_curve
from leafwane.breakdown.course import Batch, BinCourse, Forecast
from leafwane.breakdown.status import Status, Verdict
from leafwane.flags import Flag
from leafwane.scores import Score
from leafwane.trial import Trial
from leafwane.trialfile import BinPlan, TrialPlan

NO_FLAGS = Flag(0)

START = date(2031, 10, 4)

ADVICE = ("Wet the leaf.",)


def a_course(
    name="Bin by the hedge", covers=(80.0, 50.0, 30.0), *, status="on-course", batches=(), **more: object
):
    """Make a bin with a check-in every 14 days; `batches` are the numbers of check-ins with fresh leaf."""
    scores = [
        a_score(
            f"{n}.jpg",
            name=name,
            leaf=cover,
            leaf_err=2.0,
            date=START + timedelta(days=14 * n),
        )
        for n, cover in enumerate(covers)
    ]
    flags = more.get("flags", NO_FLAGS)
    check_ins = tuple(replace(found, flags=flags) for found in gather_check_ins(scores).get(name, ()))
    ends = [0, *batches, len(check_ins)] if check_ins else []
    return BinCourse(
        bin=name,
        leaf=more.get("leaf", "hazel"),
        check_ins=check_ins,
        batches=tuple(a_batch(check_ins[a:b]) for a, b in itertools.pairwise(ends)),
        verdict=Verdict(
            status=Status(status), reasons=("The figures say so.",), remedies=more.get("remedies", ADVICE)
        ),
        finish=more.get("finish", Forecast()),
        method="test-1",
    )


def a_batch(check_ins: tuple[CheckIn, ...]):
    days = [(check_in.date - check_ins[0].date).days for check_in in check_ins]
    covers, errs = ([getattr(c, name) for c in check_ins] for name in ("leaf_percent", "leaf_err"))
    return Batch(start=check_ins[0].date, check_ins=check_ins, curve=fit_curve(days, covers, errs))


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
        leaf_err=more.get("leaf_err", figure),
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

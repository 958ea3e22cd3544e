"""How many bins, photos and check-ins tell two kinds of leaf apart, found by simulating trials."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from statistics import median
from types import MappingProxyType
from typing import Any

import numpy as np

from leafwane.breakdown.choice import exponential_rates
from leafwane.breakdown.course import BinCourse
from leafwane.breakdown.fitting import Floats
from leafwane.breakdown.layers import cover_from_layers
from leafwane.breakdown.ratio import log_rate, rate_ratio
from leafwane.breakdown.series import Series

BINS = (2, 3, 4, 6, 8)
PHOTOS = (1, 3)
LEAST_CHECK_INS, MOST_CHECK_INS = 3, 12
POWER = 0.80

MORE_THAN = MappingProxyType(
    {"ratio": 1.0, "k_per_day": 0.0, "photo_err": 0.0, "days_apart": 0.0, "layers": 0.0}
)
"""What each assumption has to be over."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumptions:
    """What a plan takes for granted.

    Attributes:
        ratio: How many times as fast one kind goes, over 1.
        k_per_day: Rate of the slower kind.
        photo_err: Standard error of one photo, in points.
        days_apart: Days between check-ins.
        layers: Layers of leaf at the start; 2.5 give 92% cover.
        bin_spread: Standard deviation of ln(rate) between bins of one kind. 0.2 is a guess: bins side by side differ
            by about a fifth.
    """

    ratio: float = 2.0
    k_per_day: float = 0.02
    photo_err: float = 3.0
    days_apart: float = 14.0
    layers: float = 2.5
    bin_spread: float = 0.2

    @property
    def cover(self) -> float:
        """Return the cover at the start, as a fraction."""
        return float(cover_from_layers(self.layers))


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A trial that could be run.

    Attributes:
        bins: Bins of each kind.
        photos: Photos a check-in.
        check_ins: Least check-ins that tell the ratio in 80% of trials; None where 12 do not.
        power: Share of simulated trials that tell it, with so many check-ins.
    """

    bins: int
    photos: int
    check_ins: int | None
    power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialDesigns:
    """Designs with what they take for granted.

    Attributes:
        assumptions: What they rest on.
        designs: One for each number of bins and photos.
        runs: Trials simulated for each figure.
    """

    assumptions: Assumptions
    designs: tuple[Design, ...]
    runs: int

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return the designs in plain words, the fewest photos in all first."""
        enough = [design for design in self.designs if design.check_ins]
        enough.sort(key=lambda design: design.bins * design.photos * (design.check_ins or 0))
        if not enough:
            return (
                f"No design with up to {max(BINS)} bins a kind and {MOST_CHECK_INS} check-ins tells them apart.",
            )
        apart = self.assumptions.days_apart
        return tuple(
            f"{d.bins} bins of each kind, {d.photos} photo{'s' if d.photos > 1 else ''} a check-in, {d.check_ins} "
            f"check-ins {apart:g} days apart: {100 * d.power:.0f}% of trials tell {self.assumptions.ratio:g} to 1 apart."
            for d in enough
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain Python values."""
        return asdict(self) | {"sentences": list(self.sentences)}


def plan_trial(
    assumptions: Assumptions, *, runs: int = 100, seed: int = 1, progress: Progress | None = None
) -> TrialDesigns:
    """Find for each number of bins and photos the fewest check-ins that tell the ratio with 80% power.

    A trial tells it where the 90% interval of the ratio, as `compare` makes it, leaves 1 out on the right side. One
    bin a kind is not among the designs, since it cannot tell the leaf from the bin.

    Args:
        assumptions: See `Assumptions`.
        runs: Trials simulated for each figure; 100 give a power to 4 points or so.
        seed: Of the simulation.
        progress: Called with designs done and designs in all.

    Raises:
        ValueError: An assumption is `too_little`, or the bins' spread is below 0.
    """
    for name in too_little(assumptions):
        raise ValueError(f"{name} must be over {MORE_THAN[name]:g}, not {getattr(assumptions, name):g}")
    if assumptions.bin_spread < 0:
        raise ValueError(f"bin_spread must not be below 0, like {assumptions.bin_spread:g}")
    choices = [(bins, photos) for bins in BINS for photos in PHOTOS]
    designs = []
    for done, (bins, photos) in enumerate(choices, start=1):
        designs.append(_fewest(assumptions, bins, photos, runs, seed))
        if progress:
            progress(done, len(choices))
    return TrialDesigns(assumptions=assumptions, designs=tuple(designs), runs=runs)


def too_little(assumptions: Assumptions) -> tuple[str, ...]:
    """Return the names of assumptions that are not over what they have to be, as `MORE_THAN` says."""
    return tuple(name for name, least in MORE_THAN.items() if not getattr(assumptions, name) > least)


def power(
    assumptions: Assumptions, *, bins: int, photos: int, check_ins: int, runs: int, seed: int = 1
) -> float:
    """Return the share of simulated trials that tell the ratio apart."""
    rng = np.random.default_rng([seed, bins, photos])
    design = Design(bins=bins, photos=photos, check_ins=check_ins, power=float("nan"))
    rates = exponential_rates(_simulated(assumptions, design, runs, rng))
    return float(np.mean([_told(trial) for trial in rates.reshape(runs, 2, bins, 3)]))


def measured_photo_err(courses: Iterable[BinCourse]) -> float | None:
    """Return the usual standard error of one photo in a trial, in points; None without check-ins."""
    errs = [c.leaf_err * c.n_photos**0.5 for course in courses for c in course.check_ins]
    return median(errs) if errs else None


def _fewest(assumptions: Assumptions, bins: int, photos: int, runs: int, seed: int) -> Design:
    low, high = LEAST_CHECK_INS, MOST_CHECK_INS

    def at(check_ins: int) -> float:
        return power(assumptions, bins=bins, photos=photos, check_ins=check_ins, runs=runs, seed=seed)

    best = at(high)
    if best < POWER:
        return Design(bins=bins, photos=photos, check_ins=None, power=best)
    while low < high:
        middle = (low + high) // 2
        found = at(middle)
        if found >= POWER:
            high, best = middle, found
        else:
            low = middle + 1
    return Design(bins=bins, photos=photos, check_ins=high, power=best)


def _simulated(assumptions: Assumptions, design: Design, runs: int, rng: np.random.Generator) -> list[Series]:
    """Return the bins of all trials, one trial after the other; in each those of the faster kind come first."""
    n, check_ins = runs * 2 * design.bins, design.check_ins or MOST_CHECK_INS
    days = np.asarray(assumptions.days_apart * np.arange(check_ins), dtype=float)
    kind = np.tile(np.repeat([assumptions.ratio, 1.0], design.bins), runs)
    rates = assumptions.k_per_day * kind * np.exp(rng.normal(0.0, assumptions.bin_spread, n))
    truth = cover_from_layers(assumptions.layers * np.exp(-rates[:, None] * days))
    err = assumptions.photo_err / 100 / np.sqrt(design.photos)
    covers = np.clip(truth + rng.normal(0.0, err, truth.shape), 0.0, 1.0)
    return [Series(days=days, cover=cover, err=np.full(check_ins, err)) for cover in covers]


def _told(trial: Floats) -> bool:
    kinds = [[log_rate(*(float(v) for v in rate)) for rate in kind] for kind in trial]
    faster, slower = ([rate for rate in kind if rate] for kind in kinds)
    return bool(faster) and bool(slower) and rate_ratio(faster, slower).low > 1

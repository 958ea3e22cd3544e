"""Reading the colour patches: a robust centre for each, and which of them cannot be trusted, and why."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from leafwane.card.design import Points
from leafwane.card.geometry import project, px_per_mm
from leafwane.card.sighting import PatchSamples
from leafwane.flags import Flag, raised

BURNT: Final = 253  # 8 bit; cameras roll off a little below 255

_INNER: Final = (
    0.62  # of a patch's side that is read, so that the white round it stays out even of blurred photos
)
_PARTS: Final = 5  # a patch is judged by 5 x 5 parts, whose middles hold little noise
_MOST_SAMPLES: Final = 40  # along a side
_DROWNED: Final = 2
_SHARE_CLIPPED: Final = 0.1
_NEAR_LIMIT: Final = 0.03  # encoded; so near to black or white a channel has been pressed
_GLEAM: Final = 0.85  # encoded, all channels; an uneven patch with such a part mirrors the light
_SHARE_ODD: Final = 0.4  # of the parts: beyond this the centre itself may be dirt
_TOLERANCE: Final = 0.05  # encoded; parts further than this (or 4 deviations) from the centre are odd
_OFF: Final = (
    0.13  # encoded; a patch this far (or 8 medians of all) from what the others say is not what it was
)
_GRAINY: Final = 0.025  # encoded, of the parts of a patch; sharp photos in good light have under 0.006
_DARK: Final = 0.45  # encoded; the lightest patch of a photo exposed as usual lies above
_DARK_TONE: Final = (
    0.27  # encoded; patches at most so light are dark ones: eight of the card, the black one of a chart
)
_DARKS_LOST: Final = 0.17
"""Share of what they are, encoded, at which a dark photo shows dark patches, and below which too few grey levels are left
to tell leaf from castings by. Of 758 darkened photos (24 of the demo, and 24 other painted bins seen by two cameras each) the 522
below were 12 points of cover off what they read undarkened on average, near half of them by more than 5, and at worst 86; the 236
above 0.6 on average, at worst 7, and none by three of its standard errors. Undarkened ones have over 0.5. Where the light patches are
light, as in photos made rich in contrast, dark ones may be lost without harm."""

Bools: TypeAlias = npt.NDArray[np.bool_]
Floats: TypeAlias = npt.NDArray[np.float64]


class Reason(StrEnum):
    """Why a patch is not used."""

    OUT = "out of the photo"
    BURNT = "burnt out"
    DROWNED = "a colour channel is at zero"
    SHADOW_EDGE = "in a shadow edge"
    SHINY = "shiny"
    DIRTY = "dirty"
    ODD = "does not fit the other patches: dirty, shiny or in a shadow"


SOILED: Final = (Reason.SHADOW_EDGE, Reason.SHINY, Reason.DIRTY, Reason.ODD)
"""Reasons that lie on the card, and not in how the photo was exposed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchTable:
    """The patches of a kind of card: names, centres (n, 2) and side in mm, and colours (n, 3), encoded sRGB, a card's own and nominal."""

    names: tuple[str, ...]
    reference: Points
    nominal: Points
    centres_mm: Points
    side_mm: float


def sample_patches(pixels: npt.NDArray[np.uint8], to_px: Points, table: PatchTable) -> PatchSamples:
    """Return what a photo shows of the patches.

    Args:
        pixels: The photo, (h, w, 3) 8-bit sRGB, as it is: not blurred, since that would hide what is clipped.
        to_px: (3, 3) homography from card mm to photo pixels.
        table: What is printed, and where.
    """
    blocks, inside = _blocks(pixels, to_px, table)
    parts = _part_middles(blocks)
    centre = np.median(parts, axis=1)
    gap = np.abs(parts - centre[:, None]).max(axis=2)
    spread = 1.4826 * np.median(gap, axis=1)
    odd = gap > np.maximum(_TOLERANCE, 4 * spread)[:, None]
    measured = _mean_of_sound_parts(blocks, odd)
    measured[~inside] = np.nan
    reasons = _reasons(blocks, parts, spread, odd)
    for index in np.flatnonzero(~inside):
        reasons[index] = Reason.OUT
    used = np.array([not reason for reason in reasons])
    for index in np.flatnonzero(used & _unlike_the_others(measured, table.reference, used)):
        reasons[index] = _why_odd(measured[index])
    return PatchSamples(
        names=table.names,
        measured=measured,
        reference=table.reference,
        nominal=table.nominal,
        spread=spread,
        used=np.array([not reason for reason in reasons]),
        left_out=tuple(map(str, reasons)),
        centres_mm=table.centres_mm,
    )


def rank_agreement(patches: PatchSamples) -> float:
    """Return Spearman's rank correlation of measured and reference lightness over all patches in the photo, -1..1."""
    seen = np.isfinite(patches.measured).all(axis=1)
    if seen.sum() < 6:
        return 0.0
    weights = np.array([0.299, 0.587, 0.114])
    ranks = [_ranks(side[seen] @ weights) for side in (patches.measured, patches.reference)]
    return float(np.nan_to_num(np.asarray(np.corrcoef(ranks))[0, 1])) if np.ptp(ranks[0]) > 0 else 0.0


def patch_doubts(patches: PatchSamples) -> Flag:
    """Return what the patches of a card or chart say against the photo: of its exposure, of its grain, and of dirt and shine."""
    dark = float(np.nanmax(patches.measured.min(axis=1))) < _DARK
    too_dark = dark and _darks_shown(patches) < _DARKS_LOST
    doubts = {
        Flag.CLIPPED: Reason.BURNT in patches.left_out,
        Flag.GRAINY: bool(patches.used.any()) and float(np.median(patches.spread[patches.used])) > _GRAINY,
        Flag.DARK: dark and not too_dark,
        Flag.TOO_DARK: too_dark,
        Flag.PATCHES_LEFT_OUT: bool(set(SOILED).intersection(patches.left_out)),
    }
    return raised(doubts)


def _darks_shown(patches: PatchSamples) -> float:
    """Return how light the photo shows the dark patches in it, over how light they are, both encoded; 1 where none is in it."""
    shown, own = patches.measured.mean(axis=1), patches.reference.mean(axis=1)
    dark = np.isfinite(shown) & (patches.nominal.mean(axis=1) <= _DARK_TONE)
    return float(np.median(shown[dark]) / np.median(own[dark])) if dark.any() else 1.0


def _ranks(values: Floats) -> Floats:
    """Return the ranks of values, (n,), from 1; equals share the mean of theirs."""
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(counts) - (counts - 1) / 2)[place])


def _blocks(
    pixels: npt.NDArray[np.uint8], to_px: Points, table: PatchTable
) -> tuple[npt.NDArray[np.uint8], Bools]:
    """Return raw pixels of the patches' inner squares, (n, k, k, 3), and which patches are wholly in the photo."""
    side = _INNER * table.side_mm
    finest = px_per_mm(to_px, table.centres_mm.mean(axis=0)) * side
    k = int(np.clip(np.round(finest), 2 * _PARTS, _MOST_SAMPLES)) // _PARTS * _PARTS
    steps = ((np.arange(k) + 0.5) / k - 0.5) * side
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    places = (table.centres_mm[:, None] + grid).reshape(-1, 2)
    at = project(to_px, places)
    height, width = pixels.shape[:2]
    inside = (
        ((at >= 0) & (at <= (width - 1, height - 1))).all(axis=1).reshape(len(table.names), -1).all(axis=1)
    )
    x, y = np.round(np.clip(at, 0, (width - 1, height - 1))).astype(int).T
    return pixels[y, x].reshape(len(table.names), k, k, 3), np.asarray(inside)


def _part_middles(blocks: npt.NDArray[np.uint8]) -> Points:
    """Return the middle colour of each part, (n, parts, 3), encoded sRGB 0..1."""
    n, k = blocks.shape[:2]
    step = k // _PARTS
    split = blocks.reshape(n, _PARTS, step, _PARTS, step, 3).swapaxes(2, 3)
    return np.asarray(np.median(split.reshape(n, _PARTS**2, step**2, 3), axis=2) / 255, dtype=np.float64)


def _mean_of_sound_parts(blocks: npt.NDArray[np.uint8], odd: Bools) -> Points:
    """Return each patch's mean over its sound parts, (n, 3), leaving out single pixels that stand apart."""
    n, k = blocks.shape[:2]
    sound = ~np.kron(odd.reshape(n, _PARTS, _PARTS), np.ones((1, k // _PARTS, k // _PARTS), dtype=bool))
    colours = np.where(sound.reshape(n, -1, 1), blocks.reshape(n, -1, 3), np.nan) / 255
    middle = np.nanmedian(colours, axis=1, keepdims=True)
    gap = np.abs(colours - middle).max(axis=2)
    limit = np.maximum(0.02, 3 * 1.4826 * np.nanmedian(gap, axis=1, keepdims=True))
    return np.asarray(
        np.nanmean(np.where((gap <= limit)[..., None], colours, np.nan), axis=1), dtype=np.float64
    )


def _reasons(blocks: npt.NDArray[np.uint8], parts: Points, spread: Floats, odd: Bools) -> list[str]:
    """Return why each patch by itself cannot be trusted, empty where it can."""
    flat = blocks.reshape(len(blocks), -1, 3)
    uneven = (odd.mean(axis=1) > _SHARE_ODD) | (spread > 2 * _TOLERANCE)
    gleaming = parts.min(axis=2).max(axis=1) > _GLEAM
    # The first that holds is the reason.
    tests: list[tuple[Reason, Bools]] = [
        (Reason.BURNT, (flat >= BURNT).any(axis=2).mean(axis=1) > _SHARE_CLIPPED),
        (Reason.DROWNED, (flat <= _DROWNED).any(axis=2).mean(axis=1) > _SHARE_CLIPPED),
        (Reason.SHADOW_EDGE, _slope(parts)),
        (Reason.SHINY, uneven & gleaming),
        (Reason.DIRTY, uneven),
    ]
    return [next((why for why, holds in tests if holds[index]), "") for index in range(len(blocks))]


def _slope(parts: Points) -> Bools:
    """Return which patches are light on one side and dark on the other, more than noise and far light explain."""
    steps = (np.arange(_PARTS) - (_PARTS - 1) / 2) / (_PARTS - 1)
    plane = np.stack([np.tile(steps, _PARTS), np.repeat(steps, _PARTS), np.ones(_PARTS**2)], axis=1)
    light = parts.mean(axis=2)
    slopes, *_ = np.linalg.lstsq(plane, light.T, rcond=None)
    left = light - (plane @ slopes).T
    rise = np.hypot(slopes[0], slopes[1])
    explained = 1 - left.var(axis=1) / np.maximum(light.var(axis=1), 1e-9)
    return np.asarray((rise > np.maximum(0.04, 0.12 * light.mean(axis=1))) & (explained > 0.6))


def _why_odd(colour: Points) -> Reason:
    """Return why a patch (3,) stands apart: a channel that went against a limit, or the card."""
    if colour.min() < _NEAR_LIMIT:
        return Reason.DROWNED
    return Reason.BURNT if colour.max() > 1 - _NEAR_LIMIT else Reason.ODD


def _unlike_the_others(measured: Points, reference: Points, used: Bools) -> Bools:
    """Return which patches a robust linear map from reference to photo cannot explain."""
    if used.sum() < 10:
        return np.zeros(len(used), dtype=bool)
    terms = np.column_stack([reference, reference**2, np.ones(len(reference))])
    weight = used.astype(np.float64)
    values = np.nan_to_num(measured)
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        answer = np.linalg.lstsq(terms * root, values * root, rcond=None)[0]
        left = np.linalg.norm(values - np.clip(terms @ answer, 0, 1), axis=1)
        scale = max(float(np.median(left[used])), 0.005)
        weight = used / (1 + (left / (2 * scale)) ** 2) ** 2
    return np.asarray(left > max(_OFF, 8 * scale))

"""Overlay pictures: only what counts is tinted, guesses are hatched, and the picture itself stays as it was."""

from dataclasses import replace

import numpy as np

from leafwane.flags import Flag
from leafwane.overlay import LEAF_RGB, draw_overlay, explain_sheet
from leafwane.surface.classes import ClassMap
from leafwane.surface.cover import measure_cover
from leafwane.surface.region import Region

SHAPE = (64, 96)


def halves() -> tuple[np.ndarray, ClassMap, Region]:
    leaf = np.zeros(SHAPE, np.float32)
    leaf[:, :48] = 1
    leaf[:, 40:48] = 0.55
    classes = ClassMap(
        leaf=leaf, castings=1 - leaf, kind=np.zeros(SHAPE, np.uint8), shine=np.zeros(SHAPE, bool)
    )
    mask = np.ones(SHAPE, bool)
    mask[:8] = False
    region = Region(mask=mask, card=np.zeros(SHAPE, bool), source="photo", flags=Flag(0))
    return np.full((*SHAPE, 3), 60, np.uint8), classes, region


def test_leaf_is_tinted_and_castings_are_not():
    picture, classes, region = halves()
    drawn = draw_overlay(picture, classes, region)
    assert (drawn[20, 70] == picture[20, 70]).all()
    toward = np.array(LEAF_RGB) - picture[20, 10]
    assert (np.sign(drawn[20, 10].astype(int) - picture[20, 10]) == np.sign(toward)).all()


def test_guesses_are_hatched():
    picture, classes, region = halves()
    drawn = draw_overlay(picture, classes, region)
    assert len(np.unique(drawn[20:52, 41:47].reshape(-1, 3), axis=0)) > len(
        np.unique(drawn[20:52, 2:8].reshape(-1, 3), axis=0)
    )


def test_outside_is_dimmed_and_the_picture_is_left_alone():
    picture, classes, region = halves()
    drawn = draw_overlay(picture, classes, region)
    assert (drawn[2] != 60).all()
    assert (picture == 60).all()


def test_the_sheet_shows_six_steps():
    picture, classes, region = halves()
    cover = measure_cover(classes, region)
    sheet = explain_sheet(picture, picture, classes, region, cover=cover)
    assert sheet.shape[1] == 3 * SHAPE[1]
    assert sheet.shape[0] > 2 * SHAPE[0]
    assert sheet.dtype == np.uint8


def test_the_sheet_ends_in_lines_that_name_the_parts_of_the_error():
    """They are written as large as other titles, or as large as they fit."""
    picture, classes, region = halves()
    cover = measure_cover(classes, region)
    worse = replace(cover, error=replace(cover.error, photo=4.0))
    one, other = (explain_sheet(picture, picture, classes, region, cover=one) for one in (cover, worse))
    differs = np.flatnonzero((one != other).any(axis=(1, 2)))
    assert len(one) - 68 <= differs[0] <= differs[-1] < len(one) - 34
    ink = np.flatnonzero((one[-68:-34] < 128).all(axis=2).any(axis=0))
    assert ink[-1] < one.shape[1] - 4

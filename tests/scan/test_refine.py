"""Targets without a dotted border, such as the tone scale beside a picture: four marks alone.

Pictures from Pillow and scikit-image (see `paper`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

import paper
from tonewright.errors import ImageError, OptionError
from tonewright.scan.findings import ScanInverted
from tonewright.scan.image import Scan
from tonewright.scan.place import locate
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.rectify import Placement, apply, through_four
from tonewright.scan.refine import marks_likeness, refine
from tonewright.target.layout import LayoutSettings, even_levels, make_target

DOTTED = make_target(even_levels(9), LayoutSettings(
    name="scale", repeats=1, seed=3, width_mm=101.6, height_mm=127.0))
BARE = replace(DOTTED, dots=())


@lru_cache
def on_the_glass(dotted, degrees, mirrored=False):
    return paper.laid(DOTTED if dotted else BARE, degrees=degrees, mirrored=mirrored)


def furthest(placement, matrix):
    away = placement.to_scan(BARE.patch_centres) - apply(matrix, BARE.patch_centres)
    return float(np.max(np.linalg.norm(away, axis=1)))


@pytest.fixture(scope="module")
def laid():
    return paper.laid(BARE, degrees=-5.0, bend=(5e-5, -8e-5))


@pytest.mark.parametrize("target", [DOTTED, BARE])
@pytest.mark.parametrize("off", [3.0, 9.0])
def test_a_rough_placement_becomes_exact(target, off):
    """From corners that are off by up to 1.5 mm, at 6 pixels a mm, to a quarter of a pixel."""
    scan, matrix = on_the_glass(bool(target.dots), 4.0)
    corners = apply(matrix, target.mark_centres)
    corners = corners + off * np.array([[1, -1], [-1, 0.5], [0.3, 1], [-0.7, -0.7]])
    first = Placement(through_four(target.mark_centres, corners))
    refined = refine(scan, target, first, True, by_hand=True)
    assert furthest(first, matrix) > 2.0 > 0.25 > furthest(refined.placement, matrix)
    assert refined.settled and np.isfinite(refined.error_px) == bool(target.dots)


def test_likeness_falls_off_the_marks(laid):
    scan, matrix = laid
    here = Placement(matrix)
    shift = np.array([[1.0, 0, 40.0], [0, 1.0, 0], [0, 0, 1.0]])
    assert marks_likeness(scan, BARE, here, True) > 0.9
    assert marks_likeness(scan, BARE, here, False) < 0.6
    assert marks_likeness(scan, BARE, Placement(shift @ matrix), True) < 0.6


@pytest.mark.parametrize(("degrees", "mirrored"), [(-5.0, False), (92.0, True), (178.0, False)])
def test_four_marks_are_enough_without_dots(degrees, mirrored):
    scan, matrix = paper.laid(BARE, degrees=degrees, mirrored=mirrored)
    located = locate(scan, BARE)
    assert furthest(located.placement, matrix) < 0.5
    assert located.mirrored == mirrored
    assert located.mark_error_px is None and located.dots_found == 0
    assert located.marks_found == ("1", "2", "3", "4")


def test_three_marks_are_not_enough_without_dots_but_corners_are(laid):
    scan, matrix = laid
    spoilt = scan.copy()
    rows, columns = np.ogrid[: scan.shape[0], : scan.shape[1]]
    x, y = apply(matrix, BARE.mark_centres[2])
    spoilt[np.hypot(columns - x, rows - y) < 40] = 0.4
    with pytest.raises(ImageError, match="only those with 1, 2, 4") as caught:
        locate(spoilt, BARE)
    assert "dotted" not in caught.value.rule
    corners = apply(matrix, BARE.mark_centres).ravel().tolist()
    located = locate(spoilt, BARE, corners)
    assert located.by_hand and furthest(located.placement, matrix) < 1.0
    with pytest.raises(OptionError):
        locate(spoilt, BARE, corners[:6])


def test_a_sheet_of_another_shape_is_told_by_its_sides(laid):
    other = replace(make_target(even_levels(9), LayoutSettings(
        name="wide", seed=3, width_mm=170.0, height_mm=178.0)), dots=())
    with pytest.raises(ImageError, match="wide"):
        locate(laid[0], other)


@lru_cache
def dark_marked():
    """Everything but the patches turned round."""
    scan, matrix = on_the_glass(False, 4.0)
    inside = np.zeros(scan.shape, dtype=bool)
    rows, columns = np.mgrid[0 : scan.shape[0], 0 : scan.shape[1]]
    place = Placement(matrix).to_print(np.stack([columns, rows], axis=-1))
    for p in BARE.patches:
        at = place - [p.x_mm, p.y_mm]
        inside |= np.all((at >= 0) & (at < p.width_mm), axis=-1)
    return np.where(inside, scan, 1.0 - scan).astype(np.float32)


@pytest.mark.parametrize("dark_marks", [False, True])
@pytest.mark.parametrize("inverted", [False, True])
def test_patches_tell_an_inverted_scan_from_a_sheet_drawn_dark_on_light(dark_marks, inverted):
    """Patches always print lighter with more ink, whichever way the marks are drawn."""
    scan = dark_marked() if dark_marks else on_the_glass(False, 4.0)[0]
    if inverted:
        scan = 1.0 - scan
    known = {"white": 0.08, "black": 1.6}
    read = read_target_scan(Scan(scan, 16, 150.0, None), BARE, ReadSettings(known=known))
    codes = np.array([p.code for p in read.patches])
    true = np.array([paper.gray_of(p.level) / 255 for p in BARE.patches])
    assert np.abs(codes - true).max() < 0.004
    assert (ScanInverted() in read.findings) == inverted

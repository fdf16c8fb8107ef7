"""Prints are found however they lie; what cannot be found says why.

The pictures come from Pillow and scikit-image (see `paper`), not from our own renderer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import paper
from tonewright.errors import ImageError, OptionError
from tonewright.scan.findings import MarkLost, ScanInverted
from tonewright.scan.marks import find_marks
from tonewright.scan.place import locate
from tonewright.scan.rectify import apply
from tonewright.target.layout import LayoutSettings, even_levels, make_target

SMALL = LayoutSettings(name="first", repeats=2, seed=3, width_mm=101.6, height_mm=127.0)
TARGET = make_target(even_levels(15), SMALL)
OTHER_SEED = make_target(even_levels(15), replace(SMALL, name="second", seed=4))
OTHER_SIZE = make_target(even_levels(15), LayoutSettings(
    name="third", repeats=2, width_mm=210.0, height_mm=297.0))


def furthest(located, matrix) -> float:
    """Distance in pixels of the patch that is furthest from its place."""
    truth = apply(matrix, TARGET.patch_centres)
    return float(np.max(np.linalg.norm(located.placement.to_scan(TARGET.patch_centres) - truth,
                                       axis=1)))


def covered(scan, matrix, *names):
    """The scan with a gray blot over marks."""
    scan = scan.copy()
    rows, columns = np.ogrid[: scan.shape[0], : scan.shape[1]]
    for mark in TARGET.marks:
        if mark.name in names:
            x, y = apply(matrix, [mark.x_mm, mark.y_mm])
            scan[np.hypot(columns - x, rows - y) < 40] = 0.4
    return scan


def mark_corners(matrix, off=0.0):
    return (apply(matrix, TARGET.mark_centres) + off).ravel().tolist()


@pytest.fixture(scope="module")
def plain():
    return paper.laid(TARGET, degrees=3.0)


@pytest.mark.parametrize(
    ("degrees", "mirrored"),
    [(-10.0, False), (8.0, True), (90.0, False), (172.0, True), (-97.0, False)])
def test_a_print_is_found_at_any_turn_and_either_mirroring(degrees, mirrored):
    scan, matrix = paper.laid(TARGET, degrees=degrees, mirrored=mirrored, bend=(8e-5, -1e-4))
    located = locate(scan, TARGET)
    assert furthest(located, matrix) < 0.5
    assert located.mirrored == mirrored
    assert located.rotation_degrees == pytest.approx(degrees, abs=0.7)  # perspective turns too
    assert located.marks_found == ("1", "2", "3", "4")
    assert located.mark_error_px < 0.5


def test_the_error_of_marks_says_how_well_they_fit(plain):
    """A print bent by 2 pixels shows it."""
    scan, _ = plain
    flat = locate(scan, TARGET)
    shift = np.round(3 * np.sin(np.linspace(0, 3 * np.pi, scan.shape[0]))).astype(int)
    bent = np.stack([np.roll(row, s) for row, s in zip(scan, shift, strict=True)])
    assert flat.mark_error_px < 0.3 < 1.0 < locate(bent, TARGET).mark_error_px


def test_an_inverted_scan_is_found_and_said(plain):
    scan, matrix = plain
    located = locate(1.0 - scan, TARGET)
    assert not located.light and furthest(located, matrix) < 0.5
    assert ScanInverted() in located.findings


@pytest.mark.parametrize(
    ("lost", "bend"),
    [("1", (0.0, 0.0)), ("2", (6e-4, -4e-4)), ("3", (-5e-4, 0.0)), ("4", (2e-4, 6e-4))])
def test_one_lost_mark_is_made_up_by_the_dots(lost, bend):
    scan, matrix = paper.laid(TARGET, degrees=-6.0, bend=bend)
    located = locate(covered(scan, matrix, lost), TARGET)
    assert furthest(located, matrix) < 0.5
    assert lost not in located.marks_found and len(located.marks_found) == 3
    assert MarkLost(int(lost)) in located.findings


@pytest.mark.parametrize("names", ["13", "1234"])
def test_too_few_marks_say_which_were_found_and_corners_help(plain, names):
    scan, matrix = plain
    spoilt = covered(scan, matrix, *names)
    with pytest.raises(ImageError) as caught:
        locate(spoilt, TARGET)
    assert caught.value.code == "mark_corners"
    for mark in "1234":
        told = f" {mark}" in caught.value.given.split("could")[0]
        assert told == (mark not in names)
    assert furthest(locate(spoilt, TARGET, mark_corners(matrix, 4.0)), matrix) < 0.5


def test_corners_of_the_sheet_are_understood_as_well(plain):
    scan, matrix = plain
    sheet = np.array([[0, 0], [TARGET.width_mm, 0], [TARGET.width_mm, TARGET.height_mm],
                      [0, TARGET.height_mm]])
    located = locate(scan, TARGET, apply(matrix, sheet).ravel().tolist())
    assert furthest(located, matrix) < 0.5 and located.by_hand


@pytest.mark.parametrize(
    "corners", [[1.0] * 7, [0.0, 0, 1, 1, 2, 2, 3, 3], [float("nan")] * 8,
                [100, 100, 900, 1000, 900, 100, 100, 1000]])
def test_corners_that_are_none_are_refused(plain, corners):
    with pytest.raises(OptionError) as caught:
        locate(plain[0], TARGET, corners)
    assert caught.value.code == "mark_corners"


def test_another_targets_document_is_told_by_the_dots(plain):
    with pytest.raises(ImageError, match="another target"):
        locate(plain[0], OTHER_SEED)
    with pytest.raises(ImageError, match="third"):
        locate(plain[0], OTHER_SIZE)


def test_no_print_at_all_is_said():
    rng = np.random.default_rng(1)
    rows, columns = np.mgrid[0:450, 0:350]
    hills = 0.5 + 0.3 * np.sin(rows / 60.0) * np.cos(columns / 45.0)
    for picture in (rng.random((450, 350)), hills, (hills > 0.5) * 1.0):
        with pytest.raises(ImageError, match="none of the four corner marks"):
            locate(picture.astype(np.float32), TARGET)
    with pytest.raises(ImageError, match="one even tone"):
        locate(np.full((450, 350), 0.7, np.float32), TARGET)


@pytest.mark.parametrize("cut", [slice(0, 580), slice(230, None)])
def test_a_cropped_scan_is_said(plain, cut):
    scan, _ = plain
    with pytest.raises(ImageError, match="cut off"):
        locate(scan[cut], TARGET)


def test_a_cut_that_spares_three_marks_names_the_patches_outside():
    scan, matrix = paper.laid(TARGET)
    scan = scan.copy()
    x, _ = apply(matrix, [TARGET.width_mm - 30.0, 0.0])
    corner = apply(matrix, TARGET.mark_centres)
    with pytest.raises(ImageError, match="cropped"):
        locate(scan[:, : int(x)], TARGET, corner.ravel().tolist())


def test_marks_are_counted_right_and_nothing_else_passes_for_one():
    target = make_target(even_levels(15), LayoutSettings(repeats=2, seed=3))
    scan, matrix = paper.laid(target, degrees=3.0)
    found = [m for m in find_marks(scan) if m.light and m.radius > 15]
    assert sorted(m.number for m in found) == [1, 2, 3, 4]
    for mark in found:
        place = apply(matrix, target.mark_centres[mark.number - 1])
        assert np.hypot(mark.x - place[0], mark.y - place[1]) < 1.0

"""Rows of steps found in scans of many scanners, however the card lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from rooms import random_scanner, scan_sheet
from tonewright.errors import ReadingsError
from tonewright.scan.find_steps import _straightened, find_row
from tonewright.virtual.scanroom import Lying, gray_scale

STEP_MM = (8.0, 14.0)


def scanned(seed, count):
    """A gray scale on a card between paper white and black, and where it lies."""
    rng = np.random.default_rng(seed)
    scanner = replace(random_scanner(rng), ppi=200.0)
    known = np.linspace(0.06, rng.uniform(1.75, 2.2), count)
    card = gray_scale(known, step_mm=STEP_MM, border_density=float(rng.choice([0.02, 0.05, 1.0])))
    lying = Lying(float(rng.uniform(-10.0, 10.0)), int(rng.integers(4)))
    render = scan_sheet(card, scanner, lying, seed=seed)
    return render, render.corners(0.0, 0.0, STEP_MM[0] * count, STEP_MM[1])


def distance_mm(found, true, ppi):
    """From corner to corner, from whichever end the row was begun."""
    return min(float(np.abs(np.roll(found, turn, axis=0) - true).max()) for turn in (0, 2)) / (
        ppi / 25.4)


def length_mm(corners, ppi):
    """Length of the row, at the middle of its height."""
    ends = (corners[0] + corners[3]) / 2.0, (corners[1] + corners[2]) / 2.0
    return float(np.linalg.norm(ends[1] - ends[0])) / (ppi / 25.4)


@pytest.mark.parametrize("count", [12, 20])
def test_found_on_many_scanners(count):
    """Most rows to a fraction of a step; the rest end in a message, or reach too far up or down
    (never along the row, which would give each step its neighbour's density)."""
    good, along = 0, []
    for seed in range(4):
        render, true = scanned(seed, count)
        try:
            found = find_row(render.pixels, count).corners
        except ReadingsError as error:
            assert error.code == "row_corners"
            continue
        good += distance_mm(found, true, render.ppi) < 1.2
        along.append(length_mm(found, render.ppi) / (STEP_MM[0] * count))
    assert good >= 3
    assert np.abs(np.array(along) - 1.0).max() < 0.02


def test_begun_at_the_left_as_it_lies():
    for seed in (0, 1, 2):
        render, _ = scanned(seed, 12)
        corners = find_row(render.pixels, 12).corners
        along = corners[1] - corners[0]
        assert (along[0] if abs(along[0]) >= abs(along[1]) else along[1]) > 0.0


@pytest.mark.parametrize("asked", [9, 16])
def test_another_number_of_steps_is_never_made_up(asked):
    render, _ = scanned(0, 12)
    with pytest.raises(ReadingsError) as caught:
        find_row(render.pixels, asked)
    assert caught.value.code == "row_corners"


@pytest.mark.parametrize("seed", range(2))
def test_noise_holds_no_row(seed):
    rng = np.random.default_rng(seed)
    noise = np.clip(rng.normal(0.5, 0.1, (150, 200)), 0.0, 1.0).astype(np.float32)
    with pytest.raises(ReadingsError) as caught:
        find_row(noise, 12)
    assert caught.value.code == "row_corners"


def test_blank_paper_holds_no_row():
    with pytest.raises(ReadingsError, match="no row of 12"):
        find_row(np.full((150, 200), 0.9, np.float32), 12)


@pytest.mark.parametrize("shape", [(61, 90), (40, 7), (1, 9), (9, 1)])
def test_turned_back_as_by_scipy(shape):
    tone = np.random.default_rng(1).normal(size=shape)
    for degrees in (0.0, 3.3, -40.0, 90.0, 137.0):
        straight, matrix = _straightened(tone, degrees)
        theirs = ndimage.affine_transform(tone, matrix[1::-1, 1::-1], matrix[1::-1, 2],
                                          straight.shape, order=1, mode="nearest")
        np.testing.assert_allclose(straight, theirs, atol=1e-11)

"""Rows of steps found by themselves, against the virtual scanner's exact places and codes.

What matters most: a row is refused rather than read one step off, which would shift a printing
time by a third of a stop without anyone noticing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rooms import print_strip, random_darkroom, random_scanner, random_spoilt, scan_sheet
from tonewright.errors import ReadingsError
from tonewright.scan.image import Scan
from tonewright.scan.steps import read_step_row
from tonewright.virtual.scanroom import Lying, PaperFlaws, gray_scale


def scale_error(seed):
    """Largest error of a code of a random gray scale, however it lies; None if refused."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(8, 24))
    density = 0.05 + np.cumsum(np.append(0.0, rng.uniform(0.06, 0.16, count - 1)))
    spoilt = random_spoilt(rng, float(rng.choice([150.0, 300.0])))
    scanner = replace(spoilt.scanner, shading=0.0)  # it would move the codes themselves
    card = gray_scale(density, step_mm=(rng.uniform(4, 9), rng.uniform(8, 16)),
                      border_density=float(rng.choice([0.05, 0.08, 1.9])),
                      border_mm=float(rng.uniform(1, 6)))
    render = scan_sheet(card, scanner, spoilt.lying, seed=seed)
    try:
        row = read_step_row(Scan(render.pixels, 16, 300.0, None), count, dark_first=False)
    except ReadingsError as error:
        assert error.code == "row_corners"
        return None
    return float(np.abs(row.code[0] - scanner.code(density)).max())


def strip_error(seed):
    """How far the film half of a random strip lies off; None if refused.

    The seventh largest error: two stains and dust spoil some steps, a step's shift spoils all
    where tones change.
    """
    rng = np.random.default_rng(seed)
    room = random_darkroom(rng)
    count, step = (31, 0.10) if rng.random() < 0.6 else (21, 0.15)
    flaws = PaperFlaws(texture_density_sd=0.01, uneven_exposure_sd=0.008,
                       streak_exposure_sd=0.004, stains=2, dust=10)
    time = room.base_time * 2.0 ** rng.uniform(-0.5, 1.0)
    tablet = step * np.arange(count)
    sheet = print_strip(tablet, room, time, flaws, step_mm=(5.0, 22.0), seed=seed)
    scanner = random_scanner(rng)
    lying = Lying(float(rng.uniform(-5, 5)), int(rng.integers(4)), bool(rng.integers(2)))
    render = scan_sheet(sheet, scanner, lying, seed=seed)
    try:
        row = read_step_row(Scan(render.pixels, 16, 300.0, None), count, halves=2,
                            dark_first=True)
    except ReadingsError as error:
        assert error.code == "row_corners"
        return None
    true = scanner.code(room.process_density(room.tablet_exposure(tablet, time)))
    assert row.film_half is not None
    return float(np.sort(np.abs(row.code[row.film_half] - true))[-7])


def test_gray_scales_at_any_turn_are_found_and_none_is_misread():
    errors = [scale_error(seed) for seed in range(100, 104)]
    found = [e for e in errors if e is not None]
    assert len(found) == 4
    assert max(found) < 0.01  # a step is 0.02 and more


def test_strips_on_brushed_paper_are_found_and_none_is_read_a_step_off():
    errors = [strip_error(seed) for seed in range(200, 203)]
    found = [e for e in errors if e is not None]
    assert len(found) == 3
    assert max(found) < 0.03


@pytest.mark.parametrize("seed", [1, 2])
def test_two_steps_fewer_than_the_scale_has_are_never_read_silently(seed):
    """On a gray card both ends of the row show, so the number of steps is known."""
    density = 0.05 + 0.12 * np.arange(14)
    render = scan_sheet(gray_scale(density, border_density=0.4, border_mm=5.0),
                        random_scanner(np.random.default_rng(seed)), Lying(3.0), seed=seed)
    scan = Scan(render.pixels, 16, 300.0, None)
    assert read_step_row(scan, 14, dark_first=False).code.shape == (1, 14)
    with pytest.raises(ReadingsError):
        read_step_row(scan, 12, dark_first=False)

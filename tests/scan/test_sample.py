"""Patches are sampled where they are: against a scan-like picture made by Pillow and
scikit-image (see `paper`), with the true gray of every patch known from how it was painted."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from skimage.util import random_noise

import paper
from tonewright.scan.place import locate
from tonewright.scan.rectify import Placement
from tonewright.scan.sample import BLOCKS, INNER, midmean, sample_patch
from tonewright.target.document import Patch
from tonewright.target.layout import LayoutSettings, even_levels, make_target

TARGET = make_target(even_levels(15), LayoutSettings(
    repeats=2, seed=3, width_mm=101.6, height_mm=127.0))
EYE = Placement(np.eye(3))


def box(x, y, width, height):
    return Patch("A1", 0.5, x, y, width, height)


def sampled(scan, placement, target=TARGET):
    return [sample_patch(scan, placement, p)
            for p in target.patches]


@pytest.mark.parametrize(
    ("degrees", "mirrored", "bend"),
    [(0.0, False, (0.0, 0.0)), (9.0, True, (3e-4, -2e-4)), (-94.0, False, (-3e-4, 0.0))])
def test_every_patch_has_the_gray_it_was_painted_with(degrees, mirrored, bend):
    """Within 0.002 of full scale through noise of 0.02, wherever the print lies."""
    scan, _ = paper.laid(TARGET, degrees=degrees, mirrored=mirrored, bend=bend, noise=0.02)
    found = sampled(scan, locate(scan, TARGET).placement)
    codes = np.array([s.code for s in found])
    true = np.array([paper.gray_of(p.level) / 255 for p in TARGET.patches])
    assert np.abs(codes - true).max() < 0.002


def test_salt_and_pepper_do_not_move_a_patch():
    """skimage's salt-and-pepper noise on 10 % of the pixels; the plain mean moves by 0.03."""
    scan, matrix = paper.laid(TARGET, noise=0.0)
    dirty = random_noise(scan, mode="s&p", amount=0.1, rng=1).astype(np.float32)
    clean, spoilt = (sampled(s, Placement(matrix)) for s in (scan, dirty))
    moved = [abs(a.code - b.code) for a, b in zip(clean, spoilt, strict=True)]
    assert max(moved) < 2e-3
    assert max(s.clipped_white + s.clipped_black for s in clean) == 0.0
    shares = [s.clipped_white + s.clipped_black for s in spoilt]
    assert 0.08 < np.mean(shares) < 0.12


def test_a_scratch_shows_in_its_squares_and_not_in_the_value():
    scan = np.full((200, 200), 0.5, np.float32)
    scan[80:84] = 1.0  # across the middle of squares
    sample = sample_patch(scan, EYE, box(50.0, 30.0, 100.0, 100.0))
    assert sample.code == pytest.approx(0.5)
    scan[70:84] = 1.0
    blocks = sample_patch(scan, EYE, box(50.0, 30.0, 100.0, 100.0)).blocks.reshape(BLOCKS, BLOCKS)
    assert 1 <= np.sum(blocks[:, 0] > 0.5001) <= 2
    assert np.ptp(blocks, axis=1).max() < 0.1


def test_only_the_inner_part_is_looked_at():
    scan = np.zeros((200, 200), np.float32)
    edge = round(0.5 * (1 - INNER) * 100)
    scan[50 + edge : 150 - edge, 50 + edge : 150 - edge] = 0.7
    # the box ends between pixels, half a pixel before their centres
    sample = sample_patch(scan, EYE, box(49.5, 49.5, 100.0, 100.0))
    assert np.all(sample.blocks == np.float32(0.7)) and sample.pixels == (100 - 2 * edge) ** 2


def test_eight_bit_codes_keep_their_mean():
    """A median of 8-bit codes would be one of few values; the midmean comes to a tenth of one."""
    rng = np.random.default_rng(5)
    fine = 0.1234 + 0.006 * rng.standard_normal((120, 120))
    coarse = (np.round(fine * 255) / 255).astype(np.float32)
    assert sample_patch(coarse, EYE, box(10, 10, 100, 100)).code == pytest.approx(0.1234, abs=4e-4)


def test_the_midmean_is_scipys_trimmed_mean():
    values = np.random.default_rng(2).standard_normal(36)
    assert midmean(values) == pytest.approx(stats.trim_mean(values, 0.25))
    assert midmean(np.append(values, np.nan)) == pytest.approx(
        stats.trim_mean(values, 0.25))
    assert np.isnan(midmean(np.array([np.nan])))


def test_too_coarse_a_scan_has_no_sample():
    assert sample_patch(np.zeros((200, 200), np.float32), EYE, box(10, 10, 12, 12)) is None
    assert sample_patch(np.zeros((200, 200), np.float32), EYE, box(500, 10, 90, 90)) is None


def test_a_large_patch_is_thinned_out_but_read_the_same():
    rng = np.random.default_rng(3)
    scan = (0.4 + 0.05 * rng.standard_normal((1200, 1200))).astype(np.float32)
    sample = sample_patch(scan, EYE, box(50, 50, 1000, 1000))
    assert sample.pixels < 20_000
    assert sample.code == pytest.approx(0.4, abs=0.002)

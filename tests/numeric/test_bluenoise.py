"""Thresholds without coarse structure."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.numeric.bluenoise import blue_noise


@pytest.mark.parametrize("seed", [1, 2])
def test_every_rank_once_and_the_same_again(seed):
    tile = blue_noise(64, seed)
    assert np.array_equal(np.sort(tile.ravel()), np.arange(4096))
    blue_noise.cache_clear()
    assert np.array_equal(blue_noise(64, seed), tile)


def test_seeds_differ():
    assert not np.array_equal(blue_noise(64, 1), blue_noise(64, 2))


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_power_lies_in_the_fine_grain(share):
    """Against white noise, whose power is the same at every frequency (Ulichney 1988, ch. 8)."""
    def coarse(pattern):
        spectrum = np.abs(np.fft.fft2(pattern - pattern.mean())) ** 2
        fx, fy = np.meshgrid(np.fft.fftfreq(64), np.fft.fftfreq(64))
        low = np.hypot(fx, fy) < 0.12
        return spectrum[low].sum() / spectrum.sum()

    blue = coarse((blue_noise(64, 1) < share * 4096).astype(float))
    shuffled = np.random.default_rng(1).permutation(4096).reshape(64, 64)
    white = coarse((shuffled < share * 4096).astype(float))
    assert blue < 0.15 * white


def test_it_tiles_without_a_seam():
    """Points near the edges keep as far from those of the next tile as any others."""
    few = blue_noise(64, 1) < 200
    for shift in (0, 32):
        rows, columns = np.nonzero(np.roll(few, (shift, shift), (0, 1)))
        points = np.stack([rows, columns], axis=1)
        away = np.linalg.norm(points[:, None] - points[None], axis=2) + 99 * np.eye(len(points))
        assert away.min() > 2.5

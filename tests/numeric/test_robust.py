"""Weights and spreads that gross errors cannot move."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from tonewright.numeric.robust import (
    DROP,
    KEEP,
    deleted_residual,
    find_strays,
    robust_spread,
    taper,
)

pytestmark = pytest.mark.fits_anew


def test_spread_of_normal_noise_is_its_standard_deviation():
    noise = 3.0 * np.random.default_rng(0).standard_normal(20_000)
    assert robust_spread(noise) == pytest.approx(3.0, rel=0.03)


def test_spread_is_the_normalised_median_deviation():
    """scipy.stats.median_abs_deviation, scale "normal"; residuals lie around 0."""
    noise = np.random.default_rng(1).standard_normal(501)
    mirrored = np.concatenate([noise, -noise])
    assert robust_spread(mirrored) == pytest.approx(
        median_abs_deviation(mirrored, scale="normal"), rel=1e-4
    )


def test_spread_does_not_see_a_few_gross_errors():
    noise = np.random.default_rng(2).standard_normal(100)
    spoilt = noise.copy()
    spoilt[:5] = 1000.0
    assert robust_spread(spoilt) < 1.15 * robust_spread(noise)
    assert np.std(spoilt) > 100.0


def test_taper_counts_fully_then_less_then_not():
    at = np.array([0.0, KEEP, -KEEP, DROP, -DROP, 50.0])
    np.testing.assert_array_equal(taper(at), [1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
    between = taper(np.linspace(KEEP, DROP, 50))
    assert np.all(np.diff(between) < 0.0)
    assert taper(-3.5) == taper(3.5)


def test_deleted_residual():
    """r / (s sqrt(1 - h)), Belsley, Kuh and Welsch 1980; numbers worked by hand."""
    got = deleted_residual([1.0, -2.0], [0.0, 0.75], 0.5)
    np.testing.assert_allclose(got, [2.0, -8.0])


def test_strays_of_many_points_are_found_in_time():
    """Thousands of single readings: the search ends where nothing stands out any more."""
    rng = np.random.default_rng(4)
    x = np.linspace(0.0, 1.0, 3000)
    y = 90.0 * x + rng.normal(0.0, 1.0, x.size)
    bad = [300, 301, 302, 1500, 2400]
    y[bad] += 15.0
    begun = time.process_time()
    assert set(find_strays(x, y, np.ones(x.size))) == set(bad)
    assert time.process_time() - begun < 10.0

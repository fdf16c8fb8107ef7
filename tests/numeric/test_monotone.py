"""The smooth non-decreasing curve against worked examples, a known truth and another smoother."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_smoothing_spline

from tonewright.numeric.inverse import invert, invert_band
from tonewright.numeric.monotone import (
    SmoothSettings,
    deleted_deviations,
    fit_smooth,
    judge_smooth,
)
from tonewright.numeric.rising import rising_curve

pytestmark = pytest.mark.fits_anew

REFERENCE = Path(__file__).parents[1] / "reference"
X = np.linspace(0.0, 1.0, 61)
GRID = np.linspace(0.0, 1.0, 201)


def published(name: str):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def s_curve(x):
    """A plain S: a toe, a straight part and a shoulder."""
    return 20.0 + 70.0 / (1.0 + np.exp(-(x - 0.45) / 0.11))


def noisy(seed: int, sd: float = 1.0):
    return s_curve(X) + sd * np.random.default_rng(seed).standard_normal(X.size)


# rising_curve


def nearest_rising(values, precision):
    """The sequence itself as the curve; rounding is taken out as `fit_smooth` does."""
    return np.maximum.accumulate(rising_curve(
        np.asarray(values, float), np.linalg.inv(precision), np.eye(len(values)), None))


@pytest.mark.parametrize("case", published("isotonic")["cases"], ids=lambda c: c["src"])
def test_nearest_rising_is_isotonic_regression(case):
    """Worked examples of scipy's documentation and of R's isoreg (tests/reference/)."""
    got = nearest_rising(case["y"], np.eye(len(case["y"])))
    np.testing.assert_allclose(got, case["fit"], atol=2e-8)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(-50, 50), min_size=2, max_size=25))
def test_nearest_rising_agrees_with_scipy(values):
    """scipy.optimize.isotonic_regression, an independent implementation (pool adjacent)."""
    from scipy.optimize import isotonic_regression

    got = nearest_rising(values, np.eye(len(values)))
    assert np.all(np.diff(got) >= 0.0)
    np.testing.assert_allclose(got, isotonic_regression(values).x, atol=1e-6)


def test_nearest_rising_uses_the_metric():
    """Weights on the diagonal: the weighted mean of the two that are pooled."""
    np.testing.assert_allclose(nearest_rising([3.0, 1.0], np.diag([1.0, 3.0])), [1.5, 1.5])


def test_nearest_rising_leaves_a_rising_sequence_alone():
    values = np.array([-3.0, -3.0, 0.5, 7.0])
    metric = np.array([[4.0, 1, 0, 0], [1, 3, 1, 0], [0, 1, 5, 2], [0, 0, 2, 6]])
    np.testing.assert_allclose(nearest_rising(values, metric), values, atol=1e-10)


# fit_smooth


def test_a_straight_line_gives_the_published_inverse_interval():
    """Crystal growth data: Greenwell and Kabban 2014, R Journal 6/1:90 (tests/reference/).

    With a penalty of order 2 and no end of smoothing the curve is the straight line of least
    squares, so its band read backwards must be their interval.
    """
    case = published("inverse_interval_crystal")
    x, y = np.array(case["x"], float), np.array(case["y"])
    grid = np.linspace(x.min(), x.max(), 4001)
    fit = fit_smooth(x, y, np.ones(x.size), grid, SmoothSettings(order=2, smoothing=1e7))
    low, high = fit.band(0.95)
    found = [float(v) for v in invert_band(grid, low, high, case["y0"])]
    assert found == pytest.approx(case["mean_interval"], abs=1e-3)
    assert float(invert(grid, fit.value, case["y0"])) == pytest.approx(case["x_hat"], abs=1e-4)


def test_one_reading_gives_the_published_limits_of_a_calibration():
    """Fluorescence of standard solutions: Miller and Miller, chapter 5 (tests/reference/).

    The limits of a concentration from one reading: line and reading are both unsure.
    """
    case = published("inverse_interval_fluorescence")
    x, y = np.array(case["x"], float), np.array(case["y"])
    grid = np.linspace(x.min() - 2.0, x.max() + 2.0, 4001)
    fit = fit_smooth(x, y, np.ones(x.size), grid, SmoothSettings(order=2, smoothing=1e7))
    low, high = fit.band(0.95, extra_sd=fit.noise)
    first, last = invert_band(grid, low, high, case["y0"])
    assert (last - first) / 2.0 == pytest.approx(case["half_width"], abs=0.02)
    assert invert(grid, fit.value, case["y0"]) == pytest.approx(case["x_hat"], abs=0.005)


def test_agrees_with_another_smoother_within_the_band():
    """scipy.interpolate.make_smoothing_spline, its smoothing chosen by its own GCV.

    The two choose their smoothing by different rules.  Over ten sets of noise the other curve
    lies within our 95 % band at every place (seen: at most half its half-width from the middle).
    """
    worst = 0.0
    for seed in range(10):
        y = noisy(seed)
        fit = fit_smooth(X, y, np.ones(X.size), GRID)
        low, high = fit.band()
        other = make_smoothing_spline(X, y)(GRID)
        half = (high - low) / 2.0
        worst = max(worst, float(np.max(np.abs(other - (low + high) / 2.0) / half)))
    assert 0.05 < worst < 0.8  # and they are not the same curve


def test_noise_and_band_are_right_on_the_average():
    noise, covered, error, half = [], [], [], []
    for seed in range(40):
        fit = fit_smooth(X, noisy(seed), np.ones(X.size), GRID)
        low, high = fit.band()
        truth = s_curve(GRID)
        noise.append(fit.noise)
        covered.append(np.mean((truth >= low) & (truth <= high)))
        error.append(np.sqrt(np.mean((fit.value - truth) ** 2)))
        half.append(np.mean(high - low) / 2.0)
    assert np.mean(noise) == pytest.approx(1.0, abs=0.05)
    assert 0.91 < np.mean(covered) < 0.99
    assert np.mean(half) < 2.4 * np.sqrt(np.mean(np.square(error)))
    # a band of a wider claim is wider, and another noise shows
    assert np.mean(noise) > 2.0 * fit_smooth(X, noisy(1, 0.3), np.ones(X.size), GRID).noise
    narrow, wide = fit.band(0.5), fit.band(0.99)
    assert np.mean(wide[1] - wide[0]) > 2.0 * np.mean(narrow[1] - narrow[0])


def test_never_falls_and_never_overshoots_a_plateau():
    for seed in range(12):
        step = np.where(X < 0.5, 20.0, 80.0) + np.random.default_rng(seed).normal(0, 0.5, X.size)
        fit = fit_smooth(X, step, np.ones(X.size), GRID)
        assert np.all(np.diff(fit.value) >= 0.0)
        for edge in fit.band():
            assert np.all(np.diff(edge) >= 0.0)
        assert fit.value[0] > 15.0
        assert fit.value[-1] < 85.0


def test_without_the_constraint_a_fall_is_seen():
    y = 60.0 - 30.0 * (2.0 * X - 1.0) ** 2
    fit = fit_smooth(X, y, np.ones(X.size), GRID, SmoothSettings(monotone=False))
    assert fit.value[100] - fit.value[-1] == pytest.approx(30.0, abs=0.5)
    rising = fit_smooth(X, y, np.ones(X.size), GRID)
    assert np.all(np.diff(rising.value) >= 0.0)
    assert rising.value[100] < fit.value[100] - 1.0


def test_infinite_sd_leaves_a_point_out():
    y, sd = noisy(3), np.ones(X.size)
    sd[30], keep = np.inf, np.arange(X.size) != 30
    spoilt = y.copy()
    spoilt[30] += 50.0
    left_out = fit_smooth(X, spoilt, sd, GRID)
    removed = fit_smooth(X[keep], y[keep], np.ones(X.size - 1), GRID)
    np.testing.assert_allclose(left_out.value, removed.value, atol=1e-5)
    assert np.max(np.abs(fit_smooth(X, spoilt, np.ones(X.size), GRID).value - removed.value)) > 1.0


def test_only_the_ratios_of_sd_count_unless_they_are_believed():
    y = noisy(4)
    one = fit_smooth(X, y, np.full(X.size, 1.0), GRID)
    ten = fit_smooth(X, y, np.full(X.size, 10.0), GRID)
    np.testing.assert_allclose(ten.value, one.value, atol=1e-4)
    assert 10.0 * ten.noise == pytest.approx(one.noise, rel=1e-4)
    believed = fit_smooth(X, y, np.full(X.size, 10.0), GRID, SmoothSettings(prior_dof=1000.0))
    assert believed.noise > 9.0 * ten.noise


def test_data_without_noise_come_out_exactly():
    fit = fit_smooth(X, 3.0 + 5.0 * X, np.ones(X.size), GRID)
    np.testing.assert_allclose(fit.value, 3.0 + 5.0 * GRID, atol=1e-4)


def test_parabola_is_free_and_straight_line_is_free():
    """What the penalty leaves free survives any smoothing."""
    for order, y in ((3, (1.0 + X) ** 2), (2, 4.0 + X)):
        fit = fit_smooth(X, y, np.ones(X.size), X, SmoothSettings(order=order, smoothing=1e7))
        np.testing.assert_allclose(fit.value, y, atol=1e-4)
    bent = fit_smooth(X, (1.0 + X) ** 2, np.ones(X.size), X, SmoothSettings(2, 1e7))
    assert np.max(np.abs(bent.value - (1.0 + X) ** 2)) > 0.05


@pytest.mark.parametrize(
    ("x", "y"), [([0.0, 0.5, 1.0], [0.0, 1.0, 2.0]), ([0, 0.3, 0.6, 1], [0, 1, np.nan, 3])]
)
def test_refuses_what_it_cannot_fit(x, y):
    with pytest.raises(ValueError, match="too few points"):
        fit_smooth(x, y, np.ones(len(x)), GRID)


# deleted_deviations


def test_deleted_deviation_is_that_of_the_curve_through_the_others():
    """Against the definition, worked out the long way: leave the point out and fit again."""
    y = noisy(5)
    y[20] += 9.0
    deviations, dof = deleted_deviations(X, y, np.ones(X.size))
    keep = np.arange(X.size) != 20
    without = fit_smooth(X[keep], y[keep], np.ones(X.size - 1), X, SmoothSettings(monotone=False))
    expected = (y[20] - without.free[20]) / np.hypot(without.noise, without.sd[20])
    assert deviations[20] == pytest.approx(expected, rel=0.15)
    assert np.argmax(np.abs(deviations)) == 20
    assert 40.0 < dof < 60.0


def test_good_points_deviate_as_they_should():
    found = np.concatenate(
        [deleted_deviations(X, noisy(seed), np.ones(X.size))[0] for seed in range(20)]
    )
    assert np.std(found) == pytest.approx(1.0, abs=0.12)
    assert np.mean(np.abs(found) > 2.0) == pytest.approx(0.05, abs=0.025)


# judge_smooth


@pytest.mark.parametrize("seed", range(4))
def test_noise_and_likelihood_are_those_of_the_whole_fit(seed):
    """Worked out two ways: one amount of smoothing at a time, and all at once by eigenvalues."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(-3.0, 0.2, 40))
    y = 1.5 / (1.0 + np.exp(-(x + 1.2) / 0.2)) + rng.normal(0.0, 0.02, x.size)
    sd = rng.uniform(0.5, 2.0, x.size)
    whole = fit_smooth(x, y, sd, np.array([x.min(), x.max()]), SmoothSettings(noise_floor=0.004))
    assert judge_smooth(x, y, sd, 0.004) == pytest.approx((whole.noise, whole.score), rel=1e-6)


def test_points_without_noise_keep_to_the_floor():
    assert judge_smooth(X, 3.0 + X, np.ones(X.size), 0.01)[0] == pytest.approx(0.01)

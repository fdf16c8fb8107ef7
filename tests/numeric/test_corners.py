"""Corners in a smooth curve, on curves whose corners are known."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.numeric.corners import Judge, Smooth, _Search, make_ramps
from tonewright.numeric.monotone import SmoothSettings, fit_smooth
from tonewright.numeric.splines import cubic_design

X = np.repeat(np.linspace(0.0, 1.0, 51), 2)
GRID = np.linspace(0.0, 1.0, 513)
CORNERS = SmoothSettings(corners=True, bounds=(0.0, 100.0))


def roof(x):
    """Flat, a bent rise from 0.2 to 0.74, flat."""
    part = np.clip((x - 0.2) / 0.54, 0.0, 1.0)
    return 15.0 + 75.0 * (part + 0.3 * part * (1.0 - part))


def _fit(shape, settings, seed, sd=1.0):
    noise = sd * np.random.default_rng(seed).standard_normal(X.size)
    return fit_smooth(X, shape(X) + noise, np.ones(X.size), GRID, settings)


def _rms(fit, shape):
    return float(np.sqrt(np.mean((fit.value - shape(GRID)) ** 2)))


def test_corners_are_found_where_they_are():
    for seed in range(4):
        lower, upper = _fit(roof, CORNERS, seed, 0.5).corners
        assert lower.place == pytest.approx(0.2, abs=0.02)
        assert upper.place == pytest.approx(0.74, abs=0.02)
        assert min(lower.probability, upper.probability) > 0.9


def test_a_curve_without_corners_gets_none_and_stays_as_it_was():
    def wave(x):
        return 50.0 + 40.0 * np.tanh(3.0 * (x - 0.5))

    for seed in range(4):
        plain, with_corners = (_fit(wave, s, seed) for s in (SmoothSettings(), CORNERS))
        assert with_corners.corners == (None, None)
        assert _rms(with_corners, wave) < 1.1 * _rms(plain, wave) + 0.02


def test_with_corners_the_curve_is_nearer_and_its_band_holds():
    near, inside = [], []
    for seed in range(100, 120):
        plain, with_corners = (_fit(roof, s, seed) for s in (SmoothSettings(), CORNERS))
        near.append(_rms(with_corners, roof) / _rms(plain, roof))
        low, high = with_corners.band()
        inside.append(np.mean((low <= roof(GRID)) & (roof(GRID) <= high)))
    assert np.median(near) < 0.75
    assert np.mean(inside) > 0.87


def test_a_bend_the_wrong_way_is_no_corner():
    """At a corner a curve leaves its lower end or reaches its upper one; it does not start to rise
    twice as fast in the lights."""
    def kinked(x):
        return np.where(x < 0.5, 30.0 * x, 15.0 + 80.0 * (x - 0.5))

    _, upper = _fit(kinked, CORNERS, 1).corners
    assert upper is None


def test_a_step_is_found_though_either_of_its_corners_alone_says_little():
    """Nearly all of the rise lies between two neighbouring points near the end."""
    x = np.linspace(0.0, 1.0, 31)
    y = np.where(x < 0.92, 18.0, 93.0)
    fit = fit_smooth(x, y + 0.3 * np.random.default_rng(3).standard_normal(31), np.ones(31), GRID,
                     CORNERS)
    assert fit.value[-1] == pytest.approx(93.0, abs=2.0)
    assert fit.value[0] == pytest.approx(18.0, abs=1.0)


@pytest.mark.parametrize(("sd", "many"), [(1.0, 2), (8.0, 1)])
def test_fits_with_corners_are_those_of_stacked_least_squares(sd, many):
    """Each by numpy's own, which knows nothing of those beside it (Hoerl and Kennard 1970)."""
    x = np.linspace(0.0, 1.0, 31)
    y = roof(x) + sd * np.random.default_rng(5).standard_normal(x.size)
    columns, bends = cubic_design(x, 12), np.diff(np.eye(15), 3, axis=0)
    amounts = np.array([0.01, 1.0, 100.0])
    ramps, judge = make_ramps(x, GRID), Judge(28.0, 0.0, 1e-6)
    smooth = Smooth(columns, y, np.ones(x.size), bends.T @ bends, amounts, np.full(3, 1e3),
                    np.zeros(3))
    ridge = np.sqrt(1e-9 * np.trace(columns.T @ columns) / 15) * np.eye(15)
    alone = [np.vstack([columns, np.sqrt(amount) * bends, ridge]) for amount in amounts]
    goal = np.concatenate([y, np.zeros(27)])
    for i, rows in enumerate(alone):
        left = goal - rows @ np.linalg.lstsq(rows, goal, rcond=None)[0]
        smooth.misfit[i] = left @ left
    found = _Search(ramps, smooth, judge, 1.0).find()
    assert {len(one.columns) for one in found} == {many}
    for one in found:
        prior = np.diag(1.0 / (ramps.slope[[*one.columns]] * np.ptp(y)))
        edge = np.vstack([ramps.data[:, [*one.columns]], np.zeros((27, many))])
        fits = []
        for rows in alone:
            whole = np.vstack([np.hstack([rows, edge]), np.hstack([np.zeros((many, 15)), prior])])
            wanted = np.concatenate([goal, np.zeros(many)])
            own = np.linalg.lstsq(whole, wanted, rcond=None)[0]
            fits.append((np.abs(own - one.coefficients).max(), np.sum((wanted - whole @ own)**2)))
        away, misfit = min(fits)
        assert away < 1e-5
        assert one.noise_squared == pytest.approx(misfit / 28.0, rel=1e-6)

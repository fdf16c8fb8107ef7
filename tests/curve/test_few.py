"""How far a few patches move a curve: checked by drawing truths, no formula of our own."""

import numpy as np
import pytest

from tonewright import scales
from tonewright.curve.few import BETTER, few_strays, part_to_follow

LEVEL = np.linspace(0.0, 1.0, 101)
CURVE = 1.6 - 1.5 * LEVEL**1.2


def _modes(size):
    """Two smooth ways in which a curve may be off, as large as ``size`` in density."""
    shapes = np.stack([np.sin(np.pi * LEVEL), np.sin(2.0 * np.pi * LEVEL)], axis=1)
    return shapes * size


def _distance(density, truth):
    """RMS in L* over the tones, by its definition: equal steps of lightness."""
    light, true = scales.density_to_lightness(density), scales.density_to_lightness(truth)
    tones = np.linspace(light.min(), light.max(), 200)
    at = np.interp(tones, light, LEVEL)
    return float(np.sqrt(np.mean((np.interp(at, LEVEL, light) - np.interp(at, LEVEL, true)) ** 2)))


def _trial(prior, noise, rng):
    """A curve known to ``prior``, seven readings, and both answers: before and after."""
    modes = _modes(prior)
    truth = CURVE + modes @ rng.standard_normal(2)
    places = np.array([10, 23, 37, 50, 63, 77, 90])
    readings = truth[places] + noise * rng.standard_normal(7)
    rows = modes[places] / noise
    covariance = np.linalg.inv(rows.T @ rows + np.eye(2))  # Gauss-Markov, the prior of unit size
    after = CURVE + modes @ (covariance @ rows.T @ ((readings - CURVE[places]) / noise))
    return truth, after, modes @ covariance @ modes.T


@pytest.mark.parametrize("prior", [0.005, 0.02, 0.08])
def test_it_gets_no_worse_as_often_as_promised(prior):
    rng = np.random.default_rng(int(prior * 1000))
    no_worse, error, whole = [], [], []
    for _ in range(400):
        truth, after, covariance = _trial(prior, 0.02, rng)
        part = part_to_follow(CURVE, after, covariance)
        moved = CURVE + part * (after - CURVE)
        no_worse.append(_distance(moved, truth) <= _distance(CURVE, truth) + 1e-9)
        error.append(_distance(moved, truth))
        whole.append(_distance(after, truth))
    # 400 trials: the share is good to about 0.02
    assert np.mean(no_worse) >= BETTER - 0.02
    # caution costs less than a fifth of what following them blindly reaches
    assert np.mean(error) <= 1.2 * np.mean(whole) + 0.01


def test_following_blindly_is_worse_far_more_often():
    """The trial can fail: a good curve, moved all the way, gets worse one time in three."""
    rng = np.random.default_rng(5)
    worse = []
    for _ in range(400):
        truth, after, _ = _trial(0.005, 0.02, rng)
        worse.append(_distance(after, truth) > _distance(CURVE, truth))
    assert np.mean(worse) > 0.2


def test_plain_news_is_followed_whole():
    after = CURVE + 0.15 * np.sin(np.pi * LEVEL)
    assert part_to_follow(CURVE, after, 1e-6 * np.eye(101)) == 1.0


def test_patches_that_say_nothing_new_move_nothing():
    after = CURVE + 0.001 * np.sin(np.pi * LEVEL)
    modes = _modes(0.02)
    assert part_to_follow(CURVE, after, modes @ modes.T) == 0.0
    assert part_to_follow(CURVE, CURVE, modes @ modes.T) == 1.0


def known(count=7, sd=0.02):
    """Densities known before, all together too high or too low by the same unknown amount."""
    return np.linspace(1.4, 0.2, count), np.full((count, count), 0.1**2), np.full(count, sd)


def test_a_slip_in_one_patch_is_told_from_a_shift_of_all():
    expected, covariance, sd = known()
    shifted = expected + 0.15
    assert few_strays(expected, covariance, shifted, sd) == {}
    shifted[2] += 0.2
    found = few_strays(expected, covariance, shifted, sd)
    assert list(found) == [2]
    assert found[2][0] == pytest.approx(0.2, abs=0.02)
    # the deleted residual: its own noise, and that of the mean of the six others
    assert found[2][1] == pytest.approx(found[2][0] / np.hypot(0.02, 0.02 / np.sqrt(6)), rel=0.02)


def test_good_patches_are_hardly_ever_strays_and_contradicting_ones_never():
    expected, covariance, sd = known()
    rng = np.random.default_rng(4)
    good = rng.multivariate_normal(expected, covariance + np.diag(sd**2), size=200)
    assert sum(bool(few_strays(expected, covariance, row, sd)) for row in good) <= 4
    zigzag = expected + 0.2 * np.array([1, -1, 1, -1, 1, -1, 1])
    assert few_strays(expected, covariance, zigzag, sd) == {}


def test_a_lone_patch_is_held_against_what_was_known():
    expected, covariance, sd = known(1)
    assert few_strays(expected, covariance, expected + 0.3, sd) == {}
    assert list(few_strays(expected, covariance, expected + 0.5, sd)) == [0]

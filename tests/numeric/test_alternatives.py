"""Alternatives compared: against closed forms from scipy, and their p-value against Student's t."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm, t

from tonewright.numeric.alternatives import Noise, Scatters, Shifts, explain, explain_again

N = 7
RNG = np.random.default_rng(5)
ROOT = RNG.standard_normal((N, N))
COVARIANCE = ROOT @ ROOT.T + np.eye(N)
DIRECTION = RNG.standard_normal(N)
NOTHING = np.zeros((N, N))
NOISE = Noise(COVARIANCE, NOTHING, 5.0)


def either(usual=2.0, along=DIRECTION, count=401):
    size = np.linspace(-6.0, 6.0, count) * usual
    weight = np.exp(-0.5 * (size / usual) ** 2)
    return Shifts(size, size[:, None] * along, weight / weight.sum())


def differences(size, seed=1):
    noise = np.random.default_rng(seed).multivariate_normal(np.zeros(N), COVARIANCE)
    return noise + size * DIRECTION


def log_density(found, more):
    return multivariate_normal(np.zeros(N), COVARIANCE + more).logpdf(found)


def test_a_normal_size_gives_the_factor_of_the_normal_distribution():
    found = differences(3.0)
    wide = 4.0 * np.outer(DIRECTION, DIRECTION)
    got = explain(found, NOISE, [either()], [1.0])
    assert got.log_factors[0] == pytest.approx(log_density(found, wide) - log_density(found, 0.0),
                                               abs=1e-6)
    # the conjugate posterior of the size
    precision = DIRECTION @ np.linalg.solve(COVARIANCE, DIRECTION) + 1.0 / 4.0
    mean = DIRECTION @ np.linalg.solve(COVARIANCE, found) / precision
    assert got.sizes[0] == pytest.approx((mean, precision**-0.5), abs=1e-6)


def test_scatter_gives_the_same_factor():
    found = differences(-2.0, seed=3)
    wide = 4.0 * np.outer(DIRECTION, DIRECTION)
    got = explain(found, NOISE, [Scatters(np.array([2.0]), wide[None], np.array([1.0]))],
                  [1.0])
    assert got.log_factors[0] == pytest.approx(log_density(found, wide) - log_density(found, 0.0),
                                               abs=1e-9)


@pytest.mark.parametrize("size", [0.2, 0.6, 1.0])
def test_of_one_direction_it_is_the_test_of_the_normal_distribution(size):
    """One size of either sign is tested by its z value; 2000 draws tell the tail to about 0.015."""
    found = differences(size, seed=8)
    stiff = np.linalg.solve(COVARIANCE, DIRECTION)
    value = abs(stiff @ found) / np.sqrt(stiff @ DIRECTION)
    got = explain(found, NOISE, [either()], [1.0]).probability
    assert got == pytest.approx(2.0 * norm.sf(value), abs=0.03)


@pytest.mark.parametrize("value", [1.0, 2.0, 3.0])
def test_noise_of_a_size_known_by_a_few_values_makes_it_the_test_of_student(value):
    one = np.array([[1.0]])
    noise = Noise(1e-9 * one, one, 5.0)
    size = np.linspace(-9.0, 9.0, 401)
    ways = [Shifts(size, size[:, None], np.full(401, 1.0 / 401.0))]
    got = explain(np.array([value]), noise, ways, [1.0]).probability
    assert got == pytest.approx(2.0 * t.sf(value, 5.0), abs=0.03)


def test_noise_alone_is_called_so_as_often_as_is_said():
    rng = np.random.default_rng(7)
    ways = [either(count=41), *(either(3.0, rng.standard_normal(N), 41) for _ in range(3)),
            Scatters(np.array([1.0]), np.eye(N)[None], np.array([1.0]))]
    seldom = [explain(differences(0.0, seed), NOISE, ways, 5 * [0.2]).probability < 0.1
              for seed in range(300)]
    assert np.mean(seldom) == pytest.approx(0.1, abs=0.05)


def test_a_test_beside_others_loses_little():
    """Of five tests taken together each still speaks at about a fifth of the level, whatever
    the others say: for z = 3.5 that is far beyond one in a hundred."""
    stiff = np.linalg.solve(COVARIANCE, DIRECTION)
    found = 3.5 * DIRECTION / np.sqrt(stiff @ DIRECTION)
    rng = np.random.default_rng(7)
    ways = [either(3.0, rng.standard_normal(N)) for _ in range(4)]
    alone = explain(found, NOISE, [either()], [1.0]).probability
    beside = explain(found, NOISE, [either(), *ways], 5 * [0.2]).probability
    assert alone < 0.003 and alone <= beside < 0.01


def test_other_noise_changes_the_factors_but_not_the_test():
    found = differences(2.0)
    first = explain(found, NOISE, [either()], [1.0])
    again = explain_again(first, found, Noise(2.0 * COVARIANCE, NOTHING, 5.0), [either()])
    assert again.probability == first.probability
    wide = 4.0 * np.outer(DIRECTION, DIRECTION)
    assert again.log_factors[0] == pytest.approx(
        log_density(found, COVARIANCE + wide) - log_density(found, COVARIANCE), abs=1e-6)

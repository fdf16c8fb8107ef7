"""Alternatives compared: against closed forms from scipy, and their p-value against Student's t."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, t

from tonewright.numeric.alternatives import NOISE_WORTH, Scatters, Shifts, explain

N = 7
RNG = np.random.default_rng(5)
ROOT = RNG.standard_normal((N, N))
COVARIANCE = ROOT @ ROOT.T + np.eye(N)
DIRECTION = RNG.standard_normal(N)


def either(usual=2.0, share=1.0):
    size = np.linspace(-6.0, 6.0, 401) * usual
    weight = np.exp(-0.5 * (size / usual) ** 2)
    return Shifts(size, size[:, None] * DIRECTION, share * weight / weight.sum())


def differences(size, seed=1):
    noise = np.random.default_rng(seed).multivariate_normal(np.zeros(N), COVARIANCE)
    return noise + size * DIRECTION


def log_density(found, more):
    return multivariate_normal(np.zeros(N), COVARIANCE + more).logpdf(found)


def test_a_normal_size_gives_the_factor_of_the_normal_distribution():
    found = differences(3.0)
    wide = 4.0 * np.outer(DIRECTION, DIRECTION)
    got = explain(found, COVARIANCE, [either()])
    assert got.log_factors[0] == pytest.approx(log_density(found, wide) - log_density(found, 0.0),
                                               abs=1e-6)
    # the conjugate posterior of the size
    precision = DIRECTION @ np.linalg.solve(COVARIANCE, DIRECTION) + 1.0 / 4.0
    mean = DIRECTION @ np.linalg.solve(COVARIANCE, found) / precision
    assert got.sizes[0] == pytest.approx((mean, precision**-0.5), abs=1e-6)


def test_scatter_gives_the_same_factor():
    found = differences(-2.0, seed=3)
    wide = 4.0 * np.outer(DIRECTION, DIRECTION)
    got = explain(found, COVARIANCE, [Scatters(np.array([2.0]), wide[None], np.array([1.0]))])
    assert got.log_factors[0] == pytest.approx(log_density(found, wide) - log_density(found, 0.0),
                                               abs=1e-9)


def test_shares_count():
    found = differences(1.0)
    half, whole = (explain(found, COVARIANCE, [either(share=s)]).log_factors[0]
                   for s in (0.5, 1.0))
    assert whole - half == pytest.approx(np.log(2.0), abs=1e-9)


@pytest.mark.parametrize("size", [0.2, 0.6, 1.0])
def test_of_one_direction_it_is_the_test_of_student(size):
    """One size of either sign is tested by its t value; 2000 draws tell the tail to about 0.015."""
    found = differences(size, seed=8)
    stiff = np.linalg.solve(COVARIANCE, DIRECTION)
    value = abs(stiff @ found) / np.sqrt(stiff @ DIRECTION)
    got = explain(found, COVARIANCE, [either()]).probability
    assert got == pytest.approx(2.0 * t.sf(value, NOISE_WORTH), abs=0.03)


def test_noise_alone_is_called_so_as_often_as_is_said():
    seldom = [explain(differences(0.0, seed), COVARIANCE, [either()]).probability < 0.1
              for seed in range(300)]
    assert np.mean(seldom) == pytest.approx(0.1, abs=0.05)

"""Which of a few patches count: checked by planting slips."""

import numpy as np
import pytest

from tonewright.curve.few import few_strays


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

"""Least squares without negative unknowns, against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from tonewright.numeric.nonnegative import nnls, partly_nonnegative


@pytest.mark.parametrize(("rows", "columns"), [(40, 12), (12, 12), (20, 130), (3, 1), (200, 60)])
def test_as_scipy(rows, columns):
    rng = np.random.default_rng(rows + columns)
    for _ in range(20):
        matrix, goal = rng.standard_normal((rows, columns)), rng.standard_normal(rows)
        found, (known, distance) = nnls(matrix, goal), optimize.nnls(matrix, goal)
        assert np.all(found >= 0.0)
        assert np.linalg.norm(matrix @ found - goal) == pytest.approx(distance, abs=1e-9)
        if rows >= columns:  # else several answers are as good
            assert found == pytest.approx(known, abs=1e-8)


def test_columns_that_are_alike():
    rng = np.random.default_rng(0)
    matrix = np.repeat(rng.standard_normal((30, 4)), 3, axis=1)
    goal = matrix @ rng.uniform(0.0, 1.0, 12)
    assert matrix @ nnls(matrix, goal) == pytest.approx(goal, abs=1e-9)


def test_nothing_helps():
    assert nnls(np.eye(4), -np.ones(4)).tolist() == [0.0] * 4
    assert nnls(np.eye(4), np.zeros(4)).tolist() == [0.0] * 4


@pytest.mark.parametrize("signed", [1, 5, 11])
def test_some_may_have_either_sign(signed):
    rng = np.random.default_rng(signed)
    for _ in range(20):
        matrix, goal = rng.standard_normal((40, 12)), rng.standard_normal(40)
        floor = np.where(np.arange(12) < signed, -np.inf, 0.0)
        known = optimize.lsq_linear(matrix, goal, (floor, np.inf), method="bvls", tol=1e-14).x
        assert partly_nonnegative(matrix, goal, signed) == pytest.approx(known, abs=1e-7)

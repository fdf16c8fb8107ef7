"""Splines, Student's distribution and least squares against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline
from scipy.optimize import least_squares
from scipy.special import chdtri, stdtrit

from tonewright.numeric.least_squares import minimise
from tonewright.numeric.splines import cubic_design
from tonewright.numeric.student import chi_square_quantile, student_quantile


@pytest.mark.parametrize("intervals", [1, 16, 24])
def test_the_basis_is_that_of_scipy(intervals):
    places = np.concatenate([np.linspace(0.0, 1.0, 97), np.random.default_rng(0).random(50)])
    knots = np.arange(-3, intervals + 4) / intervals
    expected = BSpline.design_matrix(places, knots, 3).toarray()
    assert cubic_design(places, intervals) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("dof", [1.0, 1.24, 2.0, 3.0, 7.5, 29.0, 31.0, 120.0, 4e4])
def test_quantiles_of_students_distribution(dof):
    for part in (0.5, 0.6, 0.9, 0.975, 0.9998):
        assert student_quantile(part, dof) == pytest.approx(stdtrit(dof, part), rel=3e-5)


@pytest.mark.parametrize("dof", [1, 2, 3, 10])
def test_quantiles_of_chi_square(dof):
    for part in (0.2, 0.9, 0.99, 0.999):
        assert chi_square_quantile(part, dof) == pytest.approx(chdtri(dof, 1.0 - part), rel=1e-4)


@pytest.mark.parametrize("span", [10.0, 0.8])
def test_least_squares_end_where_scipys_do(span):
    """A logistic curve through noisy points; the narrow span holds one unknown back."""
    rng = np.random.default_rng(1)
    x = np.linspace(-4.0, 4.0, 40)
    y = 2.0 / (1.0 + np.exp(-(x - 0.5) / 0.7)) + rng.normal(0.0, 0.02, 40)

    def residuals(unknowns):
        height, middle, width = np.moveaxis(unknowns, -1, 0)[..., None]
        return height / (1.0 + np.exp(-(x - middle) / width)) - y

    start = np.array([1.0, 0.0, 1.0])
    low, high = start - np.minimum(span, [10.0, 10.0, 0.9]), start + span
    found, slopes, cost = minimise(residuals, start, np.ones(3), (low, high))
    expected = least_squares(residuals, start, bounds=(low, high), xtol=1e-12, ftol=1e-12)
    assert found == pytest.approx(expected.x, abs=1e-4)
    assert cost == pytest.approx(expected.cost, rel=1e-5)
    assert slopes == pytest.approx(expected.jac, abs=1e-3)


def test_residuals_that_are_no_numbers_are_refused():
    with pytest.raises(np.linalg.LinAlgError):
        minimise(lambda u: np.full((len(u), 3), np.nan), np.zeros(2), np.ones(2),
                 (np.full(2, -1.0), np.ones(2)))

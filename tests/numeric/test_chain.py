"""Two curves one behind the other."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from tonewright.numeric.chain import ChainData, RiseModel, fit_chain, model_from_sample

pytestmark = pytest.mark.fits_anew

NODES = np.linspace(-4.0, 2.0, 301)


def outer(x):
    return 0.1 + 1.5 * expit((x + 1.2) / 0.25)


def inner(u):
    return 2.2 * u**1.3


def known():
    """An outer curve of which hardly anything is left open."""
    return RiseModel(NODES, outer(NODES), 1e-4 * np.stack([np.ones(301), NODES], axis=1))


def data(shift=0.0, noise=0.02, seed=0, points=41):
    u = np.linspace(0.0, 1.0, points)
    y = outer(shift - inner(u)) + np.random.default_rng(seed).normal(0.0, noise, points)
    return ChainData(0, shift, u, y, np.full(points, noise))


def test_the_inner_curve_is_found_and_starts_at_0():
    fit = fit_chain([data()], [known()], 2.0)
    u = np.linspace(0.0, 0.9, 30)
    value, sd = fit.inner(u)
    assert value[0] == 0.0
    assert sd[0] == 0.0
    assert np.all(np.diff(value) >= -1e-9)
    seen = inner(u) < 2.0  # beyond, the outer curve is flat and tells little
    assert np.sqrt(np.mean((value - inner(u))[seen] ** 2)) < 0.06
    assert fit.noise == pytest.approx(1.0, abs=0.3)


def test_the_band_of_the_prediction_holds_the_truth():
    u = np.linspace(0.0, 1.0, 60)
    inside = []
    for seed in range(8):
        fit = fit_chain([data(seed=seed)], [known()], 2.0)
        value, covariance = fit.outer(0, 0.2, u)
        sd = np.sqrt(np.diag(covariance))
        inside.append(np.mean(np.abs(value - outer(0.2 - inner(u))) < 1.96 * sd + 1e-3))
    assert 0.85 < np.mean(inside) <= 1.0


def test_two_sets_of_points_know_more_than_one():
    u = np.linspace(0.1, 0.9, 30)
    one = fit_chain([data(seed=1)], [known()], 2.0).inner(u)[1]
    two = fit_chain([data(seed=1), data(seed=2, shift=0.3)], [known()], 2.0).inner(u)[1]
    assert two.mean() < one.mean()


def test_a_loose_shift_leaves_more_open():
    tight, loose = data(), data()
    loose = ChainData(0, loose.shift, loose.u, loose.y, loose.sd, shift_sd=0.1)
    u = np.array([0.5])
    assert fit_chain([loose], [known()], 2.0).inner(u)[1] > fit_chain([tight], [known()],
                                                                      2.0).inner(u)[1]


def test_modes_of_a_sample_give_back_its_spread():
    rng = np.random.default_rng(5)
    curves = outer(NODES) + rng.normal(0, 0.05, (400, 1)) + rng.normal(0, 0.02, (400, 1)) * NODES
    model = model_from_sample(NODES, curves, np.ones(400))
    assert model.mean == pytest.approx(curves.mean(axis=0))
    spread = np.sqrt((model.modes**2).sum(axis=1))
    assert spread == pytest.approx(curves.std(axis=0), rel=1e-6)

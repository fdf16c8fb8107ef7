"""Rising curves and what is not known of them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tonewright.numeric.sigmoid import FAMILIES, sample_rises

pytestmark = pytest.mark.fits_anew

Z = np.linspace(-8.0, 8.0, 161)
NAMED = {f.name: f for f in FAMILIES}


@pytest.mark.parametrize(("name", "reference"), [
    ("logistic", stats.logistic.cdf), ("normal", stats.norm.cdf),
    ("early", stats.gumbel_r.cdf), ("late", stats.gumbel_l.cdf)])
def test_families_are_distribution_functions(name, reference):  # scipy.stats
    assert NAMED[name].rise(Z, np.array([])) == pytest.approx(reference(Z), abs=1e-12)


def test_richards_with_nu_1_is_logistic():  # Richards 1959
    assert NAMED["richards"].rise(Z, np.array([0.0])) == pytest.approx(stats.logistic.cdf(Z))


def test_algebraic_with_m_2_is_students_distribution_with_2_degrees():  # scipy.stats
    rise = NAMED["algebraic"].rise(Z, np.array([np.log(2.0)]))
    assert rise == pytest.approx(stats.t(2).cdf(Z * np.sqrt(2.0)), abs=1e-9)


def test_a_second_layer_that_is_the_first_is_none():
    same = NAMED["two layers"].rise(Z, np.array([0.7, -30.0, 0.0]))
    assert same == pytest.approx(stats.logistic.cdf(Z), abs=1e-9)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.name)
def test_every_family_rises_from_0_to_1(family):
    shape = np.array(family.shape_mean)
    wide = np.linspace(-60.0, 60.0, 4001)
    rise = family.rise(wide, shape)
    assert np.all(np.diff(rise) >= -1e-12)
    assert rise[0] == pytest.approx(0.0, abs=1e-4)
    assert rise[-1] == pytest.approx(1.0, abs=1e-4)


def truth(x):  # of none of the families: an arctangent-like rise, cut short
    return 0.1 + 1.5 * (2.0 / np.pi) * np.arctan(np.exp((x + 1.2) / 0.24))


def test_samples_hold_a_truth_of_no_family_and_never_fall():
    nodes = np.linspace(-3.2, 0.2, 120)
    x = -np.arange(31) * 0.1
    inside = []
    for seed in range(6):
        y = truth(x) + np.random.default_rng(seed).normal(0.0, 0.02, x.size)
        curves = sample_rises(x, y, np.full(x.size, 0.02), nodes, (1.0, 0.4), 300).curves
        assert curves.shape == (300, nodes.size)
        assert np.all(np.diff(curves, axis=1) >= 0.0)
        low, high = np.quantile(curves, [0.025, 0.975], axis=0)
        inside.append(np.mean((truth(nodes) >= low) & (truth(nodes) <= high)))
    assert np.mean(inside) > 0.8


def test_the_same_points_give_the_same_curves():
    x = -np.arange(31) * 0.1
    nodes = np.linspace(-3.2, 1.0, 50)
    one, two = (sample_rises(x, truth(x), np.full(31, 0.02), nodes, (1.0, 0.4), 50).curves
                for _ in range(2))
    assert np.array_equal(one, two)


@pytest.mark.filterwarnings("error")
def test_level_points_of_very_uneven_noise_give_curves_without_a_warning():
    for seed in (1, 9):
        rng = np.random.default_rng(seed)
        x = np.sort(rng.uniform(-3.0, 0.0, 31))
        x[[1, 5]] = x[[0, 4]]
        sd = 10.0 ** rng.uniform(-9.0, 0.0, 31)
        nodes = np.linspace(-3.0, 1.0, 40)
        curves = sample_rises(x, np.full(31, 0.5), sd, nodes, (1.5, 0.4), 50).curves
        assert np.isfinite(curves).all()


@pytest.mark.parametrize("name", ["corners", "hyperbolic"])
def test_ends_that_turn_at_once_leave_a_straight_line(name):
    rise = NAMED[name].rise(Z, np.array([-9.0, -9.0, 0.0]))
    assert rise == pytest.approx(np.clip(Z, 0.0, 1.0), abs=1e-3)


def ramp(x, length=1.1):  # level, straight, level; no rounding at all
    return 0.08 + 1.6 * np.clip((x + 1.6) / length, 0.0, 1.0)


def test_the_corners_of_a_ramp_are_found_where_they_are():
    x, nodes = -np.arange(62) * 0.05, np.linspace(-3.2, 0.5, 150)
    for seed in range(2):
        y = ramp(x) + np.random.default_rng(seed).normal(0.0, 0.02, x.size)
        found = sample_rises(x, y, np.full(x.size, 0.02), nodes, (1.5, 0.4), 400)
        for at, where in ((found.lower_corner, -1.6), (found.upper_corner, -0.5)):
            assert np.mean(np.isfinite(at)) > 0.8
            assert np.nanmedian(at) == pytest.approx(where, abs=0.05)
        low, high = np.quantile(found.curves, [0.005, 0.995], axis=0)
        assert np.mean((ramp(nodes) >= low - 1e-3) & (ramp(nodes) <= high + 1e-3)) > 0.9


def test_a_gentle_curve_has_none():
    x, nodes = -np.arange(62) * 0.05, np.linspace(-3.2, 0.5, 50)
    for seed in range(3):
        y = truth(x) + np.random.default_rng(seed).normal(0.0, 0.02, x.size)
        found = sample_rises(x, y, np.full(x.size, 0.02), nodes, (1.5, 0.4), 400)
        assert np.mean(np.isfinite(found.lower_corner)) < 0.3
        assert np.mean(np.isfinite(found.upper_corner)) < 0.3

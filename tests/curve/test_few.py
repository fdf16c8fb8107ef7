"""Which of a few patches count, checked by planting slips; how far they move a curve, by drawing
truths."""

import numpy as np
import pytest

from tonewright.curve.few import ALONG, BETTER, few_strays, follow, part_to_follow
from tonewright.curve.responses import PrintResponse


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


LEVEL = np.linspace(0.0, 1.0, 101)
CURVE = 20.0 + 75.0 * LEVEL
SD = np.full(101, 0.7)


def test_going_part_of_the_way_is_better_as_often_as_is_said():
    """The truth lies about the new curve as its standard deviation says."""
    rng = np.random.default_rng(1)
    near = np.exp(-0.5 * ((LEVEL[:, None] - LEVEL[None, :]) / ALONG) ** 2)
    errors = rng.multivariate_normal(np.zeros(101), 0.7**2 * near, size=4000, method="eigh")
    for size in (0.4, 0.7, 1.0):
        after = CURVE + size * (0.5 + LEVEL)
        part = part_to_follow(LEVEL, CURVE, after, SD)
        went = CURVE + part * (after - CURVE)
        before, now = (np.mean((after + errors - curve) ** 2, axis=1) for curve in (CURVE, went))
        if 0.0 < part < 1.0:
            assert np.mean(now < before) == pytest.approx(BETTER, abs=0.02)
    assert 0.0 < part_to_follow(LEVEL, CURVE, CURVE + 0.7 * (0.5 + LEVEL), SD) < 1.0


def test_a_sure_curve_is_followed_and_an_unsure_one_is_not():
    after = CURVE + np.sin(6.0 * LEVEL)
    assert part_to_follow(LEVEL, CURVE, after, 1e-3 * SD) == 1.0
    assert part_to_follow(LEVEL, CURVE, after, 10.0 * SD) == 0.0
    assert part_to_follow(LEVEL, CURVE, CURVE, SD) == 1.0


@pytest.mark.parametrize("sd", [1e-3, 0.7, 10.0])
def test_the_band_holds_what_is_left_of_the_way(sd):
    after = CURVE + 0.8 * (0.5 + LEVEL)
    response = PrintResponse(LEVEL, after, after - 1.96 * sd, after + 1.96 * sd,
                             after - 2.5 * sd, after + 2.5 * sd)
    got = follow(CURVE, response)
    left = after - got.lightness
    wide = np.hypot(1.96 * sd, 1.96 * left)
    inside = slice(20, 80)  # beyond, the edges meet black and white
    assert (got.lightness - got.lightness_low)[inside] == pytest.approx(wide[inside], abs=0.01)
    assert (got.lightness_high - got.lightness)[inside] == pytest.approx(wide[inside], abs=0.01)
    for column in (got.lightness, got.lightness_low, got.lightness_high, got.reading_low,
                   got.reading_high):
        assert np.all(np.diff(column) >= 0.0)
    assert np.all(got.reading_low <= got.lightness_low)

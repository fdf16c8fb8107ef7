"""Reading a curve backwards: a published table, a round trip and the level stretches."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from tonewright.numeric.inverse import first_place, first_places, invert, invert_band

REFERENCE = Path(__file__).parents[1] / "reference"


def test_dicom_grayscale_calibration_end_to_end():
    """NEMA DICOM PS3.14, Annex D.1: measured curve in, the printed 256-entry table out.

    The measured luminance is interpolated (cubic) to the 1024 output levels, the targets are
    equally spaced in just-noticeable differences by the standard's two formulas, and each is
    looked up backwards.  Of 256 entries at most five differ, none by more than 1 of 1023.
    """
    case = json.loads((REFERENCE / "dicom_d1.json").read_text(encoding="utf-8"))
    measured, g = np.array(case["measured_luminance_cd_m2"]), case["gsdf"]

    def steps(luminance):
        return sum(g[k] * np.log10(luminance) ** i for i, k in enumerate("ABCDEFGHI"))

    def luminance(step):
        x = np.log(step)
        above = sum(g[k] * x**i for i, k in enumerate(("a", "c", "e", "g", "m")))
        return 10 ** (above / (1 + sum(g[k] * x ** (i + 1) for i, k in enumerate("bdfhk"))))

    output = np.arange(1024)
    curve = np.maximum.accumulate(CubicSpline(np.arange(256), measured)(output * 255 / 1023))
    wanted = luminance(np.linspace(steps(measured[0]), steps(measured[-1]), 256))
    # the two formulas are inverses to 1e-3 only; the ends are the measured ones by definition
    wanted[[0, -1]] = measured[[0, -1]]
    found = np.round(invert(output, curve, wanted))
    off = np.abs(found - case["lut"])[1:]
    assert np.count_nonzero(off) <= 5
    assert off.max() <= 1
    # the darkest tone comes out of a whole stretch of levels; the table takes the first
    assert invert_band(output, curve, curve, wanted)[0][0] == case["lut"][0]


rising = st.lists(st.floats(0.01, 10.0), min_size=2, max_size=20)


@given(rising, rising, st.floats(0.0, 1.0))
def test_round_trip(steps_x, steps_y, part):
    size = min(len(steps_x), len(steps_y))
    x, y = np.cumsum(steps_x[:size]), np.cumsum(steps_y[:size])
    place = x[0] + part * (x[-1] - x[0])
    assert invert(x, y, np.interp(place, x, y)) == pytest.approx(place, rel=1e-9, abs=1e-9)


@given(st.lists(st.sampled_from([0.0, 1.0, 2.5]), min_size=2, max_size=12), st.floats(-3.0, 30.0))
def test_level_stretches_and_ends(steps, wanted):
    y = np.cumsum(steps)
    x = np.arange(y.size, dtype=float)
    place = float(invert(x, y, wanted))
    assert 0.0 <= place <= x[-1]
    assert np.interp(place, x, y) == pytest.approx(np.clip(wanted, y[0], y[-1]))
    first, last = invert_band(x, y, y, wanted)
    assert first - 1e-12 <= place <= last + 1e-12
    # beyond an end it is as at the end
    held = np.clip(wanted, y[0], y[-1])
    assert place == invert(x, y, held)


def test_the_middle_of_a_level_stretch():
    x, y = [0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 1.0, 5.0, 5.0, 5.0]
    np.testing.assert_allclose(invert(x, y, [5.0, 5.001, 99.0, -1.0]), [3.0, 3.0, 3.0, 0.0])
    np.testing.assert_allclose(invert([0, 1, 2, 3], [2.0, 2.0, 3.0, 4.0], [1.0, 2.0]), [0.5, 0.5])
    np.testing.assert_allclose(invert([0, 1, 2, 3], [1.0, 2.0, 2.0, 4.0], 2.0), 1.5)


def test_shape_is_kept_and_nan_stays():
    found = invert([0.0, 1.0], [0.0, 10.0], [[5.0, np.nan], [10.0, 0.0]])
    np.testing.assert_array_equal(found, [[0.5, np.nan], [1.0, 0.0]])


def test_band_backwards_holds_every_curve_inside_the_band():
    """Any rising curve between the edges takes the value within the inverted band."""
    rng = np.random.default_rng(7)
    x = np.linspace(0.0, 1.0, 101)
    middle = 20 + 60 * x**2
    low, high = middle - 2 - 3 * x, middle + 2 + 3 * x
    wanted = np.linspace(25.0, 75.0, 21)
    first, last = invert_band(x, low, high, wanted)
    for _ in range(50):
        inside = np.maximum.accumulate(low + rng.uniform() ** 2 * (high - low))
        place = invert(x, inside, wanted)
        assert np.all(place >= first - 1e-12)
        assert np.all(place <= last + 1e-12)
    # and no wider: the edges themselves touch it
    np.testing.assert_allclose(invert(x, high, wanted), first, atol=1e-12)
    np.testing.assert_allclose(invert(x, low, wanted), last, atol=1e-12)


def test_band_where_an_edge_never_gets_there_goes_to_the_end():
    x = [0.0, 0.5, 1.0]
    first, last = invert_band(x, [0.0, 40.0, 80.0], [20.0, 60.0, 100.0], [90.0, 10.0])
    np.testing.assert_allclose(first, [0.875, 0.0])
    np.testing.assert_allclose(last, [1.0, 0.125])


def test_many_curves_are_read_like_one_at_a_time():
    rng = np.random.default_rng(3)
    x = np.linspace(-2.0, 1.0, 30)
    rows = np.cumsum(rng.choice([0.0, 0.1, 0.3], (20, 30)), axis=1)
    wanted = rng.uniform(-0.5, 6.0, 20)
    each = [first_place(x, row, w) for row, w in zip(rows, wanted, strict=True)]
    assert first_places(x, rows, wanted) == pytest.approx(np.array(each), abs=1e-12)

"""Control charts against the handbook's worked examples, and how often they are right.

The simulations count on normal scatter; their seeds are fixed.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tonewright.numeric.control import (
    FEWEST,
    chart,
    ewma,
    ewma_spread,
    limits,
    moving_range_sd,
)

HANDBOOK = json.loads((Path(__file__).parents[1] / "reference" / "nist_control_charts.json")
                      .read_text(encoding="utf-8"))
DRIFT = 1.0 / 6.0
OUTSIDE = 0.01


def test_the_handbook_s_individuals():
    """e-Handbook 6.3.2.2: centre 50.81, mean range 1.8778, limits 45.8159 and 55.8041."""
    given = HANDBOOK["individuals"]
    centre = float(np.mean(given["x"]))
    assert np.abs(np.diff(given["x"])) == pytest.approx(given["MR"])
    assert moving_range_sd(given["x"]) * 1.128 == pytest.approx(given["MRbar"], abs=5e-5)
    assert centre == pytest.approx(given["mean"], abs=5e-3)
    # the handbook works on from the rounded mean range
    found = limits(centre, moving_range_sd(given["x"]))
    assert found == pytest.approx((given["LCL"], given["UCL"]), abs=2e-4)


def test_the_handbook_s_moving_average():
    """e-Handbook 6.3.2.4: twenty values, weight 0.3, target 50, s = 2.0539."""
    given = HANDBOOK["ewma"]
    found = ewma(given["x"], given["target"], given["lam"])
    # it is worked through from averages of two decimals
    assert found == pytest.approx(np.array(given["ewma"]), abs=0.011)
    edges = limits(given["target"], given["s"] * ewma_spread(given["lam"]), given["k"])
    assert edges == pytest.approx((given["LCL"], given["UCL"]), abs=1e-4)


def test_with_many_values_the_limits_are_the_handbook_s():
    values = np.random.default_rng(2).normal(10.0, 0.5, 1000)
    found = chart(values)
    low, high = limits(10.0, moving_range_sd(values) * ewma_spread())
    # the centre stays that of the first twelve, which widens the limits a little
    wider = np.sqrt(0.3 / 1.7 + 1.0 / 12.0) / np.sqrt(0.3 / 1.7)
    assert found.average_high[-1] - found.average_low[-1] == pytest.approx(
        wider * (high - low), rel=0.01)
    assert found.high[-1] - found.low[-1] == pytest.approx(6.0 * 0.5 * np.sqrt(13 / 12), rel=0.05)


def test_few_values_say_nothing():
    found = chart([1.0, 1.1, 0.9])
    assert np.isnan(found.centre).all()
    assert found.out is found.since is found.shift is None
    assert chart([1.0]).out is chart([]).out is None
    assert np.isfinite(chart([1.0, 1.1, 0.9, 1.0]).high[FEWEST])


def test_equal_values_are_no_alarm():
    found = chart([2.0] * 9)
    assert found.out is None
    assert found.strays == ()


def test_a_step_is_called_dated_and_sized():
    values = np.random.default_rng(5).normal(0.0, 0.05, 24)
    values[14:] += 0.33
    found = chart(values, np.full(24, 0.05), OUTSIDE)
    assert found.out in (14, 15)
    assert found.since in (13, 14, 15)
    assert found.shift is not None
    assert found.shift.value == pytest.approx(0.33, abs=3.0 * found.shift.sd)
    assert 0.01 < found.shift.sd < 0.05
    back = chart([*values, *np.zeros(12)], None, OUTSIDE)  # put right: no longer out
    assert back.out is None


def test_a_slope_is_dated_where_it_began():
    values = np.random.default_rng(8).normal(0.0, 0.04, 26)
    values[14:] += 0.04 * np.arange(1, 13)
    found = chart(values, np.full(26, 0.04), OUTSIDE)
    assert found.growing
    assert found.since in range(12, 18)
    assert found.out is not None
    assert found.out > found.since
    assert found.shift is not None
    assert found.shift.value == pytest.approx(0.48, abs=0.06)
    assert 0.01 < found.shift.sd < 0.04


def test_one_stray_is_no_drift():
    values = np.random.default_rng(1).normal(0.0, 0.05, 20)
    values[16] += 0.3
    found = chart(values, np.full(20, 0.05), OUTSIDE)
    assert found.strays == (16,)
    assert found.out is None


def _alarms(sd, known, runs, length):
    """False alarms for each value."""
    rng, count = np.random.default_rng(11), 0
    for _ in range(runs):
        found = chart(rng.normal(0.0, sd, length), None if known is None else
                      np.full(length, known), OUTSIDE)
        with np.errstate(invalid="ignore"):
            beyond = (found.average < found.average_low) | (found.average > found.average_high)
        count += int(np.sum(beyond[1:] & ~beyond[:-1]))
    return count / (runs * length)


@pytest.mark.parametrize("known", [None, 0.05, 0.03])
def test_false_alarms_are_rare(known):
    """At most one in fifty values, also where the known error is less than the scatter."""
    assert _alarms(0.05, known, 60, 40) < 0.02


@pytest.mark.parametrize(("sd", "known", "before"), [
    (0.05, 0.05, 6), (0.05, 0.03, 6), (0.05, None, 10), (0.065, 0.05, 12), (0.03, None, 6)])
def test_a_sixth_of_a_stop_is_called_within_five_values(sd, known, before):
    rng, called = np.random.default_rng(7), 0
    for _ in range(100):
        values = rng.normal(0.0, sd, before + 5)
        values[before:] += DRIFT
        sds = None if known is None else np.full(before + 5, known)
        called += any(
            chart(values[:n], None if sds is None else sds[:n], OUTSIDE).out is not None
            for n in range(before + 1, before + 6))
    assert called >= 90

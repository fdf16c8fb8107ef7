"""Rules of exposure, against ISO 6846, definitions and common practice."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tonewright.errors import OptionError
from tonewright.record.times import PrintingTime, parse_time
from tonewright.scales import STOP
from tonewright.strip.exposure import (
    EyeStrip,
    eye_strips,
    iso_range_class,
    judge_by_eye,
    log_exposure_ranges,
)
from tonewright.strip.tablet import Tablet, nominal_tablet

REFERENCE = Path(__file__).parents[1] / "reference"
ISO = json.loads((REFERENCE / "iso6846.json").read_text(encoding="utf-8"))
ARITHMETIC = json.loads((REFERENCE / "exposure_arithmetic.json").read_text(encoding="utf-8"))
TABLET = nominal_tablet("31")


def eye(*strips):
    return judge_by_eye(TABLET, [EyeStrip(parse_time(t), k) for t, k in strips])


def test_iso_6846_analytic_case():  # ISO 6846:1992, as published.json quotes it
    case = ISO["analytic_case"]
    x = np.linspace(-8.0, 11.0, 20_001)
    density = case["Dmin"] + case["DN"] / (1.0 + np.exp(-(x - case["x0"]) / case["s"]))
    found = float(log_exposure_ranges(x, [density])[0])
    assert found == pytest.approx(case["range"], abs=1e-4)
    assert iso_range_class(found) == case["R"]


@pytest.mark.parametrize(("log_range", "grade"), [
    (0.344, None), (0.35, 40), (0.44, 40), (0.45, 50), (0.54, 50), (1.84, 180), (1.85, 190),
    (1.94, 190), (1.95, None), (None, None), (1.5222612189, 150)])
def test_iso_6846_classes(log_range, grade):
    assert iso_range_class(log_range) == grade


def test_no_range_where_there_is_hardly_any_black():
    assert np.isnan(log_exposure_ranges([0.0, 1.0], [[0.08, 0.11]]))


def test_exposure_arithmetic():  # definitions
    assert pytest.approx(ARITHMETIC["log10_2"]) == STOP
    assert PrintingTime(480.0).times(10.0**-0.60).value / 60.0 == pytest.approx(
        ARITHMETIC["eight_minutes_less_0.60"], abs=1e-4)


def test_half_a_stop_over_ten_minutes():  # common practice, no source
    result = eye(("10min", 1))
    assert result.high is None
    assert 14 * 60 <= result.next_time.value <= 15 * 60


def test_steps_1_and_2_merge_is_right_and_a_third_less_is_strict():  # common practice, no source
    result = eye(("15min", 2))
    assert result.right
    assert result.next_time == PrintingTime(900.0)
    assert result.strict.value == pytest.approx(12 * 60, abs=15)


def test_three_merged_steps_ask_for_a_third_to_half_a_stop_less():  # common practice, no source
    result = eye(("15min", 3))
    assert not result.right
    assert -0.5 <= result.change_stops <= -0.3


def test_more_merged_steps_ask_for_a_shorter_time_each():
    times = [eye(("20min", k)).next_time.value for k in range(2, 12)]
    assert times == sorted(times, reverse=True)
    assert len(set(times)) == len(times)


def test_strips_together_narrow_the_interval():
    result = eye(("10min", 1), ("20min", 4))
    assert result.low is not None
    assert result.high is not None
    assert result.low.value >= 600.0
    assert result.high.value == pytest.approx(1200.0 * 10.0**-0.2)
    alone = eye(("20min", 4))
    assert alone.low is not None
    assert result.low.value > alone.low.value - 1e-9


def test_a_strip_on_which_two_steps_merge_stays_right_beside_another():
    """A second one that speaks for less than half a step asks for no third sheet."""
    found = judge_by_eye(nominal_tablet("31"), [EyeStrip(PrintingTime(600.0), 2),
                                                EyeStrip(PrintingTime(720.0), 3)])
    assert found.right
    assert found.next_time == found.high == PrintingTime(600.0)
    other = judge_by_eye(nominal_tablet("31"), [EyeStrip(PrintingTime(600.0), 2),
                                                EyeStrip(PrintingTime(660.0), 3)])
    assert not other.right


def test_strips_that_contradict_are_refused():
    with pytest.raises(OptionError) as caught:
        eye(("30min", 1), ("10min", 2))
    assert caught.value.code == "eye_strips_contradict"


def test_strips_that_differ_by_a_step_are_taken_together():
    """A count by eye is good to a step: 10 min says longer, 12 min says 9 min 30 s at most."""
    result = eye(("10min", 1), ("12min", 3))
    assert result.differ
    assert result.low is not None
    assert result.high is not None
    assert not result.right
    assert 10.5 * 60 <= result.next_time.value <= 11.5 * 60  # between what was tried
    assert result.low.value < 9.5 * 60
    assert result.high.value > 10.0 * 60
    assert not eye(("10min", 1), ("15min", 2)).differ
    # exactly a step apart is still one step; more is a contradiction
    assert eye(("600s", 1), (f"{600 * 10**0.1:.6f}s", 4)).differ
    with pytest.raises(OptionError) as caught:
        eye(("600s", 1), (f"{599 * 10**0.1:.6f}s", 4))
    assert caught.value.code == "eye_strips_contradict"


@pytest.mark.parametrize("merged", [16, 30])
def test_a_strip_that_is_nearly_all_black_leads_nearer_in_steps(merged):
    result = eye(("10min", merged))
    assert result.far
    assert result.change_stops == pytest.approx(-4.0)
    assert result.next_time == PrintingTime(38.0)
    assert not eye(("10min", 14)).far
    # beside a strip that tells more it counts for nothing
    assert eye(("10min", 20), ("38s", 5)).next_time == eye(("38s", 5)).next_time


@pytest.mark.parametrize("merged", [0, -1, 31, 99])
def test_impossible_counts_are_refused(merged):
    with pytest.raises(OptionError) as caught:
        eye(("10min", merged))
    assert caught.value.code == "eye_count_impossible"


def test_integrator_units():
    result = judge_by_eye(TABLET, [EyeStrip(PrintingTime(100.0, "unit"), 1)])
    assert result.next_time == PrintingTime(141.0, "unit")
    with pytest.raises(OptionError) as caught:
        judge_by_eye(TABLET, [EyeStrip(PrintingTime(100.0, "unit"), 1),
                              EyeStrip(PrintingTime(100.0), 2)])
    assert caught.value.code == "time_units_differ"


def test_a_unit_mix_up_names_the_times_as_they_were_given():
    with pytest.raises(OptionError, match="one time is 90 units, another 10 min"):
        eye(("10min", 1), ("90units", 2))


def test_every_class_of_iso_6846():  # ISO 6846:1992, 6.2: 0.35 to 0.44 is 40 ... 1.94 is 190
    for grade in range(40, 200, 10):
        for hundredths in range(grade - 5, grade + 5):
            assert iso_range_class(hundredths / 100.0) == grade
    assert iso_range_class(0.34) is None
    assert iso_range_class(1.95) is None


@pytest.mark.parametrize(("name", "least"), [("31", 0.33), ("21", 0.49)])
def test_three_merged_on_either_tablet(name, least):  # common practice, no source
    result = judge_by_eye(nominal_tablet(name), [EyeStrip(PrintingTime(600.0), 3)])
    assert -0.5 <= result.change_stops <= -least


def test_every_strip_needs_a_time_and_a_count():
    times = [PrintingTime(600.0), PrintingTime(900.0)]
    assert eye_strips(times, [1, 2]) == [EyeStrip(times[0], 1), EyeStrip(times[1], 2)]
    for given, merged in ((times, [1]), ([], [2]), ([], [])):
        with pytest.raises(OptionError) as caught:
            judge_by_eye(TABLET, eye_strips(given, merged))
        assert caught.value.code == "eye_strip_incomplete"


@pytest.mark.parametrize("merged", [1, 2, 4])
def test_the_base_of_a_calibrated_tablet_is_no_part_of_the_negative(merged):
    """A base of 0.05 lets 10**-0.05 of the light through: what it took in time is taken out."""
    clear = nominal_tablet("31")
    based = Tablet("based", tuple(d + 0.05 for d in clear.densities), calibrated=True)
    without = judge_by_eye(clear, [EyeStrip(PrintingTime(1000.0), merged)])
    over = judge_by_eye(based, [EyeStrip(PrintingTime(1000.0 * 10.0**0.05), merged)])
    assert over.low.value == pytest.approx(without.low.value, rel=0.02)
    assert over.base_time.value == pytest.approx(without.base_time.value, rel=0.02)
    assert over.strict.value == pytest.approx(without.strict.value, rel=0.02)
    if merged > 1:
        assert over.high.value == pytest.approx(without.high.value, rel=0.02)
    # the next strip is printed through the tablet again
    assert over.next_time.value == pytest.approx(10.0**0.05 * without.next_time.value, rel=0.02)

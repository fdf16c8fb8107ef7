"""Printing times as they are typed and as a timer is set."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonewright.errors import OptionError
from tonewright.record.times import PrintingTime, ladder, parse_time, ratio


@pytest.mark.parametrize(("text", "value", "unit"), [
    ("10min", 600.0, "s"), ("90s", 90.0, "s"), ("7:30", 450.0, "s"), ("1:02:03", 3723.0, "s"),
    ("8 min 30 s", 510.0, "s"), ("1h", 3600.0, "s"), ("2,5 min", 150.0, "s"),
    ("120units", 120.0, "unit"), ("1 unit", 1.0, "unit"), (" 12 Minutes ", 720.0, "s"),
])
def test_times_as_they_are_typed(text, value, unit):
    assert parse_time(text) == PrintingTime(value, unit)


@pytest.mark.parametrize("text", ["", "10", "ten", "0min", "0:00", "-3min", "10 bananas",
                                  "5min 3units", "10min later", "nan min", "1e9h"])
def test_what_is_no_time_is_refused_with_the_way_out(text):
    with pytest.raises(OptionError, match="12min") as caught:
        parse_time(text)
    assert caught.value.code in ("time_unclear", "time_impossible")


@pytest.mark.parametrize(("text", "said"), [
    ("10:99", "Seconds must"), ("10:60", "Seconds must"),
    ("1:60:00", "Minutes and seconds must"), ("1:00:60", "Minutes and seconds must"),
])
def test_after_a_colon_stands_59_at_most(text, said):
    with pytest.raises(OptionError, match=f"{text}.*{said} be 59 or less.*7:30"):
        parse_time(text)
    assert parse_time("90:59") == PrintingTime(5459.0)  # before it any number


def test_minutes_and_units_do_not_mix():
    with pytest.raises(OptionError) as caught:
        ratio(PrintingTime(60.0), PrintingTime(60.0, "unit"))
    assert caught.value.code == "time_units_differ"


@given(st.floats(min_value=1.0, max_value=1e5))
def test_a_timer_is_set_within_a_twentieth_of_a_stop_past_the_first_seconds(seconds):
    rounded = PrintingTime(seconds).on_timer()
    assert rounded.value > 0.0
    if seconds > 15.0:
        assert 2.0 ** -0.05 < rounded.value / seconds < 2.0 ** 0.05


@given(st.integers(min_value=1, max_value=100_000))
def test_spoken_times_are_read_back(seconds):
    assert parse_time(str(PrintingTime(float(seconds)))).value == seconds


def test_a_ladder_goes_from_half_to_twice_the_time():
    """ISO 6: film speeds go in thirds of a stop, 100, 125, 160, 200; times go the same way."""
    rungs = ladder(PrintingTime(100.0, "unit"))
    assert [n for n, _ in rungs] == [-3, -2, -1, 0, 1, 2, 3]
    assert [t.value for _, t in rungs] == pytest.approx([50, 63, 79, 100, 126, 159, 200], abs=0.5)


def test_where_light_counts_less_over_time_a_stop_is_more_than_twice_the_time():
    """Schwarzschild's law with 0.8: one stop is 2 ** (1 / 0.8) = 2.38 times as long."""
    assert ladder(PrintingTime(1000.0, "unit"), 0.8)[-1][1].value == pytest.approx(2378.4, abs=5.0)


def test_the_time_itself_stays_as_it_was_given():
    assert ladder(PrintingTime(601.3))[3] == (0, PrintingTime(601.3))

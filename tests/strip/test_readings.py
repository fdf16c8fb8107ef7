"""Readings of a strip: what is understood and what is refused."""

from __future__ import annotations

import hashlib

import pytest

from tonewright.errors import DocumentError, OptionError, ReadingsError
from tonewright.measured.columns import Source, Table
from tonewright.record.times import PrintingTime, parse_time
from tonewright.strip.readings import (
    StripOptions,
    combine_strips,
    strip_from_dict,
    strip_from_table,
)
from tonewright.strip.tablet import nominal_tablet

TABLET = nominal_tablet("21")
TEN = StripOptions(PrintingTime(600.0))


def density(step):
    return round(1.6 - 1.5 * (step - 1) / 20, 3)


def table(rows, columns=("step", "density"), notes=()):
    cells = tuple(tuple(map(str, r)) for r in rows)
    digest = hashlib.sha256(repr((columns, cells)).encode()).hexdigest()
    return Table(columns, cells, Source("s.csv", "csv", digest, notes),
                 tuple(range(2, 2 + len(rows))))


def plain(steps=range(1, 22)):
    return [(s, density(s)) for s in steps]


def test_a_plain_strip():
    strip = strip_from_table(table(plain()), TABLET, TEN)
    assert [p.step for p in strip.patches] == list(range(1, 22))
    assert {p.through for p in strip.patches} == {"film"}
    assert {p.time for p in strip.patches} == {PrintingTime(600.0)}
    assert strip.scale == "visual-density"


def test_halves_times_and_sheets_have_columns():
    rows = [(s, density(s), half, "8 min", "sheet 1")
            for half in ("film", "Bare") for s in range(1, 22)]
    strip = strip_from_table(
        table(rows, ("step", "density", "through", "time", "print")), TABLET, StripOptions())
    assert {p.through for p in strip.patches} == {"film", "bare"}
    assert strip.patches[0].time == PrintingTime(480.0)
    assert strip.patches[0].print_name == "sheet 1"


@pytest.mark.parametrize(("rows", "columns", "options", "said"), [
    (plain(), ("level", "density"), TEN, "column step"),
    (plain(), ("step", "density"), StripOptions(), "no printing time.*--time"),
    ([*plain(), (5, 1.3)], ("step", "density"), TEN, "step 5 more than once.*print"),
    (plain([*range(1, 9), *range(10, 22)]), ("step", "density"), TEN, "lacks step 9.*--skip"),
    (plain(range(1, 15)), ("step", "density"), TEN, "lacks step 15.*--tablet"),
    ([*plain(), (22, 0.1)], ("step", "density"), TEN, "step 22.*1 to 21.*--tablet"),
    ([(s, density(22 - s)) for s in range(1, 22)], ("step", "density"), TEN, "--flip"),
    ([(s, 1.2) for s in range(1, 22)], ("step", "density"), TEN, "black to paper white"),
    ([(s, "dark") for s in range(1, 22)], ("step", "density"), TEN, "dark"),
    ([(s, density(s), "glass") for s in range(1, 22)], ("step", "density", "through"), TEN,
     "glass.*film.*bare"),
    ([(s, density(s), "0min") for s in range(1, 22)], ("step", "density", "time"), TEN, "longer"),
    ([(s, density(s), "3min" if s < 9 else "40units") for s in range(1, 22)],
     ("step", "density", "time"), StripOptions(), "same unit"),
    ([(1.5, 1.0), *plain()], ("step", "density"), TEN, "step 1.5"),
])
def test_refusals_say_what_and_the_way_out(rows, columns, options, said):
    with pytest.raises((ReadingsError, OptionError), match=f"(?s){said}"):
        strip_from_table(table(rows, columns), TABLET, options)


def test_flip_and_skip_are_the_ways_out():
    turned = table([(s, density(22 - s)) for s in range(1, 22)])
    strip = strip_from_table(turned, TABLET, StripOptions(PrintingTime(600.0), flip=True))
    assert {p.step: p.density for p in strip.patches} == {s: density(s) for s in range(1, 22)}
    gap = table(plain([*range(1, 9), *range(10, 22)]))
    assert len(strip_from_table(gap, TABLET, StripOptions(PrintingTime(600.0),
                                                          skip=(9,))).patches) == 20


@pytest.mark.parametrize("made", [
    table([(s, density(s), "wet") for s in range(1, 22)], ("step", "density", "state")),
    table(plain(), notes=("measured while not yet dry",)),
])
def test_wet_readings_are_warned_of(made):
    strip = strip_from_table(made, TABLET, TEN)
    assert any("dry" in note for note in strip.notes)


def test_a_time_beside_a_column_that_says_otherwise_is_not_used_and_said():
    rows = [(s, density(s), "8min") for s in range(1, 22)]
    strip = strip_from_table(table(rows, ("step", "density", "time")), TABLET, TEN)
    assert {p.time for p in strip.patches} == {PrintingTime(480.0)}
    assert any("--time 10 min is not used" in note for note in strip.notes)


def test_a_dry_strip_is_not_warned_of():
    dry = table([(s, density(s), "dry") for s in range(1, 22)], ("step", "density", "state"))
    assert strip_from_table(dry, TABLET, TEN).notes == ()


def test_the_way_out_fits_what_went_wrong():
    right = StripOptions(PrintingTime(600.0), flip=True)
    with pytest.raises(ReadingsError, match="leave --flip out"):
        strip_from_table(table(plain()), TABLET, right)
    percent = table([(s, 100.0 * 10.0 ** -density(s)) for s in range(1, 22)])
    with pytest.raises(ReadingsError, match="column luminance"):
        strip_from_table(percent, TABLET, TEN)
    with pytest.raises(ReadingsError, match="own white"):
        strip_from_table(table([(s, density(s) - 0.3) for s in range(1, 22)]), TABLET, TEN)
    with pytest.raises(ReadingsError, match="no rows"):
        strip_from_table(table([]), TABLET, TEN)


def test_strips_are_combined_unless_scales_or_units_differ():
    first = strip_from_table(table(plain()), TABLET, TEN)
    more = [(s, round(d + 0.01, 3)) for s, d in plain()]
    longer = strip_from_table(table(more), TABLET, StripOptions(parse_time("20min")))
    both = combine_strips([first, longer])
    assert [t.value for t in both.times()] == [600.0, 1200.0]
    units = strip_from_table(table(more), TABLET, StripOptions(parse_time("20units")))
    with pytest.raises(OptionError, match="same unit"):
        combine_strips([first, units])
    light = strip_from_table(table([(s, 20 + 3 * s) for s in range(1, 22)], ("step", "lightness")),
                             TABLET, TEN)
    with pytest.raises(ReadingsError, match="--scale"):
        combine_strips([first, light])


@pytest.mark.parametrize(("level", "said"), [
    (1.2, "nearly as black.*far too long.*another for 2 min 30"),
    (0.2, "black was not nearly reached.*far too short.*another for 40 min")])
def test_a_strip_without_tones_says_which_way_to_go(level, said):
    rows = [(s, level - 0.005 * s) for s in range(1, 22)]
    with pytest.raises(ReadingsError, match=said):
        strip_from_table(table(rows), TABLET, TEN)


def test_a_strip_whose_densest_third_is_left_out_is_read():
    strip = strip_from_table(table(plain()), TABLET,
                             StripOptions(TEN.time, skip=tuple(range(14, 22))))
    assert len(strip.patches) == 13


@pytest.mark.parametrize(("column", "cell", "marked"), [
    ("notes", "not yet dry", True), ("Remarks", "damp", True), ("dry", "no", True),
    ("dry", "yes", False), ("notes", "dry", False)])
def test_wet_readings_are_known_by_any_remark(column, cell, marked):
    rows = [(s, d, cell) for s, d in plain()]
    strip = strip_from_table(table(rows, ("step", "density", column)), TABLET, TEN)
    assert any("dry down" in note for note in strip.notes) == marked


def test_one_strip_is_not_two():
    first = strip_from_table(table(plain()), TABLET, TEN)
    with pytest.raises(ReadingsError, match=r"same readings.*counts once"):
        combine_strips([first, first])


def test_patches_of_several_files_say_which_they_are_of():
    first = strip_from_table(table(plain()), TABLET, TEN)
    other = strip_from_table(table([(s, round(d + 0.01, 3)) for s, d in plain()]), TABLET, TEN)
    assert {p.print_name for p in combine_strips([first]).patches} == {None}
    assert {p.print_name for p in combine_strips([first, other]).patches} == {
        "1 (s.csv)", "2 (s.csv)"}


@pytest.mark.parametrize("half", ["film", "bare"])
def test_one_half_read_backwards_is_named(half):
    rows = [(s, density(22 - s if h == half else s), h)
            for h in ("film", "bare") for s in range(1, 22)]
    with pytest.raises(ReadingsError, match=f"half marked {half} gets darker.*other way round"):
        strip_from_table(table(rows, ("step", "density", "through")), TABLET, TEN)


def test_the_papers_own_density_is_added_where_the_instrument_was_zeroed_on_it():
    plainly = strip_from_table(table(plain()), TABLET, TEN)
    zeroed = strip_from_table(table([(s, round(d - 0.09, 3)) for s, d in plain()]), TABLET,
                              StripOptions(PrintingTime(600.0), paper_density=0.09))
    assert [p.density for p in zeroed.patches] == pytest.approx(
        [p.density for p in plainly.patches])


def test_documents_round_trip_and_damage_is_refused():
    strip = strip_from_table(table(plain()), TABLET, TEN)
    data = strip.to_dict()
    assert strip_from_dict(data) == strip
    for broken in ({**data, "density": data["density"][:-1]}, {**data, "step": None}, {}, None,
                   {**data, "density": [float("nan")] * 21}):
        with pytest.raises(DocumentError):
            strip_from_dict(broken)

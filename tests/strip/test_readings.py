"""Readings of a strip: what is understood and what is refused."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import pytest

from tonewright.errors import DocumentError, OptionError, ReadingsError
from tonewright.measured.columns import Source, Table
from tonewright.record.codec import decode, encode
from tonewright.record.times import PrintingTime, parse_time
from tonewright.strip.findings import PaperDensityAdded, ReadingsWet, TimeNotUsed
from tonewright.strip.readings import (
    Strip,
    StripOptions,
    combine_strips,
    strip_cells,
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


@pytest.mark.parametrize(("rows", "columns", "options", "code"), [
    (plain(), ("level", "density"), TEN, "no_step_column"),
    (plain(), ("step", "density"), StripOptions(), "strip_time_unknown"),
    ([*plain(), (5, 1.3)], ("step", "density"), TEN, "steps_doubled"),
    (plain([*range(1, 9), *range(10, 22)]), ("step", "density"), TEN, "steps_missing"),
    (plain(range(1, 15)), ("step", "density"), TEN, "steps_missing"),
    (plain(), ("step", "density"), StripOptions(TEN.time, skip=tuple(range(6, 22))),
     "too_few_steps"),
    (plain(), ("step", "density"), StripOptions(TEN.time, skip=tuple(range(1, 22))),
     "too_few_steps"),
    (plain(), ("step", "density"), StripOptions(TEN.time, skip=(22,)), "skip_impossible"),
    ([*plain(), (22, 0.1)], ("step", "density"), TEN, "other_tablet"),
    ([(1.5, 1.0), *plain()], ("step", "density"), TEN, "other_tablet"),
    ([(s, density(22 - s)) for s in range(1, 22)], ("step", "density"), TEN, "strip_backwards"),
    (plain(), ("step", "density"), StripOptions(TEN.time, flip=True), "strip_flipped"),
    ([(s, 1.2) for s in range(1, 22)], ("step", "density"), TEN, "strip_all_dark"),
    ([(s, 0.2 - 0.005 * s) for s in range(1, 22)], ("step", "density"), TEN, "strip_all_light"),
    ([(s, density(s), "glass") for s in range(1, 22)], ("step", "density", "through"), TEN,
     "through_unknown"),
    ([(s, density(s), "0min") for s in range(1, 22)], ("step", "density", "time"), TEN,
     "time_impossible"),
    ([(s, density(s), "3min" if s < 9 else "40units") for s in range(1, 22)],
     ("step", "density", "time"), StripOptions(), "time_units_differ"),
    ([(s, density(s) - 0.3) for s in range(1, 22)], ("step", "density"), TEN,
     "density_below_white"),
    ([(s, 100.0 * 10.0 ** -density(s)) for s in range(1, 22)], ("step", "density"), TEN,
     "density_beyond_black"),
])
def test_what_is_refused(rows, columns, options, code):
    with pytest.raises((ReadingsError, OptionError)) as caught:
        strip_from_table(table(rows, columns), TABLET, options)
    assert caught.value.code == code


def test_the_numbers_of_an_instrument_are_those_of_the_steps():
    rows = plain()
    known = strip_from_table(table(rows), TABLET, TEN).patches
    assert strip_from_table(table(rows, ("SAMPLE_ID", "D_VIS")), TABLET, TEN).patches == known
    for other, names in (([(f"A{s}", d) for s, d in rows], ("SAMPLE_ID", "D_VIS")),
                         ([(s, d, 0.05 * s) for s, d in rows], ("SAMPLE_ID", "D_VIS", "level"))):
        with pytest.raises(ReadingsError) as caught:
            strip_from_table(table(other, names), TABLET, TEN)
        assert caught.value.code == "no_step_column"


@pytest.mark.parametrize(("rows", "said"), [
    (plain([s for s in range(1, 22) if s not in (4, 7, 9)]), "missing steps 4, 7 and 9"),
    (plain([s for s in range(1, 22) if s != 9]), "missing step 9"),
    (plain(range(14, 22)), "missing steps 1, 2, 3, .* 12, … .13 in all"),
    ([(s, 1.2 - 0.005 * s) for s in range(1, 22)], "far too long.*another for 2 min 30"),
    ([(s, 0.2 - 0.005 * s) for s in range(1, 22)], "far too short.*another for 40 min"),
    ([(s, "dark") for s in range(1, 22)], "dark"),
])
def test_refusals_name_the_steps_and_the_next_time(rows, said):
    with pytest.raises(ReadingsError, match=f"(?s){said}"):
        strip_from_table(table(rows), TABLET, TEN)


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
    assert strip.findings == (ReadingsWet("s.csv"),)


def test_a_time_beside_a_column_that_says_otherwise_is_not_used_and_said():
    rows = [(s, density(s), "8min") for s in range(1, 22)]
    strip = strip_from_table(table(rows, ("step", "density", "time")), TABLET, TEN)
    assert {p.time for p in strip.patches} == {PrintingTime(480.0)}
    assert strip.findings == (TimeNotUsed(TEN.time, (PrintingTime(480.0),)),)


def test_a_dry_strip_is_not_warned_of():
    dry = table([(s, density(s), "dry") for s in range(1, 22)], ("step", "density", "state"))
    assert strip_from_table(dry, TABLET, TEN).findings == ()


def test_strips_are_combined_unless_scales_or_units_differ():
    first = strip_from_table(table(plain()), TABLET, TEN)
    more = [(s, round(d + 0.01, 3)) for s, d in plain()]
    longer = strip_from_table(table(more), TABLET, StripOptions(parse_time("20min")))
    both = combine_strips([first, longer])
    assert [t.value for t in both.times()] == [600.0, 1200.0]
    units = strip_from_table(table(more), TABLET, StripOptions(parse_time("20units")))
    with pytest.raises(OptionError) as caught:
        combine_strips([first, units])
    assert caught.value.code == "time_units_differ"
    light = strip_from_table(table([(s, 20 + 3 * s) for s in range(1, 22)], ("step", "lightness")),
                             TABLET, TEN)
    with pytest.raises(ReadingsError) as caught:
        combine_strips([first, light])
    assert caught.value.code == "two_scales"


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
    assert (ReadingsWet("s.csv") in strip.findings) == marked


def test_one_strip_is_not_two():
    first = strip_from_table(table(plain()), TABLET, TEN)
    with pytest.raises(ReadingsError) as caught:
        combine_strips([first, first])
    assert caught.value.code == "same_readings"


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
    with pytest.raises(ReadingsError, match=f"half marked {half} gets darker") as caught:
        strip_from_table(table(rows, ("step", "density", "through")), TABLET, TEN)
    assert caught.value.code == "half_backwards"


def test_the_papers_own_density_is_added_where_the_instrument_was_zeroed_on_it():
    plainly = strip_from_table(table(plain()), TABLET, TEN)
    zeroed = strip_from_table(table([(s, round(d - 0.09, 3)) for s, d in plain()]), TABLET,
                              StripOptions(PrintingTime(600.0), paper_density=0.09))
    assert [p.density for p in zeroed.patches] == pytest.approx(
        [p.density for p in plainly.patches])
    assert zeroed.findings == (PaperDensityAdded(0.09),)


def test_documents_round_trip_and_damage_is_refused():
    strip = strip_from_table(table(plain()), TABLET, TEN)
    data = encode(strip)
    assert decode(Strip, data, "the strip", "way out") == strip
    patches = data["patches"]
    for broken in ({**patches, "density": patches["density"][:-1]}, {**patches, "step": None}, {},
                   None, {**patches, "density": [float("nan")] * 21}):
        with pytest.raises(DocumentError):
            decode(Strip, {**data, "patches": broken}, "the strip", "way out")


def test_a_refusal_states_the_densities_that_are_there():
    toe = [(s, d) for s, d in enumerate((0.3, 0.2, 0.12, *[0.08] * 9, *[0.07] * 9), 1)]
    with pytest.raises(ReadingsError, match=r"from 0\.30 to 0\.07") as caught:
        strip_from_table(table(toe), nominal_tablet("21"), TEN)
    assert caught.value.code == "strip_all_light"


def test_a_strip_far_too_long_that_shows_its_shoulder_is_read():
    shown = [1.42] * 16 + [1.37, 1.27, 1.15, 1.0, 0.84]
    read = strip_from_table(table(list(enumerate(shown, 1))), nominal_tablet("21"), TEN)
    assert len(read.patches) == 21


def test_more_readings_than_can_be_evaluated_are_refused():
    one = strip_from_table(table(plain()), nominal_tablet("21"), TEN)
    with pytest.raises(OptionError, match=r"2100 readings.*2000"):
        replace(one, patches=one.patches * 100)


def test_a_table_is_opened_as_it_is_written_unless_it_holds_more_than_one_strip():
    tablet = nominal_tablet("21")
    rows = [("1", "film", "1,52", "10 min"), ("3", "film", "", "10 min"),
            ("1", "bare", "1,60", "10 min")]
    columns = ("step", "through", "density", "time")
    found = strip_cells(table(rows, columns), tablet)
    assert found.densities == {"film": ("1,52", *[""] * 20), "bare": ("1,60", *[""] * 20)}
    assert found.time == "10 min"
    assert strip_cells(table(plain()), tablet).time == ""
    assert strip_cells(table([*rows, rows[0]], columns), tablet) is None, "a step twice"
    assert strip_cells(table([*rows, ("2", "film", "1,5", "20 min")], columns), tablet) is None
    assert strip_cells(table([("1", "20.5")], ("step", "lightness")), tablet) is None
    assert strip_cells(table([("1", "1.5", "a")], ("step", "density", "print")), tablet) is None


@pytest.mark.parametrize(("rows", "columns", "code"), [
    ([("0.5", "1.2")], ("level", "density"), "no_step_column"),
    ([("22", "1.2")], ("step", "density"), "other_tablet"),
    ([("1", "paper", "1.2")], ("step", "through", "density"), "through_unknown"),
])
def test_a_table_of_another_kind_is_not_opened(rows, columns, code):
    with pytest.raises(ReadingsError) as caught:
        strip_cells(table(rows, columns), nominal_tablet("21"))
    assert caught.value.code == code

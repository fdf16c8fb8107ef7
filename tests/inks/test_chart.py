"""What a chart of inks holds, and how its readings are told apart."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from tonewright.errors import DocumentError, OptionError, ReadingsError
from tonewright.inks.chart import (
    chart_readings,
    chart_tones,
    colours_from_table,
    parse_levels,
    usual_colours,
)
from tonewright.inks.findings import ColoursNotMeasured
from tonewright.measured.columns import Source, Table
from tonewright.measured.ink import ink_colour, ink_colours
from tonewright.measured.readings import ReadingOptions, readings_from_table
from tonewright.target.document import FORM, Target
from tonewright.target.layout import LayoutSettings, even_levels, make_target

SETTINGS = LayoutSettings("inks", repeats=2)
CHART = make_target(chart_tones(usual_colours()), SETTINGS)


def table(columns, rows, name="r.csv"):
    cells = tuple(tuple(str(c) for c in row) for row in rows)
    return Table(tuple(columns.split(",")), cells, Source(name, "csv", name),
                 tuple(range(2, len(cells) + 2)))


def named_rows(target=CHART, density=0.5):
    return [(p.name, density + 0.001 * i) for i, p in enumerate(target.patches)]


def test_the_usual_colours_are_all_mixtures_but_clear_film():
    colours = usual_colours()
    assert len(colours) == 26 == len(set(colours))
    assert {v for c in colours for v in c} == {0, 128, 255}
    assert (255, 255, 255) not in colours and (0, 0, 0) in colours


def test_a_chart_has_every_colour_at_every_level_twice_and_clear_film():
    tones = [p for p in CHART.patches if p.kind == "tone"]
    kinds = [(p.ink_colour, p.level) for p in tones]
    assert len(kinds) == 104 and all(kinds.count(k) == 2 for k in set(kinds))
    assert {p.level for p in tones} == {1.0, 0.5}
    clear = [p for p in CHART.patches if p.kind == "clear"]
    assert len(clear) >= 3 and all(p.ink_colour is None and p.level == 0.0 for p in clear)
    assert all(p.ink_colour == "0,0,0" for p in CHART.patches if p.kind == "full")
    assert len({p.name for p in CHART.patches}) == len(CHART.patches)
    assert CHART.is_ink_chart and CHART.in_colour and CHART.ink_colour is None


def test_patches_of_one_ink_lie_apart():
    like = CHART.like
    assert len(set(like)) == 53  # the black reference patches are black ink at full level
    far = []
    for one in set(like):
        places = CHART.patch_centres[like == one]
        if len(places) == 2:
            far.append(np.linalg.norm(places[0] - places[1]))
    everywhere = [np.linalg.norm(a - b) for a, b in combinations(CHART.patch_centres, 2)]
    assert np.mean(far) > 0.9 * np.mean(everywhere)


def test_the_document_comes_back_equal():
    assert FORM.decode(Target, FORM.encode(CHART)) == CHART
    coloured = make_target(even_levels(5), LayoutSettings("t", ink_colour="255,120,0"))
    assert FORM.decode(Target, FORM.encode(coloured)) == coloured
    assert not coloured.is_ink_chart and list(coloured.like) == list(coloured.level)


def test_two_charts_of_other_colours_have_other_borders():
    levels = (1.0,)
    one, other = (make_target(chart_tones(c, levels), SETTINGS)
                  for c in ([(0, 0, 0), (255, 0, 0)], [(0, 0, 0), (255, 1, 0)]))
    assert [d.hollow for d in one.dots] != [d.hollow for d in other.dots]


@pytest.mark.parametrize("colour", ["300,0,0", "red", "255,255,255", 7])
def test_a_document_with_an_impossible_colour_is_refused(colour):
    data = FORM.encode(CHART)
    data["patches"]["ink_colour"][3] = colour
    with pytest.raises(DocumentError, match=r"ink.colour"):
        FORM.decode(Target, data)
    data = FORM.encode(CHART)
    data["ink_colour"] = "0,0,0"  # of the whole sheet, beside those of its patches
    with pytest.raises(DocumentError, match="chart of inks"):
        FORM.decode(Target, data)


def test_levels():
    assert parse_levels("0.5, 1") == (1.0, 0.5)
    for text in ("", "x", "1,0", "1,1", "1,1.5", "1,,0.5", "nan"):
        with pytest.raises(OptionError, match="the ink levels are"):
            parse_levels(text)
    with pytest.raises(OptionError, match="full level"):
        parse_levels("0.5")


def test_colours_twice_or_alone_are_refused():
    with pytest.raises(OptionError, match="1,2,3 is given twice"):
        chart_tones([(1, 2, 3), (4, 5, 6), (1, 2, 3)])
    with pytest.raises(OptionError, match="two colours or more"):
        chart_tones([(1, 2, 3)])


def test_colours_from_a_table():
    found = colours_from_table(table("red,green,blue", [(255, 0, 0), (0, "128.0", 7)]))
    assert found == ((255, 0, 0), (0, 128, 7))
    for columns, rows, said in [
        ("red,green", [(1, 2)], "no column blue"), ("level", [(1,)], "columns red, green, blue"),
        ("red,green,blue", [(1, 2, 256)], "line 2: blue is 256"),
        ("red,green,blue", [(1, 2, "")], "line 2: blue is blank"),
        ("red,green,blue", [(255, 255, 255)], "white"), ("red,green,blue", [], "no rows"),
    ]:  # fmt: skip
        with pytest.raises(ReadingsError, match=said):
            colours_from_table(table(columns, rows))


def test_readings_by_name_are_those_of_the_chart():
    shuffled = named_rows()[::-1]
    chart = chart_readings([table("patch,density", shuffled)], CHART)
    for patch, (name, density) in zip(chart.patches, shuffled, strict=True):
        known = CHART.patch(name)
        assert (patch.name, patch.density, patch.level) == (name, density, known.level)
        assert patch.colour == (CHART.colour_of(known) if known.ink_colour else None)
    assert set(chart.colours) == set(usual_colours())


def test_readings_that_carry_their_colours_need_no_chart():
    rows = [(255, 0, 0, 1, 0.4), (0, 0, 0, 0.5, 0.7), (255, 255, 255, 0, 1.5), (9, 9, 9, 0, 1.5)]
    chart = chart_readings([table("red,green,blue,level,density", rows)])
    assert [(p.colour, p.level) for p in chart.patches] == [
        ((255, 0, 0), 1.0), ((0, 0, 0), 0.5), (None, 0.0), (None, 0.0)]
    # without a level all are at full ink
    chart = chart_readings([table("red,green,blue,lightness", [(1, 2, 3, 50), (4, 5, 6, 60)])])
    assert [p.level for p in chart.patches] == [1.0, 1.0]
    assert chart.readings.scale == "luminance"


def test_missing_patches_are_named():
    gone = {p.name for p in CHART.patches if p.ink_colour in ("0,128,255", "128,0,0")}
    chart = chart_readings([table("patch,density", [r for r in named_rows() if r[0] not in gone])],
                           CHART)
    assert chart.findings == (ColoursNotMeasured(("0,128,255", "128,0,0")),)
    with pytest.raises(ReadingsError, match="name 40 patches"):
        chart_readings([table("patch,density", named_rows()[:40])], CHART)


@pytest.mark.parametrize(("rows", "said"), [
    ([*named_rows(), ("ZZ1", 0.4)], "the patch 'ZZ1'"),
    ([*named_rows(), ("a1", 0.4)], "A1 is in line 2 already"),
    ([*named_rows()[:-1], ("L10", "nan")], "density is 'nan'"),
])  # fmt: skip
def test_bad_rows_are_refused(rows, said):
    with pytest.raises(ReadingsError, match=said):
        chart_readings([table("patch,density", rows)], CHART)


def test_a_blank_cell_is_skipped_and_noted():
    first, second, *rest = named_rows()
    chart = chart_readings([table("patch,density", [first, (second[0], ""), *rest])], CHART)
    assert [(p.name, p.density) for p in chart.patches] == [first, *rest]
    for patch in chart.patches:
        assert patch.level == CHART.patch(patch.name).level
    assert [f.code for f in chart.readings.findings] == ["cells_blank"]


def test_readings_and_chart_must_agree():
    rows = [(p.name, 1, 2, 3, 0.5) for p in CHART.patches]
    with pytest.raises(ReadingsError, match="eadings and chart agree"):
        chart_readings([table("patch,red,green,blue,density", rows)], CHART)
    other = make_target(chart_tones([(1, 2, 3), (4, 5, 6)]), SETTINGS)
    with pytest.raises(ReadingsError, match="the patch"):
        chart_readings([table("patch,density", named_rows())], other)


def test_other_files_are_sent_where_they_belong():
    tones = make_target(even_levels(11), SETTINGS)
    with pytest.raises(OptionError, match="tones in one ink") as caught:
        chart_readings([table("patch,density", named_rows())], tones)
    assert caught.value.code == "tones_no_chart"
    rows = [(u / 10, 1.5 - u / 10) for u in range(11)]
    one = [(255, 0, 0, u / 10, 1.5 - u / 10) for u in range(11)]
    for given, target, code in (
        (table("level,density", rows), None, "tones_no_chart"),
        (table("patch,density", named_rows()), None, "chart_unknown"),
        (table("density", [(0.5,)] * 120), CHART, "chart_list_unordered"),
        (table("red,green,blue,level,density", one), None, "tones_no_chart"),
    ):
        with pytest.raises(ReadingsError) as caught:
            chart_readings([given], target)
        assert caught.value.code == code


def test_relative_readings_need_the_papers_density():
    part = table("patch,density", named_rows())
    chart = chart_readings([part], CHART, ReadingOptions(None, None, True, 0.1))
    assert chart.patches[0].density == pytest.approx(0.6)


def test_a_curve_is_not_fitted_to_a_chart():
    rows = [(255, 0, 0, 1, 0.4), (0, 0, 0, 0.5, 0.7)]
    with pytest.raises(ReadingsError, match="2 colours of ink") as caught:
        readings_from_table(table("red,green,blue,level,density", rows))
    assert caught.value.code == "ink_chart"


def test_the_one_ink_of_a_target_of_tones():
    rows = [(255, 120, 0, u / 10, 1.5 - u / 10) for u in range(11)]
    tones = table("red,green,blue,level,density", rows)
    assert ink_colour(tones) == "255,120,0"
    assert len(readings_from_table(tones).patches) == 11
    # columns of these names that hold something else are left alone
    measured = table("red,green,blue,level,density", [(0.5, 0.4, 0.3, 1, 0.2)])
    assert ink_colours(measured) is None and ink_colour(measured) is None
    assert ink_colour(table("level,density", [(1, 0.2)])) is None


def test_a_sheet_too_small_says_what_fits():
    with pytest.raises(OptionError, match=r"52 colours and levels of ink.*a sheet of 5x7"):
        make_target(chart_tones(usual_colours()),
                    LayoutSettings("x", width_mm=90, height_mm=90, repeats=2))

"""Readings: what columns mean, what is refused and with which words, and the document form."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonewright import scales
from tonewright.errors import DocumentError, OptionError, ReadingsError, TonewrightError
from tonewright.measured.columns import Source, Table
from tonewright.measured.findings import (
    EndDataMissing,
    LighterThanPaper,
    PatchesDoubted,
    SheetsNotNamed,
    ValuesLeftAside,
)
from tonewright.measured.readings import (
    Reading,
    ReadingOptions,
    Readings,
    combine,
    readings_from_table,
)
from tonewright.record.codec import decode, encode

REFERENCE = Path(__file__).parents[1] / "reference"
LEVELS = [0.0, 0.25, 0.5, 0.75, 1.0]
DENSITIES = [1.52, 1.21, 0.74, 0.33, 0.09]


def table(names: str, rows: Sequence[Sequence[object]], kind: str = "csv") -> Table:
    """A table as `files` would hand it over; the first row stands on line 2."""
    return Table(
        columns=tuple(names.split()),
        rows=tuple(tuple(str(cell) for cell in row) for row in rows),
        source=Source("strip.csv", "csv" if kind == "csv" else "cgats", "0" * 64, ()),
        line_numbers=tuple(range(2, 2 + len(rows))),
    )


def ladder(**columns: Sequence[object]) -> Table:
    """Five patches with these columns."""
    return table(" ".join(columns), list(zip(*columns.values(), strict=True)))


def refusal(found: Table, **options: object) -> str:
    """The message of the error, and its code."""
    with pytest.raises(ReadingsError) as caught:
        readings_from_table(found, ReadingOptions(**options))  # type: ignore[arg-type]
    return f"{caught.value} {caught.value.code}"


def read_back(document: object) -> Readings:
    """A document's readings."""
    return decode(Readings, document, "the readings", "take an unedited copy")


def test_level_and_density() -> None:
    readings = readings_from_table(ladder(level=LEVELS, density=DENSITIES))
    assert readings.level.tolist() == LEVELS
    assert readings.density.tolist() == DENSITIES
    assert readings.scale == "visual-density"
    assert not readings.relative_to_paper
    assert readings.sources[0].name == "strip.csv"
    assert readings.findings == () and readings.ink_colour is None
    assert readings.patches[0] == Reading(0.0, 1.52, None, None, "line 2")


@pytest.mark.parametrize("name", ["LEVEL", " Level ", "level"])
def test_capitals_and_spaces_in_names_do_not_matter(name: str) -> None:
    plain = ladder(level=LEVELS, density=DENSITIES)
    found = readings_from_table(replace(plain, columns=(name, "DENSITY ")))
    assert found.level.tolist() == LEVELS


def test_percent() -> None:
    readings = readings_from_table(ladder(ink_percent=[0, 25, 50, 75, 100], D_VIS=DENSITIES))
    assert readings.level.tolist() == LEVELS


def test_both_level_columns_must_agree() -> None:
    percent = [0, 25, 50, 75, 100]
    good = ladder(level=LEVELS, ink_percent=percent, density=DENSITIES)
    assert readings_from_table(good).level.tolist() == LEVELS
    said = refusal(ladder(level=LEVELS, ink_percent=[0, 25, 60, 75, 100], density=DENSITIES))
    assert "line 4" in said and "0.5" in said and "60" in said


@pytest.mark.parametrize(
    ("values", "levels"),
    [
        ([0, 25, 50, 75, 100], LEVELS),
        (LEVELS, LEVELS),
        ([0, 0.2, 0.4, 1, 1.5], [0, 0.002, 0.004, 0.01, 0.015]),
    ],
)
def test_any_column_as_level(values: list[float], levels: list[float]) -> None:
    found = ladder(CMYK_K=values, density=DENSITIES)
    readings = readings_from_table(found, ReadingOptions(level_field="cmyk_k"))
    np.testing.assert_allclose(readings.level, levels)


def test_a_level_column_of_zeros_and_ones_could_be_either() -> None:
    said = refusal(table("CMYK_K density", [(0, 1.5), (1, 0.1)]), level_field="CMYK_K")
    assert "1 percent or the heaviest ink" in said and "ink_percent" in said
    good = table("level density", [(0, 1.5), (1, 0.1)])
    assert readings_from_table(good).level.tolist() == [0.0, 1.0]


def test_lightness_and_luminance_against_the_neutral_row() -> None:
    """McCamy, Marcus & Davidson 1976: published L* and Y give the published densities."""
    row = json.loads((REFERENCE / "neutral_row.json").read_text(encoding="utf-8"))
    level = np.linspace(1, 0, 6)
    for name, values in (("LAB_L", row["lightness"]), ("XYZ_Y", row["Y"])):
        readings = readings_from_table(ladder(level=level, **{name: values}))
        assert readings.scale == "luminance"
        np.testing.assert_allclose(readings.density, row["density"], atol=2e-4)
        np.testing.assert_allclose(readings.lightness, row["lightness"], atol=6e-3)


def test_full_colour_values_use_lightness_and_check_the_rest() -> None:
    light = [20.0, 35.0, 55.0, 75.0, 95.0]
    found = ladder(level=LEVELS, LAB_L=light, LAB_A=[0] * 5, LAB_B=[-20] * 5)
    np.testing.assert_allclose(readings_from_table(found).lightness, light)
    assert "LAB_B is 'x'" in refusal(ladder(level=LEVELS, LAB_L=light, LAB_B=[0, 0, "x", 0, 0]))
    found = ladder(level=LEVELS, XYZ_X=[1] * 5, XYZ_Y=[3, 9, 30, 50, 80], XYZ_Z=[2] * 5)
    np.testing.assert_allclose(100 * 10 ** -readings_from_table(found).density, [3, 9, 30, 50, 80])


def test_both_scales_in_one_file() -> None:
    light = [20.0, 35.0, 55.0, 75.0, 95.0]
    found = ladder(level=LEVELS, D_VIS=DENSITIES, LAB_L=light, XYZ_Y=[3, 9, 23, 48, 88])
    by_default = readings_from_table(found)
    assert by_default.scale == "luminance"
    np.testing.assert_allclose(by_default.lightness, light)
    assert by_default.findings == (
        ValuesLeftAside("strip.csv", "LAB_L", ("XYZ_Y", "D_VIS"), "visual-density"),)
    chosen = readings_from_table(found, ReadingOptions(scale="visual-density"))
    assert chosen.scale == "visual-density"
    assert chosen.density.tolist() == DENSITIES
    for name, value, scale in (("LAB_L", light, "visual-density"),
                               ("D_VIS", DENSITIES, "luminance")):
        said = refusal(ladder(level=LEVELS, **{name: value}), scale=scale)
        assert f"no column that gives {scale}" in said and "weighting_missing" in said


NAMES = ("SPECTRAL_{}", "nm{}", "SPEC_{}", "SPECTRAL_NM_{}", "SPECTRAL_NM{}", "{}nm", "nm_{}.0")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("factor", [1.0, 100.0])
def test_spectra_under_the_usual_names(name: str, factor: float) -> None:
    """Grey patches of the chart: Y and D from spectra are those of colour-science."""
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    greys = [sd for patch, sd in chart.items() if "D)" in patch]
    waves = greys[0].wavelengths
    columns = [name.format(int(w)) for w in waves]
    rows = [
        (level, *(repr(float(v * factor)) for v in sd.values))
        for level, sd in zip(np.linspace(1, 0, 6), greys, strict=True)
    ]
    order = np.random.default_rng(3).permutation(len(columns)) + 1
    found = table("level " + " ".join(columns), rows)
    shuffled = replace(
        found,
        columns=("level", *(found.columns[i] for i in order)),
        rows=tuple((row[0], *(row[i] for i in order)) for row in found.rows),
    )
    readings = readings_from_table(shuffled)
    values = np.stack([sd.values for sd in greys])
    assert readings.scale == "luminance"
    np.testing.assert_allclose(
        100 * 10**-readings.density, scales.luminance_of_spectrum(waves, values)
    )
    visual = readings_from_table(shuffled, ReadingOptions(scale="visual-density"))
    np.testing.assert_allclose(visual.density, scales.visual_density_of_spectrum(waves, values))


def spectral(values: Sequence[Sequence[object]]) -> Table:
    waves = range(400, 701, 20)
    rows = [(u, *row) for u, row in zip(LEVELS, values, strict=False)]
    return table("level " + " ".join(f"SPECTRAL_{w}" for w in waves), rows)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([[3.0] * 16, [2.0] * 16], "0 to 1 or from 0 to 100"),
        ([[50.0] * 16, [1e308] * 16], "SPECTRAL_400 is 1e+308"),
        ([[0.5] * 16, [0.0] * 16], "line 3: the spectrum reflects nothing"),
        ([[0.5] * 16, [0.4] * 15 + ["-"]], "SPECTRAL_700 is '-'"),
    ],
)
def test_spectra_that_are_refused(values: list[list[object]], said: str) -> None:
    assert said in refusal(spectral(values))


def test_a_spectrum_that_is_too_short() -> None:
    assert "from 500 to 600 nm" in refusal(
        table("level nm500 nm550 nm600", [(0, 0.1, 0.1, 0.1), (1, 0.9, 0.9, 0.9)])
    )


def test_patch_print_and_scatter() -> None:
    found = ladder(
        level=LEVELS,
        density=DENSITIES,
        density_sd=["0.01", "", "0.02", "0.01", "0.005"],
        print=["1", "1", "", "second sheet", "1"],
        SAMPLE_ID=["A1", "A2", "", "A4", "A5"],
    )
    patches = readings_from_table(found).patches
    assert [p.density_sd for p in patches] == [0.01, None, 0.02, 0.01, 0.005]
    assert [p.print_name for p in patches] == ["1", "1", None, "second sheet", "1"]
    assert [p.patch for p in patches] == ["A1", "A2", "line 4", "A4", "A5"]
    named = ladder(level=LEVELS, density=DENSITIES, SAMPLE_ID=range(5), patch=list("abcde"))
    assert [p.patch for p in readings_from_table(named).patches] == list("abcde")


def test_a_scans_doubts_are_kept_and_named_and_change_no_number() -> None:
    doubts = ["", "as under a stain; clipped", "", "", "0,5"]
    plain = readings_from_table(ladder(level=LEVELS, density=DENSITIES, patch=list("abcde")))
    found = readings_from_table(
        ladder(level=LEVELS, density=DENSITIES, patch=list("abcde"), doubt=doubts))
    assert found.findings == (PatchesDoubted("strip.csv", ("b", "e")),)
    assert [p.doubt for p in found.patches] == [d or None for d in doubts]
    assert tuple(replace(p, doubt=None) for p in found.patches) == plain.patches


def test_the_ink_colour_travels_with_the_readings() -> None:
    colour = {"red": [255] * 5, "green": [120] * 5, "blue": [0] * 5}
    found = readings_from_table(ladder(level=LEVELS, density=DENSITIES, **colour))
    assert found.ink_colour == "255,120,0"
    silent = replace(two()[1], patches=found.patches)
    assert combine([silent, found]).ink_colour == "255,120,0"
    other = replace(silent, ink_colour="0,255,0")
    with pytest.raises(ReadingsError, match=r"strip.csv: 255,120,0; second.csv: 0,255,0"):
        combine([found, other])


@pytest.mark.parametrize("sd", ["0", "-0.01", "2", "x"])
def test_scatter_that_cannot_be(sd: str) -> None:
    said = refusal(ladder(level=LEVELS, density=DENSITIES, density_sd=[sd] * 5))
    assert "line 2: density_sd is" in said


def test_relative_to_paper() -> None:
    densities = [1.43, 1.1, 0.6, 0.2, -0.03]
    found = ladder(level=LEVELS, density=densities)
    assert "relative_to_paper" in refusal(found)
    relative = readings_from_table(found, ReadingOptions(relative_to_paper=True))
    assert relative.relative_to_paper and relative.density.tolist() == densities
    absolute = readings_from_table(
        found, ReadingOptions(relative_to_paper=True, paper_density=0.09)
    )
    assert not absolute.relative_to_paper
    np.testing.assert_allclose(absolute.density, np.array(densities) + 0.09)
    too_low = ladder(level=LEVELS, density=[1.43, 1.1, 0.6, 0.2, -0.3])
    assert "-0.3" in refusal(too_low, relative_to_paper=True)


def test_a_paper_too_white_to_be_absolute_is_noted() -> None:
    readings = readings_from_table(ladder(level=LEVELS, density=[1.4, 1, 0.6, 0.3, 0.0]))
    assert readings.findings == (LighterThanPaper("strip.csv", 0.0),)


@pytest.mark.parametrize(
    "options",
    [
        {"paper_density": 0.1},
        {"paper_density": float("nan"), "relative_to_paper": True},
        {"paper_density": 3.0, "relative_to_paper": True},
        {"scale": "status-a"},
    ],
)
def test_options_that_contradict(options: dict[str, object]) -> None:
    with pytest.raises(OptionError):
        ReadingOptions(**options)  # type: ignore[arg-type]


FALLING = ["1.52", "1.21", "0.74", "0.33", "0.09"]
BAD: list[tuple[str, Table, tuple[str, ...]]] = [
    ("header only", table("level density", []), ("no rows", "level, density")),
    (
        "no level",
        ladder(CMYK_K=[0, 25, 50, 75, 100], D_VIS=FALLING),
        ("CMYK_K, D_VIS", "ink_percent", "level_column"),
    ),
    ("no value", ladder(level=LEVELS, D_RED=FALLING), ("level, D_RED", "LAB_L", "density")),
    (
        "NaN",
        ladder(level=LEVELS, density=["1.5", "nan", "0.7", "0.3", "0.1"]),
        ("line 3", "density is 'nan'"),
    ),
    ("infinity", ladder(level=LEVELS, density=["inf", *FALLING[1:]]), ("line 2", "'inf'")),
    ("overflow", ladder(level=LEVELS, density=["1e999", *FALLING[1:]]), ("line 2", "is 1e999")),
    ("other digits", ladder(level=LEVELS, density=["١", *FALLING[1:]]), ("line 2", "'١'")),
    ("underscore", ladder(level=LEVELS, density=["1_5", *FALLING[1:]]), ("'1_5'",)),
    ("blank", ladder(level=LEVELS, density=[""] * 5),
     ("no density is filled in yet", "Measure the print")),
    ("blank level", ladder(level=["", *LEVELS[1:]], density=FALLING), ("level is blank",)),
    ("text", ladder(level=LEVELS, density=[*FALLING[:4], "n/a"]), ("line 6", "'n/a'")),
    (
        "negative density",
        ladder(level=LEVELS, density=[*FALLING[:4], "-0.05"]),
        ("line 6", "density is -0.05", "relative_to_paper"),
    ),
    ("density 7", ladder(level=LEVELS, density=["7", *FALLING[1:]]), ("line 2", "density is 7")),
    (
        "level 1.3",
        ladder(level=[0, 0.25, 0.5, 0.75, 1.3], density=FALLING),
        ("line 6", "level is 1.3", "between 0 (clear film) and 1"),
    ),
    ("level below 0", ladder(level=[-0.1, *LEVELS[1:]], density=FALLING), ("level is -0.1",)),
    (
        "percent as level",
        ladder(level=[0, 25, 50, 75, 100], density=FALLING),
        ("line 3", "level is 25", "name the column ink_percent"),
    ),
    (
        "level as percent",
        ladder(ink_percent=LEVELS, density=FALLING),
        ("no value of ink_percent is above 1", "name the column level"),
    ),
    (
        "percent 130",
        ladder(ink_percent=[0, 25, 50, 75, 130], density=FALLING),
        ("line 6", "ink_percent is 130"),
    ),
    (
        "luminance 0 to 1",
        ladder(level=LEVELS, luminance=[0.03, 0.08, 0.3, 0.6, 0.9]),
        ("no value of luminance is above 0.9", "multiply it by 100"),
    ),
    (
        "lightness 0",
        ladder(level=LEVELS, LAB_L=[0, 20, 50, 70, 95]),
        ("line 2", "LAB_L is 0", "endless density", "remove the row"),
    ),
    ("luminance 0", ladder(level=LEVELS, XYZ_Y=[0, 5, 20, 50, 90]), ("line 2", "XYZ_Y is 0")),
    ("all black", ladder(level=LEVELS, XYZ_Y=[0] * 5), ("line 2", "endless density")),
    ("lightness 120", ladder(level=LEVELS, LAB_L=[5, 20, 50, 70, 120]), ("LAB_L is 120",)),
    ("luminance huge", ladder(level=LEVELS, XYZ_Y=[5, 20, 50, 70, "1e308"]), ("is 1e308",)),
    ("luminance tiny", ladder(level=LEVELS, XYZ_Y=["5e-324", 20, 50, 70, 90]), ("line 2",)),
    (
        "swapped, outside",
        ladder(level=FALLING, density=LEVELS),
        ("line 2", "level is 1.52", "swapped"),
    ),
    (
        "swapped, all below 1",
        ladder(level=[0.93, 0.61, 0.34, 0.2, 0.07], density=LEVELS),
        ("even steps", "swapped"),
    ),
    (
        "swapped with percent",
        ladder(ink_percent=FALLING, density=[0, 25, 50, 75, 100]),
        ("line 3", "density is 25", "swapped"),
    ),
    (
        "counted the other way",
        ladder(level=LEVELS, density=FALLING[::-1]),
        ("More ink prints lighter, so columns are swapped or levels are counted the other way",),
    ),
    (
        "column twice",
        replace(ladder(level=LEVELS, density=FALLING), columns=("Level", " level")),
        ("twice",),
    ),
    (
        "two names for one thing",
        ladder(level=LEVELS, density=FALLING, D_VIS=FALLING),
        ("density, D_VIS", "only one"),
    ),
]


@pytest.mark.parametrize(("found", "said"), [b[1:] for b in BAD], ids=[b[0] for b in BAD])
def test_bad_input_is_refused_with_line_value_and_way_out(
    found: Table, said: tuple[str, ...]
) -> None:
    message = refusal(found)
    assert "strip.csv" in message
    for part in said:
        assert part in message
    assert message.count(". ") >= 2  # given, rule, way out


def test_level_field_that_is_not_there() -> None:
    said = refusal(ladder(level=LEVELS, density=DENSITIES), level_field="CMYK_K")
    assert "no column is called CMYK_K" in said and "level, density" in said


def test_8_bit_codes_are_not_percent() -> None:
    found = ladder(RGB_G=[255, 191, 128, 64, 0], density=DENSITIES)
    assert "1 - code / 255" in refusal(found, level_field="RGB_G")


def test_a_noisy_or_reversing_target_is_not_taken_for_swapped() -> None:
    """Real targets wobble and can reverse at the ends; that is for the fit to judge."""
    level = np.linspace(0, 1, 21)
    density = 1.5 - 1.4 * level
    density[:4] = [1.2, 1.3, 1.4, 1.5]  # a reversed shadow
    readings_from_table(ladder(level=level, density=density))
    flat = 0.1 + np.random.default_rng(1).normal(0, 0.02, 21)
    readings_from_table(ladder(level=level, density=flat))
    # Synthetic, with both columns even: falls as it should, so nothing speaks for a swap.
    readings_from_table(ladder(level=LEVELS, density=[1.0, 0.75, 0.5, 0.25, 0.0]))


def two() -> tuple[Readings, Readings]:
    first = readings_from_table(ladder(level=LEVELS, density=DENSITIES))
    second = replace(first, sources=(Source("second.csv", "csv", "1" * 64, ("# later",)),),
                     findings=(EndDataMissing("second.csv"),))
    return first, second


def test_combine() -> None:
    first, second = two()
    both = combine([first, second])
    assert both.patches == first.patches + second.patches
    assert [s.name for s in both.sources] == ["strip.csv", "second.csv"]
    assert both.findings == (*second.findings, SheetsNotNamed(2))
    assert combine([first]) == first


def test_combine_refuses_what_does_not_go_together() -> None:
    first, second = two()
    with pytest.raises(ReadingsError, match="weighted as visual-density, those") as caught:
        combine([first, replace(second, scale="luminance")])
    assert caught.value.code == "two_scales"
    with pytest.raises(ReadingsError, match=r"of second\.csv are absolute") as caught:
        combine([replace(first, relative_to_paper=True), second])
    assert caught.value.code == "relative_to_paper"
    with pytest.raises(ReadingsError, match="byte for byte"):
        combine([first, first])
    with pytest.raises(ReadingsError):
        combine([])


texts = st.text(max_size=12)
sources = st.builds(
    Source,
    name=texts,
    kind=st.sampled_from(["csv", "cgats"]),
    sha256=texts,
    comments=st.lists(texts, max_size=3).map(tuple),
)
some_readings = st.builds(
    Readings,
    patches=st.lists(
        st.builds(
            Reading,
            level=st.floats(0, 1),
            density=st.floats(-0.1, 6),
            density_sd=st.none() | st.floats(1e-6, 1),
            print_name=st.none() | texts,
            patch=texts,
            doubt=st.none() | texts,
        ),
        min_size=1,
        max_size=8,
    ).map(tuple),
    scale=st.sampled_from(["luminance", "visual-density"]),
    relative_to_paper=st.booleans(),
    sources=st.lists(sources, max_size=3).map(tuple),
    findings=st.lists(st.builds(PatchesDoubted, texts, st.lists(texts, max_size=2).map(tuple)),
                      max_size=2).map(tuple),
    ink_colour=st.none() | texts,
)


@given(some_readings)
def test_document_round_trip(readings: Readings) -> None:
    through_json = json.loads(json.dumps(encode(readings), allow_nan=False))
    assert read_back(through_json) == readings


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=5,
)


@given(some_readings, st.data())
def test_a_spoilt_document_raises_nothing_but_document_error(
    readings: Readings, data: st.DataObject
) -> None:
    document = encode(readings)
    table = data.draw(st.sampled_from([document, document["patches"]]))
    name = data.draw(st.sampled_from(sorted(table)))
    value = data.draw(json_values)
    if isinstance(table[name], list) and table[name] and data.draw(st.booleans()):
        table[name][0] = value
    else:
        table[name] = value
    try:
        read_back(document)
    except DocumentError as error:
        assert error.way_out == "take an unedited copy"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("level", [0.0, 0.5, 1.3, 0.75, 1.0]),
        ("level", [0.0, 0.5]),
        ("level", "0"),
        ("density", [float("nan")] * 5),
        ("density", [True] * 5),
        ("density", [None] * 5),
        ("density_sd", [0] * 5),
        ("patch", [None] * 5),
        ("print_name", [1] * 5),
        ("doubt", [1] * 5),
        ("scale", "both"),
        ("relative_to_paper", 1),
        ("sources", [{"name": "a"}]),
        ("sources", None),
        ("findings", [3]),
        ("findings", [{"code": "no_such_finding"}]),
    ],
)
def test_spoilt_documents_are_refused(name: str, value: object) -> None:
    document = encode(two()[0])
    assert read_back(document) == two()[0]
    table = document if name in document else document["patches"]
    table[name] = value
    with pytest.raises(DocumentError):
        read_back(document)


def test_documents_with_other_fields_or_without_patches_are_refused() -> None:
    document = encode(two()[0])
    none = {**document, "patches": {name: [] for name in document["patches"]}}
    for other in ({**document, "more": 1}, none, None, [], "readings"):
        with pytest.raises(DocumentError):
            read_back(other)
    del document["patches"]["level"]
    with pytest.raises(DocumentError, match="level is missing"):
        read_back(document)


cells = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.sampled_from(["", "0", "1", "0.5", "100", "-0.01", "50", "1e308", "5e-324", "x"]),
    st.floats(0, 1).map(str),
)
names = st.sampled_from(
    ["level", "ink_percent", "density", "D_VIS", "LAB_L", "XYZ_Y", "LAB_A", "density_sd", "print",
     "patch", "CMYK_K", "nm400", "nm500", "other", ""]
)  # fmt: skip


@settings(max_examples=300)
@given(st.lists(names, min_size=1, max_size=6), st.integers(0, 7), st.data())
def test_any_table_gives_readings_or_a_clear_refusal(
    columns: list[str], count: int, data: st.DataObject
) -> None:
    row = st.tuples(*[cells] * len(columns))
    found = Table(
        columns=tuple(columns),
        rows=tuple(data.draw(row) for _ in range(count)),
        source=Source("t.csv", "csv", "", ()),
        line_numbers=tuple(range(2, 2 + count)),
    )
    options = ReadingOptions(
        level_field=data.draw(st.sampled_from([None, "CMYK_K"])),
        relative_to_paper=data.draw(st.booleans()),
    )
    try:
        readings = readings_from_table(found, options)
    except TonewrightError:
        return
    assert np.all((readings.level >= 0) & (readings.level <= 1))
    assert np.all(np.isfinite(readings.density))
    assert read_back(encode(readings)) == readings

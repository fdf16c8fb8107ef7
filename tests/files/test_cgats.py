"""CGATS.17 / ISO 28178 text, as instruments and charts write it and as it gets harmed."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tonewright.errors import FileError, TonewrightError
from tonewright.files.tables import read_table
from tonewright.measured.columns import Table
from tonewright.measured.findings import EndDataMissing, OtherViewing, StatedCountWrong
from tonewright.measured.readings import ReadingOptions, readings_from_table
from tonewright.record.findings import Finding

NAME = "strip.txt"

PLAIN = """\
CGATS.17
ORIGINATOR "an invented instrument"
CREATED "2001-02-03"   # a comment at the end
# a comment of its own
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_ID CMYK_K D_VIS LAB_L
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
"A 1" 0 1.50 20.7
A2 50.00 0.70 51.8
A3 100.00 0.08 93.1
END_DATA
"""
COLUMNS = ("SAMPLE_ID", "CMYK_K", "D_VIS", "LAB_L")
ROWS = (
    ("A 1", "0", "1.50", "20.7"),
    ("A2", "50.00", "0.70", "51.8"),
    ("A3", "100.00", "0.08", "93.1"),
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / NAME


def read(path: Path, content: str, level_field: str | None = None) -> Table:
    path.write_bytes(content.encode("utf-8"))
    return read_table(path, level_field)


def refusal(path: Path, content: str) -> str:
    with pytest.raises(FileError) as caught:
        read(path, content)
    return str(caught.value)


def without(*words: str) -> str:
    return "".join(line for line in PLAIN.splitlines(keepends=True) if not line.startswith(words))


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        "\ufeff" + PLAIN,
        PLAIN.replace("\n", "\n\n"),
        without("NUMBER_OF"),
        without("CGATS", "ORIGINATOR", "CREATED"),
        PLAIN.replace("CGATS.17", "ISO28178"),
        PLAIN.replace("CGATS.17", "IT8.7/2"),
        PLAIN.replace("0.70", "0,70").replace("51.8", "51,8"),
        PLAIN.replace(" D_VIS", "\n  D_VIS\n# between\n"),
        PLAIN.replace("FORMAT\nSAMPLE_ID", "FORMAT SAMPLE_ID").replace("LAB_L\nEND", "LAB_L END"),
        PLAIN.replace("0.70 51.8", "0.70\n\t51.8").replace("A3 100.00 ", "A3\n100.00\n\n"),
        PLAIN.replace("A2 50.00", "A2\t50.00").replace("51.8", "51.8  # faint"),
        PLAIN.replace("END_DATA\n", "END_DATA"),
    ],
)
def test_one_table(path: Path, content: str) -> None:
    found = read(path, content)
    assert found.columns == COLUMNS
    assert [[*r] for r in found.rows] == [[*r] for r in ROWS]
    assert found.source.kind == "cgats"
    assert found.findings == ()


def test_comments_keywords_and_lines_are_kept(path: Path) -> None:
    found = read(path, PLAIN)
    notes = "\n".join(found.source.comments)
    for part in ("# a comment of its own", "# a comment at the end", "an invented instrument"):
        assert part in notes
    assert found.line_numbers == (11, 12, 13)


def test_readings(path: Path) -> None:
    found = read(path, PLAIN, "CMYK_K")
    readings = readings_from_table(found, ReadingOptions(level_field="CMYK_K"))
    assert readings.level.tolist() == [0.0, 0.5, 1.0]
    np.testing.assert_allclose(readings.lightness, [20.7, 51.8, 93.1])
    assert [p.patch for p in readings.patches] == ["A 1", "A2", "A3"]


@pytest.mark.parametrize(
    ("content", "noted"),
    [
        (PLAIN.replace("FIELDS 4", "FIELDS 9"), StatedCountWrong(NAME, "NUMBER_OF_FIELDS", 9, 4)),
        (PLAIN.replace("SETS 3", "SETS 5"), StatedCountWrong(NAME, "NUMBER_OF_SETS", 5, 3)),
        (PLAIN.replace("END_DATA\n", ""), EndDataMissing(NAME)),
    ],
)
def test_wrong_counts_are_noted(path: Path, content: str, noted: Finding) -> None:
    found = read(path, content)
    assert found.rows == ROWS
    assert found.findings == (noted,)
    options = ReadingOptions(level_field="CMYK_K")
    assert noted in readings_from_table(found, options).findings


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (PLAIN.replace(" 51.8", ""), ["line 12", "3 cells", "4 fields"]),
        (PLAIN.replace(" 51.8", " 51.8 7"), ["line 12", "5 cells", "4 fields"]),
        (PLAIN.replace(" 93.1", ""), ["line 13", "3 cells"]),
        (PLAIN.replace("END_DATA\n", "").replace("SETS 3", "SETS 4"), ["3 of 4", "cut short"]),
        (PLAIN[: PLAIN.index("51.8")], ["within its data", "cut short"]),
        (PLAIN[: PLAIN.index("D_VIS")], ["not closed", "cut short"]),
        (PLAIN[: PLAIN.index("NUMBER_OF_SETS")], ["no data", "BEGIN_DATA"]),
        (without("NUMBER_OF_SETS").replace("END_DATA\n", ""), ["after 3 whole rows"]),
        (PLAIN.replace('"A 1"', '"A 1'), ["line 11", "quote opens"]),
        (PLAIN.replace("SAMPLE_ID CMYK_K D_VIS LAB_L\n", ""), ["field names is empty"]),
        ("CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", ["data without field names"]),
        ("CGATS.17\nEND_DATA\n", ["END_DATA without its beginning"]),
        ("CGATS.17\n", ["no data"]),
        ("CGATS.17\nBEGIN_DATA_FORMAT\n" + "x\n" * 50_000, ["not closed"]),
    ],
)
def test_harmed_files(path: Path, content: str, said: list[str]) -> None:
    message = refusal(path, content)
    assert "strip.txt" in message
    for part in said:
        assert part in message


SETTINGS = "BEGIN_DATA_FORMAT\nNAME VALUE\nEND_DATA_FORMAT\nBEGIN_DATA\na 1\nEND_DATA\n"


def test_the_table_that_holds_measurements_is_taken(path: Path) -> None:
    for content in (PLAIN + SETTINGS, "CGATS.17\n" + SETTINGS + PLAIN):
        assert read(path, content).rows == ROWS
    levels = PLAIN.replace("CMYK_K", "level")
    # Two tables with values; the ink stands in one of them.
    assert read(path, levels + PLAIN).columns[1] == "level"
    assert read(path, PLAIN.replace("CMYK_K", "CMYK_C") + PLAIN, "CMYK_K").columns[1] == "CMYK_K"


def test_a_table_without_a_format_has_the_one_before(path: Path) -> None:
    again = "NUMBER_OF_SETS 1\nBEGIN_DATA\nB1 0 1 9\nEND_DATA\n"
    message = refusal(path, PLAIN + again)
    assert "more than one" in message
    assert "line 10: 3 rows of SAMPLE_ID, CMYK_K" in message and "line 16: 1 row of" in message


def test_no_table_holds_measurements(path: Path) -> None:
    message = refusal(path, "CGATS.17\n" + SETTINGS + SETTINGS)
    assert "none of its tables" in message and "NAME, VALUE" in message


@pytest.mark.parametrize("light", ["D65", "D50"])
def test_colour_values_for_another_light_are_noted(path: Path, light: str) -> None:
    content = PLAIN.replace("# a", f'WEIGHTING_FUNCTION "ILLUMINANT, {light}"\n# a', 1)
    readings = readings_from_table(read(path, content), ReadingOptions(level_field="CMYK_K"))
    other = OtherViewing(NAME, ("D65",), ten_degrees=False)
    assert (other in readings.findings) == (light == "D65")
    assert any(isinstance(f, OtherViewing) for f in readings.findings) == (light == "D65")


cells = st.one_of(
    st.floats(0, 100).map(repr),
    st.text(st.characters(codec="ascii", categories=["L", "N", "P"]), max_size=5),
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.tuples(cells, st.floats(0, 1), st.floats(0, 5)), min_size=1, max_size=6),
    end=st.sampled_from(["\n", "\r", "\r\n"]),
    wrap=st.booleans(),
    counts=st.sampled_from([None, 0, 1]),
)
def test_whatever_is_written_comes_back_the_same(
    path: Path, rows: list[tuple[str, float, float]], end: str, wrap: bool, counts: int | None
) -> None:
    lines = ["CGATS.17", "BEGIN_DATA_FORMAT", "SAMPLE_ID level density", "END_DATA_FORMAT"]
    if counts is not None:
        lines.append(f"NUMBER_OF_SETS {len(rows) + counts}")
    lines.append("BEGIN_DATA")
    for name, level, density in rows:
        quoted = '"' + name.replace('"', '""') + '"'
        lines.append(f"{quoted}{end if wrap else ' '}{level!r} {density!r}")
    lines.append("END_DATA")
    path.write_bytes(end.join(lines).encode("utf-8"))
    found = read_table(path)
    assert [(r[0], float(r[1]), float(r[2])) for r in found.rows] == rows


lines = st.lists(
    st.sampled_from(
        ["CGATS.17", "BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA",
         "SAMPLE_ID level D_VIS", "level LAB_L", "NUMBER_OF_SETS 2", "NUMBER_OF_FIELDS x",
         "NUMBER_OF_SETS", "1 0.5 1.2", "0 90", "1 5", '"a', '""', "#", "x #", "BEGIN_DATA 1 2"]
    ),
    max_size=25,
)  # fmt: skip


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=lines.map("\n".join))
def test_any_order_of_lines_gives_readings_or_a_clear_refusal(path: Path, content: str) -> None:
    path.write_text("CGATS.17\n" + content, encoding="utf-8")
    try:
        readings_from_table(read_table(path))
    except TonewrightError as error:
        assert "strip.txt" in str(error)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, len(PLAIN)), size=st.integers(0, 20), junk=st.text(max_size=4))
def test_a_good_file_cut_or_spoilt_anywhere(path: Path, at: int, size: int, junk: str) -> None:
    spoilt = PLAIN[:at] + junk + PLAIN[at + size :]
    path.write_bytes(spoilt.encode("utf-8", "surrogatepass"))
    with suppress(TonewrightError):
        readings_from_table(read_table(path), ReadingOptions(level_field="CMYK_K"))


def characterisation(k=range(0, 101, 10)) -> str:
    """A press characterisation in the structure such files have, with values of our own.

    As in the public CGATS.17 sets for offset printing: tab separated, CRLF, KEYWORD lines that
    declare further keywords, a quoted measurement condition, CMYK fields before XYZ and LAB.
    """
    rows = []
    for i, ink in enumerate(k, 1):
        light = 15.0 + 0.8 * ink  # of a print through that much ink
        y = 100.0 * ((light + 16.0) / 116.0) ** 3
        rows.append(f"{i}\tK{ink}\t0.00\t0.00\t0.00\t{ink:.2f}\t{0.9642 * y:.2f}\t{y:.2f}"
                    f"\t{0.8249 * y:.2f}\t{light:.2f}\t0.00\t0.00")
    return "\r\n".join([
        "ISO28178", 'ORIGINATOR\t"an invented press"', 'DESCRIPTOR\t"invented characterisation"',
        'CREATED\t"2001-02-03"', 'INSTRUMENTATION\t"45/0"', 'KEYWORD\t"PRINT_CONDITIONS"',
        'PRINT_CONDITIONS\t"offset, paper type 1"',
        'MEASUREMENT_SOURCE\t"Illumination=D50\tObserverAngle=2 degree\tFilter=M1"',
        "", "NUMBER_OF_FIELDS\t12", "BEGIN_DATA_FORMAT",
        "\t".join(("SAMPLE_ID", "SAMPLE_NAME", "CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K", "XYZ_X",
                   "XYZ_Y", "XYZ_Z", "LAB_L", "LAB_A", "LAB_B")),
        "END_DATA_FORMAT", f"NUMBER_OF_SETS\t{len(rows)}", "BEGIN_DATA", *rows, "END_DATA", ""])


def test_a_characterisation_file(path: Path) -> None:
    found = read(path, characterisation(), "CMYK_K")
    readings = readings_from_table(found, ReadingOptions(level_field="CMYK_K"))
    np.testing.assert_allclose(readings.level, np.arange(11) / 10)
    np.testing.assert_allclose(readings.lightness, 15.0 + 8.0 * np.arange(11), atol=1e-9)
    assert readings.patches[3].patch == "4"
    assert not any(isinstance(f, OtherViewing | StatedCountWrong) for f in readings.findings)

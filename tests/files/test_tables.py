"""Measurement files in every dialect a spreadsheet writes, and what is refused."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tonewright.errors import FileError, TonewrightError
from tonewright.files import tables
from tonewright.files.tables import read_table
from tonewright.measured.columns import Table
from tonewright.measured.readings import readings_from_table


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "strip.csv"


def read(path: Path, content: str | bytes) -> Table:
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return read_table(path)


def refusal(path: Path, content: str | bytes) -> str:
    with pytest.raises(FileError) as caught:
        read(path, content)
    return str(caught.value)


PLAIN = "level,density\n0,1.5\n0.5,0.7\n1,0.08\n"
ROWS = (("0", "1.5"), ("0.5", "0.7"), ("1", "0.08"))


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.rstrip("\n"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t").replace(".", ","),
        "sep=;\n" + PLAIN.replace(",", ";").replace(".", ","),
        'level,density\n"0","1,5"\n"0,5","0,7"\n"1","0,08"\n',
        '"level","density"\n"0","1.5"\n"0.5","0.7"\n1,0.08\n',
        "\n\nlevel , density\n\n 0, 1.5\n\n0.5 ,0.7\n1,0.08\n\n\n",
        "level,density,,\n0,1.5,,\n,,,\n0.5,0.7,,\n1,0.08,,\n",
        "level,density\n0,1.5,\n0.5,0.7,,\n1,0.08\n",
        PLAIN + "\x1a",
        b"\xef\xbb\xbf" + PLAIN.encode(),
        codecs.BOM_UTF16_LE + PLAIN.encode("utf-16-le"),
        codecs.BOM_UTF16_BE + PLAIN.encode("utf-16-be"),
        codecs.BOM_UTF32_LE + PLAIN.encode("utf-32-le"),
    ],
)
def test_dialects(path: Path, content: str | bytes) -> None:
    found = read(path, content)
    assert found.columns == ("level", "density")
    assert found.rows == ROWS
    assert found.source.kind == "csv"
    assert found.source.name == "strip.csv"
    assert found.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_comments_are_kept_and_lines_counted(path: Path) -> None:
    found = read(
        path,
        '# Büttenpapier, invented\n"# saved by a spreadsheet, quoted",\nlevel,density\n0,1.5\n'
        "\n  # in between\n1,0.1\n# last\n",
    )
    assert found.source.comments == (
        "# Büttenpapier, invented",
        "# saved by a spreadsheet, quoted",
        "# in between",
        "# last",
    )
    assert found.rows == (("0", "1.5"), ("1", "0.1"))
    assert found.line_numbers == (4, 7)


def test_a_quoted_patch_name_with_a_hash_is_no_comment(path: Path) -> None:
    found = read(path, 'patch,level,density\n"#1",0,1.5\n"#2",1,0.1\n')
    assert [row[0] for row in found.rows] == ["#1", "#2"]


def test_quoted_cells(path: Path) -> None:
    found = read(
        path,
        'patch;density;level\n"a;b";0,5;0\n"say ""x""";0,4;0,5\n'
        '"two\n# lines";0,3;1\n8x10" a;0,2;1',
    )
    assert [row[0] for row in found.rows] == ["a;b", 'say "x"', "two\n# lines", '8x10" a']
    assert [row[1] for row in found.rows] == ["0.5", "0.4", "0.3", "0.2"]
    assert found.line_numbers == (2, 3, 4, 6)


def test_names_keep_their_commas(path: Path) -> None:
    found = read(path, "Patch;print;level;density\n1,2;3,4;0,5;1,2\n")
    assert found.rows == (("1,2", "3,4", "0.5", "1.2"),)


def test_a_column_without_a_name(path: Path) -> None:
    found = read(path, "level,,density\n0,x,1.5\n")
    assert found.columns == ("level", "column 2", "density")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", ["is empty"]),
        ("\n \n\r\n", ["is empty"]),
        ("# only\n# comments\n", ["comments only"]),
        ("0,1.5\n1,0.1\n", ["line 1", "first row holds numbers", "column names"]),
        ("level,density\n0,1.5\n0.5\n", ["line 3", "1 cell, the header 2"]),
        ("level,density\n0,1.5,3\n", ["line 2", "3 cells, the header 2"]),
        ("level,density\n0,5,1,2\n", ["line 2", "4 cells", "semicolons"]),
        ('level,density\n0,"1.5\n1,0.1\n', ["line 2", "quote opens and does not close"]),
        ('level,density\n0,"1.5" x\n', ["line 2", "quote"]),
        ("level,density\n0," + "1" * 200_000, ["line 2", "length of a cell"]),
        ("level,density\n0," + "1" * 2_000_000, ["line 2", "characters"]),
        ("level,density\n# Büttenpapier\x81\n0,1.5\n".encode("latin-1"),
         ["0xfc in line 2", "UTF-8"]),
        ("level,density\n0,1.5\n".encode("utf-16-le"), ["control character 0x00", "line 1"]),
        (codecs.BOM_UTF16_LE + b"abc", ["no text has"]),
        (b"II*\x00rest", ["TIFF image"]),
        (b"\x89PNG\r\n\x1a\n", ["PNG image"]),
        (b"\xff\xd8\xff\xe0", ["JPEG image"]),
        (b"PK\x03\x04....", ["spreadsheet workbook", "save the sheet as CSV"]),
        (b"%PDF-1.7", ["PDF"]),
        (bytes(range(256)), ["no text has"]),
        ('{"format": "curve"}', ["JSON"]),
        ("<html></html>", ["markup"]),
    ],
)
def test_refused_files(path: Path, content: str | bytes, said: list[str]) -> None:
    message = refusal(path, content)
    assert "strip.csv" in message
    for part in said:
        assert part.lower() in message.lower()


def test_files_that_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no file"):
        read_table(tmp_path / "missing.csv")
    with pytest.raises(FileError, match="folder"):
        read_table(tmp_path)
    with pytest.raises(FileError):
        read_table(tmp_path / "a\0b.csv")
    with pytest.raises(FileError):
        read_table(tmp_path / ("x" * 5000))


@pytest.mark.skipif(
    sys.platform == "win32" or (hasattr(os, "geteuid") and os.geteuid() == 0),
    reason="permissions do not hold for this user",
)
def test_no_permission(path: Path) -> None:
    path.write_text(PLAIN, encoding="utf-8")
    path.chmod(0)
    with pytest.raises(FileError, match="permission"):
        read_table(path)


def test_too_large(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "MOST_BYTES", 100)
    assert "larger than" in refusal(path, PLAIN * 10)


@pytest.mark.parametrize("start", [b"II*\0", b"MM\0*", b"\x89PNG\r\n", b"\xff\xd8\xff\xe0"])
def test_a_scan_is_to_be_read_first_however_large(
    path: Path, monkeypatch: pytest.MonkeyPatch, start: bytes
) -> None:
    monkeypatch.setattr(tables, "MOST_BYTES", 100)
    for size in (10, 1000):
        assert "If it is a scan, read it first" in refusal(path, start + bytes(size))


def test_reading_a_table_imports_no_scipy_and_no_colour(path: Path) -> None:
    path.write_text(PLAIN, encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from tonewright.files.tables import read_table; "
        "from tonewright.measured.readings import readings_from_table; "
        f"readings_from_table(read_table(Path({str(path)!r}))); "
        "print([m for m in ('scipy', 'colour', 'matplotlib', 'click') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


numbers = st.floats(0, 100, allow_subnormal=False)
words = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "Zs"]), max_size=8)
row = st.tuples(numbers, numbers, words)


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(row, min_size=1, max_size=8),
    delimiter=st.sampled_from(",;\t"),
    comma=st.booleans(),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
    comments=st.lists(words, max_size=3),
    blank=st.booleans(),
)
def test_whatever_a_spreadsheet_writes_comes_back_the_same(
    path: Path,
    rows: list[tuple[float, float, str]],
    delimiter: str,
    comma: bool,
    end: str,
    encoding: str,
    quoting: int,
    comments: list[str],
    blank: bool,
) -> None:
    """Python's own csv writer, in any dialect: the numbers come back to the last bit."""
    comma = comma and not (delimiter == "," and quoting == csv.QUOTE_NONNUMERIC)

    def spelled(number: float) -> str:
        return repr(number).replace(".", ",") if comma else repr(number)

    out = io.StringIO()
    out.writelines(f"# {comment}{end}" for comment in comments)
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]
    writer.writerow(["level", "density", "patch"])
    for level, density, patch in rows:
        writer.writerow([spelled(level), spelled(density), "p" + patch])
        if blank:
            out.write(end)
    path.write_bytes(out.getvalue().encode(encoding))
    found = read_table(path)
    assert found.columns == ("level", "density", "patch")
    assert [(float(r[0]), float(r[1])) for r in found.rows] == [r[:2] for r in rows]
    assert [r[2] for r in found.rows] == [f"p{r[2]}".strip() for r in rows]
    assert len(found.source.comments) == len(comments)
    assert len(found.line_numbers) == len(rows)


def tolerant(path: Path, content: bytes) -> None:
    """The whole way from bytes to readings raises nothing but TonewrightError."""
    path.write_bytes(content)
    try:
        readings = readings_from_table(read_table(path))
    except TonewrightError as error:
        assert len(str(error)) < 2500
        return
    assert np.all(np.isfinite(readings.density))


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=200))
def test_arbitrary_bytes(path: Path, content: bytes) -> None:
    tolerant(path, content)


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.text(max_size=200), head=st.sampled_from(["", "level,density\n", "sep=;\nlevel;"])
)
def test_arbitrary_text(path: Path, content: str, head: str) -> None:
    tolerant(path, (head + content).encode("utf-8", "surrogatepass"))


pieces = st.sampled_from(
    ["level", "density", "LAB_L", "ink_percent", ",", ";", "\t", "\n", "\r", '"', "#", "0", "0.5",
     "1", "0,5", "-", "1e400", "nan", " ", "sep=", "\ufeff", "BEGIN_DATA", "END_DATA",
     "BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "NUMBER_OF_SETS", "CGATS.17", "\n"]
)  # fmt: skip


@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.lists(pieces, max_size=60).map("".join))
def test_text_made_of_the_right_pieces(path: Path, content: str) -> None:
    tolerant(path, content.encode("utf-8"))


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, 60), junk=st.binary(min_size=1, max_size=3))
def test_a_good_file_with_spoilt_bytes(path: Path, at: int, junk: bytes) -> None:
    good = b"# invented\nlevel,density\n0,1.5\n0.25,1.1\n0.5,0.7\n0.75,0.3\n1,0.08\n"
    tolerant(path, good[:at] + junk + good[at + len(junk) :])

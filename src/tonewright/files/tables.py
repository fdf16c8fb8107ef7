"""Measurement files: CSV as spreadsheets write it, and CGATS.17 / ISO 28178 text."""

from __future__ import annotations

import codecs
import csv
import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import chain, islice
from pathlib import Path

from tonewright.errors import FileError, counted, visible
from tonewright.files import cgats
from tonewright.files.opening import read_bytes
from tonewright.measured import columns
from tonewright.measured.columns import Source, Table, plain_cell
from tonewright.measured.findings import CodePageAssumed, HeaderAssumed
from tonewright.measured.readings import ReadingOptions, Readings, combine, readings_from_table
from tonewright.record.findings import Finding
from tonewright.record.provenance import kind_of

MOST_BYTES = 7_000_000
"""Measurements of a thousand patches with spectra take about 300 KB; in memory a file of many short
cells becomes fifteen times as large."""
MOST_LINES, MOST_LINE, MOST_COLUMNS = 100_000, 1_000_000, 2000
"""Lines of a file, characters of a line, and columns: full spectra take some 500."""
MOST_CELL_LINES = 20
"""A quoted cell longer than this many lines is a quote that was never closed."""

_READ_FIRST = "if it is a scan, read it first, and name the table that is written"
_OTHER_KINDS: tuple[tuple[bytes, str, str], ...] = (
    *((mark, "a TIFF image", _READ_FIRST) for mark in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")),
    (b"\x89PNG", "a PNG image", _READ_FIRST),
    (b"\xff\xd8\xff", "a JPEG image", _READ_FIRST),
    (b"%PDF", "a PDF", ""),
    (b"PK\x03\x04", "a spreadsheet workbook or a ZIP archive", "save the sheet as CSV (UTF-8)"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook", "save the sheet as CSV (UTF-8)"),
    (b"\x1f\x8b", "a gzip archive", "unpack it first"),
)
_BOMS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1b\x7f]")
_NUMBER = re.compile(r"[+-]?\d*\.?\d+", re.ASCII)
_DECIMAL_COMMA = re.compile(r"\s*\d*,\d+\s*", re.ASCII)
_SEPARATOR_LINE = re.compile(r"sep=([,;\t|])\s*", re.IGNORECASE)
_MEASUREMENTS = "measurements are CSV text with a header row, or CGATS.17 / ISO 28178 text"
LISTS = (("density",),)
TARGETS = (("level", "density"), *LISTS)
STRIPS = (("step", "density"), ("step", "film", "bare"), *LISTS)
"""What the columns of readings without names are."""
_SAVE_AGAIN = "export the measurements as text, or save the sheet as CSV (UTF-8)"


def read_table(
    path: Path, level_field: str | None = None, holds: Sequence[tuple[str, ...]] = ()
) -> Table:
    """A measurement file as a table of text, whatever its dialect: CSV (comma, semicolon or tab;
    decimal point or comma; ``#`` lines are notes) or CGATS.17 / ISO 28178 text; UTF-8, UTF-16 with
    its mark, or code page 1252; at most 7 MB.

    ``level_field`` is the column that holds the ink, if it has a name of its own; it only helps to
    choose between several tables in one file.  ``holds`` says what the columns of a CSV without
    names may be, as many as it has.

    Raises `FileError`: not readable, empty, not text, or not of either kind; a row with too few or
    too many cells; an unclosed quote.
    """
    return parse_table(read_bytes(path, MOST_BYTES, "readings come from a file",
                                  partial(_refuse_other_kinds, name=visible(path.name))),
                       path.name, level_field, holds)


def parse_table(
    raw: bytes, name: str, level_field: str | None = None, holds: Sequence[tuple[str, ...]] = ()
) -> Table:
    """The same from the bytes of a file; raises as `read_table`."""
    name = visible(name)
    _refuse_endless(raw, name)
    text, findings = _decode(raw, name)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    del text
    for number, line in enumerate(lines, 1):
        if len(line) > MOST_LINE:
            raise FileError(f"in {name}: line {number} has {len(line)} characters",
                            f"a line has {MOST_LINE} at most",
                            "check that this is the file you meant")
    if not any(line.strip() for line in lines):
        raise FileError(f"the file {name} is empty", _MEASUREMENTS, _SAVE_AGAIN)
    digest = hashlib.sha256(raw).hexdigest()
    if cgats.is_cgats(lines):
        table = cgats.parse(lines, name, digest, level_field)
    else:
        table = _parse_csv(lines, name, digest, holds)
    return columns.natural(replace(table, findings=findings + table.findings), level_field)


def _refuse_endless(raw: bytes, name: str) -> None:
    """Raise `FileError` for more lines than anyone measures, before they take any memory."""
    ends = raw.count(b"\n") + raw.count(b"\r")
    if ends > 2 * MOST_LINES:
        raise FileError(f"the file {name} has more than {MOST_LINES} lines",
                        "measurements have a line for each patch",
                        "check that this is the file you meant")


def read_readings(
    paths: Sequence[Path], options: ReadingOptions | None = None,
    by_name: Callable[[Table], Readings] | None = None,
) -> Readings:
    """The readings of one or several files of a target, as one; each file is read once.

    ``by_name`` understands a list without ink levels.

    Raises `FileError` as `read_table`, `ReadingsError` as `readings_from_table` and `combine`.
    """
    options = options or ReadingOptions()
    parts = []
    for table in (read_table(path, options.level_field, TARGETS) for path in paths):
        listed = by_name is not None and columns.has_values(table.columns) and \
            not columns.is_usable(table.columns, options.level_field)
        parts.append(by_name(table) if listed and by_name else readings_from_table(table, options))
    return combine(parts)


def _refuse_other_kinds(raw: bytes, name: str) -> None:
    """Raise `FileError` for an image, an archive or another file that is no text."""
    for start, what, way_out in _OTHER_KINDS:
        if raw.startswith(start):
            raise FileError(f"the file {name} is {what}", _MEASUREMENTS, way_out or _SAVE_AGAIN,
                            code="scan_unread" if way_out == _READ_FIRST else None)


def what_instead(raw: bytes) -> str | None:
    """What a file is that is no document: an image, a table; None if it does not tell."""
    other = next((what for start, what, _ in _OTHER_KINDS if raw.startswith(start)), None)
    if other or b"\0" in raw[:4096]:
        return other
    rows = [row for row in raw[:4096].splitlines() if row and not row.startswith(b"#")]
    cells = any(rows and all(sign in row for row in rows[:3]) for sign in (b",", b";", b"\t"))
    return "a table" if cells or (rows[:1] and rows[0].startswith(b"CGATS")) else None


def _decode(raw: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    """The text of a file, or a `FileError` that says what it is instead."""
    _refuse_other_kinds(raw, name)
    findings: tuple[Finding, ...] = ()
    encoding = next((e for mark, e in _BOMS if raw.startswith(mark)), "utf-8")
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        where = f"byte {raw[error.start] if error.start < len(raw) else 0:#04x} in line {line}"
        no_text = encoding != "utf-8" or _CONTROL.search(raw[:4096].decode("latin-1"))
        try:
            if no_text:
                raise
            text, findings = raw.decode("cp1252"), (CodePageAssumed(name),)
        except UnicodeDecodeError:
            raise FileError(
                f"the file {name} has {'bytes that no text has' if no_text else where}",
                f"{_MEASUREMENTS}, written as UTF-8",
                "save it again as CSV (UTF-8), or as text with encoding UTF-8") from None
    text = text.removeprefix("\ufeff").rstrip("\x1a")  # Ctrl-Z ended text files once
    control = _CONTROL.search(text)
    if control:
        line = text.count("\n", 0, control.start()) + 1
        raise FileError(
            f"the file {name} has the control character {ord(control[0]):#04x} in line {line}",
            _MEASUREMENTS, "check that this is a text file; save it again as CSV (UTF-8)")
    if text.lstrip()[:1] in ("{", "[", "<"):
        what = "markup (XML or HTML)" if text.lstrip().startswith("<") else "a JSON document"
        ours = kind_of(text)
        raise FileError(f"the file {name} is {ours or what}", _MEASUREMENTS,
                        "name the table of readings itself" if ours else _SAVE_AGAIN)
    return text, findings


_Record = tuple[int, list[str]]
"""Line number and cells of one logical line."""


def _parse_csv(
    lines: list[str], name: str, digest: str, holds: Sequence[tuple[str, ...]]
) -> Table:
    comments: list[str] = []
    filled = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
    if LISTS[0] in holds and all(map(_DECIMAL_COMMA.fullmatch, filled)):
        lines = [line.replace(",", ".") for line in lines]
    records = _records(lines, name, comments)
    first = next(records, None)
    if first is None:
        raise FileError(f"the file {name} holds comments only", _MEASUREMENTS,
                        "check that the rows were saved with it")
    findings: tuple[Finding, ...] = ()
    known = _known_columns(first, holds)
    if known is not None:
        records = chain([first], records)
    names = list(known) if known else _header(first, name)
    numbered = [(record[0], _row(record, names, name)) for record in records]
    if known is not None:
        percent = names[0] == "level" and any(
            _NUMBER.fullmatch(row[0]) and float(row[0]) > 1.0 for _, row in numbered)
        names[0] = "ink_percent" if percent else names[0]
        findings = (HeaderAssumed(name, tuple(names)),)
    # spreadsheets leave columns without a name and without anything in them
    kept = [i for i, c in enumerate(names) if c or any(row[i] for _, row in numbered)]
    return Table(
        columns=tuple(names[i] or f"column {i + 1}" for i in kept),
        rows=tuple(tuple(row[i] for i in kept) for _, row in numbered),
        source=Source(name, "csv", digest, tuple(comments)),
        line_numbers=tuple(line for line, _ in numbered), findings=findings)


def _known_columns(
    first: _Record, holds: Sequence[tuple[str, ...]]
) -> tuple[str, ...] | None:
    """What a table without names holds, if its first row has nothing but numbers."""
    cells = [plain_cell("", cell).removesuffix("%").strip() for cell in first[1]]
    if not all(_NUMBER.fullmatch(cell) for cell in cells):
        return None
    return next((names for names in holds if len(names) == len(cells)), None)


def _records(lines: list[str], name: str, comments: list[str]) -> Iterator[_Record]:
    """The filled rows of a CSV file; comment lines go to `comments`."""
    delimiter, numbered = "", enumerate(lines, 1)
    for number, line in numbered:
        if line.lstrip().startswith("#"):
            comments.append(line.strip())
        elif not delimiter and (hint := _SEPARATOR_LINE.fullmatch(line)):
            delimiter = hint[1]
        elif line.strip():
            delimiter = delimiter or _delimiter(line)
            more = (following for _, following in islice(numbered, MOST_CELL_LINES - 1))
            cells = _cells(chain([line], more), delimiter, f"in {name}, line {number}")
            if cells[0].startswith("#") and not any(cells[1:]):
                comments.append(cells[0])  # a spreadsheet put the comment line into quotes
            elif any(cells):
                yield number, cells


def _delimiter(header: str) -> str:
    """Tab, semicolon or comma, whichever splits the header row into most cells."""
    unquoted = re.sub(r'"[^"]*"', "", header)
    return max("\t;,", key=unquoted.count)


def _cells(lines: Iterator[str], delimiter: str, where: str) -> list[str]:
    """Cells of the row that begins with the first of the lines; of them it takes as many as its
    quoted cells go on over."""
    try:
        row = next(csv.reader((f"{line}\n" for line in lines), delimiter=delimiter, strict=True))
    except csv.Error as error:
        if "unexpected end of data" in str(error):
            raise FileError(f"{where}: a quote opens and does not close",
                            "a cell in quotes ends with a quote",
                            "close the quote, or remove it") from None
        raise FileError(
            f"{where}: the quotes or the length of a cell are wrong",
            "a cell in quotes ends with a quote, and quotes inside it are doubled",
            "correct the row, or save the sheet as CSV (UTF-8) again") from None
    return [cell.strip() for cell in row]


def _header(record: _Record, name: str) -> list[str]:
    line, cells = record
    if len(cells) > MOST_COLUMNS:
        raise FileError(f"in {name}, line {line}: the row has {len(cells)} cells",
                        f"a table has {MOST_COLUMNS} columns at most",
                        "check that this is the file you meant")
    if any(re.fullmatch(r"[+-]?[\d.,]+", cell, re.ASCII) for cell in cells):
        raise FileError(
            f"in {name}, line {line}: the first row holds numbers",
            "the first row names the columns, such as level and density; a line that begins"
            " with # is a comment", "put a row of column names on top")
    return cells


def _row(record: _Record, columns: list[str], name: str) -> list[str]:
    """The cells of a row, as many as there are columns, with decimal points."""
    line, cells = record
    if not any(cells[len(columns) :]):
        cells = cells[: len(columns)]  # spreadsheets pad rows with empty cells
    if len(cells) != len(columns):
        raise FileError(
            f"in {name}, line {line}: the row has {counted(len(cells), 'cell')}, the header"
            f" {len(columns)}", "every row has as many cells as there are column names",
            "correct the row; if numbers have decimal commas, separate the cells with semicolons")
    return list(map(plain_cell, columns, cells))

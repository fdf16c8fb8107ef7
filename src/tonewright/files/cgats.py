"""CGATS.17 / ISO 28178 text: keywords, then BEGIN_DATA_FORMAT and BEGIN_DATA, once or more."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field
from typing import get_args

from tonewright.errors import FileError, counted
from tonewright.frozen import dataclass
from tonewright.measured.columns import Source, Table, has_values, is_usable, plain_cell, some
from tonewright.measured.findings import CountKeyword, EndDataMissing, StatedCountWrong
from tonewright.record.findings import Finding

MOST_FIELDS = 2000
"""Full spectra and all colour values come to some 500."""

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#.*)|([^\s"]\S*)')


@dataclass
class _Section:
    """One table of the file while it is being read."""

    columns: list[str] = field(default_factory=list)
    rows: list[tuple[str, ...]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    stated: dict[CountKeyword, int] = field(default_factory=dict)
    """What NUMBER_OF_FIELDS and NUMBER_OF_SETS say."""
    findings: list[Finding] = field(default_factory=list)
    begins: int = 0


def is_cgats(lines: Sequence[str]) -> bool:
    """True if any line opens a CGATS block, or the first word names the standard."""
    first = next((line.strip() for line in lines if line.strip()), "")
    return bool(re.match(r"(CGATS|ISO\s?28178)", first, re.IGNORECASE)) or any(
        line.split(None, 1)[:1] in (["BEGIN_DATA_FORMAT"], ["BEGIN_DATA"]) for line in lines
    )


def parse(lines: Sequence[str], name: str, digest: str, level_field: str | None) -> Table:
    """The one usable table of a CGATS file, given as lines without their ends.

    A wrong NUMBER_OF_FIELDS or NUMBER_OF_SETS is noted and the data believed, as long as every
    row is whole and the data are closed by END_DATA.

    Raises `FileError`: no data, a row with too few or too many cells, data cut short, several
    tables that could be meant or none.
    """
    return _Parser(list(lines), name).table(digest, level_field)


class _Parser:
    """Walks over the lines once; `at` is the index of the line to read next."""

    def __init__(self, lines: list[str], name: str) -> None:
        self.lines, self.name = lines, name
        self.at = 0
        self.remarks: list[str] = []
        self.sections: list[_Section] = []

    def table(self, digest: str, level_field: str | None) -> Table:
        section = _Section()
        while self.at < len(self.lines):
            words = self._words()
            if not words:
                continue
            if words[0] == "BEGIN_DATA_FORMAT":
                section.columns = self._format(words[1:])
            elif words[0] == "BEGIN_DATA":
                section.begins = self.at
                self._data(section, words[1:])
                self.sections.append(section)
                # A later table without a format of its own has the one before (CGATS.17).
                section = _Section(columns=section.columns)
            else:
                self._keyword(section, words)
        chosen = self._choose(level_field)
        return Table(
            columns=tuple(chosen.columns), rows=tuple(chosen.rows),
            source=Source(self.name, "cgats", digest, tuple(self.remarks)),
            line_numbers=tuple(chosen.lines), findings=tuple(chosen.findings))

    def _fault(self, line: int, given: str, rule: str, way_out: str) -> FileError:
        return FileError(f"in {self.name}, line {line}: {given}", rule, way_out)

    def _words(self) -> list[str]:
        """The next line in words, quotes taken off; a comment is kept as a remark."""
        line = self.lines[self.at]
        self.at += 1
        words = []
        end = 0
        for match in _TOKEN.finditer(line):
            if line[end : match.start()].strip():
                break  # what is left begins with an unclosed quote
            end = match.end()
            quoted, comment, plain = match.groups()
            if comment is not None:
                self.remarks.append(comment.strip())
            else:
                words.append(plain if plain is not None else quoted.replace('""', '"').strip())
        if line[end:].strip():
            raise self._fault(self.at, "a quote opens and does not close",
                              "text in quotes ends on the same line",
                              "close the quote, or remove it")
        return words

    def _keyword(self, section: _Section, words: list[str]) -> None:
        keyword = next((k for k in get_args(CountKeyword) if k == words[0]), None)
        if keyword is not None and len(words) > 1:
            section.stated.pop(keyword, None)
            if re.fullmatch(r"\d{1,9}", words[1], re.ASCII):
                section.stated[keyword] = int(words[1])
        elif words[0] in ("END_DATA", "END_DATA_FORMAT"):
            raise self._fault(
                self.at, f"{words[0]} without its beginning",
                f"{words[0]} closes a block that {words[0].replace('END', 'BEGIN')} opens",
                "export the file again")
        else:
            self.remarks.append(self.lines[self.at - 1].strip())

    def _format(self, columns: list[str]) -> list[str]:
        """The field names, on one line or on several."""
        begins = self.at
        while "END_DATA_FORMAT" not in columns:
            if self.at >= len(self.lines) or len(columns) > MOST_FIELDS:
                raise self._fault(begins, "BEGIN_DATA_FORMAT is not closed",
                                  "END_DATA_FORMAT ends the list of field names",
                                  "the file may be cut short: export it again")
            columns = columns + self._words()
        columns = columns[: columns.index("END_DATA_FORMAT")]
        if not columns:
            raise self._fault(begins, "the list of field names is empty",
                              "BEGIN_DATA_FORMAT is followed by the names of the columns",
                              "export the file again")
        return columns

    def _data(self, section: _Section, words: list[str]) -> None:
        """The rows up to END_DATA; a row may go on over several lines."""
        if not section.columns:
            raise self._fault(self.at, "data without field names",
                              "BEGIN_DATA_FORMAT comes before BEGIN_DATA and names the columns",
                              "export the file again")
        width = len(section.columns)
        row: list[str] = []
        while True:
            closed = "END_DATA" in words
            found = words[: words.index("END_DATA")] if closed else words
            if found and not row:
                section.lines.append(self.at)
            begun = len(row)
            row = row + found
            if len(row) > width:
                raise self._wrong_count(section, begun or len(row))
            if closed and 0 < len(row) < width:
                raise self._wrong_count(section, len(row))
            if len(row) == width:
                section.rows.append(tuple(map(plain_cell, section.columns, row)))
                row = []
            if closed or self.at >= len(self.lines) \
                    or self.lines[self.at].strip().startswith("BEGIN_DATA"):  # of another block
                break
            words = self._words()
        self._check_counts(section, closed, unfinished=bool(row))

    def _wrong_count(self, section: _Section, cells: int) -> FileError:
        return self._fault(
            section.lines[-1], f"the row has {counted(cells, 'cell')}, the format names"
            f" {counted(len(section.columns), 'field')}",
            "every row of data has as many cells as there are field names",
            'correct the row (an empty cell is written as ""), or export the file again')

    def _check_counts(self, section: _Section, closed: bool, unfinished: bool) -> None:
        rows, sets = len(section.rows), section.stated.get("NUMBER_OF_SETS")
        if not closed and (unfinished or sets != rows):
            of = f" of {sets}" if sets is not None else ""
            raise FileError(
                f"the file {self.name} ends within its data, after {rows}{of} whole"
                f" row{'s' * (rows != 1)}", "END_DATA closes the data",
                "the file is cut short: copy or export it again")
        if not closed:
            section.findings.append(EndDataMissing(self.name))
        for keyword, stated in section.stated.items():
            found = rows if keyword == "NUMBER_OF_SETS" else len(section.columns)
            if stated != found:
                section.findings.append(StatedCountWrong(self.name, keyword, stated, found))

    def _choose(self, level_field: str | None) -> _Section:
        """The table that says both ink and darkness, or failing that the one with darkness."""
        if not self.sections:
            raise FileError(
                f"the file {self.name} has no data",
                "CGATS text holds its measurements between BEGIN_DATA and END_DATA",
                "the file may be cut short: export it again")
        if len(self.sections) == 1:
            return self.sections[0]
        filled = [s for s in self.sections if s.rows]
        for fits in (
            [s for s in filled if is_usable(s.columns, level_field)],
            [s for s in filled if has_values(s.columns)],
        ):
            if len(fits) == 1:
                return fits[0]
            if fits:
                raise self._several(fits, "more than one of its tables could be meant")
        raise self._several(self.sections, "none of its tables holds measurements of ink")

    def _several(self, sections: list[_Section], what: str) -> FileError:
        tables = "; ".join(
            f"line {s.begins}: {counted(len(s.rows), 'row')} of {some(s.columns, 6)}"
            for s in sections[:6])
        return FileError(
            f"in {self.name}: {what} ({tables})",
            "one table is read: it says how much ink each patch had and how dark it is",
            "keep one table per file, or name the column that holds the ink", code="level_column")

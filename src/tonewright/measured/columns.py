"""A measurement file as text, and what its columns mean.

Names are matched without regard to capitals and surrounding spaces:

=============  ==================================  ==========================================
quantity       column                              unit
=============  ==================================  ==========================================
ink level      ``level``                           0 to 1
ink level      ``ink_percent``                     0 to 100
ink level      any that is named as such           see `levels`
density        ``density``, ``D_VIS``              ISO 5-3 visual density
lightness      ``lightness``, ``LAB_L``            CIE L*, 0 to 100
luminance      ``luminance``, ``XYZ_Y``            0 to 100, white 100
spectrum       ``SPECTRAL_400``, ``nm400``, ...    reflectance, 0 to 1 or 0 to 100
=============  ==================================  ==========================================

Spreadsheets say it in other words as well: ``D``, ``L*``, ``L``, ``density (D)``, ``ink %``; see
`natural`.  ``LAB_L``, ``XYZ_Y``, ``D_VIS`` and the spectral names are those of CGATS.17 / ISO
28178.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright import errors
from tonewright.errors import ReadingsError, short
from tonewright.frozen import dataclass
from tonewright.measured.findings import CellsBlank
from tonewright.record.findings import Finding
from tonewright.scales import Array

Weighting = Literal["luminance", "visual-density"]
"""What the instrument weighted its spectrum with.

``luminance``: CIE Y under D50, so that lightness is true CIE L*.  ``visual-density``: ISO 5-3
visual density (illuminant A).  On a neutral print they agree; on a blue one they differ by up
to 0.07, so the two are never mixed silently.
"""

Kind = Literal["lightness", "luminance", "density", "spectrum"]

PATCH_NAMES = ("patch", "sample_id", "sample_name")
TEXT_NAMES = (*PATCH_NAMES, "print", "doubt")
"""Columns whose cells are words, kept letter for letter."""
LEVEL_NAMES = ("level", "ink_percent")
AIM_NAMES = ("aim_lightness", "image_lightness")
"""Of a print made through a curve: what each patch should be, or the tone in the picture (L*)."""
COLOUR_NAMES = ("red", "green", "blue")
"""Of an ink: what the negative holds at level 1, whole numbers from 0 to 255."""

SCAN_LINE, PLAIN_SHEET_LINE = "scan: ", "plain sheet: "
"""Begin comments of readings: files that they were read from."""

VALUE_NAMES: dict[Kind, tuple[str, str]] = {
    "lightness": ("lightness", "lab_l"),
    "luminance": ("luminance", "xyz_y"),
    "density": ("density", "d_vis"),
}
WAVELENGTH = re.compile(
    r"(?:(?:spectral|spectrum|spec)_?(?:nm|dec|pct)?_?|nm_?)(\d{3,4}(?:\.\d+)?)(?:_?nm)?"
    r"|(\d{3,4}(?:\.\d+)?)_?nm",
    re.ASCII,
)
_DECIMAL_COMMA = re.compile(r"([+-]?\d*),(\d+(?:[eE][+-]?\d+)?)", re.ASCII)
_PERCENT = re.compile(r"([+-]?\d*[.,]?\d+)\s*%", re.ASCII)
_UNIT = re.compile(r"(.+?)_*[(\[]_*(?:d|od|%|percent|l\*|0_*[-–]_*1)_*[)\]]")
_HALVES = ("film", "bare")
_DASHES = ("-", "–", "—")
"""Typed where nothing was measured."""
_SAME = {
    "step_no": "step", "step_no.": "step", "step_number": "step",
    "d": "density", "od": "density", "optical_density": "density", "dens": "density",
    "visual_density": "density", "l": "lightness", "l*": "lightness", "cie_l*": "lightness",
    "cie_l": "lightness", "lab_l*": "lightness", "ink_%": "ink_percent", "ink%": "ink_percent",
    "%_ink": "ink_percent", "level_%": "ink_percent", "level_(%)": "ink_percent",
    "level_(0-100)": "ink_percent", "level_(percent)": "ink_percent",
    "ink_(%)": "ink_percent", "ink_(percent)": "ink_percent",
    **{pair: half for half in _HALVES
       for pair in (f"through_{half}", f"{half}_density", f"density_{half}", f"{half}_d",
                    f"d_{half}")},
}
"""Other words for columns."""
_LAB = {"a": "lab_a", "a*": "lab_a", "b": "lab_b", "b*": "lab_b"}
_XYZ = {"x": "xyz_x", "y": "xyz_y", "z": "xyz_z"}
"""Words that say something only beside the others of their three."""
_L_WORDS = {*VALUE_NAMES["lightness"], *(w for w, same in _SAME.items() if same == "lightness")}
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_WET = re.compile(r"\b(wet|damp|not\s+(yet\s+)?dry|still\s+drying)\b", re.IGNORECASE)
_REMARKS = ("state", "note", "notes", "remark", "remarks", "condition")


@dataclass(frozen=True)
class Source:
    """A file that readings came from."""

    name: str
    """File name, without its folder."""
    kind: Literal["csv", "cgats", "scan"]
    sha256: str
    comments: tuple[str, ...] = ()
    """Comment lines of the file, and keyword lines of CGATS text, kept as they were."""


@dataclass(frozen=True)
class Table:
    """A measurement file as text: what `files` hands over, before anything is understood.

    Numbers are in plain decimal-point spelling already; names and cells are stripped.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    source: Source
    line_numbers: tuple[int, ...]
    """Line of the file that each row began on, for messages."""
    findings: tuple[Finding, ...] = ()
    """What was put right or looked odd while the file was read."""
    header: tuple[str, ...] = ()
    """The names as the file has them, where `natural` put others in their place."""

    @property
    def named(self) -> str:
        """The names of its columns as the file has them, for messages."""
        return some(self.header or self.columns)

    def where(self, row: int) -> str:
        """``"in strip.csv, line 9"`` for a row index (from 0)."""
        return f"in {self.source.name}, line {self.line_numbers[row]}"

    def cells(self, name: str) -> list[str] | None:
        """The cells of the column of this name; None without it."""
        index = find(self, name)
        return None if index is None else [row[index] for row in self.rows]

    def fault(
        self, row: int, index: int, rule: str, way_out: str, *, code: str | None = None,
        **values: object,
    ) -> ReadingsError:
        """The error for one cell: its line, its column, what it holds, and the rule it breaks."""
        cell, column = self.rows[row][index], short(self.columns[index])
        said = f"is {short(cell) if NUMBER.fullmatch(cell) else repr(short(cell))}"
        return ReadingsError(f"{self.where(row)}: {column} {said if cell else 'is blank'}", rule,
                             way_out, code=code, **values)

    def refuse(
        self, wrong: NDArray[np.bool_], index: int, rule: str, way_out: str, **values: Any
    ) -> None:
        """Raise `fault` for the first row that is ``wrong``, shape (n,), if there is one."""
        if wrong.any():
            raise self.fault(int(np.argmax(wrong)), index, rule, way_out, **values)


@lru_cache(4096)  # asked for every cell
def key(name: str) -> str:
    """A column name as it is compared: no capitals, no outer spaces, inner spaces as ``_``."""
    return re.sub(r"\s+", "_", name.strip()).casefold()


def plain_cell(column: str, cell: str) -> str:
    """A cell as `Table` wants it: ``0,5`` becomes ``0.5`` unless the column holds words."""
    if not cell or (name := key(column)) in TEXT_NAMES:
        return cell
    if cell in _DASHES:
        return ""
    percent = _PERCENT.fullmatch(cell) if cell[-1] == "%" else None
    if percent:
        number = percent[1].replace(",", ".")
        return str(Decimal(number) / 100) if name == "level" else number
    match = _DECIMAL_COMMA.fullmatch(cell) if "," in cell else None
    return f"{match[1]}.{match[2]}" if match else cell


def natural(table: Table, level_field: str | None = None) -> Table:
    """The table with the names of columns that are known here, and one density in each row.

    Other words are taken for a column where none has its proper name; units in brackets are left
    out.  A strip with a column for each half, ``film`` and ``bare``, gets a row for each of them
    and a column ``through``.
    """
    names = [key(column) for column in table.columns]
    kept = {*names}
    same = {**_SAME, **(_XYZ if kept.issuperset(_XYZ) else {})}
    if not kept.isdisjoint(_L_WORDS):
        same.update(_LAB)
    proper = []
    for column, name in zip(table.columns, names, strict=True):
        unit = _UNIT.fullmatch(name)
        other = same.get(name) or (same.get(unit[1], unit[1]) if unit else None)
        free = other is not None and other not in kept and name != key(level_field or "")
        proper.append(str(other) if free else column)
        kept.add(key(proper[-1]))
    table = replace(table, columns=tuple(proper), header=table.columns)
    halves = [i for i, column in enumerate(proper) if key(column) in _HALVES]
    if not halves or has_values(proper) or "through" in kept:
        return table
    rest = [i for i in range(len(proper)) if i not in halves]
    return replace(
        table, columns=(*(proper[i] for i in rest), "through", "density"),
        rows=tuple((*(row[i] for i in rest), key(proper[half]), row[half])
                   for half in halves for row in table.rows),
        line_numbers=table.line_numbers * len(halves))


def only_rows(table: Table, rows: NDArray[np.bool_]) -> Table:
    """The table with some of its rows alone, shape (n,)."""
    kept = np.flatnonzero(rows)
    return replace(table, rows=tuple(table.rows[i] for i in kept),
                   line_numbers=tuple(table.line_numbers[i] for i in kept))


def without_rows(table: Table, rows: NDArray[np.bool_]) -> Table:
    """The table without its blank rows, which are noted."""
    if not rows.any():
        return table
    lines = tuple(sorted({table.line_numbers[i] for i in np.flatnonzero(rows)}))
    return replace(only_rows(table, ~rows),
                   findings=(*table.findings, CellsBlank(table.source.name, lines)))


def says_wet(table: Table) -> bool:
    """Whether a table marks readings as wet, or as not yet dry."""
    remarks = [cell for name in _REMARKS for cell in table.cells(name) or []]
    wet = any(cell.lower() in ("no", "false", "0") for cell in table.cells("dry") or [])
    return wet or any(_WET.search(s) for s in (*remarks, *table.source.comments))


def some(names: Sequence[str], most: int = 12) -> str:
    """Names for a message; of many the first few, and how many more there are."""
    return errors.some([*map(short, names)], most)


def find(table: Table, *names: str) -> int | None:
    """Index of the only column with one of these names, or None.

    Raises `ReadingsError` when two columns fit: which one holds would be a guess.
    """
    wanted = {key(name) for name in names}
    hits = [i for i, column in enumerate(table.columns) if key(column) in wanted]
    if len(hits) > 1:
        raise ReadingsError(
            f"the file {table.source.name} has the columns "
            + some([table.columns[i] for i in hits]),
            "they say the same thing, so only one may be there", "remove or rename the others")
    return hits[0] if hits else None


def check_columns(table: Table) -> None:
    """Raise `ReadingsError` for a table without rows or with a column name twice."""
    keys = [key(column) for column in table.columns]
    for index, name in enumerate(keys):
        if name in keys[:index]:
            raise ReadingsError(
                f"the file {table.source.name} has the column"
                f" {short(table.columns[index].strip())} twice",
                "each column has a name of its own", "remove or rename one of them")
    if not table.rows:
        raise ReadingsError(
            f"the file {table.source.name} has column names ({table.named}) but no rows",
            "each measured patch is one row below the names",
            "check that the measurements were saved with the file")


def is_usable(columns: Sequence[str], level_field: str | None = None) -> bool:
    """True if these columns can say both how much ink a patch had and how dark it is."""
    levels = LEVEL_NAMES if level_field is None else (key(level_field),)
    return has_values(columns) and not {key(c) for c in columns}.isdisjoint(levels)


def has_values(columns: Sequence[str]) -> bool:
    """True if these columns hold a density, lightness, luminance or spectrum."""
    keys = {key(c) for c in columns}
    named = any(not keys.isdisjoint(names) for names in VALUE_NAMES.values())
    return named or any(map(WAVELENGTH.fullmatch, keys))


def says_aims(table: Table) -> bool:
    """Whether a table has the tone of any patch."""
    return any(any(table.cells(name) or []) for name in AIM_NAMES)


def holds_values(table: Table) -> bool:
    """Whether a cell of a density, lightness, luminance or spectrum is filled in."""
    return any(row[i] for i, column in enumerate(table.columns) if has_values([column])
               for row in table.rows)


def numbers(table: Table, index: int, *, blank_is_unknown: bool = False) -> Array:
    """A column as numbers, shape (n,), n at least 1; blank cells are NaN if those are allowed.

    Raises `ReadingsError`, with line and cell, for text, NaN, infinity and blank cells.
    """
    check_columns(table)
    cells = [row[index] for row in table.rows]
    found = np.array([float(c) if NUMBER.fullmatch(c) else np.nan for c in cells])
    wrong = ~np.isfinite(found)
    if blank_is_unknown:
        wrong &= np.array([c != "" for c in cells], dtype=bool)
    table.refuse(wrong, index, "every patch needs a number there",
                 "write the number, or remove the row if the patch was not measured")
    return found

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

from tonewright import scales
from tonewright.errors import ReadingsError
from tonewright.frozen import dataclass
from tonewright.measured.findings import CellsBlank, OtherViewing, ValuesLeftAside
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
MOST_HUNDRED = 150.0
"""Even brightened paper reflects less than this percent at any wavelength."""
ROUNDED = 0.00501
"""Levels agree within this: percent may be rounded to whole numbers."""

_VALUE_NAMES: dict[Kind, tuple[str, str]] = {
    "lightness": ("lightness", "lab_l"),
    "luminance": ("luminance", "xyz_y"),
    "density": ("density", "d_vis"),
}
_COMPANIONS = ("lab_a", "lab_b", "xyz_x", "xyz_z")
_WAVELENGTH = re.compile(
    r"(?:(?:spectral|spectrum|spec)_?(?:nm|dec|pct)?_?|nm_?)(\d{3,4}(?:\.\d+)?)(?:_?nm)?"
    r"|(\d{3,4}(?:\.\d+)?)_?nm",
    re.ASCII,
)
_DECIMAL_COMMA = re.compile(r"([+-]?\d*),(\d+(?:[eE][+-]?\d+)?)", re.ASCII)
_WEIGHTED_FOR = re.compile(r"\b(ILLUMINANT|OBSERVER)\W+(\w+)", re.IGNORECASE)
_PERCENT = re.compile(r"([+-]?\d*[.,]?\d+)\s*%", re.ASCII)
_UNIT = re.compile(r"(.+?)_*[(\[]_*(?:d|od|%|percent|l\*|0_*[-–]_*1)_*[)\]]")
_HALVES = ("film", "bare")
_SAME = {
    "d": "density", "od": "density", "optical_density": "density",
    "visual_density": "density", "l": "lightness", "l*": "lightness", "cie_l*": "lightness",
    "cie_l": "lightness", "lab_l*": "lightness", "ink_%": "ink_percent", "ink%": "ink_percent",
    "%_ink": "ink_percent", "level_%": "ink_percent", "level_(%)": "ink_percent",
    "level_(0-100)": "ink_percent", "level_(percent)": "ink_percent",
    "ink_(%)": "ink_percent", "ink_(percent)": "ink_percent",
    **{pair: half for half in _HALVES
       for pair in (f"{half}_density", f"density_{half}", f"{half}_d", f"d_{half}")},
}
"""Other words for columns."""
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_WET = re.compile(r"\b(wet|damp|not\s+(yet\s+)?dry|still\s+drying)\b", re.IGNORECASE)
_REMARKS = ("state", "note", "notes", "remark", "remarks", "condition")
_CHANNEL = re.compile(r"\d{1,3}(?:\.0*)?", re.ASCII)


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
        said = f"is {short(cell) if _NUMBER.fullmatch(cell) else repr(short(cell))}"
        return ReadingsError(f"{self.where(row)}: {column} {said if cell else 'is blank'}", rule,
                             way_out, code=code, **values)

    def refuse(
        self, wrong: NDArray[np.bool_], index: int, rule: str, way_out: str, **values: Any
    ) -> None:
        """Raise `fault` for the first row that is ``wrong``, shape (n,), if there is one."""
        if wrong.any():
            raise self.fault(int(np.argmax(wrong)), index, rule, way_out, **values)


@dataclass(frozen=True)
class Measured:
    """The value column of a table as densities."""

    density: Array
    """On `scale`, shape (n,); not yet checked against what a print can have."""
    scale: Weighting
    kind: Kind
    label: str
    """Name of the column, as the file spells it, or ``the spectrum``."""
    value: Array
    """The numbers of that column; for a spectrum the luminance factor, 0 to 100."""
    findings: tuple[Finding, ...] = ()


@lru_cache(4096)  # asked for every cell
def key(name: str) -> str:
    """A column name as it is compared: no capitals, no outer spaces, inner spaces as ``_``."""
    return re.sub(r"\s+", "_", name.strip()).casefold()


def plain_cell(column: str, cell: str) -> str:
    """A cell as `Table` wants it: ``0,5`` becomes ``0.5`` unless the column holds words."""
    if not cell or (name := key(column)) in TEXT_NAMES:
        return cell
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
    kept = {*names, key(level_field or "")}
    proper = []
    for column, name in zip(table.columns, names, strict=True):
        unit = _UNIT.fullmatch(name)
        other = _SAME.get(name) or (_SAME.get(unit[1], unit[1]) if unit else None)
        free = other is not None and other not in kept and name != key(level_field or "")
        proper.append(str(other) if free else column)
        kept.add(key(proper[-1]))
    table = replace(table, columns=tuple(proper))
    halves = [i for i, column in enumerate(proper) if key(column) in _HALVES]
    if not halves or has_values(proper) or "through" in kept:
        return table
    rest = [i for i in range(len(proper)) if i not in halves]
    return replace(
        table, columns=(*(proper[i] for i in rest), "through", "density"),
        rows=tuple((*(row[i] for i in rest), key(proper[half]), row[half])
                   for half in halves for row in table.rows),
        line_numbers=table.line_numbers * len(halves))


def blank_rows(table: Table, scale: Weighting | None = None) -> NDArray[np.bool_]:
    """The rows in which nothing was measured: the cell of `measured` is empty, shape (n,).

    Raises as `measured`; `ReadingsError` if there is no other row.
    """
    _, kind, there, waves = _value_columns(table, scale)
    places = [i for _, i in waves] if kind == "spectrum" else [there[kind]]
    blank = np.array([not any(row[i] for i in places) for row in table.rows], dtype=bool)
    if blank.all():
        raise ReadingsError(
            f"no {short(table.columns[places[0]])} is filled in yet in {table.source.name}",
            "readings are what was measured on the print", "measure the print and type the"
            f" {'densities' if kind == 'density' else 'values'} into the table")
    for index in (i for i in there.values() if i not in places):
        otherwise = blank & [bool(row[index]) for row in table.rows]
        table.refuse(otherwise, index, f"other rows have a {table.columns[places[0]]}, and one"
                     " measurement holds one kind of value",
                     "measure all patches alike, or empty both cells of a patch that does not"
                     " count")
    return blank


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


def short(text: str, most: int = 40) -> str:
    """A name or a cell for a message, cut if it is long."""
    return text if len(text) <= most else text[: most - 3] + "..."


def listed(columns: Sequence[str], most: int = 12) -> str:
    """Column names for a message, shortened when there are many."""
    more = len(columns) - most
    return ", ".join(map(short, columns[:most])) + (f" and {more} more" if more > 0 else "")


def find(table: Table, *names: str) -> int | None:
    """Index of the only column with one of these names, or None.

    Raises `ReadingsError` when two columns fit: which one holds would be a guess.
    """
    wanted = {key(name) for name in names}
    hits = [i for i, column in enumerate(table.columns) if key(column) in wanted]
    if len(hits) > 1:
        raise ReadingsError(
            f"the file {table.source.name} has the columns "
            + listed([table.columns[i] for i in hits]),
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
            f"the file {table.source.name} has column names ({listed(table.columns)}) but no rows",
            "each measured patch is one row below the names",
            "check that the measurements were saved with the file")


def is_usable(columns: Sequence[str], level_field: str | None = None) -> bool:
    """True if these columns can say both how much ink a patch had and how dark it is."""
    levels = LEVEL_NAMES if level_field is None else (key(level_field),)
    return has_values(columns) and not {key(c) for c in columns}.isdisjoint(levels)


def has_values(columns: Sequence[str]) -> bool:
    """True if these columns hold a density, lightness, luminance or spectrum."""
    keys = {key(c) for c in columns}
    named = any(not keys.isdisjoint(names) for names in _VALUE_NAMES.values())
    return named or any(map(_WAVELENGTH.fullmatch, keys))


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
    found = np.array([float(c) if _NUMBER.fullmatch(c) else np.nan for c in cells])
    wrong = ~np.isfinite(found)
    if blank_is_unknown:
        wrong &= np.array([c != "" for c in cells], dtype=bool)
    table.refuse(wrong, index, "every patch needs a number there",
                 "write the number, or remove the row if the patch was not measured")
    return found


# How much ink a patch had


def levels(table: Table, level_field: str | None = None) -> Array:
    """Ink level of each row, 0 to 1, shape (n,).

    Without `level_field`: ``level`` (0 to 1) or ``ink_percent`` (0 to 100); with both, they must
    agree.  A column named by `level_field` is percent if any value is above 1; otherwise it
    counts from 0 to 1, unless it holds nothing but zeros and ones, which could be either.

    Raises `ReadingsError`: no such column, values outside the range, percent in the place of
    levels or the reverse.
    """
    names = LEVEL_NAMES if level_field is None else (level_field,)
    there = [i for name in names if (i := find(table, name)) is not None]
    if not there:
        raise _no_level(table, "none of them says how much ink each patch had"
                        if level_field is None else f"no column is called {short(level_field)}")
    found, *more = (_level_of_column(table, index) for index in there)
    for percent in more:
        apart = np.abs(found - percent)
        if apart.max() > ROUNDED:
            worst = int(np.argmax(apart))
            raise ReadingsError(
                f"{table.where(worst)}: level is {found[worst]:g} but ink_percent is"
                f" {100 * percent[worst]:g}", "two columns for the ink must agree",
                "correct the row, or choose one of the two columns", code="levels_disagree")
    return found


def _no_level(table: Table, what: str) -> ReadingsError:
    if find(table, "step") is not None:
        return ReadingsError(
            f"the file {table.source.name} has a column step, as a strip has, and no ink levels",
            "a target's readings say how much ink each patch had",
            "evaluate a strip as a strip", code="strip_as_target", file=table.source.name)
    if any(find(table, name) is not None for name in AIM_NAMES):
        return ReadingsError(
            f"the file {table.source.name} has the tones of a print, and no ink levels",
            "a target's readings say how much ink each patch had",
            "check the print against its curve, or refine the curve with it",
            code="print_as_target", file=table.source.name)
    return ReadingsError(
        f"the file {table.source.name} has the columns {listed(table.columns)}; {what}",
        "the ink of a patch is a column called level (0 clear film to 1 heaviest ink) or"
        " ink_percent (0 to 100)", "rename that column, or say which one holds the ink",
        code="level_column")


def _level_of_column(table: Table, index: int) -> Array:
    """One column as ink levels, its unit told by its name or, failing that, by its values."""
    values = numbers(table, index)
    name, column, highest = key(table.columns[index]), table.columns[index], float(values.max())
    percent = name == "ink_percent" or (name != "level" and highest > 1.0)
    if name == "ink_percent" and 0.0 < highest <= 1.0:
        raise ReadingsError(
            f"in {table.source.name}: no value of {column} is above {highest:g}",
            "the column ink_percent counts from 0 (clear film) to 100 (heaviest ink)",
            "if these count from 0 to 1, name the column level")
    if name not in LEVEL_NAMES and highest == 1.0 and np.all((values == 0.0) | (values == 1.0)):
        raise ReadingsError(
            f"in {table.source.name}: {column} holds only 0 and 1",
            "a 1 could be 1 percent or the heaviest ink",
            "name the column level (0 to 1) or ink_percent (0 to 100)")
    top = 100.0 if percent else 1.0
    outside = (values < 0.0) | (values > top)
    if outside.any():
        way_out, code = _why_outside(table, index, values, top)
        table.refuse(outside, index, f"a {'percent of ink' if percent else 'level'} lies between"
                     f" 0 (clear film) and {top:g} (heaviest ink)", way_out, code=code)
    return values / top


def _why_outside(
    table: Table, index: int, values: Array, top: float
) -> tuple[str, str | None]:
    """The likeliest reason for a level outside 0 to ``top``, as a way out with its code."""
    swapped = _ladder_elsewhere(table)
    if swapped is not None and not is_ladder(values):
        return (f"the even steps in {swapped} look like ink levels: if the columns are swapped,"
                " exchange their names"), None
    if top == 1.0 and values.min() >= 0.0 and values.max() <= 100.0:
        return "if these are percent, name the column ink_percent; otherwise correct the row", None
    if top == 100.0 and values.max() <= 255.0 and key(table.columns[index]) not in LEVEL_NAMES:
        return ("if these are 8-bit codes, add a column level with 1 - code / 255"
                " (255 is clear film)"), None
    return "correct the row, or say which column holds the ink", "level_column"


def is_ladder(values: Array) -> bool:
    """True for five or more even steps from 0 to 1 or to 100, as ink levels are laid out."""
    steps = np.unique(values)
    if steps.size < 5 or steps[0] != 0.0 or steps[-1] not in (1.0, 100.0):
        return False
    even = np.linspace(0.0, steps[-1], steps.size)
    return bool(np.max(np.abs(steps - even)) <= ROUNDED * steps[-1])


def _ladder_elsewhere(table: Table) -> str | None:
    """Name of a value column that looks like ink levels, or None."""
    for names in _VALUE_NAMES.values():
        for index, column in enumerate(table.columns):
            cells = [row[index] for row in table.rows]
            if key(column) in names and all(map(_NUMBER.fullmatch, cells)):
                return column if is_ladder(np.array([float(c) for c in cells])) else None
    return None


# In which ink it was printed


def is_channel(cell: str) -> bool:
    """Whether a cell is a whole number from 0 to 255."""
    return bool(_CHANNEL.fullmatch(cell)) and float(cell) <= 255.0


def ink_colours(table: Table) -> list[str] | None:
    """``"R,G,B"`` of each row, as `Setup.ink_colour` has it, from the columns red, green, blue.

    None if one of them is missing or a cell is no whole number from 0 to 255: such columns may be
    anything.
    """
    channels = [table.cells(name) for name in COLOUR_NAMES]
    known = [c for c in channels if c is not None and all(map(is_channel, c))]
    if len(known) < len(channels):
        return None
    return [",".join(str(int(float(c))) for c in row) for row in zip(*known, strict=True)]


def ink_colour(table: Table) -> str | None:
    """The one ink colour that all patches of a table were printed in; None: it does not say.

    Raises `ReadingsError` for several: a chart of inks, not a target of tones.
    """
    there = dict.fromkeys(c for c in ink_colours(table) or () if c != "255,255,255")
    if len(there) > 1:
        raise ReadingsError(
            f"the file {table.source.name} holds patches in {len(there)} colours of ink",
            "a curve is made from a target of tones in one ink",
            "compare the inks of a chart instead", code="ink_chart")
    return next(iter(there), None)


# How dark a patch is


def measured(table: Table, scale: Weighting | None = None) -> Measured:
    """The value column as densities of one weighting.

    With `scale` None: lightness or luminance if the file has them or a spectrum (true CIE L*),
    density otherwise.  Lightness goes before luminance, which is coarser in the blacks as
    files round it.

    Raises `ReadingsError`: no value column, none for this weighting, cells that are not numbers,
    lightness or luminance that counts from 0 to 1 or is not above 0.
    """
    chosen, kind, there, waves = _value_columns(table, scale)
    for name in _COMPANIONS:
        if (index := find(table, name)) is not None:
            numbers(table, index)
    findings = _left_aside(table, there, kind)
    if kind == "spectrum":
        density, value = _of_spectra(table, waves, chosen)
        return Measured(density, chosen, kind, "the spectrum", value, findings)
    index = there[kind]
    density = value = numbers(table, index)
    if kind != "density":
        _check_hundred(table, index, value)
        findings += _other_viewing(table)
        convert = scales.lightness_to_density if kind == "lightness" else \
            scales.luminance_to_density
        with np.errstate(divide="ignore"):  # too small for log10: an endless density, refused later
            density = convert(value)
    return Measured(density, chosen, kind, table.columns[index], value, findings)


def tints(table: Table) -> Array | None:
    """CIE L*, a*, b* (D50) of each row, shape (n, 3), from Lab or XYZ columns or spectra; None
    where there are none, or where they hold what no print has.

    Expects the table that `measured` took, whose cells are numbers.
    """
    lightness, luminance = _VALUE_NAMES["lightness"], _VALUE_NAMES["luminance"]
    for names, convert in (((lightness, ("lab_a",), ("lab_b",)), np.asarray),
                           ((("xyz_x",), luminance, ("xyz_z",)), scales.xyz_to_lab)):
        there = [i for name in names if (i := find(table, *name)) is not None]
        if len(there) == 3:
            lab = convert(np.stack([numbers(table, i) for i in there], axis=1))
            break
    else:
        if not (waves := _waves(table)):
            return None
        try:
            lab = scales.xyz_to_lab(scales.xyz_of_spectrum(*_spectra(table, waves)))
        except ReadingsError:  # beside a column that was read instead, they may be anything
            return None
    good = (np.abs(lab[:, 1:]) <= 150.0).all() and (np.abs(lab[:, 0] - 50.0) <= 55.0).all()
    return lab if good else None


def _value_columns(
    table: Table, scale: Weighting | None
) -> tuple[Weighting, Kind, dict[Kind, int], list[tuple[float, int]]]:
    """Weighting and kind to use, the columns of each kind, and (wavelength in nm, column)."""
    check_columns(table)
    there: dict[Kind, int] = {kind: index for kind, names in _VALUE_NAMES.items()
                              if (index := find(table, *names)) is not None}
    waves = _waves(table)
    chosen, kind = _choose(table, [*there, *(["spectrum"] if waves else [])], scale)  # type: ignore[list-item]
    return chosen, kind, there, waves


def _waves(table: Table) -> list[tuple[float, int]]:
    """Wavelength (nm) and column of each value of a spectrum, by rising wavelength."""
    return sorted((float(m[1] or m[2]), i) for i, column in enumerate(table.columns)
                  if (m := _WAVELENGTH.fullmatch(key(column))))


_KINDS: dict[Weighting, tuple[Kind, ...]] = {
    "luminance": ("lightness", "luminance", "spectrum"),
    "visual-density": ("density", "spectrum"),
}


def _choose(table: Table, there: list[Kind], scale: Weighting | None) -> tuple[Weighting, Kind]:
    for candidate in _KINDS if scale is None else (scale,):
        for kind in _KINDS[candidate]:
            if kind in there:
                return candidate, kind
    if not there:
        raise ReadingsError(
            f"the file {table.source.name} has the columns {listed(table.columns)}; none of them"
            " says how dark each patch is",
            "a patch is measured as density (or D_VIS), lightness (LAB_L), luminance (XYZ_Y, 0"
            " to 100) or a spectrum (SPECTRAL_400 ...)", "rename that column to one of these")
    raise ReadingsError(
        f"the file {table.source.name} has no column that gives {scale}",
        "density and D_VIS are visual-density; lightness, LAB_L, luminance and XYZ_Y are"
        " luminance; a spectrum gives both; on a coloured print one cannot be turned into the"
        " other", "take the weighting that the file has, or export it with the other column",
        code="weighting_missing")


def _left_aside(table: Table, there: dict[Kind, int], used: Kind) -> tuple[Finding, ...]:
    """The value columns that were not used, if there are any."""
    others = tuple(table.columns[i] for kind, i in there.items() if kind != used)
    other: Weighting | None = "luminance" if used == "density" else \
        "visual-density" if "density" in there else None
    label = "" if used == "spectrum" else table.columns[there[used]]
    return (ValuesLeftAside(table.source.name, label, others, other),) if others else ()


def _other_viewing(table: Table) -> tuple[Finding, ...]:
    """Whether a CGATS keyword says that Lab or XYZ are not for D50 and 2 degrees."""
    if table.source.kind != "cgats":
        return ()
    said = [m for line in table.source.comments for m in _WEIGHTED_FOR.finditer(line)]
    lights = tuple(m[2] for m in said if m[1].upper() == "ILLUMINANT" and m[2].upper() != "D50")
    ten = any(m[1].upper() == "OBSERVER" and m[2] == "10" for m in said)
    return (OtherViewing(table.source.name, lights, ten),) if lights or ten else ()


def _check_hundred(table: Table, index: int, value: Array) -> None:
    """Lightness and luminance count from 0 to 100 and are above 0, or have no density."""
    table.refuse(value > MOST_HUNDRED, index,
                 "lightness and luminance count from 0 to 100, the perfect white",
                 "correct the row")
    if 0.0 < value.max() <= 1.1:
        raise ReadingsError(
            f"in {table.source.name}: no value of {table.columns[index]} is above {value.max():g}",
            "lightness and luminance count from 0 to 100, and a print has some white in it",
            "if luminance counts from 0 to 1 here, multiply it by 100; if these are densities,"
            " name the column density")
    table.refuse(value <= 0.0, index,
                 "no print is that black: 0 would be an endless density, so the instrument was at"
                 " the end of its range or rounded",
                 "write the smallest value the instrument can show, or remove the row")


def _of_spectra(
    table: Table, waves: Sequence[tuple[float, int]], scale: Weighting
) -> tuple[Array, Array]:
    """Densities and luminance factors (0 to 100) of spectra, as `_waves` finds them."""
    wavelengths, fraction = _spectra(table, waves)
    with np.errstate(divide="ignore", invalid="ignore"):  # a mean of 0 is refused below
        if scale == "luminance":
            luminance = scales.luminance_of_spectrum(wavelengths, fraction)
            density = scales.luminance_to_density(luminance)
        else:
            density = scales.visual_density_of_spectrum(wavelengths, fraction)
            luminance = scales.density_to_luminance(density)
    black = np.flatnonzero(~np.isfinite(density))
    if black.size:
        raise ReadingsError(
            f"{table.where(int(black[0]))}: the spectrum reflects nothing or less than nothing",
            "the mean reflectance of a patch is above 0", "measure the patch again, or remove the"
            " row")
    return density, luminance


def _spectra(table: Table, waves: Sequence[tuple[float, int]]) -> tuple[Array, Array]:
    """Wavelengths (nm), shape (m,), and reflectance (0 to 1), shape (n, m)."""
    reflectance = np.stack([numbers(table, index) for _, index in waves], axis=1)
    wild = (reflectance > MOST_HUNDRED) | (reflectance < -5.0)
    if wild.any():
        row, at = np.argwhere(wild)[0]
        raise table.fault(int(row), waves[int(at)][1],
                          "reflectance counts from 0 to 1 or from 0 to 100",
                          "correct the row, or measure the patch again")
    highest = float(reflectance.max())
    # A print has some white in it: at least a tenth is reflected somewhere, and never 150 %.
    if 1.5 < highest < 5.0:
        raise ReadingsError(
            f"in {table.source.name}: the highest reflectance in the spectra is {highest:g}",
            "reflectance counts from 0 to 1 or from 0 to 100, and this could be neither",
            "check the spectra; multiply them by 100 if they count from 0 to 1")
    fraction = reflectance if highest <= 1.5 else reflectance / 100.0
    return np.array([wave for wave, _ in waves]), fraction

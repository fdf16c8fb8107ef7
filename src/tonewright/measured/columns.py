"""A measurement file as text, and what its columns mean.

Names are matched without regard to capitals and surrounding spaces:

=============  ==================================  ==========================================
quantity       column                              unit
=============  ==================================  ==========================================
ink level      ``level``                           0 to 1
ink level      ``ink_percent``                     0 to 100
ink level      any, with ``--level-field``         see `levels`
density        ``density``, ``D_VIS``              ISO 5-3 visual density
lightness      ``lightness``, ``LAB_L``            CIE L*, 0 to 100
luminance      ``luminance``, ``XYZ_Y``            0 to 100, white 100
spectrum       ``SPECTRAL_400``, ``nm400``, ...    reflectance, 0 to 1 or 0 to 100
=============  ==================================  ==========================================

``LAB_L``, ``XYZ_Y``, ``D_VIS`` and the spectral names are those of CGATS.17 / ISO 28178.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tonewright import scales
from tonewright.errors import ReadingsError
from tonewright.scales import Array

Scale = Literal["luminance", "visual-density"]
"""What the instrument weighted its spectrum with.

``luminance``: CIE Y under D50, so that lightness is true CIE L*.  ``visual-density``: ISO 5-3
visual density (illuminant A).  On a neutral print they agree; on a blue one they differ by up
to 0.07, so the two are never mixed silently.
"""

Kind = Literal["lightness", "luminance", "density", "spectrum"]

PATCH_NAMES = ("patch", "sample_id", "sample_name")
TEXT_NAMES = (*PATCH_NAMES, "print")
"""Columns whose cells are names, kept letter for letter."""

MOST_HUNDRED = 150.0
"""Even brightened paper reflects less than this percent at any wavelength."""

COLOUR_NAMES = ("red", "green", "blue")
"""Of an ink: what the negative holds at level 1, whole numbers from 0 to 255."""

_LEVEL_NAMES = ("level", "ink_percent")
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
_WEIGHTING = re.compile(r"\b(ILLUMINANT|OBSERVER)\W+(\w+)", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Source:
    """A file that readings came from."""

    name: str
    """File name, without its folder."""
    kind: Literal["csv", "cgats", "scan"]
    sha256: str
    notes: tuple[str, ...] = ()
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
    notes: tuple[str, ...] = ()
    """What was put right or looked odd while the file was read."""

    def where(self, row: int) -> str:
        """``"in strip.csv, line 9"`` for a row index (from 0)."""
        return f"in {self.source.name}, line {self.line_numbers[row]}"


@dataclass(frozen=True)
class Measured:
    """The value column of a table as densities."""

    density: Array
    """On `scale`, shape (n,); not yet checked against what a print can have."""
    scale: Scale
    kind: Kind
    label: str
    """Name of the column, as the file spells it, or ``the spectrum``."""
    value: Array
    """The numbers of that column; for a spectrum the luminance factor, 0 to 100."""
    notes: tuple[str, ...]


def key(name: str) -> str:
    """A column name as it is compared: no capitals, no outer spaces, inner spaces as ``_``."""
    return re.sub(r"\s+", "_", name.strip()).casefold()


def plain_cell(column: str, cell: str) -> str:
    """A cell as `Table` wants it: ``0,5`` becomes ``0.5`` unless the column holds names."""
    match = None if key(column) in TEXT_NAMES else _DECIMAL_COMMA.fullmatch(cell)
    return f"{match[1]}.{match[2]}" if match else cell


def listed(columns: Sequence[str], most: int = 12) -> str:
    """Column names for a message, shortened when there are many."""
    shown = [_short(c) for c in columns[:most]]
    more = len(columns) - most
    return ", ".join(shown) + (f" and {more} more" if more > 0 else "")


def find(table: Table, *names: str) -> int | None:
    """Index of the only column with one of these names, or None.

    Raises `ReadingsError` when two columns fit: which one holds would be a guess.
    """
    hits = [i for i, column in enumerate(table.columns) if key(column) in map(key, names)]
    if len(hits) > 1:
        raise ReadingsError(
            f"the file {table.source.name} has the columns "
            + listed([table.columns[i] for i in hits]),
            "they say the same thing, so only one may be there",
            "remove or rename all but one of them",
        )
    return hits[0] if hits else None


def check_columns(table: Table) -> None:
    """Raise `ReadingsError` for a table without rows or with a column name twice."""
    seen: dict[str, str] = {}
    for column in table.columns:
        if key(column) in seen:
            raise ReadingsError(
                f"the file {table.source.name} has the column {_short(column)} twice",
                "each column name stands once",
                "remove or rename one of them",
            )
        seen[key(column)] = column
    if not table.rows:
        raise ReadingsError(
            f"the file {table.source.name} has column names ({listed(table.columns)}) but no rows",
            "each measured patch is one row below the names",
            "check that the measurements were saved with the file",
        )


def is_usable(columns: Sequence[str], level_field: str | None = None) -> bool:
    """True if these columns can say both how much ink a patch had and how dark it is."""
    keys = {key(c) for c in columns}
    return has_values(columns) and (
        key(level_field) in keys if level_field is not None else not keys.isdisjoint(_LEVEL_NAMES)
    )


def has_values(columns: Sequence[str]) -> bool:
    """True if these columns hold a density, lightness, luminance or spectrum."""
    keys = {key(c) for c in columns}
    named = any(not keys.isdisjoint(names) for names in _VALUE_NAMES.values())
    return named or any(_WAVELENGTH.fullmatch(k) for k in keys)


def numbers(table: Table, index: int, *, blank_is_unknown: bool = False) -> Array:
    """A column as numbers, shape (n,); blank cells are NaN if those are allowed.

    Raises `ReadingsError`, with line and cell, for text, NaN, infinity and blank cells.
    """
    found = np.empty(len(table.rows))
    for i, row in enumerate(table.rows):
        cell = row[index]
        if blank_is_unknown and not cell:
            found[i] = np.nan
            continue
        number = float(cell) if _NUMBER.fullmatch(cell) else np.nan
        if not np.isfinite(number):
            shown = f"is {_short(cell)!r}" if cell else "is blank"
            raise ReadingsError(
                f"{table.where(i)}: {table.columns[index]} {shown}",
                "every patch needs a number there",
                "write the number, or remove the row if the patch was not measured",
            )
        found[i] = number
    return found


def levels(table: Table, level_field: str | None = None) -> Array:
    """Ink level of each row, 0 to 1, shape (n,).

    Without `level_field`: ``level`` (0 to 1) or ``ink_percent`` (0 to 100); with both, they must
    agree.  A column named by `level_field` is percent if any value is above 1; otherwise it
    counts from 0 to 1, unless it holds nothing but zeros and ones, which could be either.

    Raises `ReadingsError`: no such column, values outside the range, percent in the place of
    levels or the reverse.
    """
    if level_field is not None:
        index = find(table, level_field)
        if index is None:
            raise _no_level(table, f"no column is called {_short(level_field)}")
        return _level_of_column(table, index)
    there = [i for name in _LEVEL_NAMES if (i := find(table, name)) is not None]
    if not there:
        raise _no_level(table, "none of them says how much ink each patch had")
    found = [_level_of_column(table, index) for index in there]
    if len(found) == 2:
        _check_agree(table, found[0], found[1])
    return found[0]


def is_channel(cell: str) -> bool:
    """Whether a cell is a whole number from 0 to 255."""
    return bool(re.fullmatch(r"\d{1,3}(?:\.0*)?", cell, re.ASCII)) and float(cell) <= 255.0


def ink_colours(table: Table) -> list[str] | None:
    """``"R,G,B"`` of each row, as `Setup.ink_colour` has it, from the columns red, green, blue.

    None if one of them is missing or a cell is no whole number from 0 to 255: such columns may be
    anything.
    """
    places = [find(table, name) for name in COLOUR_NAMES]
    cells = [[row[i] for row in table.rows] for i in places if i is not None]
    if len(cells) != len(places) or not all(is_channel(c) for column in cells for c in column):
        return None
    return [",".join(str(int(float(c))) for c in row) for row in zip(*cells, strict=True)]


def ink_colour(table: Table) -> str | None:
    """The one ink colour that all patches of a table were printed in; None: it does not say.

    Raises
    ------
    ReadingsError
        There are several: a chart of inks, not a target of tones.
    """
    found = ink_colours(table)
    if not found:
        return None
    there = dict.fromkeys(c for c in found if c != "255,255,255")
    if len(there) > 1:
        raise ReadingsError(
            f"the file {table.source.name} holds patches in {len(there)} colours of ink",
            "a curve is made from a target of tones in one ink",
            f"to compare the inks of a chart: tonewright inks {table.source.name} --process"
            " NAME.process.json",
        )
    return next(iter(there), None)


def _no_level(table: Table, what: str) -> ReadingsError:
    if find(table, "step") is not None:
        return ReadingsError(
            f"the file {table.source.name} has a column step, as a strip has, and no ink levels",
            "a target's readings say how much ink each patch had",
            "use tonewright strip for a strip; it makes the process response that --process takes",
        )
    return ReadingsError(
        f"the file {table.source.name} has the columns {listed(table.columns)}; {what}",
        "the ink of a patch is a column called level (0 clear film to 1 heaviest ink) or "
        "ink_percent (0 to 100)",
        "rename that column, or name it with --level-field, for example --level-field CMYK_K",
    )


def _check_agree(table: Table, level: Array, from_percent: Array) -> None:
    apart = np.abs(level - from_percent)
    worst = int(np.argmax(apart))
    if apart[worst] > 0.00501:  # percent may be rounded to whole numbers
        raise ReadingsError(
            f"{table.where(worst)}: level is {level[worst]:g} but ink_percent is "
            f"{100 * from_percent[worst]:g}",
            "where both columns are given they must say the same",
            "correct the row, or choose one column with --level-field level or "
            "--level-field ink_percent",
        )


def _level_of_column(table: Table, index: int) -> Array:
    """One column as ink levels, its unit told by its name or, failing that, by its values."""
    values = numbers(table, index)
    name = key(table.columns[index])
    highest = float(values.max())
    if name == "level":
        percent = False
    elif name == "ink_percent":
        percent = True
        _check_not_fraction(table, index, highest)
    else:
        percent = highest > 1.0
        _check_not_either(table, index, values)
    top = 100.0 if percent else 1.0
    outside = np.flatnonzero((values < 0.0) | (values > top))
    if outside.size:
        raise _outside(table, index, values, int(outside[0]), top)
    return values / top


def _check_not_fraction(table: Table, index: int, highest: float) -> None:
    if 0.0 < highest <= 1.0:
        raise ReadingsError(
            f"in {table.source.name}: no value of {table.columns[index]} is above {highest:g}",
            "the column ink_percent counts from 0 (clear film) to 100 (heaviest ink)",
            "if these count from 0 to 1, name the column level",
        )


def _check_not_either(table: Table, index: int, values: Array) -> None:
    if np.all((values == 0.0) | (values == 1.0)) and np.any(values == 1.0):
        raise ReadingsError(
            f"in {table.source.name}: {table.columns[index]} holds only 0 and 1",
            "a 1 could be 1 percent or the heaviest ink",
            "name the column level (0 to 1) or ink_percent (0 to 100)",
        )


def _outside(table: Table, index: int, values: Array, row: int, top: float) -> ReadingsError:
    """The error for a level outside 0 to `top`, with the likeliest reason as way out."""
    column = table.columns[index]
    swapped = _ladder_elsewhere(table)
    if swapped is not None and not is_ladder(values):
        way_out = (
            f"the even steps in {swapped} look like ink levels: if the columns are swapped, "
            "exchange their names"
        )
    elif top == 1.0 and values.max() <= 100.0 and values.min() >= 0.0:
        way_out = "if these are percent, name the column ink_percent; otherwise correct the row"
    elif top == 100.0 and values.max() <= 255.0 and key(column) not in _LEVEL_NAMES:
        way_out = (
            "if these are 8-bit codes, add a column level with 1 - code / 255 (255 is clear film)"
        )
    else:
        way_out = "correct the row, or name the column that holds the ink with --level-field"
    unit = "percent of ink" if top == 100.0 else "level"
    return ReadingsError(
        f"{table.where(row)}: {column} is {table.rows[row][index]}",
        f"a {unit} lies between 0 (clear film) and {top:g} (heaviest ink)",
        way_out,
    )


def is_ladder(values: Array) -> bool:
    """True for five or more even steps from 0 to 1 or to 100, as ink levels are laid out."""
    steps = np.unique(values)
    if steps.size < 5 or steps[0] != 0.0 or steps[-1] not in (1.0, 100.0):
        return False
    even = np.linspace(0.0, steps[-1], steps.size)
    return bool(np.max(np.abs(steps - even)) <= 0.00501 * steps[-1])


def _ladder_elsewhere(table: Table) -> str | None:
    """Name of a value column that looks like ink levels, or None."""
    for names in _VALUE_NAMES.values():
        for index, column in enumerate(table.columns):
            cells = [row[index] for row in table.rows]
            if key(column) in names and all(_NUMBER.fullmatch(c) for c in cells):
                return column if is_ladder(np.array([float(c) for c in cells])) else None
    return None


def measured(table: Table, scale: Scale | None = None) -> Measured:
    """The value column as densities on one scale.

    With `scale` None: lightness or luminance if the file has them or a spectrum (true CIE L*),
    density otherwise.  Lightness goes before luminance, which is coarser in the blacks as
    files round it.

    Raises `ReadingsError`: no value column, none for this scale, cells that are not numbers,
    lightness or luminance that counts from 0 to 1 or is not above 0.
    """
    columns: dict[Kind, int] = {
        kind: index
        for kind, names in _VALUE_NAMES.items()
        if (index := find(table, *names)) is not None
    }
    waves = _spectral_columns(table)
    there: list[Kind] = [*columns, "spectrum"] if waves else [*columns]
    for name in _COMPANIONS:
        if (index := find(table, name)) is not None:
            numbers(table, index)
    chosen, kind = _choose(table, there, scale)
    if kind == "spectrum":
        return _measured_spectrum(table, waves, chosen, _left_aside(table, columns, kind))
    notes = _left_aside(table, columns, kind)
    index = columns[kind]
    value = numbers(table, index)
    if kind == "density":
        return Measured(value, chosen, kind, table.columns[index], value, notes)
    _check_hundred(table, index, value)
    notes += _other_weighting(table)
    convert = scales.lightness_to_density if kind == "lightness" else scales.luminance_to_density
    with np.errstate(divide="ignore"):  # too small for log10: an endless density, refused later
        density = convert(value)
    return Measured(density, chosen, kind, table.columns[index], value, notes)


def _choose(table: Table, there: list[Kind], scale: Scale | None) -> tuple[Scale, Kind]:
    order: dict[Scale, tuple[Kind, ...]] = {
        "luminance": ("lightness", "luminance", "spectrum"),
        "visual-density": ("density", "spectrum"),
    }
    for candidate in order if scale is None else (scale,):
        for kind in order[candidate]:
            if kind in there:
                return candidate, kind
    if not there:
        raise ReadingsError(
            f"the file {table.source.name} has the columns {listed(table.columns)}; none of them "
            "says how dark each patch is",
            "a patch is measured as density (or D_VIS), lightness (LAB_L), luminance (XYZ_Y, 0 "
            "to 100) or a spectrum (SPECTRAL_400 ...)",
            "rename that column to one of these",
        )
    raise ReadingsError(
        f"the file {table.source.name} has no column for --scale {scale}",
        "density and D_VIS are visual-density; lightness, LAB_L, luminance and XYZ_Y are "
        "luminance; a spectrum gives both; on a coloured print one cannot be turned into the "
        "other",
        "leave --scale out, or export the file with the other column",
    )


def _left_aside(table: Table, columns: dict[Kind, int], used: Kind) -> tuple[str, ...]:
    """A note naming the value columns that were not used, if there are any."""
    others = [table.columns[i] for kind, i in columns.items() if kind != used]
    if not others:
        return ()
    label = "the spectrum" if used == "spectrum" else table.columns[columns[used]]
    hint = ""
    if used != "density" and "density" in columns:
        hint = "; --scale visual-density takes the density instead"
    elif used == "density":
        hint = "; --scale luminance takes the lightness instead"
    return (f"{table.source.name}: used {label}, left aside {listed(others)}{hint}",)


def _other_weighting(table: Table) -> tuple[str, ...]:
    """A note if a CGATS keyword says that Lab or XYZ are not for D50 and 2 degrees."""
    if table.source.kind != "cgats":
        return ()
    found = [m for note in table.source.notes for m in _WEIGHTING.finditer(note)]
    other = [m[2] for m in found if m[1].upper() == "ILLUMINANT" and m[2].upper() != "D50"]
    other += [f"{m[2]} degrees" for m in found if m[1].upper() == "OBSERVER" and m[2] == "10"]
    if not other:
        return ()
    return (
        f"{table.source.name}: its colour values are for {' and '.join(other)}; the print is "
        "judged under D50 with the 2-degree observer, so a coloured print may read slightly off",
    )


def _check_hundred(table: Table, index: int, value: Array) -> None:
    """Lightness and luminance count from 0 to 100 and are above 0, or have no density."""
    column = table.columns[index]
    high = np.flatnonzero(value > MOST_HUNDRED)
    if high.size:
        row = int(high[0])
        raise ReadingsError(
            f"{table.where(row)}: {column} is {_short(table.rows[row][index])}",
            "lightness and luminance count from 0 to 100, the perfect white",
            "correct the row",
        )
    if 0.0 < value.max() <= 1.1:
        raise ReadingsError(
            f"in {table.source.name}: no value of {column} is above {value.max():g}",
            "lightness and luminance count from 0 to 100, and a print has some white in it",
            "if luminance counts from 0 to 1 here, multiply it by 100; if these are densities, "
            "name the column density",
        )
    low = np.flatnonzero(value <= 0.0)
    if low.size:
        row = int(low[0])
        raise ReadingsError(
            f"{table.where(row)}: {column} is {table.rows[row][index]}",
            "no print is that black: 0 would be an endless density, so the instrument was at "
            "the end of its range or rounded",
            "write the smallest value the instrument can show, or remove the row",
        )


def _spectral_columns(table: Table) -> list[tuple[float, int]]:
    """(wavelength in nm, column index) of the spectral columns, by rising wavelength."""
    waves = []
    for index, column in enumerate(table.columns):
        match = _WAVELENGTH.fullmatch(key(column))
        if match:
            waves.append((float(match[1] or match[2]), index))
    return sorted(waves)


def _measured_spectrum(
    table: Table, waves: list[tuple[float, int]], scale: Scale, notes: tuple[str, ...]
) -> Measured:
    reflectance = np.stack([numbers(table, index) for _, index in waves], axis=1)
    wild = np.argwhere((reflectance > MOST_HUNDRED) | (reflectance < -5.0))
    if wild.size:
        row, at = int(wild[0][0]), waves[int(wild[0][1])][1]
        raise ReadingsError(
            f"{table.where(row)}: {table.columns[at]} is {_short(table.rows[row][at])}",
            "reflectance counts from 0 to 1 or from 0 to 100",
            "correct the row, or measure the patch again",
        )
    highest = float(reflectance.max())
    # A print has some white in it: at least a tenth is reflected somewhere, and never 150 %.
    if 1.5 < highest < 5.0:
        raise ReadingsError(
            f"in {table.source.name}: the highest reflectance in the spectra is {highest:g}",
            "reflectance counts from 0 to 1 or from 0 to 100, and this could be neither",
            "check the spectra; multiply them by 100 if they count from 0 to 1",
        )
    fraction = reflectance if highest <= 1.5 else reflectance / 100.0
    wavelengths = np.array([wave for wave, _ in waves])
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
            "the mean reflectance of a patch is above 0",
            "measure the patch again, or remove the row",
        )
    return Measured(density, scale, "spectrum", "the spectrum", luminance, notes)


def _short(text: str, most: int = 40) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."

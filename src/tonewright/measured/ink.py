"""How much ink the patches of a table had, and in which colour."""

from __future__ import annotations

import re

import numpy as np

from tonewright.errors import ReadingsError, short
from tonewright.measured.columns import (
    AIM_NAMES,
    COLOUR_NAMES,
    LEVEL_NAMES,
    NUMBER,
    PATCH_NAMES,
    VALUE_NAMES,
    Table,
    find,
    key,
    numbers,
)
from tonewright.scales import Array

ROUNDED = 0.00501
"""Levels agree within this: percent may be rounded to whole numbers."""
_CHANNEL = re.compile(r"\d{1,3}(?:\.0*)?", re.ASCII)


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
        raise _no_level(table, level_field)
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


def _no_level(table: Table, level_field: str | None) -> ReadingsError:
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
    given = f"the file {table.source.name} has the columns {table.named}; "
    rule = ("the ink of a patch is a column called level (0 clear film to 1 heaviest ink) or"
            " ink_percent (0 to 100)")
    if level_field is not None:
        return ReadingsError(f"{given}no column is called {short(level_field)}", rule,
                             "say which one holds the ink", code="level_column")
    given += "none of them says how much ink each patch had"
    if len(table.columns) == 1 or any(find(table, name) is not None for name in PATCH_NAMES):
        return ReadingsError(
            given, rule, "read the list by the target's layout, which knows the ink of each patch,"
            " or say which column holds it", code="list_unread", file=table.source.name)
    return ReadingsError(given, rule, "rename the column that does, or say which one it is",
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
    for names in VALUE_NAMES.values():
        for index, column in enumerate(table.columns):
            cells = [row[index] for row in table.rows]
            if key(column) in names and all(map(NUMBER.fullmatch, cells)):
                return column if is_ladder(np.array([float(c) for c in cells])) else None
    return None


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

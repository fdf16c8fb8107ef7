"""The responses of the model, as tables that are evaluated with numpy alone."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tonewright.entries import NUMBERS, check_entries, check_equal_lengths, check_names
from tonewright.errors import DocumentError, counted
from tonewright.scales import Array

_DAMAGED = "take an unedited copy, or make the document again from its readings"


@dataclass(frozen=True, eq=False)
class PrintResponse:
    """``P``: ink level to print lightness, with its bands.

    All arrays have one shape (m,).  ``level`` increases; every lightness (CIE L*) is
    non-decreasing.  ``lightness_low`` and ``lightness_high`` hold the curve itself 95 times in
    100, ``reading_low`` and ``reading_high`` the next single reading.
    """

    level: Array
    lightness: Array
    lightness_low: Array
    lightness_high: Array
    reading_low: Array
    reading_high: Array

    def lightness_at(self, level: ArrayLike) -> Array:
        """Print lightness (L*) at ink levels (0 to 1); beyond the table its end value."""
        wanted = np.asarray(level, dtype=np.float64)
        return np.asarray(np.interp(wanted, self.level, self.lightness))

    def to_dict(self) -> dict[str, list[float]]:
        """Arrays as lists."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


@dataclass(frozen=True, eq=False)
class NegativeResponse:
    """``N``: ink level to printing density, the film's base not counted, with its band.

    All arrays have one shape (m,); ``level`` increases, the densities never fall.
    """

    level: Array
    density: Array
    density_low: Array
    density_high: Array

    def to_dict(self) -> dict[str, list[float]]:
        """Arrays as lists."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


def negative_from_dict(data: Any) -> NegativeResponse:
    """Check and rebuild a negative response; `DocumentError` as `response_from_dict`."""
    names = [f.name for f in fields(NegativeResponse)]
    columns = table_from_dict(data, names, "negative response")
    check_levels(columns["level"], "negative response")
    return NegativeResponse(**columns)


def response_from_dict(data: Any) -> PrintResponse:
    """Check and rebuild a response.

    Raises
    ------
    DocumentError
        Missing or unequal columns, values that are no numbers, or one that should not
        decrease and does.
    """
    columns = table_from_dict(data, [f.name for f in fields(PrintResponse)], "response")
    check_levels(columns["level"], "response")
    return PrintResponse(**columns)


def check_levels(level: Array, what: str) -> None:
    """Ink levels of a document's table lie between 0 and 1, or `DocumentError`."""
    if level.min() < 0.0 or level.max() > 1.0:
        raise DocumentError(f"the {what} holds levels from {level.min():g} to {level.max():g}",
                            "a level lies between 0 and 1", _DAMAGED)


def table_from_dict(data: Any, names: list[str], what: str) -> dict[str, Array]:
    """Columns of a document's table as equal arrays, the first strictly increasing, none falling.

    Raises
    ------
    DocumentError
        As the rule says, naming the table, the column and the value.
    """
    check_names(data, names, f"the {what}", _DAMAGED)
    # checked one by one: numpy would take "0.5" and true for numbers
    check_entries(data, dict.fromkeys(names, NUMBERS), f"the {what}", _DAMAGED)
    check_equal_lengths({name: data[name] for name in names}, f"the {what}", _DAMAGED)
    if len(data[names[0]]) < 2:
        raise DocumentError(f"the {what} has {counted(len(data[names[0]]), 'row')}",
                            "it has two at least", _DAMAGED)
    columns = {name: np.array(data[name], dtype=np.float64) for name in names}
    for position, (name, column) in enumerate(columns.items()):
        step = np.diff(column)
        bad = np.flatnonzero(step <= 0.0 if position == 0 else step < 0.0)
        if bad.size:
            here, then = column[bad[0]], column[bad[0] + 1]
            raise DocumentError(f"{what}, {name}: {then:g} follows {here:g} (row {bad[0] + 2})",
                                "this column never falls" if position else
                                "this column rises from row to row", _DAMAGED)
    return columns

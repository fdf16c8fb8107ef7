"""The responses of the model, as tables that are evaluated with numpy alone."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tonewright.errors import DocumentError
from tonewright.scales import Array


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


def response_from_dict(data: Any) -> PrintResponse:
    """Check and rebuild a response.

    Raises
    ------
    DocumentError
        Missing or unequal columns, values that are no numbers, or one that should not
        decrease and does.
    """
    columns = table_from_dict(data, [f.name for f in fields(PrintResponse)], "response")
    return PrintResponse(**columns)


def table_from_dict(data: Any, names: list[str], what: str) -> dict[str, Array]:
    """Columns of a document's table as equal arrays, the first strictly increasing, none falling.

    Raises
    ------
    DocumentError
        As the rule says, naming the table, the column and the value.
    """
    way_out = "take an unedited copy, or make the document again from its readings"
    if not isinstance(data, dict) or sorted(data) != sorted(names):
        found = sorted(data) if isinstance(data, dict) else type(data).__name__
        raise DocumentError(f"the {what} has {found}", f"its columns are {', '.join(names)}",
                            way_out)
    columns = {name: _column(data[name], f"{what}, {name}", way_out) for name in names}
    sizes = {name: col.size for name, col in columns.items()}
    if len(set(sizes.values())) != 1 or min(sizes.values()) < 2:
        raise DocumentError(f"the {what} has columns of length {sizes}",
                            "all columns are equally long, two rows at least", way_out)
    for position, (name, column) in enumerate(columns.items()):
        step = np.diff(column)
        bad = np.flatnonzero(step <= 0.0 if position == 0 else step < 0.0)
        if bad.size:
            here, then = column[bad[0]], column[bad[0] + 1]
            raise DocumentError(f"{what}, {name}: {then:g} follows {here:g} (row {bad[0] + 2})",
                                "this column never falls", way_out)
    return columns


def _column(value: Any, name: str, way_out: str) -> Array:
    try:
        column = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        column = np.array([np.nan])
    if column.ndim != 1 or column.size == 0 or not np.all(np.isfinite(column)):
        raise DocumentError(f"{name} holds something that is not a number",
                            "it is a list of numbers", way_out)
    return column

"""Tables in documents: columns of numbers that rise from row to row."""

from __future__ import annotations

from typing import Any

import numpy as np

from tonewright.errors import DocumentError, counted
from tonewright.record.schema import NUMBERS, check_entries, check_equal_lengths, check_names
from tonewright.scales import Array

_DAMAGED = "take an unedited copy, or make the document again from its readings"


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

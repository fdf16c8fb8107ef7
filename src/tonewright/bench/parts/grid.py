"""A table to type densities into, or to paste a column or a block of a spreadsheet."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from nicegui.element import Element
from nicegui.events import GenericEventArguments


class DensityGrid(Element, component="grid.js"):
    """One line for each step or patch, one text input for each column.

    Parameters
    ----------
    rows:
        The labels of the lines, as the printer knows them: ``("1", "2", ...)``.
    columns:
        The headings, lower case: ``("density",)`` or ``("film", "bare")``.
    on_change:
        Called without arguments after every change, at most every 80 ms; may be a coroutine
        function.  What was typed is then in `values` and `skipped`.
    thing:
        What a line is: step, patch, tone.
    leaving:
        Whether each line has a box to leave it out.

    Values are texts as they were typed, never numbers: "" is an empty cell, and a decimal comma
    stays a comma.  Rows and columns are counted from 0 here.
    """

    def __init__(
        self, rows: Sequence[str], columns: Sequence[str],
        on_change: Callable[[], object] | None = None, *, thing: str = "step",
        leaving: bool = True,
    ) -> None:
        super().__init__()
        self._on_change = on_change
        self._edition = 0
        self.columns = tuple(columns)
        self.rows = tuple(rows)
        self.values: list[list[str]] = [[""] * len(columns) for _ in rows]
        self.skipped: frozenset[int] = frozenset()
        self._faults: dict[tuple[int, int], str] = {}
        self._props.update(thing=thing, leaving=leaving, columns=list(columns), faults=[],
                           doubtful=[])
        self._show()
        self.on("changed", self._changed)

    def set_values(self, values: Sequence[Sequence[str]]) -> None:
        """Fill the table from the first row and column on; cells that are not given are emptied."""
        self.values = [
            [values[row][place] if row < len(values) and place < len(values[row]) else ""
             for place in range(len(self.columns))]
            for row in range(len(self.rows))
        ]
        self._show()

    def set_rows(self, rows: Sequence[str], columns: Sequence[str] | None = None) -> None:
        """Other lines, or other columns; what was typed stays in its row and column."""
        self.rows = tuple(rows)
        if columns is not None:
            self.columns = tuple(columns)
            self._props["columns"] = list(columns)
        self.skipped = frozenset(row for row in self.skipped if row < len(rows))
        self.unmark()
        self.set_values(self.values)

    def set_skipped(self, rows: Collection[int]) -> None:
        """Leave out these rows and no others."""
        self.skipped = frozenset(rows)
        self._show()

    def set_doubtful(self, rows: Collection[int]) -> None:
        """Name these rows as doubtful, and no others; they count all the same."""
        self._props["doubtful"] = sorted(rows)

    def mark_fault(self, row: int, column: int, message: str | None) -> None:
        """Show a fault at a cell, or take it away."""
        self._faults.pop((row, column), None)
        if message is not None:
            self._faults[row, column] = message
        self._props["faults"] = [{"row": r, "column": c, "message": m}
                                 for (r, c), m in sorted(self._faults.items())]

    def unmark(self) -> None:
        """Take all faults away."""
        self._faults.clear()
        self._props["faults"] = []

    def focus_cell(self, row: int, column: int = 0) -> None:
        """Put the cursor into a cell."""
        self.run_method("focusCell", row, column)

    def _show(self) -> None:
        # a new edition replaces what is in the browser; with the old one what was typed there stays
        self._edition += 1
        self._props["rows"] = list(self.rows)
        self._props["table"] = self._table()
        self.update()

    def _table(self) -> dict[str, object]:
        return {"edition": self._edition, "values": [list(line) for line in self.values],
                "skipped": sorted(self.skipped)}

    def _changed(self, event: GenericEventArguments) -> object:
        if event.args["edition"] != self._edition:
            return None  # typed into a table that was replaced meanwhile
        self.values = [[str(value) for value in line] for line in event.args["values"]]
        self.skipped = frozenset(int(row) for row in event.args["skipped"])
        with self._props.suspend_updates():
            self._props["table"] = self._table()
        return self._on_change() if self._on_change else None

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
    on_table:
        Given a pasted text that is more than columns of numbers; None: it is refused.

    Values are texts as they were typed, never numbers: "" is an empty cell, and a decimal comma
    stays a comma.  Rows and columns are counted from 0 here.
    """

    def __init__(
        self, rows: Sequence[str], columns: Sequence[str],
        on_change: Callable[[], object] | None = None, *, thing: str = "step",
        leaving: bool = True, on_table: Callable[[str], object] | None = None,
    ) -> None:
        super().__init__()
        self._on_change = on_change
        self._edition = 0
        self.columns = tuple(columns)
        self.rows = tuple(rows)
        self._cells: list[list[str]] = []
        self._before: list[list[str]] | None = None
        self._skipped: frozenset[int] = frozenset()
        self._props.update(thing=thing, leaving=leaving, columns=list(columns), rows=list(rows),
                           aside=[], reads=on_table is not None)
        self._show()
        self.on("changed", self._changed)
        if on_table is not None:
            self.on("table", lambda event: on_table(str(event.args)))

    @property
    def values(self) -> list[list[str]]:
        """What stands in each row, a text for each column."""
        places = range(len(self.columns))
        return [[line[place] if place < len(line) else "" for place in places]
                for line in (*self._cells, *([[]] * len(self.rows)))[:len(self.rows)]]

    @property
    def skipped(self) -> frozenset[int]:
        """The rows that are left out."""
        return frozenset(row for row in self._skipped if row < len(self.rows))

    def set_values(self, values: Sequence[Sequence[str]], *, undo: bool = False) -> None:
        """Fill the table from the first row and column on; cells that are not given are emptied.
        With ``undo`` Ctrl+Z brings back what was there."""
        self._before = self._cells if undo else None
        self._cells = [list(line) for line in values]
        self._show()

    def set_rows(self, rows: Sequence[str]) -> None:
        """Other lines; what was typed stays in its row, also what is typed meanwhile."""
        self.rows = tuple(rows)
        self._props["rows"] = list(rows)

    def set_skipped(self, rows: Collection[int]) -> None:
        """Leave out these rows and no others."""
        self._skipped = frozenset(rows)
        self._show()

    def set_aside(self, rows: Collection[int]) -> None:
        """Say of these rows, and of no others, that they were set aside."""
        self._props["aside"] = sorted(rows)

    def _show(self) -> None:
        # a new edition replaces what is in the browser; with the old one what was typed there stays
        self._edition += 1
        self._props["table"] = self._table()
        self.update()

    def _table(self) -> dict[str, object]:
        return {"edition": self._edition, "values": self._cells, "before": self._before,
                "skipped": sorted(self._skipped)}

    def _changed(self, event: GenericEventArguments) -> object:
        if event.args["edition"] != self._edition:
            return None  # typed into a table that was replaced meanwhile
        self._cells = [[str(value) for value in line] for line in event.args["values"]]
        self._skipped = frozenset(int(row) for row in event.args["skipped"])
        self._before = None
        with self._props.suspend_updates():
            self._props["table"] = self._table()
        return self._on_change() if self._on_change else None

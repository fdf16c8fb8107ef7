"""Where a row of steps lies in a scan, set by clicks where it was not found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tonewright.bench.parts.scan_view import ROW, Marking, ScanView
from tonewright.bench.parts.tags import Tag, button, inline_picture
from tonewright.files.preview import Preview
from tonewright.scan.rectify import from_step_one

NOT_FOUND = ("row_corners", "row_turned")
"""Codes of the errors of a row that is not found, or lies otherwise than the corners say."""


class RowCorners:
    """The scan with four corners to set, or nothing; ``on_use`` is called to read it with them."""

    def __init__(self, on_use: Callable[[], Any]) -> None:
        self.corners: tuple[float, ...] | None = None
        """Eight pixel numbers, clockwise from the top left of step 1; None: not set by hand."""
        self._on_use = on_use
        self._box = Tag("div", classes="scan-shown")

    def ask(self, scan: Preview) -> None:
        """Show a scan, and ask for the corners of its row."""
        self.forget()
        with self._box:
            ScanView(inline_picture(scan.png), (scan.width, scan.height),
                     "The scan: set the corners of its row of steps",
                     marking=Marking(self._set, ROW))
            self._use = button("Read it with these corners", self._on_use, "button primary")
        self._use.set_visibility(False)

    def _set(self, marks: list[tuple[float, float]]) -> None:
        whole = len(marks) == 4
        self.corners = tuple(round(v, 1) for v in from_step_one(marks)) if whole else None
        self._use.set_visibility(whole)

    def forget(self) -> None:
        """Another scan: its row is looked for."""
        self.corners = None
        self._box.clear()

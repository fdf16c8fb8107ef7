"""Four places in a scan, set by clicks where they were not found."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

from tonewright.bench.parts.scan_view import ScanView
from tonewright.bench.parts.tags import Tag, button, inline_picture
from tonewright.errors import TonewrightError
from tonewright.files.preview import Preview
from tonewright.scan.rectify import from_step_one

MARKS = tuple(f"the middle of the mark with {spots}"
              for spots in ("one spot", "two spots", "three spots", "four spots"))
SCALE = tuple(f"the {corner} corner of the gray scale, seen with step 1 at its left"
              for corner in ("top left", "top right", "bottom right", "bottom left"))
ROW = ("a corner of the row of steps, at its end with step 1", "the other corner at step 1",
       "a corner at the other end of the row", "the last corner")
"""What is clicked for the corners of a print, of the gray scale beside it, and of any row of
steps, whichever way it lies."""


@dataclass(frozen=True)
class Sought:
    """What is looked for in a scan."""

    asked: Sequence[str]
    """What each of its four places is."""
    lost: tuple[str, ...]
    """Codes of the errors of a scan in which it was not found."""
    label: str
    """Of the picture, for who does not see it."""
    use: str
    """On the button that reads the scan with them."""
    finding: str = ""
    """What is said over the picture."""
    numbers: Callable[[list[tuple[float, float]]], Iterable[float]] = chain.from_iterable
    """The eight numbers to read with, of the places as they were set."""


ROW_OF_STEPS = Sought(ROW, ("row_corners",), "The scan: set the corners of its row of steps",
                      "Read it with these corners", numbers=from_step_one)
SHEET = Sought(MARKS, ("mark_corners",), "The scan: set what was not found",
               "Read it with these marks", "The marks were not found: click each of them.")
GRAY_SCALE = Sought(SCALE, ("gray_scale_beside", "gray_scale_corners"),
                    "The scan: set what was not found", "Read it with these corners",
                    "The gray scale was not found: click its corners.")


class Corners:
    """The scan with four places to set, or nothing.

    Parameters
    ----------
    look:
        Makes a scan small.
    read:
        Reads it with the places that were set.
    box:
        Where the scan is shown; None: here.
    """

    def __init__(
        self, sought: Sought, look: Callable[[Path], Awaitable[Preview]],
        read: Callable[[], Any], box: Tag | None = None,
    ) -> None:
        self.set: tuple[float, ...] | None = None
        """Eight pixel numbers; None: not set by hand."""
        self._sought, self._look, self._read = sought, look, read
        self._box = box or Tag("div", classes="scan-shown")
        self._use: Tag | None = None

    async def ask(self, scan: Path) -> None:
        """Show a scan, and ask for the places."""
        seen = await self._look(scan)
        self.set = None
        with self._box.anew():
            if self._sought.finding:
                Tag("p", self._sought.finding, "finding serious")
            ScanView(inline_picture(seen.png), (seen.width, seen.height), self._sought.label,
                     asked=self._sought.asked, on_marks=self._marked)
            self._use = button(self._sought.use, self._read, "button primary")
        self._use.set_visibility(False)

    def enter(self) -> None:
        """Go to what is asked for."""
        self._box.enter()

    async def ask_if_lost(self, error: TonewrightError, scan: Path) -> None:
        """Ask for them where an error says that they were not found; what is set already stays."""
        if error.code in self._sought.lost and not self._is_asking:
            await self.ask(scan)

    @property
    def _is_asking(self) -> bool:
        return self._use is not None and not self._use.is_deleted

    def _marked(self, marks: list[tuple[float, float]]) -> None:
        self.set = tuple(round(v, 1) for v in self._sought.numbers(marks)) \
            if len(marks) == 4 else None
        if self._use is not None:
            self._use.set_visibility(self.set is not None)

    def take(self, places: tuple[float, ...], use: str) -> None:
        """Other places instead of those that were set; ``use`` stands on the button."""
        self.set = places
        if self._use is not None:
            self._use.say(use)

    def forget(self) -> None:
        """Another scan: they are looked for."""
        self.set = None
        if self._is_asking:
            self._box.clear()

"""The ways to read a strip: by a table that is typed or kept, by its scan, by eye."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from pathlib import Path
from typing import Any, ClassVar, cast

from tonewright.bench.pages.page import Page
from tonewright.bench.parts.corners import Corners
from tonewright.bench.parts.field import Fault, Field, Refusal
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.strip import (
    HALVES,
    TypedStrip,
    by_eye,
    keep_strip,
    open_strip,
    paste_strip,
    sketch_strip,
    try_strip,
)
from tonewright.bench.tasks.views import View
from tonewright.errors import TonewrightError
from tonewright.files.contents import STRIP
from tonewright.files.documents import read_tablet
from tonewright.files.papers import kind_of
from tonewright.scan.strips import Halves
from tonewright.show import commands
from tonewright.strip.readings import StripCells

_HALVES: dict[str, str] = {
    "2": "the lighter half", "film/bare": "the upper half, with step 1 at the left",
    "bare/film": "the lower half, with step 1 at the left", "film": "all of it",
    "bare": "none of it"}


@dataclass
class More:
    """Another strip of the same paper."""

    what: str = ""
    """Its table or scan, or by eye the count of its merged steps."""
    time: str = ""


@dataclass
class Draft:
    """What stands on the page, and is still there when it is opened again."""

    typed: TypedStrip = field(default_factory=TypedStrip)
    way: str = "table"
    opened: str = ""
    """A table of the folder that the grid was filled from, or that is read as it is."""
    cells: StripCells | None = None
    """What it holds; None for a table that the grid cannot hold."""
    scan: str = ""
    """The scan's name, once it is here."""
    scanner: str | None = None
    """None: not chosen yet."""
    halves: Halves = "2"
    flat: str = ""
    merged: str = ""
    """By eye: how many steps cannot be told apart."""
    files: list[More] = field(default_factory=list)
    """Further strips that were measured or scanned."""
    counts: list[More] = field(default_factory=list)
    """Further strips by eye."""


class Way:
    """One way to read a strip: the part of the page that belongs to it, and what it finds; unless
    it says otherwise, a process is made of tables and scans.

    Parameters
    ----------
    time:
        The field of the printing time, which a table may fill.
    row:
        The corners of the row of steps in a scan.
    """

    first: ClassVar[str]
    """What is to be done first; it stands instead of the picture."""
    none: ClassVar[str] = "No curve yet: the message beside the fields says why."
    """Stands there where it is refused."""
    keeps: ClassVar[bool] = True
    """Whether it gives a process, to be kept."""
    time_hint: ClassVar[str] = "Leave blank if its table gives it, or if it is the first strip's"
    """Beside the printing time of another strip."""

    def __init__(self, page: Page, draft: Draft, time: Field, row: Corners) -> None:
        self.page, self.draft, self.time, self.row = page, draft, time, row
        self.codes: dict[Fault, tuple[str, ...]] = {}
        """Which errors its fields are at fault of."""
        self.more = draft.files
        """Further strips that are read in the same way."""
        self.build()

    def build(self) -> None:
        """Its fields."""
        raise NotImplementedError

    def take(self) -> None:
        """What stands in them goes into the draft."""
        raise NotImplementedError

    async def arrived(self, name: str) -> None:
        """Read a file that has come."""
        raise NotImplementedError

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to be read yet."""
        raise NotImplementedError

    def new_tablet(self) -> None:
        """The tablet may have another number of steps now."""

    def toggle(self, step: int) -> None:
        """Leave a step out, or let it count again."""
        skip = set(self.draft.typed.skip) ^ {step}
        self.draft.typed = replace(self.draft.typed, skip=tuple(sorted(skip)))

    def sketch(self, before: View | None) -> dict[str, Any] | None:
        """The picture in a moment, while it is being worked out; None where there is none."""
        return None

    def mark(self, aside: Collection[int]) -> None:
        """Show which steps were set aside."""

    def another(self, number: int, what: str) -> Field:
        """The field of one of them."""
        return self.page.file_field(
            f"Strip {number}", lambda: [*self.page.names("table"), *self.page.scans()], "choose",
            what)

    def source(self, name: str) -> tuple[Path, TypedStrip | None]:
        """Where the first strip is read from, and what is typed to be written there."""
        raise NotImplementedError

    async def find(self, name: str, date: str) -> View:
        """What the strips say; nothing is written."""
        return await self.page.find(try_strip, *self._asked(name, date))

    async def keep(self, name: str, date: str) -> tuple[View, Path]:
        """Write the process that they give; the file."""
        typed, asked = self._asked(name, date)
        return await self.page.bench.quick.call(keep_strip, typed, asked), asked.output

    def _asked(self, name: str, date: str) -> tuple[TypedStrip | None, commands.Strip]:
        """What is typed, None where files alone are read; and what is to be kept, counted from
        the bench's folder."""
        page, draft = self.page, self.draft
        first, new = self.source(name)
        cells = draft.cells if kind_of(first.name) == "table" else None
        silent = new is None and not (cells and cells.time)
        others = [one for one in self.more if one.what]
        files = (first, *(page.below(one.what) for one in others))
        scan = any(kind_of(file.name) == "image" for file in files)
        return new, commands.Strip(
            readings=files, tablet=draft.typed.tablet, output=page.below(f"{name}.process.json"),
            time=self._times(others, silent), skip=draft.typed.skip, setup=page.setup(),
            corners=self.row.set, date=date,
            scanner=page.of_any_paper(draft.scanner or "") if scan else None,
            halves=draft.halves if scan else "2",
            flat=page.below(draft.flat) if scan and draft.flat else None)

    def _times(self, others: list[More], silent: bool) -> tuple[str, ...]:
        """Printing times for the command: none that the tables say themselves; of the first
        alone, if it is silent."""
        first = self.draft.typed.time.strip()
        if any(one.time.strip() for one in others):
            return (first, *(one.time.strip() or first for one in others))
        return (first,) if first and silent else ()


class TableWay(Way):
    """Densities that are typed into the grid, or that lie in a table."""

    first = ("Type the densities of the strip, step 1 first, or paste them from a spreadsheet. The"
             " curve is drawn as you type.")
    grid: DensityGrid | None = None
    """None while a table is read as it is, and nothing is typed."""

    def build(self) -> None:
        self.opened = self.page.file_field(
            "Open a table", "table", "none: type or paste below", self.draft.opened,
            on_change=self._open, hint="Densities of a strip, from this paper's folder")
        self.not_opened = Refusal(here=self.opened)  # these two stay while the strip is drawn anew
        self.not_pasted = Refusal()
        self.box = Tag("div")
        self._fill()

    def _fill(self) -> None:
        """The grid, with what is typed already."""
        if self._is_whole:
            self.grid = None
            with self.box.anew():
                Tag("p", "This table holds more than the densities of one strip. It is used as it"
                    " stands.")
            return
        undo = self.grid is not None
        if self.grid is None:
            with self.box.anew():
                self.grid = DensityGrid(self._steps(), HALVES, self._edited,
                                        on_table=self._paste)
        typed = self.draft.typed
        self.grid.set_values([[*cells] for cells in zip_longest(
            typed.film, typed.bare, fillvalue="")], undo=undo)
        self.grid.set_skipped({step - 1 for step in typed.skip})

    def _edited(self) -> None:
        self.not_opened.clear()
        self.not_pasted.clear()
        self.page.changed()

    async def arrived(self, name: str) -> None:
        self.opened.renew(name)
        await self._open()

    async def _open(self) -> None:
        """Fill the grid from a table; what was typed is replaced."""
        name, draft = self.opened.value, self.draft
        with self.page.pressed(self.not_opened):
            found = await self.page.bench.quick.call(
                open_strip, self.page.below(name), draft.typed.tablet) if name else None
            draft.opened, draft.cells = name, found
            if name:
                draft.typed = replace(draft.typed, skip=())
            self._take_over(found)
        if name != draft.opened:  # refused: the grid shows what it did
            self.opened.renew(draft.opened)

    async def _paste(self, text: str) -> None:
        """Fill the grid from a table that is pasted."""
        with self.page.pressed(self.not_pasted):
            self._take_over(await self.page.bench.quick.call(
                paste_strip, text, self.draft.typed.tablet))

    def _take_over(self, found: StripCells | None) -> None:
        """What a table holds stands in the fields."""
        typed = self.draft.typed
        if found is not None:
            self.draft.typed = replace(typed, time=found.time or typed.time, skip=(),
                                       film=found.densities.get("film", ()),
                                       bare=found.densities.get("bare", ()))
        self.time.set(self.draft.typed.time)
        self._fill()
        self._edited()

    def _steps(self) -> list[str]:
        try:
            count = len(read_tablet(self.draft.typed.tablet).densities)
        except TonewrightError:  # it is still being typed
            count = 31
        return [str(n) for n in range(1, count + 1)]

    @property
    def _is_whole(self) -> bool:
        """Whether a table is read as it is."""
        return bool(self.draft.opened) and self.draft.cells is None

    @property
    def _is_as_opened(self) -> bool:
        """Whether the grid still shows what the table holds."""
        cells, typed = self.draft.cells, self.draft.typed
        return cells is not None and cells.time in ("", typed.time) and all(
            _padded(cells.densities.get(half, ()), len(column)) == [*map(str.strip, column)]
            for half, column in zip(HALVES, (typed.film, typed.bare), strict=True))

    def take(self) -> None:
        if self.grid is not None:
            film, bare = zip(*self.grid.values, strict=True)
            skip = tuple(sorted(row + 1 for row in self.grid.skipped))
            self.draft.typed = replace(self.draft.typed, film=film, bare=bare, skip=skip)

    @property
    def is_empty(self) -> bool:
        return self.draft.typed.is_empty and not self._is_whole

    def new_tablet(self) -> None:
        if self.grid is not None and (steps := self._steps()) != [*self.grid.rows]:
            self.grid.set_rows(steps)

    def toggle(self, step: int) -> None:
        if self.grid is None:
            super().toggle(step)
        else:
            self.grid.set_skipped(self.grid.skipped ^ {step - 1})

    def sketch(self, before: View | None) -> dict[str, Any] | None:
        return None if self.grid is None else sketch_strip(self.draft.typed, before)

    def source(self, name: str) -> tuple[Path, TypedStrip | None]:
        if self._is_whole or self._is_as_opened:
            return self.page.below(self.draft.opened), None
        return self.page.below(self.page.free(f"{name}{STRIP}.csv")), self.draft.typed

    def mark(self, aside: Collection[int]) -> None:
        if self.grid is not None:
            self.grid.set_aside({step - 1 for step in aside})


class ScanWay(Way):
    """The scan of the strip."""

    first = ("Scan the dry strip, all automatic corrections off. Drop the scan into the dashed"
             " frame, or choose it from the list. The curve will be drawn here.")

    def build(self) -> None:
        page, draft = self.page, self.draft
        self.scan = page.scan_field(draft.scan, on_change=self._other)
        self.scanner = page.scanner_field(
            draft.scanner, "none: the scan's own profile",
            hint="Turns the values of the scan into densities")
        self.halves = Field("What lay under the film", draft.halves, choices=_HALVES,
                            on_change=page.changed)
        self.flat = page.flat_field(draft.flat)
        self.codes = {self.scanner: ("scanner_unknown", "scan_taken_otherwise"),
                      self.halves: ("halves_unclear", "halves_exchanged")}
        with Tag("div", classes="buttons"):
            button("Set the corners by hand", self._by_hand)

    async def arrived(self, name: str) -> None:
        self.scan.renew(name)
        self._other()

    def _other(self) -> None:
        self.row.forget()
        self.page.changed()

    async def _by_hand(self) -> None:
        """The row was not found, or elsewhere."""
        with self.page.pressed():
            if self.draft.scan:
                await self.row.ask(self.page.below(self.draft.scan))

    def take(self) -> None:
        draft = self.draft
        draft.scan, draft.scanner, draft.flat = (
            self.scan.value, self.scanner.value, self.flat.value)
        draft.halves = cast("Halves", self.halves.value)

    @property
    def is_empty(self) -> bool:
        return not self.draft.scan

    def source(self, name: str) -> tuple[Path, TypedStrip | None]:
        return self.page.below(self.draft.scan), None

    async def find(self, name: str, date: str) -> View:
        try:
            return await super().find(name, date)
        except TonewrightError as error:
            await self.row.ask_if_lost(error, self.page.below(self.draft.scan))
            raise


class EyeWay(Way):
    """Steps that are counted, which give a time alone."""

    first = none = ("On the dry strip, count the steps under the film that look as black as step 1."
                    " That gives you a printing time. For a curve, measure the strip.")
    keeps = False
    time_hint = ""

    def build(self) -> None:
        self.merged = Field("Merged steps", self.draft.merged, on_change=self.page.changed,
                            hint="Steps under the film that look as black as step 1, including"
                                 " step 1. Type 1 if step 2 is already lighter")
        Tag("p", "A count by eye gives a printing time only. There is nothing to keep: note the"
            " time.", "hint")
        self.more = self.draft.counts
        self.codes = {self.merged: ("merged_unclear", "eye_count_impossible")}

    def take(self) -> None:
        self.draft.merged = self.merged.value

    @property
    def is_empty(self) -> bool:
        return not self.draft.merged.strip()

    def another(self, number: int, what: str) -> Field:
        return Field(f"Merged steps of strip {number}", what, on_change=self.page.changed)

    async def find(self, name: str, date: str) -> View:
        draft = self.draft
        strips = ((draft.typed.time, draft.merged),
                  *((one.time, one.what) for one in self.more))
        return await self.page.find(
            by_eye, commands.Eye(tablet=draft.typed.tablet, strips=strips))


def _padded(cells: tuple[str, ...], count: int) -> list[str]:
    return [*cells[:count], *[""] * (count - len(cells))]

"""Strip: type the densities of a step tablet, drop its scan, or count merged steps by eye."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import cast

from tonewright.bench.frame import address, on_change
from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Field, Place, Refusal
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.row_corners import NOT_FOUND, RowCorners
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.read import preview
from tonewright.bench.tasks.strip import (
    HALVES,
    TypedStrip,
    by_eye,
    keep_strip,
    open_strip,
    sketch_strip,
    steps_of,
    try_strip,
)
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.errors import TonewrightError
from tonewright.files.papers import kind_of
from tonewright.scan.strips import Halves
from tonewright.show.commands import EyeCommand, StripCommand
from tonewright.strip.readings import StripCells

_WAYS = {"table": "Type or paste the densities", "scan": "From a scan",
         "eye": "By eye: count merged steps"}
_HALVES: dict[str, str] = {
    "2": "the lighter half", "film/bare": "the upper half, with step 1 at the left",
    "bare/film": "the lower half, with step 1 at the left", "film": "all of it",
    "bare": "none of it"}
_PROFILE = "none: the scan's own profile"
_FIRST = {
    "table": "Type the densities of the strip, step 1 first, or paste a column from a spreadsheet."
             " The curve is drawn as you type.",
    "scan": "Drop the scan of the strip, or choose it. The curve will be drawn here.",
    "eye": "Count the steps that cannot be told apart from step 1, through the film and dry. It"
           " gives a time, and no curve."}
_TABLET = ("tablet_unknown", "tablet_too_short", "other_tablet", "steps_missing")
_TIME = ("strip_time_unknown", "time_impossible", "time_unclear")


@dataclass
class _More:
    """Another strip of the same paper."""

    what: str = ""
    """Its table or scan, or by eye the count of its merged steps."""
    time: str = ""


@dataclass
class _Draft:
    """What stands on the page."""

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
    files: list[_More] = field(default_factory=list)
    """Further strips that were measured or scanned."""
    counts: list[_More] = field(default_factory=list)
    """Further strips by eye."""

    @property
    def more(self) -> list[_More]:
        """Further strips that are read in the same way."""
        return self.counts if self.way == "eye" else self.files

    @property
    def whole_table(self) -> bool:
        """Whether a table is read as it is, and nothing is typed."""
        return bool(self.opened) and self.cells is None

    @property
    def as_opened(self) -> bool:
        """Whether the grid still shows what the table holds."""
        if self.cells is None:
            return False
        held = self.cells.densities
        return self.cells.time in ("", self.typed.time) and all(
            _padded(held.get(half, ()), len(typed)) == [*map(str.strip, typed)]
            for half, typed in zip(HALVES, (self.typed.film, self.typed.bare), strict=True))

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to be read yet."""
        return {"table": self.typed.is_empty and not self.whole_table, "scan": not self.scan,
                "eye": not self.merged.strip()}[self.way]


class StripPage(Page):
    """One open page."""

    def build(self) -> None:
        """The response as large as it can be, and the steps beside it."""
        self.view: View | None = None
        self.listed: list[str] = []
        self.draft: _Draft = self.bench.drafts.setdefault(
            (self.paper, "strip"), _Draft())
        Tag("p", "Lay the step tablet on the coated paper, half of it over a piece of the clear"
            " film that your negatives are printed on. Expose, develop and dry it, and measure each"
            " step.")
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="What the paper does with light"):
                self.corners = RowCorners(self.redraw)
                self.chart = Chart("Density of the print over exposure", on_point=self._skip)
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="The strip"):
                self._side()
        on_change(self.bench, self._files_changed)
        self.changed()

    def _side(self) -> None:
        typed = self.draft.typed
        self.tablet = Field("Step tablet", typed.tablet, on_change=self._new_tablet,
                            hint="31 steps of 0.10, 21 of 0.15, or for example 25x0.12")
        self.time = Field("Printing time", typed.time, on_change=self.changed,
                          hint="10 min, 90s, 7:30, or 120 units of an integrator")
        self.way = Field("How it is read", self.draft.way, choices=_WAYS,
                         on_change=self._choose)
        self.how = Tag("div")
        self.others = Tag("div")
        self.fault = Refusal()
        with Tag("div") as self.keeping:
            self.date = Field("Printed on", date.today().isoformat(), on_change=self.changed,
                              hint="Its age is counted from this day; blank if you do not know")
            self.name = self.name_field("Keep it as", ".process.json")
            with Tag("div", classes="buttons"):
                button("Keep this strip", self._keep, "button primary")
        self.kept = Tag("div", aria_live="polite")
        self.refused = refusal({self.name: NAMED, self.date: ("print_date",)})
        self._choose()

    def _choose(self) -> None:
        """The part of the page that belongs to the way it is read."""
        self.draft.way = self.way.value
        self.corners.forget()
        self.keeping.set_visibility(self.draft.way != "eye")  # it gives a time alone
        self.how.clear()
        self.fields: dict[Place, tuple[str, ...]] = {
            self.tablet: _TABLET, self.time: _TIME, self.name: NAMED,
            self.date: ("print_date",)}
        with self.how:
            {"table": self._grid, "scan": self._scan, "eye": self._eye}[self.draft.way]()
        self._show_more()
        self.changed()

    # The ways to read it

    def _grid(self) -> None:
        typed = self.draft.typed
        self.opened = Field("Go on with a table", self.draft.opened, on_change=self._open,
                            choices=choices(self.names("table"), "none: type it below"),
                            hint="A strip's table that lies in the paper's folder")
        if self.draft.whole_table:
            Tag("p", "This table holds more than the densities of one strip: it is read as it is.")
            return
        self.grid = DensityGrid(self._steps(), HALVES, self.changed)
        rows = [[*cells] for cells in zip(_padded(typed.film, len(self.grid.rows)),
                                          _padded(typed.bare, len(self.grid.rows)), strict=True)]
        self.grid.set_values(rows)
        self.grid.set_skipped({step - 1 for step in typed.skip})

    async def _open(self) -> None:
        """Fill the grid from a table; what was typed is replaced."""
        name, draft = self.opened.value, self.draft
        self.opened.show_error(None)
        if not name:
            draft.opened, draft.cells = "", None
            self._choose()
            return
        try:
            found = await self.bench.quick.call(open_strip, self.below(name), self.tablet.value)
        except TonewrightError as error:
            self.opened.show_error(error.sentences())
            return
        draft.opened, draft.cells = name, found
        time = "" if found is None else found.time or self.time.value
        draft.typed = replace(draft.typed, time=time, skip=())
        if found is not None:
            draft.typed = replace(draft.typed, film=found.densities.get("film", ()),
                                  bare=found.densities.get("bare", ()))
        self.time.set(time)
        self._choose()

    def _scan(self) -> None:
        Drop("Scan of the strip: TIFF or PNG, 16-bit gray, automatic corrections off",
             file_address(self.paper), self._scanned, accept=".tif,.tiff,.png")
        self.scan = Field("Scan", self.draft.scan, on_change=self._other_scan,
                          choices=choices(self.scans(), "choose"))
        known = {"": _PROFILE} | self.scanners()
        if self.draft.scanner not in known:
            self.draft.scanner = next(iter(self.scanners()), "")
        self.scanner = Field("Scanner", self.draft.scanner, choices=known, on_change=self.changed,
                             hint="What the scan's values mean")
        link("Learn it from a gray scale", address(self.paper, "scanner"), "beside")
        self.halves = Field("What lay under the film", self.draft.halves, choices=_HALVES,
                            on_change=self.changed)
        self.flat = Field("Scan of a plain white sheet", self.draft.flat, on_change=self.changed,
                          choices=choices(self.scans(), "none"),
                          hint="Scanned with the same settings; takes out uneven light")
        self.fields |= {self.scanner: ("scanner_unknown", "scan_taken_otherwise"),
                        self.halves: ("halves_unclear", "halves_exchanged")}
        with Tag("div", classes="buttons"):
            button("Set the corners by hand", self._by_hand)

    def _eye(self) -> None:
        self.merged = Field("Steps that cannot be told apart", self.draft.merged,
                            on_change=self.changed,
                            hint="Through the film: how many, from step 1 on; 1 if all can be")
        self.fields[self.merged] = ("merged_unclear", "eye_count_impossible")

    def _steps(self) -> list[str]:
        try:
            return [str(n) for n in range(1, steps_of(self.draft.typed.tablet) + 1)]
        except TonewrightError:
            return [str(n) for n in range(1, 32)]

    # Several strips

    def _show_more(self) -> None:
        """Further strips of the paper, read together with the first."""
        self.others.clear()
        self.more: list[tuple[Field, Field]] = []
        eye = self.draft.way == "eye"
        with self.others:
            for number, one in enumerate(self.draft.more, 2):
                what = Field(f"Steps of strip {number} that cannot be told apart", one.what,
                             on_change=self.changed) if eye else \
                    Field(f"Strip {number}", one.what, on_change=self.changed,
                          choices=choices([*self.names("table"), *self.scans()], "choose"))
                time = Field(f"Printing time of strip {number}", one.time, on_change=self.changed,
                             hint="" if eye else "Blank if its table says it, or if it is that of"
                             " the first")
                self.more.append((what, time))
            with Tag("div", classes="buttons"):
                button("Add another strip", lambda: self._number(+1))
                if self.more:
                    button("Take the last one away", lambda: self._number(-1))
        with self.others:
            self.fault = refusal(self.fields)

    def _number(self, change: int) -> None:
        self._take()
        if change > 0:
            self.draft.more.append(_More())
        else:
            self.draft.more.pop()
        self._show_more()
        self.changed()

    # What happens to them

    def _files_changed(self) -> None:
        """Offer files that have come, and none that are gone."""
        if self.listed == (listed := [*self.names("table"), *self.scans(),
                                      *self.scanners()]):
            return
        self.listed = listed
        if self.draft.way == "table":
            self.opened.set_choices(choices(self.names("table"), "none: type it below"),
                                    self.opened.value)
        elif self.draft.way == "scan":
            self.scan.set_choices(choices(self.scans(), "choose"), self.scan.value)
            self.scanner.set_choices({"": _PROFILE} | self.scanners(), self.scanner.value)

    async def _new_tablet(self) -> None:
        self.draft.typed = replace(self.draft.typed, tablet=self.tablet.value)
        if self.draft.way == "table" and not self.draft.whole_table and \
                (steps := self._steps()) != [*self.grid.rows]:
            self.grid.set_rows(steps)
        await self.redraw()

    def _scanned(self, name: str) -> None:
        self.draft.scan = name
        self._choose()

    def _other_scan(self) -> None:
        self.corners.forget()
        self.changed()

    async def _by_hand(self) -> None:
        """The row was not found, or elsewhere: its corners are set by clicks."""
        async def show() -> None:
            if self.draft.scan:
                self.corners.ask(await self.bench.long.call(preview, self.below(self.draft.scan)))

        await self.ask(self.fault, show)

    async def _skip(self, step: int) -> None:
        if self.draft.way == "table" and not self.draft.whole_table:
            self.grid.set_skipped(set(self.grid.skipped) ^ {step - 1})
        else:
            skip = set(self.draft.typed.skip) ^ {step}
            self.draft.typed = replace(self.draft.typed, skip=tuple(sorted(skip)))
        await self.redraw()

    def _take(self) -> None:
        """What stands in the fields now."""
        draft = self.draft
        typed = replace(draft.typed, tablet=self.tablet.value, time=self.time.value)
        if draft.way == "table" and not draft.whole_table:
            film, bare = ([*column] for column in zip(*self.grid.values, strict=True))
            skip = tuple(sorted(row + 1 for row in self.grid.skipped))
            typed = replace(typed, film=tuple(film), bare=tuple(bare), skip=skip)
        elif draft.way == "scan":
            draft.scan, draft.scanner, draft.flat = (
                self.scan.value, self.scanner.value, self.flat.value)
            draft.halves = cast("Halves", self.halves.value)
        elif draft.way == "eye":
            draft.merged = self.merged.value
        draft.typed = typed
        draft.more[:] = [_More(what.value, time.value) for what, time in self.more]

    async def redraw(self) -> None:
        """Say what the strip says so far."""
        self._take()
        typed, way = self.draft.typed, self.draft.way
        if self.draft.is_empty:
            self.fault.clear()
            self.chart.show(None, _FIRST[way])
            self.result.clear()
            return

        async def find() -> None:
            if way == "table" and not self.draft.whole_table:
                # in a moment; the fit takes a third of a second
                self.chart.show(sketch_strip(typed, self.view))
            try:
                self._show(await self._found())
            except TonewrightError as error:
                if way == "scan" and error.code in NOT_FOUND and self.corners.corners is None:
                    await self._by_hand()
                raise

        await self.ask(self.fault, find)

    async def _found(self) -> View:
        quick = self.bench.quick
        if self.draft.way == "eye":
            strips = [(self.draft.typed.time, self.draft.merged),
                      *((one.time, one.what) for one in self.draft.counts)]
            return await quick.call_newest(by_eye, EyeCommand(
                tablet=self.draft.typed.tablet, strips=tuple(strips)))
        return await quick.call_newest(try_strip, *self._asked())

    def _show(self, view: View) -> None:
        self.view = view
        self.chart.show(view.chart, _FIRST["eye"])
        self.show_result(view, "base printing time")
        if self.draft.way == "table" and not self.draft.whole_table:
            self.grid.set_doubtful({step - 1 for step in view.aside})

    def _asked(self) -> tuple[TypedStrip | None, StripCommand]:
        """What is typed, None where files alone are read; and what is to be kept, counted from
        the bench's folder."""
        name, typed, draft = self.name.value.strip() or "strip", self.draft.typed, self.draft
        first, new = self._first(name)
        others = [one for one in draft.files if one.what]
        files = (first, *(self.below(one.what) for one in others))
        scan = any(kind_of(file.name) == "image" for file in files)
        corners = self.corners.corners if draft.way == "scan" else None
        return new, StripCommand(
            readings=files, tablet=typed.tablet, process=self.below(f"{name}.process.json"),
            times=self._times(others), skip=typed.skip, setup=self.setup(), corners=corners,
            scanner=self.of_any_paper(draft.scanner or "") if scan else None,
            halves=draft.halves if scan else "2", date=self.date.value.strip(),
            flat=self.below(draft.flat) if scan and draft.flat else None)

    def _first(self, name: str) -> tuple[Path, TypedStrip | None]:
        """Where the first strip is read from, and what is typed to be written there."""
        draft = self.draft
        if draft.way == "scan":
            return self.below(draft.scan), None
        if draft.whole_table or draft.as_opened:
            return self.below(draft.opened), None
        return self.below(self.free(f"{name}-strip.csv")), draft.typed

    def _times(self, others: list[_More]) -> tuple[str, ...]:
        """Printing times for the command: none that the tables say themselves."""
        draft, first = self.draft, self.draft.typed.time.strip()
        if any(one.time.strip() for one in others):
            return (first, *(one.time.strip() or first for one in others))
        silent = draft.whole_table or (draft.as_opened and draft.cells and not draft.cells.time)
        return (first,) if first and (draft.way == "scan" or silent) else ()

    async def _keep(self) -> None:
        async def keep() -> None:
            typed, asked = self._asked()
            self._show(await self.bench.quick.call(keep_strip, typed, asked))
            self.say_kept(f"Kept as {asked.process}.", "target")

        self._take()
        await self.ask(self.refused, keep)


def _padded(cells: tuple[str, ...], count: int) -> list[str]:
    return [*cells[:count], *[""] * (count - len(cells))]

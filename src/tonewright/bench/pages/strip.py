"""Strip: type the densities of a step tablet, drop its scan, or count merged steps by eye."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Field
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.strip import (
    HALVES,
    TypedStrip,
    by_eye,
    keep_strip,
    read_scanned,
    sketch_strip,
    steps_of,
    try_strip,
)
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.errors import TonewrightError
from tonewright.show.commands import StripCommand

_WAYS = {"table": "Type or paste the densities", "scan": "From a scan",
         "eye": "By eye: count merged steps"}
_FIRST = ("Type the densities of the strip, step 1 first, or paste a column from a spreadsheet. The"
          " curve is drawn as you type.")
_TABLET = ("tablet_unknown", "tablet_too_short", "other_tablet", "steps_missing")
_TIME = ("strip_time_unknown", "time_impossible", "time_unclear")


@dataclass
class _Draft:
    """What stands on the page."""

    typed: TypedStrip = field(default_factory=TypedStrip)
    way: str = "table"
    scan: str = ""
    """The scan's name, once it is here."""
    scanner: str = ""


class StripPage(Page):
    """One open page."""

    def build(self) -> None:
        """The response as large as it can be, and the steps beside it."""
        self.view: View | None = None
        self.draft: _Draft = self.bench.drafts.setdefault(
            (self.paper, "strip"), _Draft())
        Tag("p", "Lay the step tablet on the coated paper, half of it over a piece of the clear"
            " film that your negatives are printed on. Expose, develop and dry it, and measure each"
            " step.")
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="What the paper does with light"):
                self.chart = Chart("Density of the print over exposure", on_point=self._skip)
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="The strip"):
                self._side()
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
        self.fault = refusal({self.tablet: _TABLET, self.time: _TIME})
        self.name = self.name_field("Keep it as", ".process.json")
        with Tag("div", classes="buttons"):
            button("Keep this strip", self._keep, "button primary")
        self.kept = Tag("div", aria_live="polite")
        self.refused = refusal({self.name: NAMED})
        self._choose()

    def _choose(self) -> None:
        """The part of the page that belongs to the way it is read."""
        self.draft.way = self.way.value
        self.how.clear()
        with self.how:
            {"table": self._grid, "scan": self._scan, "eye": self._eye}[self.draft.way]()
        self.changed()

    def _grid(self) -> None:
        typed = self.draft.typed
        self.grid = DensityGrid(self._steps(), HALVES, self.changed)
        rows = [[*cells] for cells in zip(_padded(typed.film, len(self.grid.rows)),
                                          _padded(typed.bare, len(self.grid.rows)), strict=True)]
        self.grid.set_values(rows)
        self.grid.set_skipped({step - 1 for step in typed.skip})

    def _scan(self) -> None:
        Drop("Scan of the strip: TIFF or PNG, 16-bit gray, automatic corrections off",
             file_address(self.paper), self._scanned, accept=".tif,.tiff,.png")
        if self.draft.scan:
            Tag("p", f"The scan is {self.draft.scan}.")
        self.scanner = Field("Scanner", self.draft.scanner, choices=choices(
            self.names("scanner"), "none: the scan's own profile"),
                             on_change=self.changed,
                             hint="What the scan's values mean: NAME.scanner.json")

    def _eye(self) -> None:
        self.merged = Field("Steps that cannot be told apart", self.draft.typed.merged,
                            on_change=self.changed,
                            hint="Through the film: how many, from step 1 on; 1 if all can be")

    def _steps(self) -> list[str]:
        try:
            return [str(n) for n in range(1, steps_of(self.draft.typed.tablet) + 1)]
        except TonewrightError:
            return [str(n) for n in range(1, 32)]

    async def _new_tablet(self) -> None:
        self.draft.typed = replace(self.draft.typed, tablet=self.tablet.value)
        if self.draft.way == "table" and (steps := self._steps()) != [*self.grid.rows]:
            self.grid.set_rows(steps)
        await self.redraw()

    async def _scanned(self, name: str) -> None:
        self.draft.scan = name
        self._choose()

    async def _skip(self, step: int) -> None:
        if self.draft.way == "table":
            self.grid.set_skipped(set(self.grid.skipped) ^ {step - 1})
        else:
            skip = set(self.draft.typed.skip) ^ {step}
            self.draft.typed = replace(self.draft.typed, skip=tuple(sorted(skip)))
        await self.redraw()

    def _take(self) -> None:
        """What stands in the fields now."""
        typed = replace(self.draft.typed, tablet=self.tablet.value, time=self.time.value)
        if self.draft.way == "table":
            film, bare = ([*column] for column in zip(*self.grid.values, strict=True))
            skip = tuple(sorted(row + 1 for row in self.grid.skipped))
            typed = replace(typed, film=tuple(film), bare=tuple(bare), skip=skip)
        elif self.draft.way == "scan":
            self.draft.scanner = self.scanner.value
        else:
            typed = replace(typed, merged=self.merged.value)
        self.draft.typed = typed

    async def redraw(self) -> None:
        """Say what the strip says so far."""
        self._take()
        typed, way = self.draft.typed, self.draft.way
        empty = {"table": not any(map(str.strip, (*typed.film, *typed.bare))),
                 "scan": not self.draft.scan, "eye": not typed.merged.strip()}[way]
        if empty:
            self.fault.clear()
            self.chart.show(None, _FIRST if way == "table" else "")
            self.result.clear()
            return

        async def find() -> None:
            if way == "table":  # in a moment; the fit takes a third of a second
                self.chart.show(sketch_strip(typed, self.view))
            self._show(await self._found())

        await self.ask(self.fault, find)

    async def _found(self) -> View:
        typed, quick = self.draft.typed, self.bench.quick
        if self.draft.way == "table":
            return await quick.call_newest(try_strip, typed, self.setup(), self._process_name())
        if self.draft.way == "scan":
            return await quick.call_newest(read_scanned, self._asked(), keep=False)
        return await quick.call_newest(by_eye, typed)

    def _show(self, view: View) -> None:
        self.view = view
        self.chart.show(view.chart, "A strip counted by eye gives a time, and no curve.")
        self.show_result(view, "base printing time")
        if self.draft.way == "table":
            self.grid.set_doubtful({step - 1 for step in view.aside})

    def _process_name(self) -> str:
        return self.name.value.strip() or "strip"

    def _asked(self) -> StripCommand:
        """What is to be kept, counted from the bench's folder."""
        name, typed, draft = self._process_name(), self.draft.typed, self.draft
        scan = draft.way == "scan"
        return StripCommand(
            readings=self.below(draft.scan if scan else f"{name}-strip.csv"),
            tablet=typed.tablet, process=self.below(f"{name}.process.json"),
            time=typed.time if scan else "", skip=typed.skip, setup=self.setup(),
            scanner=self.below(draft.scanner) if scan and draft.scanner else None)

    async def _keep(self) -> None:
        async def keep() -> None:
            if self.draft.way == "eye":
                self.kept.clear()
                with self.kept:
                    Tag("p", "A strip counted by eye gives a time alone: write it down. To keep a"
                        " curve of it, measure its densities.")
                return
            asked = self._asked()
            self._show(await (
                self.bench.quick.call(read_scanned, asked, keep=True) if self.draft.way == "scan"
                else self.bench.quick.call(keep_strip, self.draft.typed, asked)))
            self.say_kept(f"Kept as {asked.process}.", "target")

        self._take()
        await self.ask(self.refused, keep)


def _padded(cells: tuple[str, ...], count: int) -> list[str]:
    return [*cells[:count], *[""] * (count - len(cells))]

"""Strip: type the densities of a step tablet, drop its scan, or count merged steps by eye."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tonewright.bench.pages.page import NAMED, Page
from tonewright.bench.pages.strip_ways import Draft, EyeWay, More, ScanWay, TableWay, Way
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.corners import ROW_OF_STEPS
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Field, Refusal
from tonewright.bench.parts.result import show_cautions
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.bench.worker import Overtaken
from tonewright.errors import TonewrightError
from tonewright.files.papers import kind_of
from tonewright.show.cautions import has_to_print

_WAYS: dict[str, tuple[str, type[Way]]] = {
    "table": ("From its densities", TableWay), "scan": ("From a scan", ScanWay),
    "eye": ("By eye: count merged steps", EyeWay)}


class StripPage(Page):
    """The response as large as it can be, and the steps beside it."""

    intro = ("Lay the step tablet on the coated paper, half of it over a piece of the clear film"
             " that your negatives are printed on. Expose, develop and dry it, and measure each"
             " step.")
    parts = "What the paper does with light", "The strip"
    reading: Way
    """How the strip is read."""

    def build(self) -> None:
        self.view: View | None = None
        self.row = self.corners(ROW_OF_STEPS, self.redraw)
        self.chart = Chart("Print density against exposure", on_point=self._toggle)

    def build_side(self) -> None:
        self.draft: Draft = self.bench.drafts.setdefault((self.paper, "strip"), Draft())
        typed = self.draft.typed
        Drop("Scan of the strip (16-bit TIFF or PNG), or a table of its densities",
             file_address(self.paper), self._arrived, accept=".tif,.tiff,.png,.csv,.txt")
        self.tablet = Field("Step tablet", typed.tablet, on_change=self._new_tablet,
                            hint="31 (steps of 0.10), 21 (steps of 0.15), or another such as"
                                 " 25x0.12")
        self.time = Field("Printing time", typed.time, on_change=self.changed,
                          hint="10 min, 90 s, 7:30, or 120 units on an integrator")
        self.way = Field("Read the strip", self.draft.way, on_change=self._choose,
                         choices={way: label for way, (label, _) in _WAYS.items()})
        self.how = Tag("div")
        self.others = Tag("div")
        with Tag("div") as self.keeping:
            self.date = self.printed_field()
            self.name = self.name_field("Keep it as", ".process.json", "strip")
            with Tag("div", classes="buttons"):
                button("Keep this strip", self._keep, "button primary")
        self.kept = Tag("div", aria_live="polite")
        self.not_kept = Refusal({self.name: NAMED, self.date: ("print_date",)})

    def begin(self) -> None:
        self._choose()

    async def _arrived(self, name: str) -> None:
        """A file was dropped: the strip is read from it."""
        way = "scan" if kind_of(name) == "image" else "table"
        if way != self.way.value:
            self.way.renew(way)
            self._choose()
        await self.reading.arrived(name)

    def _choose(self) -> None:
        """The part of the page that belongs to the way it is read."""
        self.draft.way = self.way.value
        _, way = _WAYS[self.draft.way]
        self.row.forget()
        self.keeping.set_visibility(way.keeps)
        with self.how.anew():
            self.reading = way(self, self.draft, self.time, self.row)
        self._show_more()
        self.changed()

    def _show_more(self) -> None:
        """Further strips of the paper, read together with the first."""
        self.others.clear()
        self.more: list[tuple[Field, Field]] = []
        with self.others:
            for number, one in enumerate(self.reading.more, 2):
                what = self.reading.another(number, one.what)
                time = Field(f"Printing time of strip {number}", one.time, on_change=self.changed,
                             hint=self.reading.time_hint)
                self.more.append((what, time))
            with Tag("div", classes="buttons"):
                button("Add another strip", lambda: self._number(+1))
                if self.more:
                    button("Remove the last strip", lambda: self._number(-1))
            self.refused = Refusal({
                self.tablet: ("tablet_unknown", "tablet_too_short", "other_tablet",
                              "steps_missing"),
                self.time: ("strip_time_unknown", "time_impossible", "time_unclear"),
                self.name: NAMED, self.date: ("print_date",), **self.reading.codes})

    def _number(self, change: int) -> None:
        self._take()
        if change > 0:
            self.reading.more.append(More())
        else:
            self.reading.more.pop()
        self._show_more()
        self.changed()

    async def _new_tablet(self) -> None:
        self.draft.typed = replace(self.draft.typed, tablet=self.tablet.value)
        self.reading.new_tablet()
        await self.redraw()

    async def _toggle(self, step: int) -> None:
        self.reading.toggle(step)
        await self.redraw()

    def _take(self) -> None:
        """What stands in the fields now."""
        self.draft.typed = replace(self.draft.typed, tablet=self.tablet.value,
                                   time=self.time.value)
        self.reading.take()
        self.reading.more[:] = [More(what.value, time.value) for what, time in self.more]

    async def redraw(self) -> None:
        """Say what the strip says so far."""
        self._take()
        self.not_kept.clear()
        self.kept.clear()
        reading = self.reading
        with self.asked(self.refused):
            if reading.is_empty:
                self._show_none(reading.first, exposes=True)
                return
            drawn, mine = None, self._newest
            try:
                drawn = reading.sketch(self.view)  # in a moment; the fit takes a third of a second
                if drawn is not None:
                    self.chart.show(drawn)
                view = await reading.find(self.name.name, self.date.text)
            except TonewrightError as error:  # nothing older may stand beside what is refused
                if self._newest is not mine:  # a scan was opened meanwhile, to be clicked on
                    raise Overtaken from None
                self._show_none(reading.none, has_to_print(error), drawn)
                raise
            self._show(view)

    def _show_none(
        self, instead: str, exposes: bool, drawn: dict[str, Any] | None = None
    ) -> None:
        """No result, and the cautions where someone is told to expose all the same."""
        self.chart.show(drawn, instead)
        self.reading.mark(())
        with self.result.anew():
            if exposes:
                show_cautions()

    def _show(self, view: View) -> None:
        self.view = view
        self.chart.show(view.chart)
        self.show_result(view, "base printing time")
        self.reading.mark(view.aside)

    async def _keep(self) -> None:
        self._take()
        with self.pressed(self.not_kept):
            view, written = await self.reading.keep(self.name.name, self.date.text)
            self._show(view)
            self.say_kept(f"Kept as {written}.", "target")

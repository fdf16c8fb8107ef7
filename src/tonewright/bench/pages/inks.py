"""Inks: a chart of colours printed and measured, and the one to make negatives in."""

from __future__ import annotations

from dataclasses import replace

from tonewright.bench.pages.page import NAMED, Page, choices, more, number, refusal
from tonewright.bench.parts.field import Choice, Field
from tonewright.bench.parts.result import show_result
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.inks import InksView, rank
from tonewright.bench.tasks.target import keep_target
from tonewright.files.contents import charts, tables
from tonewright.files.documents import parse_setup
from tonewright.files.papers import SETUP
from tonewright.record.setup import Setup
from tonewright.show.commands import InksCommand, TargetCommand
from tonewright.target.layout import DEFAULT_PAPER, PAPERS

_OF_COLOURS = ("ink_colour_unclear", "chart_colours", "target_repeats")
_HEADS = ("Colour", "Density at full ink", "Steepest", "Enough")


class InksPage(Page):
    """One open page."""

    def build(self) -> None:
        """The ranking as large as it can be, and what it is made from."""
        self.colour: str | None = None
        Tag("p", "Some coloured inks hold back more UV than black ink does, and the eye cannot"
            " judge which. Print a chart of colours on a paper that you have a strip of, and"
            " measure the print: it shows how dense each colour is to the coating.")
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The colours"):
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="The chart"):
                self._chart()
                self._side()
        self.changed()

    def _chart(self) -> None:
        Tag("h2", "The chart")
        self.sheet = Field("Film sheet", DEFAULT_PAPER, choices={name: name for name in PAPERS})
        self.name = self.name_field("Keep the chart as", ".target.json", f"{self.title}-inks")
        with more():
            self.colours = Field("Colours of your own", hint="Red, green and blue of each:"
                                 " 255,120,0; 0,120,255. Blank for every mixture of none, half and"
                                 " full")
            self.straight = Choice("Do not mirror",
                                   hint="For printing through the back of the film")
        with Tag("div", classes="buttons"):
            button("Draw a chart of inks", self._draw)
        self.not_drawn = refusal({self.name: NAMED, self.colours: _OF_COLOURS,
                                  self.sheet: ("target_too_large", "patch_size")})
        self.drawn = Tag("div", aria_live="polite")

    def _side(self) -> None:
        Tag("h2", "Its print")
        read = tables(self.bench.papers, self.paper, "inks")
        self.readings = self.file_field(
            "Readings of the chart", next(iter(read), ""),
            lambda: choices(self._tables(), "choose"), on_change=self.changed,
            hint="As the page Read keeps them, or the table filled in by hand")
        self.process = self.file_field(
            "Strip of this paper", next(iter(self.names("process")), ""),
            lambda: choices(self.names("process"), "choose"), on_change=self.changed)
        self.layout = self.file_field(
            "Layout of the chart", "",
            lambda: choices(charts(self.bench.papers, self.paper), "not needed"),
            on_change=self.changed, hint="For a list that holds no colours")
        self.time = Field("Printed for", on_change=self.changed,
                          hint="Blank for the base printing time")
        self.range = Field("Density range to ask for", on_change=self.changed,
                           hint="Blank for what the strip asks of a negative")
        self.out = Field("Patches to leave out", on_change=self.changed,
                         hint="Stained ones, as A3, C7")
        with Tag("div", classes="buttons"):
            self.use = button("Print in this colour from now on", self._use, "button primary")
        self.use.set_visibility(False)
        self.refused = refusal({
            self.readings: ("no_chart_readings",), self.process: ("no_chart_process",),
            self.layout: ("chart_unknown", "other_chart"), self.range: ("ink_range",),
            self.time: ("time_unclear", "time_impossible"), self.out: ("leave_out",)})
        self.kept = Tag("div", aria_live="polite")

    def _tables(self) -> list[str]:
        """Tables that may be of a chart, those first that surely are."""
        read = tables(self.bench.papers, self.paper, "inks")
        return [*read, *(name for name in self.names("table") if name not in read)]

    async def _draw(self) -> None:
        async def draw() -> None:
            name = self.name.value.strip() or "inks"
            asked = TargetCommand(output=self.below(f"{name}.tif"), name=name, chart=True,
                                  paper_size=self.sheet.value, no_mirror=self.straight.value,
                                  chart_colours=tuple(filter(None, map(
                                      str.strip, self.colours.value.split(";")))))
            view = await self.bench.quick.call(keep_target, asked)
            self.offer(self.drawn, name)
            self.drawn.reveal()
            if self.foot is not None:
                self.foot.lead_to("read")
            self.show_result(view)

        await self.pressed(self.not_drawn, draw)

    def _asked(self) -> InksCommand:
        needed = number(self.range, "the density range", "ink_range", "it is a number such as 1.9",
                        "leave it blank for what the strip asks of a negative")
        return InksCommand(
            readings=(self.below(self.readings.value),), process=self.chosen(self.process),
            chart=self.chosen(self.layout), time=self.time.value.strip(), needed=needed,
            leave_out=tuple(self.out.value.replace(",", " ").split()))

    async def redraw(self) -> None:
        """Rank the colours, once there are readings."""
        self.use.set_visibility(False)
        self.result.clear()
        if not self.readings.value:
            with self.result:
                Tag("p", "Draw the chart, print it, and read it. Its colours are ranked here.",
                    "chart-empty")

        async def find() -> None:
            if self.readings.value:
                self._show(await self.bench.quick.call_newest(rank, self._asked()))

        await self.ask(self.refused, find)

    def _show(self, found: InksView) -> None:
        self.colour = found.view.result
        with self.result.anew():
            with Tag("table", classes="documents"):
                Tag("caption", "Colours of ink, the densest first", "unseen")
                with Tag("thead"), Tag("tr"):
                    for head in _HEADS:
                        Tag("th", head, scope="col")
                with Tag("tbody"):
                    for colour, *cells in found.rows:
                        with Tag("tr"):
                            with Tag("th", scope="row"):
                                Tag("span", "", "swatch", style=f"background: rgb({colour})")
                                Tag("span", colour)
                            for cell in cells:
                                Tag("td", cell)
            show_result(found.view, "colour to print in", "none is enough")
        self.use.set_visibility(self.colour is not None)

    async def _use(self) -> None:
        """The paper's setup gets the colour."""
        async def keep() -> None:
            papers, colour = self.bench.papers, self.colour
            before = papers.setup_bytes(self.paper)
            setup = Setup(paper=self.title) if before is None else parse_setup(before, SETUP)
            if setup.ink_colour != colour:
                papers.write_setup(self.paper, replace(setup, ink_colour=colour), before)
            self.say_kept(f"The setup says {colour} now. Draw a target in it.", "target")

        await self.pressed(self.refused, keep)

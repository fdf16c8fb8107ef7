"""Inks: a chart of colours printed and measured, and the one to make negatives in."""

from __future__ import annotations

from dataclasses import replace

from tonewright.bench.pages.page import NAMED, Page, more, number
from tonewright.bench.parts.field import Choice, Field, Refusal
from tonewright.bench.parts.result import show_result
from tonewright.bench.parts.tags import Tag, button, table
from tonewright.bench.tasks.inks import InksView, rank
from tonewright.bench.tasks.target import keep_target
from tonewright.files.contents import charts
from tonewright.files.documents import parse_setup
from tonewright.files.papers import SETUP
from tonewright.record.setup import Setup
from tonewright.show import commands
from tonewright.target.layout import DEFAULT_PAPER, PAPERS

_OF_COLOURS = ("ink_colour_unclear", "chart_colours", "target_repeats")
_HEADS = ("Colour", "Density at full ink", "Steepest", "Enough")


class InksPage(Page):
    """The ranking as large as it can be, and what it is made from."""

    intro = ("Some coloured inks hold back more UV than black ink does, and the eye cannot judge"
             " which. Print a chart of colours on a paper that you have a strip of, and measure the"
             " print: it shows how dense each colour is to the coating.")
    parts = "The colours", "The chart"

    def build(self) -> None:
        self.colour: str | None = None

    def build_side(self) -> None:
        self._build_chart()
        self._build_ranking()

    def _build_chart(self) -> None:
        Tag("h2", "The chart")
        self.sheet = Field("Film sheet", DEFAULT_PAPER, choices={name: name for name in PAPERS})
        self.name = self.name_field("Keep the chart as", ".target.json", "inks",
                                    stem=f"{self.title}-inks")
        with more():
            self.colours = Field("Colours of your own", hint="Red, green and blue of each:"
                                 " 255,120,0; 0,120,255. Blank for every mixture of none, half and"
                                 " full")
            self.straight = Choice("Do not mirror",
                                   hint="For printing through the back of the film")
        with Tag("div", classes="buttons"):
            button("Draw a chart of inks", self._draw)
        self.not_drawn = Refusal({self.name: NAMED, self.colours: _OF_COLOURS,
                                  self.sheet: ("target_too_large", "patch_size")})
        self.drawn = Tag("div", aria_live="polite")

    def _build_ranking(self) -> None:
        Tag("h2", "Its print")
        self.readings = self.file_field(
            "Readings of the chart", self._tables, "choose", next(iter(self.holding("inks")), ""),
            hint="As the page Read keeps them, or the table filled in by hand")
        self.process = self.file_field("Strip of this paper", "process", "choose")
        self.layout = self.file_field(
            "Layout of the chart", lambda: charts(self.papers, self.paper), "not needed", "",
            hint="For a list that holds no colours")
        self.time = Field("Printed for", on_change=self.changed,
                          hint="Blank for the base printing time")
        self.range = Field("Density range to ask for", on_change=self.changed,
                           hint="Blank for what the strip asks of a negative")
        self.out = Field("Patches to leave out", on_change=self.changed,
                         hint="Stained ones, as A3, C7")
        with Tag("div", classes="buttons"):
            self.use = button("Print in this colour from now on", self._use, "button primary")
        self.use.set_visibility(False)
        self.refused = Refusal({
            self.readings: ("no_chart_readings",), self.process: ("no_chart_process",),
            self.layout: ("chart_unknown", "other_chart"), self.range: ("ink_range",),
            self.time: ("time_unclear", "time_impossible"), self.out: ("leave_out",)})

    def _tables(self) -> list[str]:
        """Tables that may be of a chart, those first that surely are."""
        read = self.holding("inks")
        return [*read, *(name for name in self.names("table") if name not in read)]

    async def _draw(self) -> None:
        with self.pressed(self.not_drawn):
            name = self.name.name
            asked = commands.Target(
                output=self.below(f"{name}.tif"), name=name, ink_colours=True,
                paper_size=self.sheet.value, no_mirror=self.straight.value,
                chart_colour=tuple(filter(None, map(str.strip, self.colours.value.split(";")))))
            view = await self.bench.quick.call(keep_target, asked)
            self.offer(self.drawn, name)
            self.show_result(view)

    def _asked(self) -> commands.Inks:
        needed = number(self.range, "the density range", "ink_range", "it is a number such as 1.9",
                        "leave it blank for what the strip asks of a negative")
        return commands.Inks(
            readings=(self.below(self.readings.value),), process=self.chosen(self.process),
            target=self.chosen(self.layout), time=self.time.text, range=needed,
            leave_out=tuple(self.out.value.replace(",", " ").split()))

    async def redraw(self) -> None:
        """Rank the colours, once there are readings."""
        self.use.set_visibility(False)
        self.result.clear()
        if not self.readings.value:
            with self.result:
                Tag("p", "Draw the chart, print it, and read it. Its colours are ranked here.",
                    "chart-empty")
        with self.asked(self.refused):
            if self.readings.value:
                self._show(await self.find(rank, self._asked()))

    def _show(self, found: InksView) -> None:
        self.colour = found.view.result
        with self.result.anew():
            with table("Colours of ink, the densest first", _HEADS):
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
        with self.pressed():
            before = self.papers.setup_bytes(self.paper)
            setup = Setup(paper=self.title) if before is None else parse_setup(before, SETUP)
            if setup.ink_colour != self.colour:
                self.papers.write_setup(
                    self.paper, replace(setup, ink_colour=self.colour), before)
            self.say_kept(f"The setup says {self.colour} now. Draw a target in it.", "target")

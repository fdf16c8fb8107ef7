"""Check: a print against its curve; the verdict, the cause, and what to do."""

from __future__ import annotations

from datetime import date

from tonewright.bench.pages.page import NAMED, Page
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Fault, Field, Refusal
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.check import check, keep_tones, refine, renew
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.contents import PRINT, layout_of
from tonewright.show import commands

_TONES = tuple(f"{tone}" for tone in range(0, 101, 10))
"""L* of the picture: the eleven of the tone scale beside a negative."""


class CheckPage(Page):
    """The tones of the print, and where its readings come from."""

    parts = "The print", "What was measured"

    def build(self) -> None:
        self.chart = Chart("Difference of the print from its aim, over picture lightness")
        self.result = Tag("div", aria_live="polite")
        self._none()

    def build_side(self) -> None:
        self.curve = self.file_field("Curve", "curve")
        Tag("h2", "Readings of the print")
        Drop("A table, or an instrument's list", file_address(self.paper), self._arrived,
             accept=".csv,.txt")
        self.came: list[str] = []
        self.tables = self.ticks(
            self._tables, first=True, on_change=self._ticked,
            none="There are none yet: drop one, read the scan of a print, or type its tones.")
        self.unusable = Fault()
        self.target = self.file_field(
            "Layout of the tone scale", "target", "none: the table gives the tones", "",
            hint="For a list without tones: the layout kept with the negative")
        self._layout(*self.tables.ticked)
        with Tag("p"):
            link("Read the scan of a print", "read")
        with Tag("details"):
            Tag("summary", "Or type the eleven tones of the tone scale")
            self.grid = DensityGrid(_TONES, ("density",), thing="picture L*", leaving=False)
            button("Keep these tones", self._keep_tones)
        self.date = Field("Date of the print", date.today().isoformat(), on_change=self.changed)
        self.name = self.name_field("Keep the check as", ".check.json", "print")
        with Tag("div", classes="buttons"):
            button("Keep this check", self._keep, "button primary")
            button("Refine the curve by this print", self._refine)
        self.kept = Tag("div", aria_live="polite")
        Tag("h2", "When paper or chemistry has changed")
        self.process = self.file_field(
            "New strip", "process", on_change=None,
            hint="One strip of the new paper or chemistry renews the whole curve")
        with Tag("div", classes="buttons"):
            button("Renew the curve by this strip", self._renew)
            link("Print a strip first", "strip", "button")
        self.refused = Refusal({self.name: NAMED, self.date: ("print_date",),
                                self.target: ("print_tones",), self.process: ("no_strip",),
                                self.curve: ("check_other_paper", "process_moved", "no_curve")},
                               self.curve)

    def _tables(self) -> list[str]:
        """Those that can be a print's readings, and what was dropped: the check says what is wrong
        with it."""
        found = self.holding("print")
        return [*(n for n in self.names("table") if n in self.came and n not in found), *found]

    def _arrived(self, name: str) -> None:
        self.came.append(name)
        self.tables.tick(name, alone=True)
        self._layout(name)
        self.changed()

    def _ticked(self, name: str) -> None:
        if name in self.tables.ticked:
            self._layout(name)
        self.changed()

    def _layout(self, *names: str) -> None:
        """Choose the layout that a list of patches is read by, where only one can be."""
        for name in names:
            layout = layout_of(self.papers, self.paper, name)
            if layout is not None:
                self.target.renew(layout)

    def _asked(
        self, command: type[commands.Check] = commands.Check, output: str = ""
    ) -> commands.Check:
        chosen = tuple(map(self.below, self.tables.ticked))
        if not self.curve.value or not chosen:
            raise OptionError("no readings are chosen" if self.curve.value else
                              "there is no curve yet", "a print is checked against the curve that"
                              " it was made through", "choose a curve and the readings of a print",
                              code=None if self.curve.value else "no_curve")
        return command(curve=self.below(self.curve.value), readings=chosen, date=self.date.text,
                       output=self.below(output) if output else None,
                       target=self.chosen(self.target))

    async def redraw(self) -> None:
        with self.asked(self.refused, self.unusable):
            if not self.tables.ticked:
                self._none()
                return
            try:
                self._show(await self.find(check, self._asked()))
            except TonewrightError:  # no verdict may stand beside readings it is not of
                self._none()
                raise

    def _none(self) -> None:
        self.chart.show(None, "The print is shown here once its readings can be read.")
        self.result.clear()

    def _show(self, view: View) -> None:
        self.chart.show(view.chart)
        self.show_result(view, view.label)

    async def _keep(self) -> None:
        with self.pressed(otherwise=self.unusable):
            self._show(await self.bench.quick.call(check, self._asked(output=self.name.file)))
            self.say_kept(f"Kept as {self.name.file}.", "report")

    async def _refine(self) -> None:
        with self.pressed():
            name = self.free(self.curve.value)
            self._show(await self.bench.quick.call(refine, self._asked(commands.Refine, name)))
            self.say_kept(f"The refined curve is kept as {name}.", "negative")

    async def _renew(self) -> None:
        with self.pressed():
            if not self.curve.value or not self.process.value:
                raise OptionError("there is no strip yet" if self.curve.value else
                                  "there is no curve yet", "a curve is renewed by a strip",
                                  "print a strip on the new paper, and keep it",
                                  code="no_strip" if self.curve.value else "no_curve")
            name = self.free(self.curve.value)
            self._show(await self.bench.quick.call(renew, commands.Renew(
                old=self.below(self.curve.value), process=self.below(self.process.value),
                output=self.below(name))))
            self.say_kept(f"The renewed curve is kept as {name}.", "negative")

    async def _keep_tones(self) -> None:
        with self.pressed():
            name = self.free(f"{self.title}{PRINT}.csv")
            rows = tuple((tone, line[0]) for tone, line in
                         zip(_TONES, self.grid.values, strict=True))
            await self.bench.quick.call(keep_tones, rows, self.below(name))
            self.grid.set_values([])
            self.tables.tick(name, alone=True)
            self.say_kept(f"Kept as {name}; checked now.", "check")
            await self.redraw()

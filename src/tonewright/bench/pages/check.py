"""Check: a print against its curve; the verdict, the cause, and what to do."""

from __future__ import annotations

from datetime import date
from functools import partial

from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Choice, Fault, Field
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.check import check, keep_tones, refine, renew
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.contents import layout_of, tables
from tonewright.files.way import PRINT
from tonewright.show.commands import PrintCommand

_TONES = tuple(f"{tone}" for tone in range(0, 101, 10))
"""L* of the picture: the eleven of the tone scale beside a negative."""


class CheckPage(Page):
    """One open page."""

    def build(self) -> None:
        """The tones of the print, and where its readings come from."""
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The print"):
                self.chart = Chart("Difference of the print from its aim, over picture lightness")
                self.chart.show(None, "The print is shown here once its readings can be read.")
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="What was measured"):
                self._side()
        self.changed()

    def _side(self) -> None:
        curves = self.names("curve")
        self.curve = Field("Curve", next(iter(curves), ""), choices=choices(curves),
                           on_change=self.changed)
        Tag("h2", "Readings of the print")
        Drop("A table, or an instrument's list", file_address(self.paper), self._arrived,
             accept=".csv,.txt")
        self.listed = Tag("div")
        self.unusable = Fault()
        self.tables: dict[str, Choice] = {}
        self.target = Field("Layout of the tone scale", "", on_change=self.changed,
                            choices=self._layouts,
                            hint="For a list without tones: the layout kept with the negative")
        self._list(None)
        with Tag("p"):
            link("Read the scan of a print", "read")
        with Tag("details"):
            Tag("summary", "Or type the eleven tones of the tone scale")
            self.grid = DensityGrid(_TONES, ("density",), thing="picture L*", leaving=False)
            button("Keep these tones", self._keep_tones)
        self.date = Field("Date of the print", date.today().isoformat(), on_change=self.changed)
        self.name = self.name_field("Keep the check as", ".check.json")
        with Tag("div", classes="buttons"):
            button("Keep this check", self._keep, "button primary")
            button("Refine the curve by this print", self._refine)
        self.kept = Tag("div", aria_live="polite")
        Tag("h2", "When paper or chemistry has changed")
        strips = self.names("process")
        self.process = Field("New strip", next(iter(strips), ""), choices=choices(strips),
                             hint="One strip of the new paper or chemistry renews the whole curve")
        with Tag("div", classes="buttons"):
            button("Renew the curve by this strip", self._renew)
            link("Print a strip first", "strip", "button")
        self.refused = refusal({self.name: NAMED, self.date: ("print_date",),
                                self.target: ("print_tones",),
                                self.process: ("no_strip",), self.curve: (
                                    "check_other_paper", "process_moved", "no_curve")},
                               self.curve)

    def _list(self, chosen: str | None) -> None:
        """The tables that can be a print's readings; one of them is ticked."""
        names = tables(self.bench.papers, self.paper, "print")
        if chosen is None:
            chosen = next(iter(names), None)
        elif chosen not in names:  # the check says what is wrong with it
            names = [chosen, *names]
        with self.listed.anew():
            self.tables = {n: Choice(n, n == chosen, partial(self._ticked, n)) for n in names}
            if not names:
                Tag("p", "There are none yet: drop one, read the scan of a"
                    " print, or type its tones.", "hint")
        if chosen is not None:
            self._layout(chosen)

    def _arrived(self, name: str) -> None:
        self._list(name)
        self.changed()

    def _ticked(self, name: str) -> None:
        if self.tables[name].value:
            self._layout(name)
        self.changed()

    def _layout(self, name: str) -> None:
        """Choose the layout that a list of patches is read by, where only one can be."""
        layout = layout_of(self.bench.papers, self.paper, name)
        if layout is not None:
            self.target.renew(layout)

    def _layouts(self) -> dict[str, str]:
        return choices(self.names("target"), "none: the table gives the tones")

    def _asked(self, name: str = "check", output: str | None = None) -> PrintCommand:
        chosen = tuple(self.below(n) for n, box in self.tables.items() if box.value)
        if not self.curve.value or not chosen:
            raise OptionError("no readings are chosen" if self.curve.value else
                              "there is no curve yet", "a print is checked against the curve that"
                              " it was made through", "choose a curve and the readings of a print",
                              code=None if self.curve.value else "no_curve")
        return PrintCommand(
            name=name, curve=self.below(self.curve.value), readings=chosen,
            output=None if output is None else self.below(output), date=self.date.value.strip(),
            target=self.chosen(self.target))

    async def redraw(self) -> None:
        if not any(box.value for box in self.tables.values()):
            self._none()
            return

        async def draw() -> None:
            try:
                self._show(await self.bench.quick.call_newest(check, self._asked()))
            except TonewrightError:  # no verdict may stand beside readings it is not of
                self._none()
                raise

        await self.ask(self.refused, draw, otherwise=self.unusable)

    def _none(self) -> None:
        self.chart.show(None, "The print is shown here once its readings can be read.")
        self.result.clear()

    def _show(self, view: View) -> None:
        self.chart.show(view.chart)
        self.show_result(view, view.label)

    async def _keep(self) -> None:
        async def keep() -> None:
            name = f"{self.name.value.strip() or 'print'}.check.json"
            self._show(await self.bench.quick.call(check, self._asked(output=name)))
            self.say_kept(f"Kept as {name}.", "report")

        await self.ask(self.refused, keep, otherwise=self.unusable)

    async def _refine(self) -> None:
        async def work() -> None:
            name = self.free(self.curve.value)
            self._show(await self.bench.quick.call(refine, self._asked("refine", name)))
            self.say_kept(f"The refined curve is kept as {name}.", "negative")

        await self.ask(self.refused, work)

    async def _renew(self) -> None:
        async def work() -> None:
            if not self.curve.value or not self.process.value:
                raise OptionError("there is no strip yet" if self.curve.value else
                                  "there is no curve yet", "a curve is renewed by a strip",
                                  "print a strip on the new paper, and keep it",
                                  code="no_strip" if self.curve.value else "no_curve")
            name = self.free(self.curve.value)
            self._show(await self.bench.quick.call(
                renew, self.below(self.curve.value), self.below(self.process.value),
                self.below(name)))
            self.say_kept(f"The renewed curve is kept as {name}.", "negative")

        await self.ask(self.refused, work)

    async def _keep_tones(self) -> None:
        async def keep() -> None:
            name = self.free(f"{self.title}{PRINT}.csv")
            rows = tuple((tone, line[0]) for tone, line in
                         zip(_TONES, self.grid.values, strict=True))
            await self.bench.quick.call(keep_tones, rows, self.below(name))
            self.grid.set_values([])
            self._list(name)
            self.say_kept(f"Kept as {name}; checked now.", "check")
            await self.redraw()

        await self.ask(self.refused, keep)

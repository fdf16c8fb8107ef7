"""Curve: readings, response, band and aim; change the aim and see it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from tonewright.bench.pages.page import NAMED, Page
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.field import Choice, Fault, Field, Refusal
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.curve import CurveView, keep_curve, try_curve
from tonewright.errors import OptionError
from tonewright.files.contents import readings_tables
from tonewright.show import commands

_AIMS = {"lightness": "equal steps of lightness", "density": "equal steps of density",
         "reflectance": "equal steps of reflectance"}


class CurvePage(Page):
    """The two pictures, and what the curve is made from."""

    parts = "The curve", "What it is made from"

    def build(self) -> None:
        self.patch_names: list[str] = []
        self.doubtful: dict[str, Choice] | None = None
        self.response = Chart("Print lightness over ink", on_point=self._clicked)
        self.result = Tag("div", aria_live="polite")
        self.correction = Chart("The correction: ink over picture lightness")

    def build_side(self) -> None:
        Tag("h2", "Readings")
        self.tables = self.ticks(
            lambda: readings_tables(self.papers, self.paper), first=True,
            on_change=lambda _: self.changed(),
            none="There are no readings yet: read a print of the target first, or copy a table"
            " into the paper's folder.")
        self.unusable = Fault()
        self.process = self.file_field("Strip", "process", "none",
                                       hint="Gives the curve its printing time")
        self.time = Field("The target was printed for", "", on_change=self.changed,
                          hint="Only if this was not the time of the strip: 10 min, 90s, 7:30")
        self.aim = Field("Aim", "lightness", choices=_AIMS, on_change=self.changed,
                         hint="How the picture's tones are spread between black and white")
        self.patches = Tag("div")
        self.date = self.printed_field()
        self.name = self.name_field("Keep it as", ".curve.json", "curve")
        with Tag("div", classes="buttons"):
            button("Keep this curve", self._keep, "button primary")
        self.refused = Refusal({
            self.name: NAMED, self.time: ("target_time_unknown", "time_impossible",
                                          "time_unclear", "time_far"),
            self.process: ("process_needed",), self.date: ("print_date",)}, self.process,
            here=self.unusable)

    def _asked(self) -> commands.Fit:
        chosen = tuple(map(self.below, self.tables.ticked))
        if not chosen:
            raise OptionError("no readings are chosen", "a curve is made from the readings of a"
                              " target", "choose a table, or read a print first")
        return commands.Fit(
            readings=chosen, output=self.below(self.name.file), process=self.chosen(self.process),
            target_time=self.time.text, aim=self.aim.value,
            leave_out=tuple(sorted(self.left_out)), setup=self.setup(), date=self.date.text)

    @property
    def left_out(self) -> set[str]:
        """Patches that are left out, in any of the readings that are chosen."""
        return set().union(*self._drafts())

    def _drafts(self) -> list[set[str]]:
        return [self.bench.left_out(self.paper, name) for name in self.tables.ticked]

    async def _clicked(self, row: int) -> None:
        """A patch in the picture."""
        if row < len(self.patch_names):
            await self._toggle(self.patch_names[row])

    async def _toggle(self, name: str) -> None:
        """Leave a patch out, or let it count again."""
        out = name in self.left_out
        for draft in self._drafts():
            (draft.discard if out else draft.add)(name)
        await self.redraw()

    async def redraw(self) -> None:
        with self.asked(self.refused):
            if self.tables.ticked:
                self._show(await self.find(try_curve, self._asked()))
            else:
                self.response.show(None, "Choose readings: the curve is drawn from them.")
                self.correction.show(None)
                self.result.clear()

    def _show(self, found: CurveView) -> None:
        self.patch_names = [name for name, _ in found.patches]
        self.response.show(found.view.chart)
        self.correction.show(found.correction)
        self.show_result(found.view, "black to white")
        self._list({name: said for name, said in found.patches if said is not None})

    def _list(self, named: Mapping[str, str]) -> None:
        """The doubts of fit and scan, and what is left out already, each with a box."""
        if self.doubtful is None or [*named] != [*self.doubtful]:
            with self.patches.anew():
                Tag("h2", "Doubtful patches")
                Tag("p", "Look at the print, and leave out those that are spoilt. Click any other"
                    " patch in the plot to leave it out." if named else
                    "None. Click a patch in the plot to leave it out.", "hint")
                self.doubtful = {name: Choice("", on_change=partial(self._toggle, name))
                                 for name in named}
        for name, said in named.items():
            self.doubtful[name].set(name in self.left_out, f"leave out {said}")

    async def _keep(self) -> None:
        with self.pressed():
            self._show(await self.bench.quick.call(keep_curve, self._asked()))
            self.say_kept(f"Kept as {self.name.file}.", "negative")

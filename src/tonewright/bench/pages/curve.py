"""Curve: readings, response, band and aim; change the aim and see it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.field import Choice, Field
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.curve import CurveView, keep_curve, try_curve
from tonewright.errors import OptionError
from tonewright.files.way import is_readings, may_be_readings
from tonewright.show.commands import FitCommand

_AIMS = {"lightness": "equal steps of lightness", "density": "equal steps of density",
         "reflectance": "equal steps of reflectance"}


class CurvePage(Page):
    """One open page."""

    def build(self) -> None:
        """The two pictures, and what the curve is made from."""
        self.left_out: set[str] = set(self.bench.drafts.get((self.paper, "left_out"), ()))
        self.patch_names: list[str] = []
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The curve"):
                self.response = Chart("Print lightness over ink", on_point=self._leave_out)
                self.result = Tag("div", aria_live="polite")
                self.correction = Chart("The correction: ink over picture lightness")
            with Tag("section", aria_label="What it is made from"):
                self._side()
        self.changed()

    def _side(self) -> None:
        tables = [n for n in self.names("table") if may_be_readings(n)]
        usual = next((n for n in tables if is_readings(self.bench.papers, self.paper, n)), None)
        processes = self.names("process")
        Tag("h2", "Readings")
        self.tables = {name: Choice(name, name == usual, self.changed)
                       for name in tables}
        if not tables:
            Tag("p", "There are no readings yet: read a print of the target first, or copy a table"
                " into the paper's folder.", "hint")
        self.process = Field("Strip", next(iter(processes), ""), on_change=self.changed,
                             choices=choices(processes, "none"),
                             hint="With its strip a curve knows its printing time")
        self.time = Field("The target was printed for", "", on_change=self.changed,
                          hint="Only if that is not the time of the strip: 10 min, 90s, 7:30")
        self.aim = Field("Aim", "lightness", choices=_AIMS, on_change=self.changed,
                         hint="How the picture's tones are spread between black and white")
        self.patches = Tag("div")
        self.name = self.name_field("Keep it as", ".curve.json")
        with Tag("div", classes="buttons"):
            button("Keep this curve", self._keep, "button primary")
        self.refused = refusal({
            self.name: NAMED, self.time: ("target_time_unknown", "time_impossible",
                                          "time_unclear"),
            self.process: ("process_needed",)})
        self.kept = Tag("div", aria_live="polite")

    def _asked(self) -> FitCommand:
        chosen = tuple(self.below(name) for name, box in self.tables.items() if box.value)
        if not chosen:
            raise OptionError("no readings are chosen", "a curve is made from the readings of a"
                              " target", "choose a table, or read a print first")
        return FitCommand(
            readings=chosen, output=self.below(self._file()),
            process=self.below(self.process.value) if self.process.value else None,
            target_time=self.time.value.strip(), aim=self.aim.value,
            leave_out=tuple(sorted(self.left_out)), setup=self.setup())

    async def _leave_out(self, row: int) -> None:
        """A patch is clicked: leave it out, or let it count again."""
        if row < len(self.patch_names):
            self.left_out ^= {self.patch_names[row]}
            await self.redraw()

    async def redraw(self) -> None:
        if not any(box.value for box in self.tables.values()):
            self.response.show(None, "Choose readings: the curve is drawn from them.")
            self.correction.show(None)
            self.result.clear()
            return

        async def draw() -> None:
            self._show(await self.bench.quick.call_newest(try_curve, self._asked()))

        await self.ask(self.refused, draw)

    def _show(self, found: CurveView) -> None:
        self.patch_names = [name for name, *_ in found.patches]
        self.response.show(found.view.chart)
        self.correction.show(found.correction)
        self.show_result(found.view, "black to white")
        self.patches.clear()
        named = [p for p in found.patches if p[4] or not p[3]]
        if named:
            with self.patches:
                Tag("h2", "Doubtful patches")
                for name, ink, lightness, *_ in named:
                    Choice(f"leave out {name} ({ink:.0f} % ink, L* {lightness:.0f})",
                           name in self.left_out, self._toggle(name))

    def _toggle(self, name: str) -> Callable[[], Awaitable[None]]:
        async def toggle() -> None:
            self.left_out ^= {name}
            await self.redraw()

        return toggle

    def _file(self) -> str:
        return f"{self.name.value.strip() or 'curve'}.curve.json"

    async def _keep(self) -> None:
        async def keep() -> None:
            self._show(await self.bench.quick.call(keep_curve, self._asked()))
            self.say_kept(f"Kept as {self._file()}.", "negative")

        await self.ask(self.refused, keep)

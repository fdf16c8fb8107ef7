"""Curve: readings, response, band and aim; change the aim and see it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.field import Choice, Field
from tonewright.bench.parts.result import show_result
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.curve import AskedCurve, CurveView, keep_curve, try_curve
from tonewright.errors import OptionError
from tonewright.files.way import is_readings

_AIMS = {"lightness": "equal steps of lightness", "density": "equal steps of density",
         "reflectance": "equal steps of reflectance"}


class CurvePage(Page):
    """One open page."""

    step = "curve"

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
        self.soon(self._redraw)

    def _side(self) -> None:
        tables = [n for n in self.names("table") if is_readings(self.bench.papers, self.paper, n)]
        processes = self.names("process")
        Tag("h2", "Readings")
        self.tables = {name: Choice(name, name == next(iter(tables), None), self._changed)
                       for name in tables}
        if not tables:
            Tag("p", "There are no readings yet: read a print of the target first, or copy a table"
                " into the paper's folder.", "hint")
        self.process = Field("Strip", next(iter(processes), ""), on_change=self._changed,
                             choices=choices(processes, "none"),
                             hint="With its strip a curve knows its printing time")
        self.time = Field("The target was printed for", "", on_change=self._changed,
                          hint="Only if that is not the time of the strip: 10 min, 90s, 7:30")
        self.aim = Field("Aim", "lightness", choices=_AIMS, on_change=self._changed,
                         hint="How the picture's tones are spread between black and white")
        self.patches = Tag("div")
        self.name = Field("Keep it as", self.free(f"{self.title}.curve.json").removesuffix(
            ".curve.json"))
        with Tag("div", classes="buttons"):
            button("Keep this curve", self._keep, "button primary")
        self.refused = refusal({
            self.name: NAMED, self.time: ("target_time_unknown", "time_impossible",
                                          "time_unclear"),
            self.process: ("process_needed",)})
        self.kept = Tag("div", aria_live="polite")

    def _changed(self) -> None:
        self.soon(self._redraw)

    def _asked(self) -> AskedCurve:
        chosen = tuple(self.below(name) for name, box in self.tables.items() if box.value)
        if not chosen:
            raise OptionError("no readings are chosen", "a curve is made from the readings of a"
                              " target", "choose a table, or read a print first")
        return AskedCurve(chosen, self.below(self.process.value) if self.process.value else None,
                          self.time.value.strip(), self.aim.value, tuple(sorted(self.left_out)),
                          self.setup())

    async def _leave_out(self, row: int) -> None:
        """A patch is clicked: leave it out, or let it count again."""
        if row < len(self.patch_names):
            self.left_out ^= {self.patch_names[row]}
            await self._redraw()

    async def _redraw(self) -> None:
        if not any(box.value for box in self.tables.values()):
            self.response.show(None, "Choose readings: the curve is drawn from them.")
            self.correction.show(None)
            self.result.clear()
            return

        async def draw() -> None:
            self._show(await self.bench.quick.call_newest(
                try_curve, self._asked(), self.below(self._file())))

        await self.ask(self.refused, draw)

    def _show(self, found: CurveView) -> None:
        self.patch_names = [name for name, *_ in found.patches]
        self.response.show(found.view.chart)
        self.correction.show(found.correction)
        self.result.clear()
        with self.result:
            show_result(found.view, "black to white")
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
            await self._redraw()

        return toggle

    def _file(self) -> str:
        return f"{self.name.value.strip() or 'curve'}.curve.json"

    async def _keep(self) -> None:
        async def keep() -> None:
            found = await self.bench.quick.call(keep_curve, self._asked(),
                                                self.below(self._file()))
            self._show(found)
            self.kept.clear()
            with self.kept:
                Tag("p", f"Kept as {self._file()}.")
                link("Go on: Negative", "negative", "button primary")

        await self.ask(self.refused, keep)

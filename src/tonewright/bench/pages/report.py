"""Report and worksheet: one page each, to print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tonewright.bench.pages.page import NAMED, Page, refusal
from tonewright.bench.parts.result import same_command
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.report import report, worksheet
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError
from tonewright.files.contents import checks_of, negatives_of
from tonewright.files.papers import Papers
from tonewright.files.way import WORKSHEET


class ReportPage(Page):
    """One open page."""

    def build(self) -> None:
        """The page as it is, and what stands on it."""
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The page"):
                self.shown = Tag("div")
                with self.shown:
                    Tag("p", "A report is one page to pin up over the bench; a worksheet goes into"
                        " the darkroom.", "chart-empty")
            with Tag("section", aria_label="What stands on it"):
                self._side()

    def _side(self) -> None:
        self.curve = self.curve_field(self._other)
        Tag("h2", "Checks")
        self.checks = self.ticks(lambda: self._of_curve(checks_of), first=True,
                                 none="No print was checked against this curve yet.")
        self.name = self.name_field("Keep it as", ".html")
        with Tag("div", classes="buttons"):
            button("Make the report", self._report, "button primary")
        Tag("h2", "Worksheet")
        Tag("p", "For negatives that were made through this curve:", "hint")
        self.negatives = self.ticks(lambda: self._of_curve(negatives_of),
                                    none="There are none yet.")
        with Tag("div", classes="buttons"):
            button("Make the worksheet", self._worksheet, "button primary")
        self.refused = refusal({self.name: NAMED, self.curve: ("no_curve",)}, self.curve)
        self.kept = Tag("div", aria_live="polite")

    def _other(self) -> None:
        """Another curve: its own checks and negatives."""
        self.checks.clear()
        self.negatives.clear()

    def _of_curve(self, find: Callable[[Papers, str, str], list[str]]) -> list[str]:
        """What there is of the curve that is chosen."""
        return find(self.bench.papers, self.paper, self.curve.value)

    async def _report(self) -> None:
        await self._make(report, self.checks.ticked, "")

    async def _worksheet(self) -> None:
        await self._make(worksheet, self.negatives.ticked, WORKSHEET)

    async def _make(
        self, task: Callable[[Path, tuple[Path, ...], Path], str], others: list[str],
        ending: str,
    ) -> None:
        async def work() -> None:
            if not self.curve.value:
                raise OptionError("there is no curve yet", "the page is about a curve",
                                  "make the curve first", code="no_curve")
            name = self.free(f"{self.name.value.strip() or self.title}{ending}.html")
            command = await self.bench.quick.call(
                task, self.below(self.curve.value), tuple(map(self.below, others)),
                self.below(name))
            where = file_address(self.paper, name)
            with self.shown.anew():
                Tag("iframe", src=where, title=f"The page {name}", classes="page-shown")
            with self.kept.anew():
                with Tag("p"):
                    link(f"Open {name} alone, to print it", where, target="_blank")
                same_command(command)

        await self.pressed(self.refused, work)

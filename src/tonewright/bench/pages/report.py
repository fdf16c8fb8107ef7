"""Report and worksheet: one page each, to print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tonewright.bench.pages.page import NAMED, Page
from tonewright.bench.parts.field import Refusal
from tonewright.bench.parts.result import same_command
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.report import make_page
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError
from tonewright.files.contents import WORKSHEET, checks_of, negatives_of
from tonewright.files.papers import Papers
from tonewright.show import commands


class ReportPage(Page):
    """The page as it is, and what stands on it."""

    parts = "The page", "What stands on it"

    def build(self) -> None:
        self.shown = Tag("div")
        with self.shown:
            Tag("p", "A report is one page to pin up over the bench; a worksheet goes into the"
                " darkroom.", "chart-empty")

    def build_side(self) -> None:
        self.curve = self.file_field("Curve", "curve", on_change=self._other)
        Tag("h2", "Checks")
        self.checks = self.ticks(lambda: self._of_curve(checks_of), first=True,
                                 none="No print was checked against this curve yet.")
        self.name = self.name_field("Keep it as", ".html", self.title)
        with Tag("div", classes="buttons"):
            button("Make the report", self._report, "button primary")
        Tag("h2", "Worksheet")
        Tag("p", "For negatives that were made through this curve:", "hint")
        self.negatives = self.ticks(lambda: self._of_curve(negatives_of),
                                    none="There are none yet.")
        with Tag("div", classes="buttons"):
            button("Make the worksheet", self._worksheet, "button primary")
        self.refused = Refusal({self.name: NAMED, self.curve: ("no_curve",)}, self.curve)

    def _other(self) -> None:
        """Another curve: its own checks and negatives."""
        self.checks.clear()
        self.negatives.clear()

    def _of_curve(self, find: Callable[[Papers, str, str], list[str]]) -> list[str]:
        """What there is of the curve that is chosen."""
        return find(self.papers, self.paper, self.curve.value)

    async def _report(self) -> None:
        await self._make("", lambda curve, output: commands.Report(
            curve=curve, others=tuple(map(self.below, self.checks.ticked)), output=output))

    async def _worksheet(self) -> None:
        await self._make(WORKSHEET, lambda curve, output: commands.Worksheet(
            curve=curve, negatives=tuple(map(self.below, self.negatives.ticked)), output=output))

    async def _make(
        self, ending: str, asked: Callable[[Path, Path], commands.Report | commands.Worksheet]
    ) -> None:
        with self.pressed():
            if not self.curve.value:
                raise OptionError("there is no curve yet", "the page is about a curve",
                                  "make the curve first", code="no_curve")
            name = self.free(f"{self.name.name}{ending}.html")
            command = await self.bench.quick.call(
                make_page, asked(self.below(self.curve.value), self.below(name)))
            where = file_address(self.paper, name)
            with self.shown.anew():
                Tag("iframe", src=where, title=f"The page {name}", classes="page-shown")
            with self.kept.anew():
                with Tag("p"):
                    link(f"Open {name} alone, to print it", where, target="_blank")
                same_command(command)

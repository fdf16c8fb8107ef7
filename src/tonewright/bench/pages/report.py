"""Report and worksheet: one page each, to print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tonewright.bench.pages.page import NAMED, Page, choices, refusal
from tonewright.bench.parts.field import Choice, Field
from tonewright.bench.parts.result import same_command
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.tasks.report import report, worksheet
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError
from tonewright.files.contents import checks_of, negatives_of
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
        curves = self.names("curve")
        self.curve = Field("Curve", next(iter(curves), ""), choices=choices(curves),
                           on_change=self._list)
        self.checked = Tag("div")
        self.name = self.name_field("Keep it as", ".html")
        with Tag("div", classes="buttons"):
            button("Make the report", self._report, "button primary")
        Tag("h2", "Worksheet")
        self.printed = Tag("div")
        with Tag("div", classes="buttons"):
            button("Make the worksheet", self._worksheet, "button primary")
        self.refused = refusal({self.name: NAMED, self.curve: ("no_curve",)}, self.curve)
        self.kept = Tag("div", aria_live="polite")
        self._list()

    def _list(self) -> None:
        """What there is of this curve: its checks, and negatives made through it."""
        of_curve = self.bench.papers, self.paper, self.curve.value
        checks, negatives = checks_of(*of_curve), negatives_of(*of_curve)
        self.checked.clear()
        self.printed.clear()
        with self.checked:
            if checks:
                Tag("h2", "Checks")
            self.checks = {n: Choice(n, n == checks[0]) for n in checks}
        with self.printed:
            Tag("p", "Made through this curve:" if negatives else
                "No negative was made through this curve yet.", "hint")
            self.negatives = {n: Choice(n) for n in negatives}

    async def _report(self) -> None:
        await self._make(report, tuple(n for n, box in self.checks.items() if box.value), "")

    async def _worksheet(self) -> None:
        await self._make(worksheet, tuple(n for n, box in self.negatives.items() if box.value),
                         WORKSHEET)

    async def _make(
        self, task: Callable[[Path, tuple[Path, ...], Path], str], others: tuple[str, ...],
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

        await self.ask(self.refused, work)

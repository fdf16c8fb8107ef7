"""Scanner: calibrated once, from the scan of a gray scale."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tonewright.bench.pages.page import NAMED, Page, WhichScan, Working, more
from tonewright.bench.parts.chart import Chart
from tonewright.bench.parts.corners import ROW_OF_STEPS
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Field, Refusal
from tonewright.bench.parts.grid import DensityGrid
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.scanner import keep_scanner
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError, TonewrightError
from tonewright.show import commands

_FIRST = ("A gray scale is a row of equal steps of known density. Scan it once, with the settings"
          " that your prints are scanned with: what the scanner makes of a density is drawn here.")


@dataclass
class _Draft:
    """What stands on the page."""

    scan: str = ""
    steps: str = "20"
    table: str = ""
    densities: tuple[str, ...] = ()


class ScannerPage(Page):
    """The response as large as it can be, and the gray scale beside it."""

    intro = ("A scan is not density until it is compared with something known. Calibrate your"
             " scanner once; that serves every paper.")
    parts = "What the scanner makes of densities", "The gray scale"

    def build(self) -> None:
        self.row = self.corners(ROW_OF_STEPS, self._calibrate)
        self.chart = Chart("Density over the value in the scan")
        self.chart.show(None, _FIRST)

    def build_side(self) -> None:
        draft: _Draft = self.bench.drafts.setdefault((self.paper, "scanner"), _Draft())
        self.draft = draft
        Drop("Scan of the gray scale: TIFF or PNG, 16-bit gray, automatic corrections off",
             file_address(self.paper), self._arrived, accept=".tif,.tiff,.png")
        self.which = WhichScan(self._take_scan)
        self.scan = self.scan_field(draft.scan, on_change=self._other_scan)
        self.table = self.file_field(
            "Densities of its steps", lambda: self.holding("gray_scale"), "typed below",
            draft.table, on_change=self._show_grid,
            hint="As they are known, in the order of the steps")
        self.typed = Tag("div")
        with self.typed:
            self.steps = Field("Number of steps", draft.steps, on_change=self._rows,
                               hint="12 or more, from paper white to the densest black you print")
            self.grid = DensityGrid(self._numbers(), ("density",), self._take, leaving=False)
            self.grid.set_values([[cell] for cell in draft.densities])
        self.flat = self.flat_field()
        self.date = Field("Date of the scan", date.today().isoformat())
        self.name = self.name_field("Keep it as", ".scanner.json", "scanner", stem="flatbed",
                                    hint="As you call your scanner")
        with more():
            self.channel = self.channel_field()
        with Tag("div", classes="buttons"):
            button("Calibrate the scanner", self._calibrate, "button primary")
            button("Set the corners by hand", self._by_hand)
        self.working = Working(self.bench.long.cancel)
        self.refused = Refusal({self.name: NAMED, self.scan: ("scan_missing",),
                                self.table: ("gray_scale_densities",)})
        self._show_grid()

    def _numbers(self) -> list[str]:
        typed = self.steps.text
        return [str(n) for n in range(1, 1 + min(max(int(typed), 1), 200))] \
            if typed.isdecimal() else list(self.grid.rows)

    def _rows(self) -> None:
        if (rows := self._numbers()) != [*self.grid.rows]:
            self.grid.set_rows(rows)
        self._take()

    def _take(self) -> None:
        draft = self.draft
        draft.scan, draft.table, draft.steps = (
            self.scan.value, self.table.value, self.steps.value)
        draft.densities = tuple(cell.strip() for [cell] in self.grid.values)

    def _show_grid(self) -> None:
        self.typed.set_visibility(not self.table.value)
        self._take()

    def _arrived(self, name: str) -> None:
        if self.scan.value in ("", name):
            self._take_scan(name)
        else:
            self.which.ask(name, self.scan.value)

    def _take_scan(self, name: str, plain: bool = False) -> Field:
        field = self.flat if plain else self.scan
        field.renew(name)
        if not plain:
            self._other_scan()
        return field

    def _other_scan(self) -> None:
        self.row.forget()
        self._take()

    def _asked(self) -> commands.Scanner:
        draft = self.draft
        if not draft.scan:
            raise OptionError("no scan is chosen", "a scanner is calibrated from the scan of a"
                              " gray scale", "drop the scan, or choose it", code="scan_missing")
        table = draft.table or self.free(f"{self.name.name}-gray-scale.csv")
        return commands.Scanner(
            scan=self.below(draft.scan), densities=self.below(table),
            output=self.below(self.name.file), corners=self.row.set, flat=self.chosen(self.flat),
            date=self.date.text, channel=self.channel.value)

    async def _calibrate(self) -> None:
        self._take()
        with self.working.on("Reading"), self.pressed():
            asked = self._asked()
            try:
                view = await self.bench.long.call(
                    keep_scanner, asked, None if self.draft.table else self.draft.densities)
            except TonewrightError as error:
                await self.row.ask_if_lost(error, asked.scan)
                raise
            self.row.forget()
            self.chart.show(view.chart)
            self.show_result(view)
            self.say_kept(f"Kept as {asked.output}.", "read")

    async def _by_hand(self) -> None:
        """The row was not found, or elsewhere."""
        with self.pressed():
            await self.row.ask(self._asked().scan)
            self.row.enter()

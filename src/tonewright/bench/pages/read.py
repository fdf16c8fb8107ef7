"""Read: the scan of a print, its overlay, marks set by hand, patches left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from tonewright.bench.frame import address
from tonewright.bench.pages.page import NAMED, Page, Working, choices, refusal
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Field
from tonewright.bench.parts.scan_view import ScanView, ShownPatch
from tonewright.bench.parts.tags import Tag, button, inline_picture, link
from tonewright.bench.tasks.read import ReadingView, preview, read
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.papers import kind_of
from tonewright.files.preview import Preview
from tonewright.files.way import PRINT, is_chart, stem, target_through
from tonewright.scan.instrument import Order
from tonewright.show.commands import ReadCommand

_ORDERS = {"": "as it says itself", "name": "by name", "rows": "row by row",
           "columns": "column by column"}
MARKS = "mark_corners"
"""Code of the error of a scan whose marks were not found."""


class ReadPage(Page):
    """One open page."""

    def build(self) -> None:
        """The scan as large as it can be, and what it is."""
        self.corners: tuple[float, ...] | None = None
        self.patches: list[ShownPatch] = []
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The scan"):
                self.shown = Tag("div", classes="scan-shown")
                with self.shown:
                    Tag("p", "Drop the scan of the printed target. Every patch that is read will be"
                        " shown here.", "chart-empty")
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="What is read"):
                self._side()

    def _side(self) -> None:
        Drop("Scan (16-bit TIFF or PNG), or an instrument's list", file_address(self.paper),
             self._arrived, accept=".tif,.tiff,.png,.csv,.txt")
        self.source = Field("What to read", "", choices=self._sources(""), on_change=self._anew)
        layouts = self.names("target")
        self.target = Field("Target", next(iter(layouts), ""), choices=choices(layouts),
                            on_change=self._name, hint="The sheet that was printed")
        scanners = self.scanners()
        self.scanner = Field("Scanner", next(iter(scanners), ""), choices={"": "none"} | scanners,
                             hint="For a scan: what its values mean")
        link("Learn it from a gray scale", address(self.paper, "scanner"), "beside")
        self.scale = Field("Gray scale beside the print", "",
                           choices=choices(self.names("table"), "none"),
                           hint="For a scan without scanner: a table of the densities of its steps")
        self.flat = Field("Scan of a plain white sheet", "", choices=self._images("none"),
                          hint="Scanned at the same place; takes out uneven light")
        self.white = Field("Density of the bare paper, if known", hint="For a scan without scanner")
        self.black = Field("Density of the blackest patch, if known")
        self.order = Field("Order of a list", "", choices=_ORDERS,
                           hint="For an instrument's list whose patches have no names")
        self.name = Field("Keep the readings as", "")
        self._name()
        with Tag("div", classes="buttons"):
            button("Read it", self._read, "button primary")
        self.working = Working(self.bench.long.cancel)
        self.refused = refusal({
            self.name: NAMED, self.target: ("no_print_readings",),
            self.scanner: ("scanner_unknown", "scan_taken_otherwise", "response_twice"),
            self.order: ("list_in_order", "list_by_name", "list_rows")})
        self.kept = Tag("div", aria_live="polite")

    def _sources(self, chosen: str) -> dict[str, str]:
        return self._images("choose", [n for n in self.names("table") if n == chosen])

    def _images(self, without: str, also: Sequence[str] = ()) -> dict[str, str]:
        return choices([*self.scans(), *also], without)

    def _arrived(self, name: str) -> None:
        self.source.set_choices(self._sources(name), name)
        self.scale.set_choices(choices(self.names("table"), "none"), self.scale.value)
        self.flat.set_choices(self._images("none"), self.flat.value)
        self._anew()

    def _anew(self) -> None:
        """Another scan: its marks are looked for."""
        self.corners = None

    def _name(self) -> None:
        """A print made through a curve is a print to check; any other is read for a curve."""
        try:
            through = target_through(self.bench.papers, self.paper, self.target.value)
        except TonewrightError:
            through = None
        ending = PRINT if through else "-readings"
        self.name.set(self.free(f"{stem(self.target.value) or self.title}{ending}.csv")[:-4])

    def _asked(self) -> ReadCommand:
        if not self.source.value or not self.target.value:
            raise OptionError("there is nothing to read yet" if self.target.value else
                              "no target is chosen", "a print is read with the layout of its"
                              " target", "drop the scan, and choose the target that was printed")
        name = self.name.value.strip() or "readings"
        scan = kind_of(self.source.value) == "image"
        known = tuple((patch, _density(field)) for patch, field in (
            ("white", self.white), ("black", self.black)) if field.value.strip())
        return ReadCommand(
            source=self.below(self.source.value), target=self.below(self.target.value),
            output=self.below(f"{name}.csv"), known=known, corners=self.corners,
            scanner=self.of_any_paper(self.scanner.value) if scan else None,
            densities=self._for_scan(self.scale), flat=self._for_scan(self.flat),
            overlay=self.below(f"{name}-overlay.png") if scan else None,
            order=None if scan else cast("Order | None", self.order.value or None))

    def _for_scan(self, field: Field) -> Path | None:
        """A file that only a scan is read with; a list needs none."""
        scan = kind_of(self.source.value) == "image"
        return self.below(field.value) if scan and field.value else None

    async def _read(self) -> None:
        async def work() -> None:
            asked = self._asked()
            try:
                self._show(asked, await self.bench.long.call(read, asked))
            except TonewrightError as error:
                if error.code == MARKS and asked.overlay is not None:
                    await self._by_hand(asked.source)
                raise

        self.working.begin("Reading")
        await self.ask(self.refused, work)
        self.working.end()

    async def _by_hand(self, source: Path) -> None:
        """The marks were not found: they are set by clicks."""
        scan: Preview = await self.bench.long.call(preview, source)
        self.shown.clear()
        with self.shown:
            ScanView(inline_picture(scan.png), (scan.width, scan.height),
                     "The scan: set its four marks", on_marks=self._marked)
            self.again = button("Read it with these marks", self._read, "button primary")
            self.again.set_visibility(False)

    def _marked(self, marks: list[tuple[float, float]]) -> None:
        self.corners = tuple(round(v, 1) for mark in marks for v in mark) \
            if len(marks) == 4 else None
        self.again.set_visibility(self.corners is not None)

    def _show(self, asked: ReadCommand, found: ReadingView) -> None:
        self.shown.clear()
        draft = self.bench.drafts.setdefault((self.paper, "left_out"), set())
        self.patches = [ShownPatch(p.name, p.corners, p.said, p.doubtful, p.name in draft)
                        for p in found.patches]
        with self.shown:
            if asked.overlay is not None:
                size = self.bench.papers.picture_size(asked.overlay)
                self.overlay = ScanView(file_address(self.paper, asked.overlay.name), size,
                                        "What was read; choose a patch to leave it out",
                                        patches=self.patches, on_patch=self._leave_out)
        self.show_result(found.view)
        to_check = asked.output.stem.endswith(PRINT)
        chart = is_chart(asked.target.name)
        self.say_kept(f"Kept as {asked.output}.", "check" if to_check else
                      "inks" if chart else "curve",
                      "" if to_check or chart or asked.overlay is None else
                      "Click a spoilt patch in the scan, and the curve is made without it.")

    def _leave_out(self, name: str) -> Any:
        """A patch is clicked: the curve is made without it, or with it again."""
        draft = self.bench.drafts.setdefault((self.paper, "left_out"), set())
        draft ^= {name}
        self.patches = [replace(p, out=p.name in draft) for p in self.patches]
        self.overlay.show_patches(self.patches)


def _density(field: Field) -> float:
    try:
        return float(field.value.strip().replace(",", "."))
    except ValueError:
        raise OptionError(f"{field.value.strip()} is typed for a density", "it is a number such as"
                          " 1.42", "type it with a decimal point or comma") from None

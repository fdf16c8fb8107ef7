"""Read: the scan of a print, its overlay, marks set by hand, patches left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from tonewright.bench.pages.page import NAMED, Page, WhichScan, Working, more, number
from tonewright.bench.parts.corners import GRAY_SCALE, SHEET
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Choice, Field, Refusal
from tonewright.bench.parts.scan_view import ScanView
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.read import ReadingView, ReadPatch, keep_list, read
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.contents import PRINT, charts, stem
from tonewright.files.papers import kind_of
from tonewright.files.targets import read_target
from tonewright.scan.instrument import Order
from tonewright.show import commands

_ORDERS = {"": "as the list says", "name": "by name", "rows": "row by row",
           "columns": "column by column"}
_IN_ORDER = ("list_in_order", "list_by_name", "list_names_and_order", *(
    f"list_{order}{snake}{reverse}" for order in ("rows", "columns") for snake in ("", "_snake")
    for reverse in ("", "_reverse")))
_TURNED = "gray_scale_turned"


class ReadPage(Page):
    """The scan as large as it can be, and what it is."""

    parts = "The scan", "What is read"

    def build(self) -> None:
        self.patches: list[ReadPatch] = []
        self.shown = Tag("div", classes="scan-shown")
        self.marks = self.corners(SHEET, self._read, self.shown)
        self.scale_corners = self.corners(GRAY_SCALE, self._read, self.shown)
        with self.shown:
            Tag("p", "Scan the dry print of the target, all automatic corrections off, with a gray"
                " scale of known densities beside it, and drop the scan. Every patch that is read"
                " will be shown here.", "chart-empty")

    def build_side(self) -> None:
        Drop("Scan (16-bit TIFF or PNG), or an instrument's list", file_address(self.paper),
             self._arrived, accept=".tif,.tiff,.png,.csv,.txt,.json")
        self.taken = Tag("p", "The scan of a plain white sheet, the densities of a gray scale, and"
                         " the .target.json of a target drawn elsewhere can be dropped here too.",
                         "hint", aria_live="polite")
        self.which = WhichScan(lambda name, plain: self._take(
            name, self.flat if plain else self.source))
        with Tag("details"):
            Tag("summary", "Or paste an instrument's list")
            self.pasted = Field("The list, as text", lines=True, hint="A line for each patch. It"
                                " becomes a table in the paper's folder.")
            button("Keep this list, and read it", self._paste)
        self.lists: list[str] = []
        self.source = self.file_field("What to read", self._sources, "choose", "",
                                      on_change=self._anew)
        self.target = self.file_field("Target", "target", "choose", on_change=self._other_target,
                                      hint="The sheet that was printed")
        with Tag("div") as self.of_scans:
            self._for_scans()
        with Tag("div") as self.of_lists:
            self._for_lists()
        self.of_lists.set_visibility(False)
        self.name = self.name_field("Keep the readings as", ".csv", "readings")
        self._name()
        with Tag("div", classes="buttons"):
            button("Read it", self._read, "button primary")
        self.working = Working(self.bench.long.cancel)
        self.refused = Refusal({
            self.name: NAMED, self.target: ("no_target", "target_made_from"),
            self.source: ("no_source", "scan_lossy", "scan_unread", *SHEET.lost),
            self.pasted: ("list_pasted",),
            self.scanner: ("scanner_unknown", "scan_taken_otherwise", "response_twice",
                           "scanner_made_from"),
            self.scale: (*GRAY_SCALE.lost, _TURNED, "gray_scale_densities"),
            self.white: ("known_patches", "density_white"), self.black: ("density_black",),
            self.order: _IN_ORDER}, self.target)

    def _for_scans(self) -> None:
        """What says how dense the values of a scan are."""
        self.scanner = self.scanner_field(hint="Turns the values of the scan into densities")
        self.scale = self.file_field(
            "Gray scale beside the print", lambda: self.holding("gray_scale"), "none", "",
            hint="If one was scanned with the print: the table of its densities")
        self.flat = self.flat_field(with_it="in the same place")
        self.white = Field("Density of the bare paper, if known",
                           hint="With neither scanner nor gray scale, give this and the next")
        self.black = Field("Density of the blackest patch, if known")
        with more():
            self.channel = self.channel_field()

    def _for_lists(self) -> None:
        """What says which patch is which."""
        self.order = Field("Order of the list", "", choices=_ORDERS,
                           hint="For a list whose patches have no names")
        self.snake = Choice("Every second row or column runs backwards")
        self.reverse = Choice("The list begins at the last patch")

    def _sources(self) -> list[str]:
        """Scans, and lists: those that are still to be read, and whatever was dropped."""
        unread = self.holding("list")
        return [*self.scans(),
                *(n for n in self.names("table") if n in unread or n in self.lists)]

    def _arrived(self, name: str) -> None:
        """A file has come: it goes to the field that it is for."""
        source, scales = self.source.value, self.holding("gray_scale")
        match kind_of(name):
            case "target":
                self._take(name, self.target)
            case "table" if kind_of(source) == "image" and name in scales:
                self._take(name, self.scale)
            case "image" if source in scales:  # which came before its scan
                self._take(source, self.scale)
                self._take(name, self.source)
            case "image" if kind_of(source) == "image" and source != name:
                self.which.ask(name, source)
            case "table" | "image":
                self._take(name, self.source)
            case _:
                self.taken.say(f"{name} is in the paper's folder now, but cannot be used here.")

    def _take(self, name: str, field: Field) -> Field:
        """A file that has come is chosen in a field, and that is said."""
        if kind_of(name) == "table":
            self.lists.append(name)
            self.source.renew()
        field.renew(name)
        self.taken.say(f"{name} was chosen below, under {field.label}.")
        if field is self.scale:
            self.scanner.renew("")  # one of them tells the densities
        if field is self.target:
            self._other_target()
        elif field is self.flat:
            self.refused.clear()
        else:
            self._anew()
        return field

    def _other_target(self) -> None:
        self.refused.clear()
        self._name()

    def _anew(self) -> None:
        """Another scan: what was set by hand in the other does not hold."""
        self.refused.clear()
        self.marks.forget()
        self.scale_corners.forget()
        is_list = kind_of(self.source.value) == "table"
        self.of_scans.set_visibility(not is_list)
        self.of_lists.set_visibility(is_list)
        if self.name.value and self.free(f"{self.name.value}.csv") != f"{self.name.value}.csv":
            self._name()

    async def _paste(self) -> None:
        with self.pressed(otherwise=self.pasted):
            name = self.free(f"{self.title}-list.csv")
            asked = self._asked(name)
            await self.bench.quick.call(keep_list, self.pasted.value, asked)
            self.pasted.set("")
            self._take(name, self.source)
            await self._read()

    def _name(self) -> None:
        """A print made through a curve is a print to check; any other is read for a curve."""
        try:
            layout = self.papers.inside(self.paper, self.target.value)
            through = read_target(layout).through
        except TonewrightError:
            through = None
        ending = PRINT if through else "-readings"
        self.name.set(self.free(f"{stem(self.target.value) or self.title}{ending}.csv")[:-4])

    def _asked(self, source: str = "") -> commands.Read:
        """What is asked for; ``source`` stands for the file that is chosen."""
        source = source or self.source.value
        if not self.target.value:
            raise OptionError("no target is chosen", "a print is read with the layout of its"
                              " target", "choose the target that was printed", code="no_target")
        if not source:
            raise OptionError("there is nothing to read yet", "a print is read from its scan, or"
                              " from an instrument's list", "drop one, or choose one that is in"
                              " the folder", code="no_source")
        scan = kind_of(source) == "image"
        known = tuple(
            (patch, density) for patch, field in (("white", self.white), ("black", self.black))
            if scan and (density := number(
                field, "a density", f"density_{patch}", "it is a number such as 1.42",
                "type it with a decimal point or comma")) is not None)
        return commands.Read(
            source=self.below(source), target=self.below(self.target.value),
            output=self.below(self.name.file), known=known, corners=self.marks.set,
            scanner=self.of_any_paper(self.scanner.value) if scan else None,
            densities=self.chosen(self.scale) if scan else None,
            flat=self.chosen(self.flat) if scan else None,
            channel=self.channel.value if scan else "",
            gray_scale_corners=self.scale_corners.set if scan else None,
            overlay=self.below(f"{self.name.name}-overlay.png") if scan else None,
            order=None if scan else cast("Order | None", self.order.value or None),
            snake=self.snake.value and not scan, reverse=self.reverse.value and not scan)

    async def _read(self) -> None:
        with self.working.on("Reading"), self.pressed(otherwise=self.source):
            asked = self._asked()
            try:
                self._show(asked, await self.bench.long.call(read, asked))
            except TonewrightError as error:
                if asked.overlay is not None:
                    await self._by_hand(asked.source, error)
                raise

    async def _by_hand(self, source: Path, error: TonewrightError) -> None:
        """What was not found is set by clicks; a gray scale that was read from the wrong end is
        read from the other."""
        await self.marks.ask_if_lost(error, source)
        await self.scale_corners.ask_if_lost(error, source)
        if error.code == _TURNED:
            self.scale_corners.take(tuple(map(float, str(error.values["corners"]).split(","))),
                                    "Read the gray scale from its other end")

    def _show(self, asked: commands.Read, found: ReadingView) -> None:
        self.shown.clear()
        self.readings = asked.output.name
        out = self.bench.left_out(self.paper, self.readings)
        self.patches = [replace(p, out=p.name in out) for p in found.patches]
        to_check = asked.output.stem.endswith(PRINT)
        of_inks = asked.target.name in charts(self.papers, self.paper)
        with self.shown:
            if asked.overlay is not None:
                Tag("p", "Orange patches are doubtful; what is hatched was not read." + (
                    "" if to_check or of_inks else
                    " Click a spoilt patch to leave it out of the curve."), "hint")
                size = self.papers.picture_size(asked.overlay)
                self.overlay = ScanView(file_address(self.paper, asked.overlay.name), size,
                                        "What was read; choose a patch to leave it out",
                                        on_patch=self._leave_out)
                self.overlay.show_patches(self.patches)
        self.show_result(found.view)
        self.say_kept(f"Kept as {asked.output}.",
                      "check" if to_check else "inks" if of_inks else "curve")

    def _leave_out(self, name: str) -> Any:
        """A patch is clicked: the curve is made without it, or with it again."""
        out = self.bench.left_out(self.paper, self.readings)
        out ^= {name}
        self.patches = [replace(p, out=p.name in out) for p in self.patches]
        self.overlay.show_patches(self.patches)

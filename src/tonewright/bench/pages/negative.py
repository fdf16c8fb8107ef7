"""Negative: drop pictures, see the sheet and the print to come, make the negatives."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from nicegui import ui

from tonewright.bench.pages.page import Page, Working, choices, refusal
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Choice, Field
from tonewright.bench.parts.result import show_result
from tonewright.bench.parts.tags import Tag, button, inline_picture, link
from tonewright.bench.tasks.negative import MadeNegatives, make, proof, sheet
from tonewright.bench.transfer import file_address
from tonewright.errors import OptionError
from tonewright.files.preview import Preview
from tonewright.files.way import NEGATIVE, stem
from tonewright.show.commands import NegativeCommand


class NegativePage(Page):
    """One open page."""

    def build(self) -> None:
        """The sheet and the proof side by side, and what is chosen."""
        with Tag("div", classes="plot-and-side"):
            with Tag("section", aria_label="The sheet and the print"):
                with Tag("div", classes="side-by-side"):
                    self.sheet = Tag("figure")
                    self.proof = Tag("figure")
                self.result = Tag("div", aria_live="polite")
            with Tag("section", aria_label="What is made"):
                self._side()
        self._wait()

    def _wait(self) -> None:
        with self.sheet:
            Tag("p", "Drop a finished picture, or choose one that is in the folder.", "chart-empty")

    def _side(self) -> None:
        Drop("Pictures: TIFF, PNG or JPEG", file_address(self.paper), self._arrived,
             accept=".tif,.tiff,.png,.jpg,.jpeg", multiple=True)
        self.pictures = Tag("div")
        self.boxes: dict[str, Choice] = {}
        self._list(set())
        curves = self.names("curve")
        self.curve = Field("Curve", next(iter(curves), ""), choices=choices(curves),
                           on_change=self.changed)
        self.width = Field("Width on the film", on_change=self.changed,
                           hint="200mm or 8in; blank: as the picture has it")
        self.ppi = Field("Pixels to the inch", on_change=self.changed,
                         hint="The printer's own; blank: as the picture has it")
        self.margin = Field("Margin", on_change=self.changed, hint="15mm; for what stands in it")
        self.marks = Choice("Marks in the margin", on_change=self.changed)
        self.scale = Choice("Tone scale beside the picture, to check the print by",
                            on_change=self.changed)
        self.caption = Choice("Caption", on_change=self.changed)
        with Tag("div", classes="buttons"):
            button("Make the negatives", self._make, "button primary")
        self.working = Working(self.bench.long.cancel)
        self.refused = refusal({
            self.width: ("picture_size_unknown", "sheet_size"),
            self.ppi: ("pixels_not_square", "impossible_resolution"),
            self.margin: ("margin_too_narrow", "no_room_for_tone_scale"),
            self.curve: ("no_curve",)})
        self.kept = Tag("div", aria_live="polite")

    def _list(self, chosen: set[str]) -> None:
        """The pictures of the folder, those that are to be made ticked."""
        own = {stem(name) for name in self.names("target")}
        names = [n for n in self.names("image") if "/" not in n and stem(n) not in own
                 and not stem(n).endswith((NEGATIVE, "-overlay", "-proof"))]
        self.pictures.clear()
        with self.pictures:
            self.boxes = {name: Choice(name, name in chosen, self.changed) for name in names}

    def _arrived(self, name: str) -> None:
        self._list({name} | {n for n, box in self.boxes.items() if box.value})
        self.changed()

    def _asked(self) -> NegativeCommand:
        names = [name for name, box in self.boxes.items() if box.value]
        if not self.curve.value:
            raise OptionError("there is no curve yet", "a negative is made through a curve",
                              "make the curve first", code="no_curve")
        if not names:
            raise OptionError("no picture is chosen", "a negative is made of a picture",
                              "drop one, or tick one that is in the folder")
        folder = self.below(names[0]).parent
        output = folder / self.free(f"{stem(names[0])}{NEGATIVE}.tif") if len(names) == 1 \
            else folder / "negatives"
        return NegativeCommand(
            images=tuple(map(self.below, names)), curve=self.below(self.curve.value),
            output=output, width=self.width.value.strip(), ppi=self.ppi.value.strip(),
            margin=self.margin.value.strip(), marks=self.marks.value,
            tone_scale=self.scale.value, caption=self.caption.value)

    async def redraw(self) -> None:
        """The proof first: it is what the printer waits for."""
        if not any(box.value for box in self.boxes.values()):
            return
        quick = self.bench.quick

        async def draw() -> None:
            asked = self._asked()
            seen = await quick.call_newest(proof, asked.images[0], asked.curve)
            _picture(self.proof, seen, "The print to come, in its own black and white")
            shown = await quick.call_newest(sheet, asked)
            _picture(self.sheet, shown, "The sheet of film, mirrored as it is printed")

        await self.ask(self.refused, draw)

    async def _make(self) -> None:
        client = ui.context.client

        def tell(done: int, total: int) -> None:
            with client:
                self.working.show(done, total)

        async def work() -> None:
            asked = self._asked()
            self.working.begin("Making the negatives")
            self._show(asked, await self.bench.long.call(make, asked, progress=tell))

        await self.ask(self.refused, work, self._stopped)
        self.working.end()

    def _stopped(self) -> None:
        self.kept.clear()
        with self.kept:
            Tag("p", "Stopped. What was finished before is kept.")

    def _show(self, asked: NegativeCommand, made: MadeNegatives) -> None:
        self.kept.clear()
        with self.kept:
            where = asked.output.parent if len(asked.images) == 1 else asked.output
            for name, _ in made.views:
                with Tag("p"):
                    link(f"Download {name}", file_address(self.paper, self._named(where, name)),
                         download="")
            for name, why in made.failures:
                Tag("p", f"{name}: {why}", "field-error")
        self.result.clear()
        with self.result:
            for number, (name, view) in enumerate(made.views):
                Tag("h2", name)
                show_result(view if number == 0 else replace(view, cautions=(), command=None))

    def _named(self, where: Path, name: str) -> str:
        papers = self.bench.papers
        return (papers.root / where / name).relative_to(papers.folder(self.paper)).as_posix()


def _picture(figure: Tag, seen: Preview | None, said: str) -> None:
    figure.clear()
    with figure:
        if seen is not None:
            Tag("img", src=inline_picture(seen.png), alt=said)
        Tag("figcaption", said)

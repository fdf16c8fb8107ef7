"""Negative: drop pictures, see the sheet and the print to come, make the negatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from nicegui import ui

from tonewright.bench.pages.page import Page, Working, more
from tonewright.bench.parts.drop import Drop
from tonewright.bench.parts.field import Choice, Fault, Field, Refusal
from tonewright.bench.parts.result import same_command, show_result
from tonewright.bench.parts.tags import Tag, button, inline_picture, link
from tonewright.bench.tasks.negative import IN_ALL, MadeNegatives, make, proof, sheet
from tonewright.bench.transfer import file_address
from tonewright.bench.worker import Cancelled, Overtaken
from tonewright.errors import OptionError, capital, counted
from tonewright.files.contents import NEGATIVE, pictures, stem
from tonewright.files.negative.batch import AT_ONCE, output_names
from tonewright.files.preview import Preview
from tonewright.negative.sheet import DEFAULT_MARGIN_MM
from tonewright.show import commands

_ENCODINGS = {"": "as its profile says; without one, the usual", "gamma:2.2": "gamma 2.2",
              "srgb": "sRGB", "linear": "linear: light", "lightness": "lightness, L*"}
_TURNS = {"": "not at all", "90": "90°", "180": "180°", "270": "270°"}
_DEPTHS = {"": "16", "8": "8, dithered"}
_BORDERS = {"": "black: clear film", "opaque": "paper white: the heaviest ink"}


class NegativePage(Page):
    """The sheet and the proof side by side, and what is chosen."""

    parts = "The sheet and the print", "What is made"

    def build(self) -> None:
        self.proofed: tuple[object, ...] = ()
        self.turn = 0
        with Tag("div", classes="side-by-side"):
            self.sheet = Tag("figure")
            self.proof = Tag("figure")
        with self.sheet:
            Tag("p", "Drop a finished picture, or choose one that is in the folder.", "chart-empty")

    def build_side(self) -> None:
        Drop("Pictures: TIFF, PNG or JPEG", file_address(self.paper), self._arrived,
             accept=".tif,.tiff,.png,.jpg,.jpeg", multiple=True)
        self.pictures = self.ticks(lambda: pictures(self.papers, self.paper),
                                   on_change=lambda _: self.changed())
        self.unusable = Fault()
        self.curve = self.file_field("Curve", "curve")
        self.width = Field("Width on the film", on_change=self.changed,
                           hint="200mm or 8in; leave blank for the picture's own")
        self.ppi = Field("Pixels to the inch", on_change=self.changed,
                         hint="As your printer prints; leave blank for the picture's own")
        self.scale = Choice("Tone scale beside the picture", True, self.changed,
                            hint="To be measured on the print. Without it, the print cannot be"
                            " checked.")
        self.marks = Choice("Marks for coating and alignment", on_change=self.changed)
        self.caption = Choice("Caption", on_change=self.changed,
                              hint="Picture, curve, date, size and printing time")
        self.margin = Field("Width of the border", on_change=self.changed,
                            hint=f"{DEFAULT_MARGIN_MM:g}mm, or 0mm for none; leave blank for just"
                            " enough")
        self.border = Field("The border prints", "", choices=_BORDERS, on_change=self.changed)
        self.film = Field("Lay all negatives on one film", on_change=self.changed,
                          hint="a4, 8x10, 210x297mm, or the width of a roll, 610mm; leave blank"
                          " for a file each")
        with more():
            self._build_more()
        with Tag("div", classes="buttons"):
            button("Make the negatives", self._make, "button primary")
        self.working = Working(self.bench.long.cancel)
        self.refused = Refusal({
            self.encoding: ("image_encoding",), self.flatten: ("image_transparent",),
            self.width: ("picture_size_unknown", "sheet_size", "negative_width"),
            self.height: ("picture_shape", "negative_height"),
            self.ppi: ("pixels_not_square", "impossible_resolution", "negative_resolution",
                       "too_many_pixels", "film_resolution"),
            self.scale: ("no_room_for_tone_scale",),
            self.margin: ("margin_too_narrow", "margin_impossible", "negative_margin"),
            self.film: ("negative_film", "film_too_small"),
            self.curve: ("no_curve",)}, self.curve, here=self.unusable)
        self.lines = _Lines()

    def _build_more(self) -> None:
        self.height = Field("Height on the film", on_change=self.changed,
                            hint="Of the picture, instead of its width")
        self.encoding = Field("What the picture's values mean", "", choices=_ENCODINGS,
                              on_change=self.changed)
        self.flatten = Choice("Lay transparent parts on white", on_change=self.changed)
        self.rotate = Field("Turn the picture clockwise", "", choices=_TURNS,
                            on_change=self.changed)
        self.depth = Field("Bits of a value", "", choices=_DEPTHS, on_change=self.changed,
                           hint="8 for a printer's program that takes no more")
        self.straight = Choice("Do not mirror", on_change=self.changed,
                               hint="For printing through the back of the film")

    def _arrived(self, name: str) -> None:
        self.pictures.tick(name)
        self.changed()

    def _asked(self) -> commands.Negative:
        names = self.pictures.ticked
        if not self.curve.value:
            raise OptionError("there is no curve yet", "a negative is made through a curve",
                              "make the curve first", code="no_curve")
        if not names:
            raise OptionError("no picture is chosen", "a negative is made of a picture",
                              "drop one, or tick one that is in the folder", code="no_picture")
        return commands.Negative(
            images=tuple(map(self.below, names)), curve=self.below(self.curve.value),
            output=self.below(self._output(names)), width=self.width.text, height=self.height.text,
            rotate=self.rotate.value, depth=self.depth.value, no_mirror=self.straight.value,
            encoding=self.encoding.value, flatten=self.flatten.value, ppi=self.ppi.text,
            film=self.film.text, margin=self.margin.text, border=self.border.value,
            marks=self.marks.value, tone_scale=self.scale.value, caption=self.caption.value)

    def _output(self, names: list[str]) -> str:
        """Nothing is ever written over; what a batch that was stopped left out goes beside the
        rest."""
        if self.film.text:
            return self.free("film")
        if len(names) == 1:
            return self.free(f"{stem(names[0])}{NEGATIVE}.tif")
        made = _made([Path(name) for name in names], self.papers.inside(self.paper, "negatives"))
        return self.free("negatives") if made else "negatives"

    async def redraw(self) -> None:
        """The proof first: it is what the printer waits for."""
        self.turn += 1
        mine = self.turn
        with self.asked(self.refused):
            if not self.pictures.ticked:
                return
            asked = self._asked()
            of = asked.images[0], asked.curve, asked.encoding, asked.flatten
            if self.proofed != of:
                seen = await self.bench.quick.call_newest(self, proof, asked)
                _picture(self.proof, seen, "What the print will look like")
                self.proofed = of
            if mine != self.turn:  # its sheet would overtake what was asked for since
                raise Overtaken
            shown = await self.find(sheet, asked)
            _picture(self.sheet, shown, "The sheet of film, "
                     f"{'not ' if asked.no_mirror else ''}mirrored, as it is printed")

    async def _make(self) -> None:
        client = ui.context.client
        with self.pressed():
            asked = self._asked()

            def tell(done: int, total: int) -> None:
                with client:
                    self.working.show(done, total)
                    self.lines.working(0 if asked.film else done // IN_ALL)

            self.lines.begin([image.name for image in asked.images], together=bool(asked.film))
            try:
                with self.working.on("Making the negatives"):
                    self._show(await self.bench.long.call(make, asked, progress=tell))
            except Cancelled:
                self._stopped(asked)
            finally:
                self.lines.end()

    def _stopped(self, asked: commands.Negative) -> None:
        """What was finished stays, and need not be made again."""
        root, many = self.papers.root, len(asked.images) > 1 and not asked.film
        done = _made(asked.images, root / asked.output) if many else {}
        for image, made in done.items():
            self._done(image.name, made.relative_to(root))
            self.pictures.boxes[self._named(image)].set(False)
        kept = f"{counted(len(done), 'negative')} of {len(asked.images)} had been finished"
        with self.kept.anew():
            Tag("p", f"Stopped. {kept}, and {'is' if len(done) == 1 else 'are'} kept in"
                f" {asked.output}." if done else "Stopped. Nothing had been finished, and nothing"
                " is kept.")

    def _show(self, made: MadeNegatives) -> None:
        with self.result.anew():
            if made.how_to_print:
                Tag("h2", "How to print")
                Tag("p", capital(made.how_to_print))
            for number, (name, view) in enumerate(made.views):
                Tag("h2", name)
                show_result(view if number == 0 else replace(view, exposes=False))
            same_command(made.command)
        for name, output in made.files:
            self._done(name, output)
        for name, why in made.failures:
            self.lines.set(name, why, failed=True)
        self.kept.clear()
        if made.files:
            self.say_kept(f"Kept in {made.files[0][1].parent}.", "check")

    def _done(self, name: str, output: Path) -> None:
        address = file_address(self.paper, self._named(output))
        self.lines.set(name, f"Download {output.name}", address=address)

    def _named(self, path: Path) -> str:
        """A file below the bench's folder, as the paper has it."""
        return (self.papers.root / path).relative_to(self.papers.folder(self.paper)).as_posix()


class _Lines:
    """A line for each picture: how far it is, or what became of it."""

    def __init__(self) -> None:
        self._list = Tag("ul", classes="lines")
        self._said: dict[str, Tag] = {}
        self._open: list[str] = []
        self._together = False

    def begin(self, names: list[str], *, together: bool) -> None:
        """All are to be made; ``together``: into one file."""
        self._open, self._together = names, together
        with self._list.anew():
            self._said = {}
            for name in names:
                with Tag("li"):
                    Tag("span", name)
                    self._said[name] = Tag("span")
        self.working(0)

    def working(self, finished: int) -> None:
        """So many are finished; they are made in their order."""
        for number, name in enumerate(self._open):
            at_work = self._together or number < finished + AT_ONCE
            self._said[name].say("done" if number < finished else
                                 "working" if at_work else "waiting")

    def set(self, name: str, said: str, *, failed: bool = False, address: str = "") -> None:
        """What became of a picture."""
        line = self._said[name]
        self._open = [other for other in self._open if other != name]
        line.say("" if address else said)
        line.classes(add="field-error" if failed else "")
        if address:
            with line:
                link(said, address, download="")

    def end(self) -> None:
        """Nothing is worked on any more."""
        for name in self._open:
            self._said[name].say("not made")


def _made(images: Sequence[Path], folder: Path) -> dict[Path, Path]:
    """The negatives of images that are in the folder for them."""
    if not folder.is_dir():
        return {}
    return {image: made for image, made in output_names(images, folder) if made.is_file()}


def _picture(figure: Tag, seen: Preview | None, said: str) -> None:
    with figure.anew():
        if seen is not None:
            Tag("img", src=inline_picture(seen.png), alt=said)
        Tag("figcaption", said)

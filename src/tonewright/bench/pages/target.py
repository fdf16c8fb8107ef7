"""Target: choose it, see it at its real size, keep it, and print it."""

from __future__ import annotations

from pathlib import Path

from tonewright.bench.frame import address
from tonewright.bench.pages.page import NAMED, Page, more
from tonewright.bench.parts.field import Choice, Field, Refusal
from tonewright.bench.parts.tags import Tag, button, inline_picture, link
from tonewright.bench.tasks.target import keep_target, try_target
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.documents import parse_setup
from tonewright.files.papers import SETUP
from tonewright.show import commands
from tonewright.target.layout import DEFAULT_PAPER, PAPERS, USUAL_LEVELS


class TargetPage(Page):
    """The picture of the sheet, and what it holds."""

    intro = ("The target is printed on film as a negative, and then on your paper. Its patches show"
             " what each amount of ink does there.")
    parts = "The target", "What it holds"

    def build(self) -> None:
        self.sheet = Tag("div", classes="sheet-shown")

    def build_side(self) -> None:
        self.levels = Field("Ink levels", str(USUAL_LEVELS), on_change=self.changed,
                            hint=f"{USUAL_LEVELS} are enough for a first curve, 51 for a more"
                            " certain one")
        self.paper_size = Field("Film sheet", DEFAULT_PAPER, on_change=self.changed,
                                choices={name: name.capitalize() for name in PAPERS})
        self.landscape = Choice("Lay the sheet on its side", on_change=self.changed)
        self.through = self.file_field(
            "Through a curve", "curve", "none: plain ink levels", "",
            hint="Choose a curve to check or to refine it")
        self.colour = Field("Colour of the ink", self._colour(), on_change=self.changed,
                            hint="Red, green and blue of the heaviest ink, as 255,120,0; blank for"
                            " black")
        link("Compare colours of ink", address(self.paper, "inks"), "beside")
        self.name = self.name_field("Keep it as", ".target.json", "target",
                                    on_change=self.changed)
        with more():
            self.straight = Choice("Do not mirror", on_change=self.changed,
                                   hint="For printing through the back of the film")
        with Tag("div", classes="buttons"):
            button("Keep this target", self._keep, "button primary")
        self.refused = Refusal({
            self.name: NAMED, self.levels: ("target_levels", "rows"),
            self.colour: ("ink_colour_differs", "ink_colour_unclear"),
            self.paper_size: ("target_too_large", "patch_size")}, self.through)

    def _colour(self) -> str:
        """What the paper's setup says; blank for black, and where it cannot be read."""
        try:
            setup = self.papers.setup_bytes(self.paper)
            return "" if setup is None else parse_setup(setup, SETUP).ink_colour or ""
        except TonewrightError:  # said on the page of the setup
            return ""

    def _asked(self) -> commands.Target:
        levels = self.levels.text
        if not levels.isdecimal():
            raise OptionError(f"{levels or 'nothing'} is typed for the ink levels",
                              "it must be a whole number", "type 21, or another number",
                              code="target_levels")
        name = self.name.name
        return commands.Target(
            output=self.below(f"{name}.tif"), name=name, levels=int(levels),
            paper_size=self.paper_size.value, landscape=self.landscape.value,
            through=self.chosen(self.through), ink_colour=self.colour.text,
            no_mirror=self.straight.value)

    def _strip(self) -> Path | None:
        """What tells how long the target is printed: the newest strip; a curve has its own time."""
        strips = self.names("process")
        return self.below(strips[0]) if strips and not self.through.value else None

    async def redraw(self) -> None:
        with self.asked(self.refused):
            asked = self._asked()
            view, picture, width = await self.find(try_target, asked, self._strip())
            turned = "not mirrored" if asked.no_mirror else "mirrored"
            with self.sheet.anew():
                if picture is not None:
                    Tag("img", src=inline_picture(picture.png), style=f"width:{width:.1f}mm",
                        alt=f"The target at about its real size, {turned}, as it is printed on"
                        " film")
            self.show_result(view)

    async def _keep(self) -> None:
        with self.pressed():
            asked = self._asked()
            self.show_result(await self.bench.quick.call(keep_target, asked, self._strip()))
            self.offer(self.kept, asked.name)

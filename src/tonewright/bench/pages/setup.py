"""Setup: what a paper is coated, printed and developed with, and what was made otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tonewright.bench.frame import address
from tonewright.bench.pages.page import Page
from tonewright.bench.parts.field import Refusal
from tonewright.bench.parts.setup_form import SetupForm
from tonewright.bench.parts.tags import Tag, button
from tonewright.bench.tasks.shelf import shelf_view
from tonewright.errors import TonewrightError
from tonewright.files.documents import parse_setup
from tonewright.files.papers import SETUP
from tonewright.record.setup import Setup
from tonewright.show.shelf_text import kept_words, otherwise_words


class SetupPage(Page):
    """The form, and beside it what was made with another setup."""

    intro = ("Note here whatever affects the tones. New strips and curves record it; those you have"
             " keep the setup they were made with. Before you change it, finish what was printed"
             " with the old one.")
    parts = "What the paper is used with", "What was made otherwise"

    def build(self) -> None:
        self.form = SetupForm(Setup(), address(self.paper, "inks"))
        with Tag("div", classes="buttons"):
            button("Keep this setup", self._keep, "button primary")
        self.refused = Refusal()
        self.kept = Tag("div", aria_live="polite")
        self._open()

    def build_side(self) -> None:
        Tag("h2", "Made with another setup")
        self.others = Tag("div", aria_live="polite")

    def _open(self) -> None:
        """Show what the file says, which is what may be replaced from now on."""
        self.now, self.seen = Setup(paper=self.title), None
        try:
            self.seen = self.papers.setup_bytes(self.paper)
            if self.seen is not None:
                self.now = parse_setup(self.seen, SETUP)
        except TonewrightError as error:
            self.refused.show(error)
        self.form.show(self.now)

    def files_changed(self) -> Any:
        return self.redraw()

    async def redraw(self) -> None:
        """Say what depends on the setup, as the folder stands now."""
        view = await self.bench.quick.call(shelf_view, self.papers.root)
        others = [row for row in view.by_paper.get(self.paper, ()) if row[1]]
        with self.others.anew():
            if not others:
                Tag("p", "Everything in this paper's folder was made with this setup.", "hint")
            for place, changes in others:
                Tag("h3", kept_words(place)[0])
                for said in otherwise_words(place.document.kind, changes):
                    Tag("p", said, "finding")

    async def _keep(self) -> None:
        with self.pressed():
            said = self.form.said()
            if said is None:
                return
            setup = replace(self.now, **said)
            self.kept.clear()
            if setup == self.now and self.seen is not None:
                with self.kept:
                    Tag("p", "Nothing has changed.")
                return
            try:
                before = self.papers.write_setup(self.paper, setup, self.seen)
            except TonewrightError as error:
                if error.code == "setup_changed":  # what was typed stays, the rest is shown anew
                    typed = {e: v for e, v in said.items() if v != getattr(self.now, e)}
                    self._open()
                    self.form.show(replace(self.now, **typed))
                raise
            self.seen, self.now = self.papers.setup_bytes(self.paper), setup
            with self.kept:
                Tag("p", f"Kept as {self.below(SETUP)}.")
                if before is not None:
                    Tag("p", f"What it said before is kept as {before.name}.", "hint")
            self.kept.reveal()
            await self.redraw()

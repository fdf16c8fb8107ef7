"""The frame of every page: the way of the job, where you are, what is missing, what comes next."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from inspect import isawaitable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from nicegui import app, ui

from tonewright.bench.parts.tags import Tag, button, every, link
from tonewright.bench.state import Bench
from tonewright.errors import TonewrightError
from tonewright.files.papers import HERE
from tonewright.files.way import paper_way
from tonewright.shelf.way import STEPS, Aside, Step
from tonewright.show.way_text import NAMES, missing_words, next_on_the_way

ASSETS = "/bench-assets"
_SAFELIGHT = "document.body.classList.toggle('safelight')"
_REMEMBER = ("localStorage.setItem('safelight', document.body.classList.contains('safelight')"
             " ? '1' : '')")
_RECALL = "if (localStorage.getItem('safelight')) document.body.classList.add('safelight')"
LOOK_SECONDS = 1.0
"""How often the folder is looked at for changes."""


def add_assets() -> None:
    """Serve the look; once, before pages are."""
    app.add_static_files(ASSETS, Path(__file__).parent / "assets")


def address(paper: str, step: Step | Aside) -> str:
    """Where a page is."""
    return f"/paper/{'-' if paper == HERE else quote(paper, safe='')}/{step}"


def paper_of(bench: Bench, name: str) -> str | None:
    """The paper of an address; where there is none, the page says so, and None is returned."""
    paper = HERE if name == "-" else name
    try:
        bench.papers.folder(paper)
    except TonewrightError as error:
        with frame(bench, "No such paper"):
            Tag("p", error.sentences())
            link("See all papers", "/", "button primary")
        return None
    return paper


@contextmanager
def frame(
    bench: Bench, title: str, paper: str | None = None, step: Step | Aside | None = None
) -> Iterator[Foot | None]:
    """The page around what is done in it; of a paper's page its foot."""
    ui.page_title(f"{title} · {paper_title(bench, paper)}" if paper else title)
    ui.add_head_html(f'<link rel="stylesheet" href="{ASSETS}/bench.css">')
    ui.add_body_html(f"<script>{_RECALL}</script>")
    Tag("a", "Go to the page", "skip", href="#page")
    with Tag("header", classes="head"):
        link("Papers", "/", "home")
        if paper is not None:
            Tag("span", paper_title(bench, paper), "where")
            link(NAMES["setup"], address(paper, "setup"), "button quiet",
                 **({"aria_current": "page"} if step == "setup" else {}))
        with Tag("div", classes="aside"):
            button("Safelight", lambda: ui.run_javascript(f"{_SAFELIGHT}; {_REMEMBER}"),
                   "button quiet")
            button("Close the bench", lambda: _close(bench), "button quiet")
        if paper is not None:
            _way(bench, paper, step)
    foot = None if paper is None else Foot(bench, paper, step)
    with Tag("div", classes="page", id="page", tabindex="-1"):  # within the main of NiceGUI
        Tag("h1", title)
        yield foot
    if foot is not None:
        foot.build()


def paper_title(bench: Bench, paper: str) -> str:
    """A paper's name as it is shown."""
    return bench.papers.root.resolve().name if paper == HERE else paper


def _way(bench: Bench, paper: str, here: Step | Aside | None) -> None:
    done = paper_way(bench.papers, paper).done
    with Tag("nav", classes="way", aria_label="The way of the job"), Tag("ol"):
        for step in STEPS:
            with Tag("li", classes="done" if step in done else "missing"):
                current = {"aria_current": "page"} if step == here else {}
                link(NAMES[step], address(paper, step), **current)
                Tag("span", "done" if step in done else "not done yet", "unseen")


class Foot:
    """What is missing and what comes next, as the folder stands now; the one way on of a page."""

    def __init__(self, bench: Bench, paper: str, here: Step | Aside | None) -> None:
        self._bench, self._paper, self._here = bench, paper, here
        self._kept: Step | Aside | None = None

    def build(self) -> None:
        """Put it where the page ends."""
        self._box = Tag("footer", classes="next-step foot", aria_label="What comes next")
        self.say()
        on_change(self._bench, self.say)

    def lead_to(self, step: Step | Aside) -> None:
        """Something was kept that is for this step."""
        self._kept = step
        self.say()

    def say(self) -> None:
        """As the folder stands."""
        way = paper_way(self._bench.papers, self._paper)
        to = self._kept or way.next
        self._box.clear()
        with self._box:
            if self._kept is None:
                Tag("p", next_on_the_way(way), "next-words")
            if to is not None and to != self._here:
                link(f"Go on: {NAMES[to]}", address(self._paper, to), "button primary")
            Tag("p", missing_words(way), "missing-words")


def on_change(bench: Bench, call: Callable[[], Any]) -> None:
    """Call whenever something in the folder has changed, as long as the page is open."""
    seen = [bench.papers.stamp()]

    async def look() -> None:
        now = bench.papers.stamp()
        if now != seen[0]:
            seen[0] = now
            found = call()
            if isawaitable(found):
                await found

    every(LOOK_SECONDS, look)


def _close(bench: Bench) -> None:
    ui.run_javascript("document.body.textContent = 'The bench is closed. You can close this"
                      " window.'")
    ui.timer(0.3, bench.end, once=True)

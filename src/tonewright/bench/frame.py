"""The frame of every page: the way of the job, where you are, what is missing, what comes next."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from inspect import isawaitable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import PlainTextResponse, Response
from nicegui import Client, app, ui

from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.state import Bench
from tonewright.bench.transfer import FILES, NO_FILE
from tonewright.bench.worker import Cancelled, Overtaken, fault
from tonewright.errors import TonewrightError, capital
from tonewright.files.contents import paper_way
from tonewright.files.papers import HERE
from tonewright.shelf.way import STEPS, Aside, Step, Way
from tonewright.show.way_text import NAMES, missing_words, next_on_the_way

ASSETS = "/bench-assets"
_SAFELIGHT = "document.body.classList.toggle('safelight')"
_REMEMBER = ("localStorage.setItem('safelight', document.body.classList.contains('safelight')"
             " ? '1' : '')")
_RECALL = "if (localStorage.getItem('safelight')) document.body.classList.add('safelight')"
_KEEP_DROPS = """for (const kind of ['dragover', 'drop']) document.addEventListener(kind, event => {
  if (event.defaultPrevented || !event.dataTransfer.types.includes('Files')) return;
  event.preventDefault();  // a browser would leave the page and show the file
  if (kind === 'drop') emitEvent('dropped_beside', !!document.querySelector('.drop'));
})"""
LOOK_SECONDS = 1.0
"""How often the folder is looked at for changes."""


def prepare(bench: Bench) -> None:
    """Serve the look, and have a page that fails, or is not there, look like the others; once."""
    app.add_static_files(ASSETS, Path(__file__).parent / "assets")

    def failed() -> None:
        with frame(bench, "This page cannot be shown"):
            link("See all papers", "/", "button primary")

    app.on_page_exception(failed)

    @app.exception_handler(404)
    async def missing(request: Request, _: Exception) -> Response:
        wants_page = "text/html" in request.headers.get("accept", "")
        if not wants_page or request.url.path.startswith(f"{FILES}/"):
            return PlainTextResponse(NO_FILE, 404)
        with Client(ui.page(""), request=request) as client, frame(bench, "No such page"):
            Tag("p", "The bench has no page at this address.")
            link("See all papers", "/", "button primary")
        return client.build_response(request, 404)


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
            Tag("p", capital(error.sentences()))
            link("See all papers", "/", "button primary")
        return None
    return paper


@contextmanager
def frame(
    bench: Bench, title: str, paper: str | None = None, step: Step | Aside | None = None
) -> Iterator[Foot]:
    """The page around what is done in it."""
    ui.page_title(f"{title} · {paper_title(bench, paper)}" if paper else title)
    ui.add_head_html(f'<link rel="stylesheet" href="{ASSETS}/bench.css">')
    ui.add_body_html(f"<script>{_RECALL}; {_KEEP_DROPS}</script>")
    Tag("a", "Go to the page", "skip", href="#page")
    foot = Foot(bench, paper or HERE, step)
    with Tag("header", classes="head"):
        link("Papers", "/", "home")
        if paper is not None:
            Tag("span", paper_title(bench, paper), "where")
            link(NAMES["setup"], address(paper, "setup"), "button quiet", **_here(step == "setup"))
        with Tag("div", classes="aside"):
            button("Safelight", lambda: ui.run_javascript(f"{_SAFELIGHT}; {_REMEMBER}"),
                   "button quiet")
            button("Close the bench", lambda: _close(bench), "button quiet")
        if paper is not None:
            foot.build_steps()
    with Tag("div", classes="page", id="page", tabindex="-1"):  # within the main of NiceGUI
        Tag("h1", title)
        yield foot
    if paper is not None:
        foot.build()
    say = _say_faults()
    if paper is not None:
        foot.gone = lambda: say("The folder of this paper is gone. Put it back and open the page"
                                " again, or choose another paper.")


def _say_faults() -> Callable[[str], None]:
    """Where the page says that something failed which no field or button is to blame for."""
    with Tag("div", classes="fault", role="alert") as box:
        words = Tag("p")
        button("Close", lambda: box.set_visibility(False))
    box.set_visibility(False)

    def say(said: str) -> None:
        words.say(said)
        box.set_visibility(True)

    def failed(error: Exception) -> None:
        if not isinstance(error, (Cancelled, Overtaken)):
            known = error if isinstance(error, TonewrightError) else fault(error)
            say(capital(known.sentences()))

    ui.on_exception(failed)
    ui.on("dropped_beside", lambda event: say(
        "The file was not taken. Drop it inside the dashed frame." if event.args else
        f"This page takes no files. Scans are dropped on the pages {NAMES['strip']} and"
        f" {NAMES['read']}, pictures on {NAMES['negative']}."))
    return say


def paper_title(bench: Bench, paper: str) -> str:
    """A paper's name as it is shown."""
    return bench.papers.root.resolve().name if paper == HERE else paper


def _here(is_here: bool) -> dict[str, str]:
    return {"aria_current": "page"} if is_here else {}


class Foot:
    """What a page shows of the way: the steps along the top, at its foot what is missing and what
    comes next.  It looks at the folder for all of the page."""

    def __init__(self, bench: Bench, paper: str, here: Step | Aside | None) -> None:
        self._papers, self._paper, self._here = bench.papers, paper, here
        self._kept: Step | Aside | None = None
        self._way: Way | None = None
        self._seen = bench.papers.stamp()
        self.calls: list[Callable[[], Any]] = []
        """Called whenever something in the folder has changed, as long as the page is open and its
        paper is there."""
        self.gone: Callable[[], object] = lambda: None
        """Called once when it is not."""
        self._timer = ui.timer(LOOK_SECONDS, self._look)

    def build_steps(self) -> None:
        """Put the steps along the top."""
        with Tag("nav", classes="way", aria_label="The way of the job"), Tag("ol"):
            self._steps = {}
            for step in STEPS:
                with Tag("li") as one:
                    link(NAMES[step], address(self._paper, step), **_here(step == self._here))
                    self._steps[step] = one, Tag("span", "", "unseen")

    def build(self) -> None:
        """Put the rest where the page ends."""
        with Tag("footer", classes="next-step foot", aria_label="What comes next"):
            self._words = Tag("p", "", "next-words")
            self._onward = link("", "", "button primary")
            self._missing = Tag("p", "", "missing-words")
        self._follow()
        self.calls.append(self._follow)

    def lead_to(self, step: Step | Aside) -> None:
        """Something was kept that is for this step."""
        self._kept = step
        if self._way is not None:
            self._show(self._way)

    def _follow(self) -> None:
        way = paper_way(self._papers, self._paper)
        if way != self._way:
            self._way = way
            self._show(way)

    def _show(self, way: Way) -> None:
        """Say how far the paper has come."""
        for step, (one, said) in self._steps.items():
            done = step in way.done
            one.classes(replace="done" if done else "missing")
            said.say("done" if done else "not done yet")
        to = self._kept or way.next
        self._words.say(next_on_the_way(way))
        self._words.set_visibility(self._kept is None)
        if to is not None:  # the same link, which may have the focus
            self._onward.say(f"Go on: {NAMES[to]}")
            self._onward.props.update(href=address(self._paper, to))
        self._onward.set_visibility(to is not None and to != self._here)
        self._missing.say(missing_words(way))

    async def _look(self) -> None:
        now = self._papers.stamp()
        if now == self._seen:
            return
        self._seen = now
        try:
            for call in self.calls:
                found = call()
                if isawaitable(found):
                    await found
        except TonewrightError:
            # what has gone meanwhile is missed, and the next look finds another stamp
            if self._papers.is_there(self._paper) and self._papers.stamp() == now:
                raise
        if not self._papers.is_there(self._paper):
            self._timer.cancel()
            self.gone()


def _close(bench: Bench) -> None:
    ui.run_javascript("document.body.textContent = 'The bench is closed. You can close this"
                      " window.'")
    ui.timer(0.3, bench.end, once=True)

"""Papers: every calibration on the shelf, what is due, and a new paper."""

from __future__ import annotations

from nicegui import ui

from tonewright.bench.frame import address, frame, paper_title
from tonewright.bench.parts.field import Field, Refusal
from tonewright.bench.parts.setup_form import SetupForm
from tonewright.bench.parts.tags import Tag, button, link, table
from tonewright.bench.state import Bench
from tonewright.bench.tasks.shelf import ShelfView, shelf_view
from tonewright.errors import TonewrightError
from tonewright.files.contents import paper_way
from tonewright.record.setup import Setup
from tonewright.shelf.arrange import Place
from tonewright.show.shelf_text import Changes, because_words, changed_words, kept_words
from tonewright.show.way_text import next_on_the_way

_HEADS = ("Calibration", "Black", "White", "Printing time", "Age", "Last check")


def register(bench: Bench) -> None:
    """Make the page known."""
    @ui.page("/")
    def papers() -> None:
        with frame(bench, "Papers") as foot:
            Tag("p", "Each paper has a folder of its own, with its strip, target, curve and"
                " negatives. Go on with one, or begin a new one.")
            shelf = Tag("div", classes="shelf")
            _new_paper(bench)

        async def show() -> None:
            view = await bench.quick.call(shelf_view, bench.papers.root)
            with shelf.anew():
                _shelf(bench, view)

        ui.timer(0.001, show, once=True)  # the worker may be loading still
        foot.calls.append(show)


def _shelf(bench: Bench, view: ShelfView) -> None:
    papers = bench.papers.names()
    if not papers:
        Tag("p", "There is no paper here yet.")
    for paper in papers:
        with Tag("section", classes="on-shelf"):
            Tag("h2", paper_title(bench, paper))
            rows = view.by_paper.get(paper)
            if rows:
                _table(paper_title(bench, paper), rows)
            way = paper_way(bench.papers, paper)
            with Tag("p"):
                Tag("span", f"{next_on_the_way(way)} ")
                link("Go on with this paper", address(paper, way.next or "check"))
            link("Coating, lamp, film and printer", address(paper, "setup"), "hint")
    for one in view.left_out[:20]:
        Tag("p", f"Left out: {one.file}: {one.given}.", "finding")


def _table(title: str, rows: list[tuple[Place, Changes]]) -> None:
    with table(f"Calibrations of {title}", _HEADS):
        for place, changes in rows:
            name, *said, last_check = kept_words(place)
            with Tag("tr"):
                Tag("th", name, scope="row")
                for text in said:
                    Tag("td", text or "–")
                with Tag("td"):
                    Tag("span", last_check or "–")
                    if because := because_words(place):
                        Tag("div", because, "due" if place.due else "hint")
                    if changes:
                        Tag("div", changed_words(changes), "due")


def _new_paper(bench: Bench) -> None:
    """A folder with what the paper is coated, printed and developed with."""
    with Tag("section", classes="new-paper", aria_label="A new paper"):
        Tag("h2", "A new paper")
        name = Field("Name of the paper", hint="As you know it; its folder gets this name.")
        with Tag("details"):
            Tag("summary", "Coating, lamp, film and printer (you can fill this in later)")
            form = SetupForm(Setup())
        fault = Refusal({name: ("name_unusable", "outside_folder", "paper_exists")})

        def make() -> None:
            fault.clear()
            paper, said = name.text, form.said()
            if said is None:
                return
            try:
                bench.papers.new(paper)
                bench.papers.write_setup(paper, Setup(paper=paper, **said))
            except TonewrightError as error:
                fault.show(error)
                return
            ui.navigate.to(address(paper, "strip"))

        button("Begin with this paper", make, "button primary")

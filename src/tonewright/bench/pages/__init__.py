"""The pages of the bench, one module each."""

from __future__ import annotations

from functools import cache

from nicegui import ui

from tonewright.bench.frame import frame, paper_of, prepare
from tonewright.bench.pages import papers
from tonewright.bench.pages.page import Page
from tonewright.bench.pages.setup import SetupPage
from tonewright.bench.state import Bench
from tonewright.shelf.way import ASIDES, STEPS, Aside, Step
from tonewright.show.way_text import NAMES


def register(bench: Bench) -> None:
    """Make every page known, once."""
    prepare(bench)
    papers.register(bench)
    for step in (*STEPS, *ASIDES):
        _register(bench, step)


def _register(bench: Bench, step: Step | Aside) -> None:
    @ui.page(f"/paper/{{name}}/{step}")
    async def page(name: str) -> None:
        paper = paper_of(bench, name)
        if paper is not None:
            with frame(bench, NAMES[step], paper, step) as foot:
                pages()[step](bench, paper, foot)


@cache
def pages() -> dict[Step | Aside, type[Page]]:
    """The page of each step; what they need is loaded now, which takes a second."""
    from tonewright.bench.pages.check import CheckPage
    from tonewright.bench.pages.curve import CurvePage
    from tonewright.bench.pages.inks import InksPage
    from tonewright.bench.pages.negative import NegativePage
    from tonewright.bench.pages.read import ReadPage
    from tonewright.bench.pages.report import ReportPage
    from tonewright.bench.pages.scanner import ScannerPage
    from tonewright.bench.pages.strip import StripPage
    from tonewright.bench.pages.target import TargetPage

    return {"setup": SetupPage, "strip": StripPage, "target": TargetPage, "read": ReadPage,
            "curve": CurvePage, "negative": NegativePage, "check": CheckPage,
            "report": ReportPage, "scanner": ScannerPage, "inks": InksPage}

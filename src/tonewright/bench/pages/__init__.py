"""The pages of the bench, one module each."""

from __future__ import annotations

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
                page_of(step)(bench, paper, foot)


def load() -> None:
    """Load every page, so that the first visit to it waits for nothing."""
    for step in (*STEPS, *ASIDES):
        page_of(step)


def page_of(step: Step | Aside) -> type[Page]:
    """The page of a step; what it needs is loaded now, which takes a second for the first."""
    page: type[Page] = SetupPage
    match step:
        case "strip":
            from tonewright.bench.pages.strip import StripPage as page
        case "target":
            from tonewright.bench.pages.target import TargetPage as page
        case "read":
            from tonewright.bench.pages.read import ReadPage as page
        case "curve":
            from tonewright.bench.pages.curve import CurvePage as page
        case "negative":
            from tonewright.bench.pages.negative import NegativePage as page
        case "check":
            from tonewright.bench.pages.check import CheckPage as page
        case "report":
            from tonewright.bench.pages.report import ReportPage as page
        case "scanner":
            from tonewright.bench.pages.scanner import ScannerPage as page
        case "inks":
            from tonewright.bench.pages.inks import InksPage as page
    return page

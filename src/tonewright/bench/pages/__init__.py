"""The pages of the bench, one module each."""

from __future__ import annotations

from nicegui import ui

from tonewright.bench.frame import frame, paper_of, prepare
from tonewright.bench.pages import papers
from tonewright.bench.pages.page import Page
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
    match step:
        case "strip":
            from tonewright.bench.pages.strip import StripPage

            return StripPage
        case "target":
            from tonewright.bench.pages.target import TargetPage

            return TargetPage
        case "read":
            from tonewright.bench.pages.read import ReadPage

            return ReadPage
        case "curve":
            from tonewright.bench.pages.curve import CurvePage

            return CurvePage
        case "negative":
            from tonewright.bench.pages.negative import NegativePage

            return NegativePage
        case "check":
            from tonewright.bench.pages.check import CheckPage

            return CheckPage
        case "setup" | "scanner" | "inks":
            return _aside(step)
        case "report":
            from tonewright.bench.pages.report import ReportPage

            return ReportPage


def _aside(page: Aside) -> type[Page]:
    """What lies beside the way."""
    match page:
        case "setup":
            from tonewright.bench.pages.setup import SetupPage

            return SetupPage
        case "scanner":
            from tonewright.bench.pages.scanner import ScannerPage

            return ScannerPage
        case "inks":
            from tonewright.bench.pages.inks import InksPage

            return InksPage

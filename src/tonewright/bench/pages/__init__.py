"""The pages of the bench, one module each."""

from __future__ import annotations

from tonewright.bench.frame import add_assets
from tonewright.bench.state import Bench


def register(bench: Bench) -> None:
    """Make every page known, once."""
    from tonewright.bench.pages import papers, strip
    from tonewright.bench.pages.check import CheckPage
    from tonewright.bench.pages.curve import CurvePage
    from tonewright.bench.pages.negative import NegativePage
    from tonewright.bench.pages.read import ReadPage
    from tonewright.bench.pages.report import ReportPage
    from tonewright.bench.pages.target import TargetPage

    add_assets()
    papers.register(bench)
    strip.register(bench)
    for page in (TargetPage, ReadPage, CurvePage, NegativePage, CheckPage, ReportPage):
        page.register(bench)

"""The pages of the bench, one module each."""

from __future__ import annotations

from tonewright.bench.frame import add_assets
from tonewright.bench.state import Bench


def register(bench: Bench) -> None:
    """Make every page known, once."""
    from tonewright.bench.pages import papers, strip

    add_assets()
    for page in (papers, strip):
        page.register(bench)

"""How a report is set: facts under labels."""

from __future__ import annotations

import textwrap

WIDTH = 88
_NO_BREAK = "\N{NO-BREAK SPACE}"


def labelled(label: str, text: str) -> str:
    """A fact under its label, wrapped; a number keeps its unit."""
    for unit in (" %", "L* "):
        text = text.replace(unit, unit.replace(" ", _NO_BREAK))
    return textwrap.fill(text, WIDTH, initial_indent=f"  {label:<10}",
                         subsequent_indent=" " * 12, break_on_hyphens=False,
                         break_long_words=False).replace(_NO_BREAK, " ")


def headed(head: str, text: str) -> str:
    """A line of its own that ends a report: what was written, what to do next."""
    return labelled(head, text).strip()


def percent(share: float) -> str:
    """``11 %``, from 0 to 1."""
    return f"{100.0 * share:.0f} %"

"""How a report is set: facts under labels."""

from __future__ import annotations

import textwrap

WIDTH = 88


def labelled(label: str, text: str, indent: str = "  ") -> str:
    """A fact under its label, wrapped."""
    return textwrap.fill(text, WIDTH, initial_indent=f"{indent + label:<12}",
                         subsequent_indent=" " * 12, break_on_hyphens=False,
                         break_long_words=False)

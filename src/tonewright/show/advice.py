"""What to do next: at the bench in plain words, and what is typed for it."""

from __future__ import annotations

import re
from dataclasses import dataclass

_TYPED = re.compile(r"(?: [A-Z][^.(]*)? \((?:tonewright |--)[^()]*\)")
_BRACKET = re.compile(r" \((?:tonewright |--)[^()]*\)")


@dataclass(frozen=True)
class Advice:
    """``words`` hold no option and no command; ``command`` is None where nothing is typed."""

    words: str
    command: str | None = None

    def typed(self) -> str:
        """As the command line prints it."""
        return self.words if self.command is None else f"{self.words}, and type  {self.command}"


def untyped(words: str) -> str:
    """Words for a page: what is typed stands in brackets of its own, and is left out."""
    return _BRACKET.sub("", words)

"""What to do next: at the bench in plain words, and what is typed for it."""

from __future__ import annotations

import re

from tonewright.frozen import dataclass

_BRACKET = re.compile(r" \((?:tonewright |--)[^()]*\)")


@dataclass(frozen=True)
class Advice:
    """``words`` hold no option and no command; ``command`` is None where nothing is typed;
    ``exposes``: someone is told to coat, mix or expose, and the cautions go with it."""

    words: str
    command: str | None = None
    exposes: bool = False

    def typed(self) -> str:
        """As the command line prints it."""
        return self.words if self.command is None else f"{self.words}, and type  {self.command}"


def untyped(words: str) -> str:
    """Words of a sentence, a fact or an advice for a page.

    What is typed for them on the command line stands in brackets of its own, which begin with the
    option or the command: a page leaves them out.
    """
    return _BRACKET.sub("", words)

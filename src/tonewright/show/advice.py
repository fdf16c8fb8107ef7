"""What to do next: at the bench in plain words, and what is typed for it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Advice:
    """``words`` hold no option and no command; ``command`` is None where nothing is typed."""

    words: str
    command: str | None = None

    def typed(self) -> str:
        """As the command line prints it."""
        return self.words if self.command is None else f"{self.words}, and type  {self.command}"

"""What the bench holds while it is open: its folder, its workers, what is typed and not kept."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Any

from tonewright.bench.tasks import load
from tonewright.bench.worker import Worker
from tonewright.files.papers import Papers


@dataclass
class Bench(AbstractContextManager["Bench"]):
    """One bench over one folder."""

    papers: Papers
    end: Callable[[], None] = lambda: None
    """Closes the bench."""
    drafts: dict[tuple[str, str], Any] = field(default_factory=dict)
    """What was typed and not kept yet, by paper and page: a page opened again shows it."""

    def left_out(self, paper: str, readings: str) -> set[str]:
        """Patches that are left out of a paper's readings, by the file's name; to be changed."""
        out: set[str] = self.drafts.setdefault((paper, f"left out of {readings}"), set())
        return out

    def __post_init__(self) -> None:
        """Start the workers."""
        self.quick = Worker(self.papers.root, load)
        """For what is shown while someone types."""
        self.long = Worker(self.papers.root, load)
        """For scans, pictures and batches: one after the other."""

    def __exit__(self, *_: object) -> None:
        self.quick.close()
        self.long.close()

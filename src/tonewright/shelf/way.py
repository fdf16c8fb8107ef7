"""The way of the job: how far a paper has come, and what comes next."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, get_args

Step = Literal["strip", "target", "read", "curve", "negative", "check", "report"]
STEPS: tuple[Step, ...] = get_args(Step)
Aside = Literal["setup", "scanner", "inks"]
"""What lies beside the way: each is needed now and then."""
ASIDES: tuple[Aside, ...] = get_args(Aside)
Thing = Literal["process", "target", "readings", "curve", "negative", "check", "report"]
"""What a folder of one paper may hold; each step leaves one of them."""
LEFT_BY: dict[Step, Thing] = {
    "strip": "process", "target": "target", "read": "readings", "curve": "curve",
    "negative": "negative", "check": "check", "report": "report",
}


@dataclass(frozen=True)
class Way:
    """How far a paper has come."""

    done: frozenset[Step]
    next: Step | None
    """None: the whole way has been gone."""

    @property
    def missing(self) -> tuple[Step, ...]:
        """Steps that have left nothing yet."""
        return tuple(step for step in STEPS if step not in self.done)


def way(things: Collection[Thing]) -> Way:
    """The way of a paper whose folder holds such things.

    A curve stands for the target and the readings it was made from, which may lie elsewhere; a
    check stands for the negative that was printed.
    """
    held = set(things)
    if "curve" in held:
        held |= {"target", "readings"}
    if "check" in held:
        held |= {"negative"}
    done = frozenset(step for step in STEPS if LEFT_BY[step] in held)
    return Way(done, next((step for step in STEPS if step not in done), None))

"""The way of the job in words."""

from __future__ import annotations

from tonewright.errors import listed
from tonewright.shelf.way import STEPS, Aside, Step, Way

NAMES: dict[Step | Aside, str] = {
    "strip": "Strip", "target": "Target", "read": "Read", "curve": "Curve",
    "negative": "Negative", "check": "Check", "report": "Report",
    "setup": "Setup", "scanner": "Scanner", "inks": "Inks",
}
_NEXT: dict[Step, str] = {
    "strip": "Print a step tablet on this paper. The strip shows how long to print.",
    "target": "Draw a target, and print it as a negative and then on the paper.",
    "read": "Read the densities of the printed target.",
    "curve": "Make the curve from the readings.",
    "negative": "Make a negative from a picture.",
    "check": "Print the negative, and check the print against the curve.",
    "report": "Put what you know on one page, to pin up.",
}


def next_on_the_way(way: Way) -> str:
    """What comes next for a paper."""
    if way.next is None:
        return ("All steps are done. Check a print now and then, and whenever paper or chemistry"
                " changes.")
    return _NEXT[way.next]


def missing_words(way: Way) -> str:
    """What is still to be done for a paper."""
    missing = [NAMES[step].lower() for step in STEPS if step in way.missing]
    if not missing:
        return "Nothing is left to do."
    return f"Still to do: {listed(missing)}."

"""The safety cautions, and the one rule on where they are shown."""

from __future__ import annotations

from collections.abc import Iterable

CAUTIONS = (
    "UV light harms eyes and skin. Shield the lamp, and wear eye protection rated for UV.",
    "Sensitisers and developers can be poisonous. Wear gloves, and ventilate the room.",
    "Read the safety data sheet of every chemical before you use it.",
    "Get trained first, and follow your local rules.",
)


def with_cautions(lines: Iterable[str], exposes: bool = True) -> str:
    """A whole report. The cautions end it where its next step has someone coat, mix or expose
    something, and only there: what is read at every step is soon read by nobody."""
    return "\n".join([*lines, *(["", "Safety:", *(f"  {c}" for c in CAUTIONS)] if exposes else [])])

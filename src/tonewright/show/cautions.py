"""The safety cautions, for every front: shown once where someone is told to expose or mix."""

from __future__ import annotations

CAUTIONS = (
    "UV light harms eyes and skin. Shield the lamp, and wear eye protection rated for UV.",
    "Sensitisers and developers can be poisonous. Wear gloves, and ventilate the room.",
    "Read the safety data sheet of every chemical before you use it.",
    "Get trained first, and follow your local rules.",
)


def cautions_text() -> str:
    """The last lines of a report."""
    return "\n".join(["Safety:", *(f"  {caution}" for caution in CAUTIONS)])

"""The safety cautions, and the one rule on where they are shown."""

from __future__ import annotations

from collections.abc import Iterable

from tonewright.errors import TonewrightError

CAUTIONS = (
    "UV light harms eyes and skin. Shield the lamp, and wear eye protection rated for UV.",
    "Sensitisers and developers can be poisonous. Wear gloves, and ventilate the room.",
    "Read the safety data sheet of every chemical before you use it.",
    "Get trained first, and follow your local rules.",
)
_PRINT_AGAIN = {"strip_all_dark", "strip_all_light", "eye_strips_contradict",
                "eye_count_impossible"}
"""Codes of the errors that a new print leads out of."""


def has_to_print(error: TonewrightError) -> bool:
    """Whether the way out of an error is to expose something."""
    return error.code in _PRINT_AGAIN


def with_cautions(lines: Iterable[str], exposes: bool = True) -> str:
    """A whole report. The cautions end it where its next step has someone coat, mix or expose
    something, and only there: what is read at every step is soon read by nobody."""
    return "\n".join([*lines, *(["", "Safety:", *(f"  {c}" for c in CAUTIONS)] if exposes else [])])

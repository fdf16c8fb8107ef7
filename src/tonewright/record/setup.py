"""What a calibration was made with: without it a curve is worthless next month."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, fields, replace
from typing import Any

from tonewright.errors import DocumentError, OptionError, visible
from tonewright.frozen import dataclass
from tonewright.record.schema import is_number, spoken
from tonewright.record.times import parse_time

Colour = tuple[int, int, int]
"""Red, green and blue, 0 to 255."""


@dataclass(frozen=True)
class Setup:
    """Everything that bends the tones, in the printer's own words; None where not said."""

    paper: str | None = None
    coating: str | None = None
    developer: str | None = None
    lamp: str | None = None
    film: str | None = None
    printer: str | None = None
    ink: str | None = None
    printing_time: str | None = None
    date: str | None = None
    notes: str | None = None
    ink_colour: str | None = None
    """Red, green and blue of level 1 as ``255,120,0``; None: gray, level 1 is black."""

    def with_changes(self, changes: dict[str, str | None]) -> Setup:
        """A copy in which every entry that is given (not None) replaces the old one."""
        return replace(self, **{k: v for k, v in changes.items() if v is not None})

    def with_time_spelled(self) -> Setup:
        """A copy whose printing time is spelled as any other, where it is one: ``7 min 30 s``."""
        try:
            return self.with_changes({"printing_time": str(parse_time(self.printing_time or ""))})
        except OptionError:  # words, such as noon sun
            return self

    def differences(self, other: Setup) -> dict[str, tuple[str | None, str | None]]:
        """Entries that differ, as ``{name: (mine, the other's)}``; the notes do not count."""
        mine, theirs = asdict(self), asdict(other)
        return {k: (mine[k], theirs[k]) for k in mine if k != "notes" and mine[k] != theirs[k]}

    def without_occasion(self) -> Setup:
        """What it was made with, without time, date and notes."""
        return replace(self, **dict.fromkeys(OCCASION))


LIGHT = ("lamp", "film")
"""Entries that the ink's printing density hangs on."""
INK = (*LIGHT, "ink", "ink_colour", "printer")
"""The same where the ink itself is shared."""


def other_light(
    old: Setup, new: Setup, entries: tuple[str, ...] = LIGHT
) -> tuple[tuple[str, str, str], ...]:
    """Entries of which both say something, and not the same: name, old and new words."""
    said = ((e, getattr(old, e), getattr(new, e)) for e in entries)
    return tuple((e.replace("_", " "), a, b) for e, a, b in said
                 if a and b and a.strip().casefold() != b.strip().casefold())


SETUP_NAMES = tuple(f.name for f in fields(Setup))

OCCASION = ("printing_time", "date", "notes")
"""Entries that say when and for how long, not on what."""
MADE_WITH = tuple(name for name in SETUP_NAMES if name not in OCCASION)
PAPER = ("paper", "coating", "developer")
"""What a process response is of."""
COATED = (*PAPER, *LIGHT)
"""What it hangs on."""


def alike(setup: Setup, entries: Sequence[str] = MADE_WITH) -> tuple[str, ...]:
    """The same for setups that are one in these entries; capitals and spaces do not count."""
    said = (getattr(setup, entry) for entry in entries)
    return tuple(" ".join(value.split()).casefold() if value else "" for value in said)


def ink_colour_text(colour: Colour) -> str:
    """As `Setup.ink_colour` has it."""
    return ",".join(str(value) for value in colour)


def parse_colour(text: str) -> Colour:
    """``255,120,0`` to numbers; `OptionError` if it is no such colour or is white."""
    try:
        numbers = tuple(int(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != 3 or not all(0 <= n <= 255 for n in numbers):
        raise OptionError(
            f"the ink colour is {text!r}",
            "it must be three whole numbers from 0 to 255: red, green, blue, as 255,120,0",
            "take the colour that the target was printed in", code="ink_colour_unclear",
        )
    if min(numbers) > 250:
        raise OptionError(
            f"the ink colour is {text!r}, which is white",
            "white is clear film: it holds no light back",
            "take a colour with ink in it", code="ink_colour_unclear",
        )
    red, green, blue = numbers
    return red, green, blue


def setup_toml(setup: Setup) -> str:
    """What is said, as a TOML file of basic strings that `setup_from_dict` takes back."""
    said = ((name, value) for name, value in asdict(setup).items() if value is not None)
    return "".join(f"{name} = {_toml_string(value)}\n" for name, value in said)


def _toml_string(text: str) -> str:
    # JSON escapes what a basic string of TOML may not hold, but for DEL
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def setup_from_dict(data: dict[str, Any]) -> Setup:
    """The setup of a TOML file, which needs not name every entry.

    Numbers and dates are taken as they are spelled.

    Raises
    ------
    DocumentError
        An unknown entry, or one that is no text: a table, a list, true or false.
    """
    for name, value in data.items():
        if name not in SETUP_NAMES:
            raise DocumentError(f"the setup has an entry {name!r}",
                                f"known entries are {', '.join(SETUP_NAMES)}",
                                "put what has no entry of its own under notes")
        if isinstance(value, dict | list | bool) or (
                isinstance(value, int | float) and not is_number(value)):
            raise DocumentError(f"the setup: {name} is {spoken(value)}", "an entry is text",
                                "write it in straight double quotes, as paper = \"cotton 300 g\"")
    return Setup(**{k: None if v is None else str(v) if k == "notes" else visible(str(v))
                    for k, v in data.items()})

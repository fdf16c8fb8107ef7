"""What prints must share before they tell of one ink: its colour, the lamp, the film."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from tonewright.errors import OptionError
from tonewright.measured.readings import Readings
from tonewright.record.setup import LIGHT, Setup, ink_colour_text, other_light, parse_colour


class DrawnTarget(Protocol):
    """What a target's document says of the ink."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def ink_colour(self) -> str | None:
        """Of level 1, as ``255,120,0``; None: gray."""

    @property
    def is_ink_chart(self) -> bool:
        """Whether it compares inks instead of tones of one."""


def target_colour(target: DrawnTarget | None) -> dict[str, str | None]:
    """Which ink colour a target was drawn in, as `one_ink` takes it; nothing without a target.

    Raises `OptionError` for a chart of inks.
    """
    if target is None:
        return {}
    if target.is_ink_chart:
        raise OptionError(
            f"the target {target.name} is a chart of inks",
            "a curve is made from a target of tones in one ink",
            "rank the inks of the chart first", code="ink_chart")
    return {f"the target {target.name}": target.ink_colour}


def readings_colour(readings: Readings | None) -> dict[str, str | None]:
    """The same of readings, where they say."""
    if readings is None or readings.ink_colour is None:
        return {}
    names = ", ".join(s.name for s in readings.sources)
    return {f"the file {names}" if names else "the readings": readings.ink_colour}


def one_ink(said: Mapping[str, str | None]) -> str | None:
    """The ink colour that all agree on, from ``{who says so: colour}``; None: gray.

    Raises `OptionError` where two differ, or for what is no colour.
    """
    same = {who: None if text is None else ink_colour_text(parse_colour(text))
            for who, text in said.items()}
    first = next(iter(same), None)
    for who, colour in same.items():
        if first is not None and colour != same[first]:
            one, other = (f"{w}: {same[w] or 'gray'}" for w in (first, who))
            raise OptionError(
                f"the ink colours differ ({one}; {other})",
                "a level of ink means something only in the colour that the target was printed in",
                "correct the setup or the ink colour, or name the target that was printed",
                code="ink_colours_differ")
    return None if first is None else same[first]


def refuse_other_light(
    old: Setup, new: Setup, whose: str, what: str, entries: tuple[str, ...] = LIGHT
) -> None:
    """Raise `OptionError` if some entries are said to differ: lamp and film, or what ``entries``
    names. How much light the ink holds back hangs on them."""
    for entry, before, after in other_light(old, new, entries):
        raise OptionError(
            f"the {entry} of {what} is {after!r}, that of {whose} {before!r}",
            f"how much light the ink blocks was found for one {entry} alone",
            "print a target with the new one, or go on if it makes no difference",
            code="other_light")

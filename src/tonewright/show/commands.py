"""The commands that do what a page does, as they are typed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from tonewright.show.words import typed

Option = tuple[str, object]
"""A name and its value: None leaves it out, True gives it alone, a tuple repeats it."""


def spelled(name: str, arguments: Iterable[object], options: Iterable[Option]) -> str:
    """``tonewright NAME ARGUMENT --option VALUE``."""
    parts = ["tonewright", name, *map(typed, arguments)]
    for option, value in options:
        parts += _spelled(option, value)
    return " ".join(parts)


def _spelled(option: str, value: object) -> Iterator[str]:
    if value is None or value is False or value == ():
        return
    if value is True:
        yield option
    elif isinstance(value, tuple):
        for one in value:
            yield from _spelled(option, one)
    else:
        yield f"{option} {typed(value)}"


def numbers(values: Sequence[float] | None) -> str | None:
    """Pixel numbers with commas between them."""
    return None if values is None else ",".join(f"{value:g}" for value in values)


@dataclass(frozen=True, kw_only=True)
class StripCommand:
    """A process from a strip's table or scan."""

    readings: Path
    tablet: str
    process: Path
    time: str | None = None
    """None: the table says it."""
    skip: tuple[int, ...] = ()
    setup: Path | None = None
    scanner: Path | None = None
    corners: tuple[float, ...] | None = None

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("strip", [self.readings], [
            ("--tablet", self.tablet), ("--time", self.time), ("--skip", self.skip),
            ("--scanner", self.scanner), ("--corners", numbers(self.corners)),
            ("--setup", self.setup), ("-o", self.process)])

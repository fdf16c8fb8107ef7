"""The errors that tonewright raises on purpose.

Each one says three things: what was given, the rule it breaks, and the way out.  The command
line prints them as one message and ends with exit code 2; a library user can catch
`TonewrightError` for all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any


class TonewrightError(Exception):
    """Base of every error raised on purpose.

    Parameters
    ----------
    given:
        What was found, with its value: ``"row 7: level is 1.3"``.
    rule:
        What holds instead: ``"a level lies between 0 (clear film) and 1 (heaviest ink)"``.
    way_out:
        What the reader can do now, in terms of the thing: ``"name the ink colour it was printed
        in"``.
    code:
        Names the way out where a front adds how it is typed or clicked there:
        ``"ink_colour_unknown"``; None where there is nothing to add.
    values:
        What that front needs to spell it out: ``colour="255,120,0"``.
    """

    def __init__(
        self, given: str, rule: str, way_out: str, *, code: str | None = None, **values: object
    ) -> None:
        self.given, self.rule, self.way_out = given, rule, way_out
        self.code, self.values = code, values
        super().__init__(self.sentences())

    def __reduce__(self) -> tuple[Any, ...]:
        """What is pickled, so that an error goes from one process to another."""
        return type(self), (self.given, self.rule, self.way_out), vars(self)

    def sentences(self, typed: str = "") -> str:
        """The message; ``typed`` is how the way out is taken in the front that shows it."""
        way_out = self.way_out.strip().rstrip(".")
        if typed:
            way_out = f"{way_out} ({typed})" if way_out else typed
        first, *others = (p.strip().rstrip(".") for p in (self.given, self.rule, way_out))
        # what was given may start with a file's name, which keeps its spelling
        said = [first, *(capital(p) for p in others)]
        return visible(" ".join(f"{s}." for s in said if s))


def capital(sentence: str) -> str:
    """A sentence with its capital, unless it starts with a name."""
    word = sentence.split(" ", 1)[0]
    if word == "tonewright" or not word.isalpha():
        return sentence
    return sentence[:1].upper() + sentence[1:]


UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff]")


def visible(text: str) -> str:
    r"""A text from a name or a file, with what no screen shows written out: ``\x1b``, ``\n``.

    Control characters, those that turn the direction of writing, and bytes of a name that are no
    text.
    """
    return UNSEEN.sub(lambda sign: sign[0].encode("unicode_escape").decode("ascii"), text)


def counted(count: int, thing: str) -> str:
    """``1 patch``, ``3 patches``."""
    ending = "es" if thing.endswith(("ch", "x", "s")) else "s"
    return f"{count} {thing}" if count == 1 else f"{count} {thing}{ending}"


def listed(things: Iterable[object], last: str = "and") -> str:
    """``a, b and c``; with another ``last`` word ``a, b or c``."""
    *most, end = map(str, things)
    return f"{', '.join(most)} {last} {end}" if most else end


def short(text: str, most: int = 40) -> str:
    """A text of at most so many characters, with three dots where it was cut."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def some(names: Sequence[str], most: int = 12) -> str:
    """``a, b, c and 4 more``: of many names the first few."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def runs(numbers: Sequence[int]) -> str:
    """``1 to 4 and 30`` for 1, 2, 3, 4, 30."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return listed(f"{p[0]} to {p[-1]}" if p[1:] else p[0] for p in parts)


class FileError(TonewrightError):
    """A file cannot be opened, read or written, or is not of the kind it should be."""


class ReadingsError(TonewrightError):
    """Measurements that cannot be what they say they are."""


class FitError(TonewrightError):
    """Readings that no honest curve can be drawn through."""


class DocumentError(TonewrightError):
    """A curve, process, target or setup document that does not hold together."""


class ImageError(TonewrightError):
    """An image that cannot become a negative as it is."""


class OptionError(TonewrightError):
    """Options that contradict each other or have an impossible value."""

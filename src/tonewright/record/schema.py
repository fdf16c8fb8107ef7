"""The entries of a document: what each one is and what it should be, in plain words."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from math import isfinite
from typing import Any

from tonewright.errors import listed, short
from tonewright.frozen import dataclass

LARGEST_NUMBER = 1e300
_HALVES = re.compile("[\ud800-\udfff]")
"""Halves of characters, which JSON can spell and no file can hold."""


@dataclass(frozen=True)
class Rule:
    """What holds for an entry, and how it is said: ``"it must be a number"``."""

    fits: Callable[[Any], bool]
    words: str
    each: bool = False
    """It is a list, and the rule holds for everything in it."""
    span: tuple[float, float] | None = None
    """Numbers from here to there all fit: a long list is looked at once, not one by one."""

    def holds(self, value: Any) -> bool:
        """Whether a value is as it should be."""
        if not self.each:
            return self.fits(value)
        return isinstance(value, list) and (
            (self.span is not None and all_within(value, self.span))
            or all(map(self.fits, value)))

    def fault(self, name: str, value: Any) -> str:
        """What a value that does not fit is, with its place in a list."""
        if not self.each or not isinstance(value, list):
            return f"{name} is {spoken(value)}"
        place = next(i for i, v in enumerate(value) if not self.fits(v))
        return f"{name} holds {held(value[place])} in place {place + 1}"


def spoken(value: Any) -> str:
    """What a value from a document is, for a message."""
    if value is None:
        return "missing or empty"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        broken = "" if is_text(value) else " (with half a character)"
        return f'the text "{short(" ".join(value.split()))}"{broken}' if value else "an empty text"
    if isinstance(value, int | float):
        if is_number(value):
            return f"{value:.10g}"
        if isinstance(value, int) or isfinite(value):
            return "too large a number"
        return json.dumps(value)  # NaN, Infinity
    if isinstance(value, dict | list):
        kind = "table" if isinstance(value, dict) else "list"
        return f"a {kind}" if value else f"an empty {kind}"
    return str(value)


def held(value: Any) -> str:
    """The same of a place in a list, which is there even where it is empty."""
    return "nothing (null)" if value is None else spoken(value)


def is_number(value: Any) -> bool:
    """Whether a value from a document is a finite number; true and false are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    # not isfinite: whole numbers in JSON may pass any float
    return -LARGEST_NUMBER < value < LARGEST_NUMBER


def all_within(values: list[Any], span: tuple[float, float]) -> bool:
    """Whether a list holds plain numbers of a span alone; False may also be for another reason."""
    if not values or not set(map(type, values)) <= {int, float}:
        return False
    # the order of numbers with a NaN among them says nothing, but their sum is one
    return span[0] <= min(values) and max(values) <= span[1] and isfinite(sum(values))


def is_whole(value: Any) -> bool:
    """Whether a value from a document is a whole number; true and false are none."""
    return is_number(value) and isinstance(value, int)


def is_text(value: Any) -> bool:
    """Whether a value from a document is a text, one that can be written again."""
    return isinstance(value, str) and not _HALVES.search(value)


TEXT = Rule(is_text, "it must be text")
TEXTS = Rule(is_text, "it must be a list of texts", each=True)
FAR = LARGEST_NUMBER / 1e10
"""So many of these still add up to a number."""
NUMBER = Rule(is_number, "it must be a number", span=(-FAR, FAR))
NUMBERS = Rule(is_number, "it must be a list of numbers", each=True, span=(-FAR, FAR))
ABOVE_ZERO = Rule(lambda v: is_number(v) and v > 0, "it must be a number above 0",
                  span=(1e-300, FAR))
TRUTH = Rule(lambda v: isinstance(v, bool), "it must be true or false")


def one_of(*names: str) -> Rule:
    """One of several texts."""
    return Rule(lambda v: is_text(v) and v in names, f"it must be {listed(names, 'or')}")


def or_none(rule: Rule) -> Rule:
    """The same, or empty; within a list each may be."""
    return Rule(lambda v: v is None or rule.fits(v), f"{rule.words}, or empty (null)", rule.each,
                rule.span)

"""How a report is set: facts under labels."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable

from tonewright.errors import visible

WIDTH = 88
RULE_WORDS = "Measure the rule on it: if it is not {long:.0f} mm long, the driver has scaled."
_NO_BREAK = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:%|L\*|(?:h|min|s|mm|cm|stops?|units?)\b))"  # a number and its unit
    r"|(?<=L\*) (?=\d)|(?<=\bh) (?=\d+ min\b)|(?<=\bmin) (?=[\d.]+ s\b)|(?<=\d) x (?=\d)")
_QUOTED = re.compile(r"""(?<!\w)(["'])\S[^"']*\1(?!\w)""")


def labelled(label: str, text: str) -> str:
    """A fact under its label, wrapped; a number keeps its unit, a quoted name stays whole."""
    return _wrapped(f"  {label:<10}", text, 12)


def _wrapped(start: str, text: str, indent: int) -> str:
    text = "\n".join(map(visible, text.split("\n")))  # first: what is written out takes more room
    for together in (_TOGETHER, _QUOTED):
        text = together.sub(lambda found: found[0].replace(" ", _NO_BREAK), text)
    return textwrap.fill(text, WIDTH, initial_indent=start, subsequent_indent=" " * indent,
                         break_on_hyphens=False, break_long_words=False).replace(_NO_BREAK, " ")


Fact = tuple[str, str]
"""A label and what stands under it; a page sets it in its own way."""


def set_facts(facts: Iterable[Fact | str]) -> list[str]:
    """Facts as lines of a report; a text is a line already."""
    return [fact if isinstance(fact, str) else labelled(*fact) for fact in facts]


def headed(head: str, text: str) -> str:
    """A line of its own that ends a report: what was written, what to do next."""
    return _wrapped(f"{head:<10}", text, 10)


def typed(name: object) -> str:
    """A file's name as it is typed in a command: in quotes if it has spaces or the like."""
    text = str(name)
    if re.fullmatch(r"[\w./\\:+,@=-]+", text):
        return text
    if not set(text) & set('"$`!\\'):
        return f'"{text}"'
    import shlex  # few names need it

    return shlex.quote(text)


def percent(share: float) -> str:
    """``11 %``, from 0 to 1."""
    return f"{100.0 * share:.0f} %"

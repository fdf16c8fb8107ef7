"""How each finding gets its sentence: the parts of show/ say theirs here."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from tonewright.errors import runs, some
from tonewright.record.findings import Finding
from tonewright.show.words import percent

_F = TypeVar("_F", bound=Finding)
SAID: dict[type[Finding], Callable[[Any], str]] = {}


def says(
    kind: type[_F], words: str | Callable[[_F], str], /, **gaps: Callable[[_F], object]
) -> None:
    """Register the sentence of a finding.

    The gaps of a template are the finding's fields, ``"{file} is {how}."``, and what ``gaps`` make
    of it. They are spelled as in `str.format`, or as `_SPELLED` says: ``{level|percent}``.
    """
    SAID[kind] = words if callable(words) else partial(_filled, words, gaps)


def _filled(template: str, gaps: dict[str, Callable[[Any], object]], found: Finding) -> str:
    return template.format_map(
        _Gaps(vars(found) | {name: gap(found) for name, gap in gaps.items()}))


_SPELLED: dict[str, Callable[[Any], str]] = {
    "percent": percent, "names": some, "files": partial(some, most=5), "list": ", ".join,
    "runs": runs}


class _Gaps(dict[str, object]):
    def __missing__(self, gap: str) -> str:
        name, _, spelling = gap.partition("|")
        return _SPELLED[spelling](self[name])

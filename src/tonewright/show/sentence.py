"""One sentence for each finding: the parts of show/ register theirs here."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial, singledispatch
from string import Formatter
from typing import Any, TypeVar

from tonewright.errors import runs, some
from tonewright.record.findings import Finding
from tonewright.show.words import percent

_F = TypeVar("_F", bound=Finding)


@singledispatch
def sentence(finding: Finding) -> str:
    """What a finding means to the printer, and what can be done about it; see `advice.untyped`."""
    raise TypeError(f"no sentence is registered for {finding.code}")


def says(kind: type[_F], template: str, /, **gaps: Callable[[_F], object]) -> None:
    """Register a sentence.

    Its gaps are the finding's fields, ``"{file} is {how}."``, and what ``gaps`` make of the
    finding. They are spelled as `_SPELLED` says, ``{level:percent}``, or as in `str.format`.
    """
    def said(found: _F) -> str:
        made = {name: gap(found) for name, gap in gaps.items()}
        return _TEMPLATE.vformat(template, (), vars(found) | made)

    sentence.register(kind, said)


_SPELLED: dict[str, Callable[[Any], str]] = {
    "percent": percent, "names": some, "files": partial(some, most=5), "list": ", ".join,
    "runs": runs}


class _Template(Formatter):
    def format_field(self, value: Any, format_spec: str) -> Any:
        spelled = _SPELLED.get(format_spec)
        return spelled(value) if spelled else super().format_field(value, format_spec)


_TEMPLATE = _Template()

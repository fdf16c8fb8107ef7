"""One sentence for each finding: the parts of show/ register theirs here."""

from __future__ import annotations

from functools import singledispatch

from tonewright.record.findings import Finding


@singledispatch
def sentence(finding: Finding) -> str:
    """What a finding means to the printer, and what can be done about it; no option, no command."""
    raise TypeError(f"no sentence is registered for {finding.code}")


@singledispatch
def how_typed(finding: Finding) -> str:
    """How the way out is typed on the command line; empty where nothing is typed."""
    return ""


def sentence_typed(finding: Finding) -> str:
    """The sentence with what is typed: added inside its full stop if that begins with a bracket,
    comma or semicolon, else as a sentence of its own."""
    said, more = sentence(finding), how_typed(finding)
    if not more:
        return said
    if more.startswith((" (", ",", ";")):
        return f"{said.removesuffix('.')}{more}."
    return f"{said} {more}"


def says(kind: type[Finding], template: str, typed: str = "") -> None:
    """Register a sentence whose gaps are the finding's fields: ``"{file} is wet."``; ``typed`` is
    what the command line adds to it."""
    sentence.register(kind, lambda found: template.format(**vars(found)))
    if typed:
        how_typed.register(kind, lambda found: typed.format(**vars(found)))

"""One sentence for each finding: the parts of show/ register theirs here."""

from __future__ import annotations

from functools import singledispatch

from tonewright.record.findings import Finding


@singledispatch
def sentence(finding: Finding) -> str:
    """What a finding means to the printer, and what can be done about it; see `advice.untyped`."""
    raise TypeError(f"no sentence is registered for {finding.code}")


def says(kind: type[Finding], template: str) -> None:
    """Register a sentence whose gaps are the finding's fields: ``"{file} is wet."``."""
    sentence.register(kind, lambda found: template.format(**vars(found)))

"""Findings as sentences."""

from __future__ import annotations

from tonewright.record.findings import Finding
from tonewright.show.sentence import SAID


def sentence(finding: Finding) -> str:
    """What a finding means to the printer, and what can be done about it; see `advice.untyped`."""
    kind = type(finding)
    if kind not in SAID:
        _load(kind.__module__.removeprefix("tonewright.").removesuffix(".findings"))
    return SAID[kind](finding)


def _load(area: str) -> None:
    """Load the sentences of ``strip/findings.py``, and so on, when one is needed."""
    match area:
        case "check":
            from tonewright.show import check_findings as check_findings
        case "curve":
            from tonewright.show import curve_findings as curve_findings
        case "inks":
            from tonewright.show import inks_findings as inks_findings
        case "measured":
            from tonewright.show import measured_findings as measured_findings
        case "negative":
            from tonewright.show import negative_findings as negative_findings
        case "files.raster":
            from tonewright.show import raster_findings as raster_findings
        case "scan":
            from tonewright.show import scan_findings as scan_findings
        case "shelf":
            from tonewright.show import shelf_findings as shelf_findings
        case "strip":
            from tonewright.show import strip_findings as strip_findings

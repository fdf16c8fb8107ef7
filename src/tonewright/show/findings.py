"""Findings as sentences; importing this registers them all."""

from __future__ import annotations

from tonewright.show import check_findings as check_findings
from tonewright.show import curve_findings as curve_findings
from tonewright.show import inks_findings as inks_findings
from tonewright.show import negative_findings as negative_findings
from tonewright.show import raster_findings as raster_findings
from tonewright.show import readings_findings as readings_findings
from tonewright.show import scan_findings as scan_findings
from tonewright.show import shelf_findings as shelf_findings
from tonewright.show import strip_findings as strip_findings
from tonewright.show.sentence import sentence as sentence

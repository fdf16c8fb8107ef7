"""Findings as sentences; importing this registers them all."""

from __future__ import annotations

from tonewright.show import negative_findings as negative_findings
from tonewright.show import raster_findings as raster_findings
from tonewright.show.sentence import sentence as sentence

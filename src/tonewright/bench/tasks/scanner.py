"""A scanner calibrated from the scan of a gray scale."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tonewright.bench.tasks.views import View, channel_of, four_places, view
from tonewright.files.blank import csv_text
from tonewright.files.safe import together, write_text
from tonewright.files.scanners import ScannerRequest, learn_scanner
from tonewright.files.tables import STRIPS, parse_table
from tonewright.measured.columns import Table
from tonewright.show import commands
from tonewright.show.charts import scanner_chart
from tonewright.show.scanner_text import scanner_advice, scanner_facts


def keep_scanner(asked: commands.Scanner, typed: Sequence[str] | None) -> View:
    """Write a response, and with it the densities that were typed unless they lie there already:
    both or neither."""
    with together():
        known: Path | Table = asked.densities
        if typed is not None:
            text = csv_text({"density": typed})
            write_text(asked.densities, text)
            known = parse_table(text.encode(), asked.densities.name, "step", STRIPS)
        learned = learn_scanner(asked.scan, known, asked.output, ScannerRequest(
            date=asked.date, channel=channel_of(asked.channel), flat=asked.flat,
            corners=four_places(asked.corners)))
    return view(scanner_facts(learned), learned.response.findings, scanner_advice(learned),
                chart=scanner_chart(learned.response), command=str(asked))

"""Pages to print: a report to pin up, a worksheet to take into the darkroom."""

from __future__ import annotations

from pathlib import Path

from tonewright.files.pages import ReportFiles, WorksheetFiles, gather_report, gather_worksheet
from tonewright.files.safe import write_text
from tonewright.show import commands
from tonewright.show.pages.report import report_page
from tonewright.show.pages.worksheet import worksheet_page


def report(curve: Path, others: tuple[Path, ...], output: Path) -> str:
    """Write a report; the command that does the same."""
    write_text(output, report_page(gather_report(ReportFiles(curve, others, output))))
    return commands.page("report", curve, others, output)


def worksheet(curve: Path, negatives: tuple[Path, ...], output: Path) -> str:
    """Write a worksheet; the command that does the same."""
    write_text(output, worksheet_page(gather_worksheet(WorksheetFiles(curve, negatives, output))))
    return commands.page("worksheet", curve, negatives, output)

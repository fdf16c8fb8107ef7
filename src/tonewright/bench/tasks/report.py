"""Pages to print: a report to pin up, a worksheet to take into the darkroom."""

from __future__ import annotations

from tonewright.files.pages import ReportFiles, WorksheetFiles, gather_report, gather_worksheet
from tonewright.files.safe import write_text
from tonewright.show import commands
from tonewright.show.pages.report import report_page
from tonewright.show.pages.worksheet import worksheet_page


def make_page(asked: commands.Report | commands.Worksheet) -> str:
    """Write a page; the command that does the same."""
    if isinstance(asked, commands.Report):
        page = report_page(gather_report(ReportFiles(asked.curve, asked.others, asked.output)))
    else:
        page = worksheet_page(gather_worksheet(
            WorksheetFiles(asked.curve, asked.negatives, asked.output)))
    write_text(asked.output, page)
    return str(asked)

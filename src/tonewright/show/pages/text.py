"""What the commands say that write a page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tonewright.errors import counted
from tonewright.files.pages import Report, SheetToPrint, Worksheet
from tonewright.show.pages.report import aims, density_words, less_words, next_line
from tonewright.show.pages.worksheet import area_words, rung_words, sensitiser_words, size_words
from tonewright.show.report import report

_PRINT = "open it in a browser and print it at 100 %, on A4 or US letter."
_NO_TIME = "not known; write in what the target was printed for"


def report_text(page: Report, output: Path) -> str:
    """What stands on the page about a curve."""
    rows = aims(page.curve)
    facts = [("time", _NO_TIME if page.time is None else
              f"print for {page.time}; {less_words(page)}: {page.less}"),
             ("black", f"L* {rows[0].print_lightness:.1f}"),
             ("white", f"L* {rows[-1].print_lightness:.1f}"),
             ("aims", f"picture L* 0 to 100 by tens, {density_words(page.curve)}: "
              + ", ".join(f"{row.density:.2f}" for row in rows))]
    if page.checks:
        facts.append(("checks", ", ".join(check.name for check in page.checks)))
    return report(f"Page for {page.curve.name} ({page.short_id})",
                  [*facts, ("do next", next_line(page))], output, _PRINT, exposes=True)


def worksheet_text(sheet: Worksheet, output: Path) -> str:
    """What stands on the pages for the darkroom."""
    facts = [("time", _NO_TIME if sheet.time is None else f"print for {sheet.time}")]
    if sheet.ladder:
        facts.append(("ladder", ", ".join(
            f"{rung_words(n)} {time}" for n, time in sheet.ladder)))
    facts += [("sheet", "; ".join(_sheet(s))) for s in sheet.sheets]
    if sensitiser := sensitiser_words(sheet):
        facts.append(("amount", f"in proportion to {sensitiser}"))
    elif sheet.sheets:
        facts.append(("amount", "blank: say what you coat with (--sensitiser ML --coats SIZE)"))
    pages = counted(len(sheet.sheets), "negative") if sheet.sheets else "blank sheets to fill in"
    return report(f"Worksheet for {sheet.curve.name} ({sheet.short_id})", facts,
                  f"{output}, {pages}", _PRINT, exposes=True)


def _sheet(sheet: SheetToPrint) -> Iterator[str]:
    yield sheet.name
    yield f"print for {sheet.time}" if sheet.time else "time not known"
    if sheet.coated_mm is None:
        yield "its file does not say its size"
    else:
        yield f"coat {size_words(sheet.coated_mm)}, {area_words(sheet.coated_mm)}"
    if sheet.ml is not None:
        yield f"sensitiser {sheet.ml:.1f} ml"
    if sheet.other_curve is not None:
        yield f"made through another curve, {sheet.other_curve}: check its time"

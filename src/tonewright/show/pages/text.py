"""What the commands say that write a page."""

from __future__ import annotations

from collections.abc import Iterator

from tonewright.errors import counted
from tonewright.files.pages import Report, SheetToPrint, Worksheet
from tonewright.show.cautions import with_cautions
from tonewright.show.pages.report import aims, density_words, less_words, next_line
from tonewright.show.pages.worksheet import area_words, rung_words, sensitiser_words, size_words
from tonewright.show.words import headed, labelled

_PRINT = ("open it in a browser and print it at 100 %, on A4 or US letter.")
_NO_TIME = "not known; write in what the target was printed for"


def report_text(report: Report, output: str) -> str:
    """What stands on the page about a curve."""
    rows = aims(report.curve)
    lines = [f"Page for {report.curve.name} ({report.short_id})",
             labelled("time", _NO_TIME if report.time is None else
                      f"print for {report.time}; {less_words(report)}: {report.less}"),
             labelled("black", f"L* {rows[0].print_lightness:.1f}"),
             labelled("white", f"L* {rows[-1].print_lightness:.1f}"),
             labelled("aims", f"picture L* 0 to 100 by tens, {density_words(report.curve)}: "
                      + ", ".join(f"{row.density:.2f}" for row in rows))]
    if report.checks:
        lines.append(labelled("checks", ", ".join(check.name for check in report.checks)))
    return with_cautions([*lines, labelled("do next", next_line(report)), "",
                          f"{'Written:':<10}{output}", headed("Next:", _PRINT)])


def worksheet_text(sheet: Worksheet, output: str) -> str:
    """What stands on the pages for the darkroom."""
    lines = [f"Worksheet for {sheet.curve.name} ({sheet.short_id})",
             labelled("time", _NO_TIME if sheet.time is None else f"print for {sheet.time}")]
    if sheet.ladder:
        lines.append(labelled("ladder", ", ".join(
            f"{rung_words(n)} {time}" for n, time in sheet.ladder)))
    lines += [labelled("sheet", "; ".join(_sheet(s))) for s in sheet.sheets]
    if sensitiser := sensitiser_words(sheet):
        lines.append(labelled("amount", f"in proportion to {sensitiser}"))
    elif sheet.sheets:
        lines.append(labelled("amount", "blank: say what you coat with (--sensitiser ML --coats"
                              " SIZE)"))
    pages = counted(len(sheet.sheets), "negative") if sheet.sheets else "blank sheets to fill in"
    return with_cautions([*lines, "", f"{'Written:':<10}{output}, {pages}",
                          headed("Next:", _PRINT)])


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

"""A page to take into the darkroom and write on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tonewright.errors import counted
from tonewright.files.pages import SheetToPrint, Worksheet
from tonewright.show.pages.page import NO_TIME, PRINT, cut, page
from tonewright.show.report import report

STEPS = ("coat", "dry", "expose", "develop", "clear", "wash", "dry", "check")
SHEETS_PER_PAGE = 5
_THIRDS = ("", "⅓", "⅔")


def worksheet_page(sheet: Worksheet) -> str:
    """The HTML of the pages: `SHEETS_PER_PAGE` negatives on each, without negatives blanks."""
    rows: list[SheetToPrint | None] = [*sheet.sheets] or [None] * SHEETS_PER_PAGE
    pages = [rows[i : i + SHEETS_PER_PAGE] for i in range(0, len(rows), SHEETS_PER_PAGE)]
    return page("worksheet.html", sheet=sheet, curve=sheet.curve, pages=pages, steps=STEPS,
                per_page=SHEETS_PER_PAGE,
                ladder=[(rung_words(n), str(time), n == 0) for n, time in sheet.ladder],
                materials=", ".join(cut(m, 60) for entry in ("paper", "coating", "developer")
                                    if (m := getattr(sheet.curve.setup, entry))),
                sensitiser=sensitiser_words(sheet), size_words=size_words, area_words=area_words)


def rung_words(thirds: int) -> str:
    """``+⅔ stop``; of the time itself ``base``."""
    if not thirds:
        return "base"
    whole, part = divmod(abs(thirds), 3)
    return f"{'+' if thirds > 0 else '−'}{whole or ''}{_THIRDS[part]} stop"


def size_words(size_mm: tuple[float, float] | None) -> str:
    """``203 × 254 mm``; empty where it is not known."""
    return "" if size_mm is None else f"{size_mm[0]:.0f} × {size_mm[1]:.0f} mm"


def area_words(size_mm: tuple[float, float] | None) -> str:
    """``516 cm²``; empty where it is not known."""
    return "" if size_mm is None else f"{size_mm[0] * size_mm[1] / 100.0:.0f} cm²"


def sensitiser_words(sheet: Worksheet) -> str:
    """What the amounts were worked out from; empty where none was."""
    coating = sheet.coating
    if coating.ml is None or coating.ml_for_mm is None:
        return ""
    return f"{coating.ml:g} ml for {size_words(coating.ml_for_mm)}"


def worksheet_text(sheet: Worksheet, output: Path) -> str:
    """What stands on the pages for the darkroom."""
    facts = [("time", NO_TIME if sheet.time is None else f"print for {sheet.time}")]
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
                  f"{output}, {pages}", PRINT, exposes=True)


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


def worksheet_json(sheet: Worksheet) -> dict[str, Any]:
    """What stands on the pages, under the names the command line promises."""
    return {
        "curve": sheet.curve.name, "short_id": sheet.short_id,
        "printing_time_s": None if sheet.time is None else sheet.time.value,
        "time_unit": None if sheet.time is None else sheet.time.unit,
        "ladder": [{"stops": round(n / 3.0, 4), "time_s": t.value} for n, t in sheet.ladder],
        "coating_margin_mm": sheet.coating.margin_mm,
        "sheets": [{
            "negative": s.name, "size_mm": s.size_mm and [round(v, 1) for v in s.size_mm],
            "coated_mm": s.coated_mm and [round(v, 1) for v in s.coated_mm],
            "coated_cm2": s.coated_mm and round(s.coated_mm[0] * s.coated_mm[1] / 100.0, 1),
            "sensitiser_ml": None if s.ml is None else round(s.ml, 2), "time": s.time,
            "other_curve": s.other_curve} for s in sheet.sheets],
    }

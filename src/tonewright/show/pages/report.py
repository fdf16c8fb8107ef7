"""A page about a curve, to pin up over the bench."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tonewright import scales
from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.curve.next_step import next_step
from tonewright.curve.prints import patch_places
from tonewright.errors import capital
from tonewright.files.pages import Report
from tonewright.frozen import dataclass
from tonewright.record.setup import SETUP_NAMES
from tonewright.show.check_text import cause_text, what_to_do
from tonewright.show.curve_text import found_in, next_step_words
from tonewright.show.findings import sentence
from tonewright.show.pages.page import NO_TIME, PRINT, cut, page
from tonewright.show.report import report as set_report

AIMS = 11
DOUBT_LINES, LINE_LETTERS, DOUBT_LETTERS = 9, 56, 224
"""What the page has room for."""
WIDTH, HEIGHT = 560.0, 400.0
"""Of the field of the curve, in units of the drawing."""
_ELSEWHERE = ("printing_time", "date", "notes", "ink_colour")
"""Entries of the setup that stand elsewhere on the page, or say nothing at the bench."""


@dataclass(frozen=True)
class AimRow:
    """One tone: what the picture asks for, and what to measure on the print."""

    image_lightness: float
    print_lightness: float
    density: float
    level: float
    """Ink, 0 to 1."""


def aims(curve: Curve) -> tuple[AimRow, ...]:
    """Eleven tones from black to white."""
    image = np.linspace(0.0, 100.0, AIMS)
    light = curve.print_lightness_at(image)
    density = scales.lightness_to_density(np.maximum(light, 1e-3))
    rows = zip(image, light, density, curve.level_at(image), strict=True)
    return tuple(AimRow(*map(float, row)) for row in rows)


def report_page(report: Report) -> str:
    """The HTML of the page."""
    curve, setup = report.curve, report.curve.setup
    rows = aims(curve)
    doubts, more = _doubts(report)
    return page(
        "report.html", curve=curve, report=report, aims=rows, chart=_drawing(curve),
        setup=[(name.replace("_", " "), cut(text, 120)) for name in SETUP_NAMES
               if name not in _ELSEWHERE and (text := getattr(setup, name))],
        print_range=rows[0].density - rows[-1].density,
        density_words=density_words(curve), doubts=doubts, more_doubts=more,
        doubt_lines=DOUBT_LINES, amended=_amended(report),
        check=_check(report.checks[0]) if report.checks else None,
        less_words=less_words(report), next_words=next_line(report))


def less_words(report: Report) -> str:
    """How much shorter the shorter time is."""
    return "a third of a stop less" if report.process is None else "one step less"


def density_words(curve: Curve) -> str:
    """What the aim densities are."""
    kind = "visual density" if curve.scale == "visual-density" else "density of luminance"
    return f"{kind}, above the bare paper" if curve.relative_to_paper else kind


def next_line(report: Report) -> str:
    """What to do next at the bench."""
    if report.checks and not report.checks[0].passes:
        return what_to_do(report.checks[0])
    step = next_step(report.curve)
    if step.code != "make_negative":
        return next_step_words(step)
    return ("make negatives through this curve, print them"
            + (f" for {report.time}" if report.time else "")
            + ", and check a print every few sheets (tonewright check).")


def _doubts(report: Report) -> tuple[list[str], str]:
    """What the curve, its strip and its newest check say against it, the gravest first, as far as
    there is room; and how many more there are."""
    strip = () if report.process is None else report.process.findings
    newest = report.checks[0].findings if report.checks else ()
    found = [*dict.fromkeys((*found_in(report.curve), *strip, *newest))]
    found.sort(key=lambda f: (not f.bears_on_print, f.kind == "note"))
    shown: list[str] = []
    room = DOUBT_LINES
    for one in found:
        text = cut(sentence(one), DOUBT_LETTERS)
        room -= -(-len(text) // LINE_LETTERS)
        if room < 0:
            return shown, f"And {len(found) - len(shown)} more, in the curve's own report."
        shown.append(capital(text))
    return shown, ""


def _amended(report: Report) -> tuple[str, str] | None:
    """Whose time the newest check gives instead of the curve's, and that time."""
    check = report.checks[0] if report.checks else None
    if check is None or check.passes or check.next_time in (None, report.time):
        return None
    of = f"check of {check.date}" if check.date else "last check"
    return f"The {of} says", str(check.next_time)


def _check(check: Check) -> str:
    """The newest check in one line."""
    on = f"Print of {check.date}" if check.date else "Last print checked"
    if check.passes:
        return (f"{on}: what the curve promises, {check.difference_lightness_rms:.1f} L* off on the"
                " whole.")
    return f"{on}: not what the curve promises. Cause: {cause_text(check)}."


def _drawing(curve: Curve) -> dict[str, Any]:
    """The print response with its band and readings, as points and paths of an SVG: lightness of
    the print (0 to 100 upwards) over ink (0 to 100 % to the right)."""
    table, found = curve.response, curve.summary
    low, middle, high = ([*map(_place, table.level.tolist(), lightness.tolist())] for lightness in (
        table.lightness_low, table.lightness, table.lightness_high))

    def dots(counted: bool) -> str:  # lines without length: their round ends are the dots
        return "".join(f"M{_place(p.level, p.lightness)}h0" for p in patch_places(curve)
                       if (p.counts and not p.doubtful) is counted)

    return {"curve": " ".join(middle), "band": " ".join([*low, *reversed(high)]),
            "counted": dots(True), "others": dots(False), "width": WIDTH, "height": HEIGHT,
            "ends": (WIDTH * found.level_black, WIDTH * found.level_white)}


def _place(level: float, lightness: float) -> str:
    return f"{WIDTH * level:.1f},{HEIGHT * (1.0 - min(max(lightness, 0.0), 100.0) / 100.0):.1f}"


def report_text(page: Report, output: Path) -> str:
    """What stands on the page about a curve."""
    rows = aims(page.curve)
    facts = [("time", NO_TIME if page.time is None else
              f"print for {page.time}; {less_words(page)}: {page.less}"),
             ("black", f"L* {rows[0].print_lightness:.1f}"),
             ("white", f"L* {rows[-1].print_lightness:.1f}"),
             ("aims", f"picture L* 0 to 100 by tens, {density_words(page.curve)}: "
              + ", ".join(f"{row.density:.2f}" for row in rows))]
    if page.checks:
        facts.append(("checks", ", ".join(check.name for check in page.checks)))
    return set_report(f"Page for {page.curve.name} ({page.short_id})",
                      [*facts, ("do next", next_line(page))], output, PRINT, exposes=True)


def report_json(report: Report) -> dict[str, Any]:
    """What stands on the page, under the names the command line promises."""
    doubts, more = _doubts(report)
    rows = aims(report.curve)
    return {
        "curve": report.curve.name, "short_id": report.short_id,
        "printing_time_s": None if report.time is None else report.time.value,
        "one_step_less_s": None if report.less is None else report.less.value,
        "time_unit": None if report.time is None else report.time.unit,
        "black_lightness": round(rows[0].print_lightness, 3),
        "white_lightness": round(rows[-1].print_lightness, 3),
        "negative_density_range": report.curve.summary.negative_density_range,
        "aims": [{"image_lightness": round(row.image_lightness, 3),
                  "print_lightness": round(row.print_lightness, 3),
                  "density": round(row.density, 4), "level": round(row.level, 5)}
                 for row in rows],
        "doubts": [*filter(None, (*doubts, more))],
        "checks": [check.name for check in report.checks],
    }

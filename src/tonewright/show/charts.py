"""Pictures for a page, as the options of a chart: plain lists and texts, drawn in the browser.

Series are named, and points carry their rows, so that a click on one can be told.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.curve.prints import patch_places
from tonewright.numeric.student import WITHIN_95
from tonewright.scales import Array
from tonewright.scan.scanner import ScannerResponse
from tonewright.show.strip_findings import step_name
from tonewright.strip.findings import StepPlace
from tonewright.strip.places import response_stops, step_stops
from tonewright.strip.process import Process
from tonewright.strip.readings import Strip
from tonewright.strip.sketch import sketch, step_exposures
from tonewright.strip.tablet import Tablet

Options = dict[str, Any]
MOST_STOPS = 3.0
"""Stops beyond the base printing time that a strip's picture shows."""
INK, BAND, POINT, SECOND, DOUBT = "ink", "band", "point", "second", "doubt"
"""Colours by what they are for: a page gives each its own, in daylight and under a safelight."""


_HALVES = (("film", POINT, "steps under the film"), ("bare", SECOND, "bare steps"))


def axis(name: str, low: float, high: float, decimals: int = 0) -> Options:
    """One axis, numbered."""
    return {"type": "value", "name": name, "min": low, "max": high, "decimals": decimals}


def line(name: str, x: Array, y: Array, colour: str, *, dashed: bool = False) -> Options:
    """A curve through points."""
    return {"kind": "line", "name": name, "colour": colour, "dashed": dashed,
            "data": [[_short(a), _short(b)] for a, b in zip(x, y, strict=True)]}


def band(name: str, x: Array, low: Array, high: Array) -> Options:
    """What lies between two curves."""
    return {"kind": "band", "name": name, "colour": BAND,
            "data": [[*map(_short, row)] for row in zip(x, low, high, strict=True)]}


def points(
    name: str, places: Iterable[tuple[float, float, str, int]], colour: str, *,
    hollow: bool = False,
) -> Options:
    """Single readings: x, y, the name of each and the row it is of."""
    return {"kind": "points", "name": name, "colour": colour, "hollow": hollow,
            "data": [{"value": [_short(x), _short(y)], "name": label, "row": row}
                     for x, y, label, row in places]}


def upright(label: str, x: float) -> Options:
    """A line across the picture at one place."""
    return {"kind": "upright", "name": label, "colour": INK, "at": _short(x)}


def strip_chart(process: Process) -> Options:
    """Density over exposure: the steps, the response through them, the base printing time."""
    known = process.summary.next_time is None
    stops = response_stops(process)
    aside = set(process.summary.set_aside)
    series = [band("where the response lies, 95 times in 100" if known else
                   "where the response may lie: black was not reached",
                   stops, process.density_low, process.density_high),
              line("process response", stops, process.density, INK)]
    patches = process.strip.patches
    for half, colour, label in _HALVES:
        rows = [i for i, p in enumerate(patches) if p.through == half]
        for hollow, those in ((False, [i for i in rows if i not in aside]),
                              (True, [i for i in rows if i in aside])):
            if those:
                series.append(points(
                    f"{label}, set aside" if hollow else label,
                    [(step_stops(process, i), p.density,
                      step_name(StepPlace(p.step, p.through, p.print_name)), p.step)
                     for i, p in ((i, patches[i]) for i in those)],
                    DOUBT if hollow else colour, hollow=hollow))
    series.append(upright("base printing time" if known else "the strip's time", 0.0))
    top = float(np.ceil(10.0 * max(process.density_high[-1], process.strip.density.max())) / 10.0)
    return {"x": axis("exposure, stops", float(np.floor(stops[0])),
                      min(float(np.ceil(stops[-1])), MOST_STOPS)),
            "y": axis("density of the print", 0.0, top, 1), "series": series}


def scanner_chart(response: ScannerResponse) -> Options:
    """Density over the scan's values: the known steps, and the response through them."""
    percent, sd = 100.0 * response.code, response.density_sd
    series = [band("how sure, 95 times in 100", percent, response.density - WITHIN_95 * sd,
                   response.density + WITHIN_95 * sd),
              line("scanner response", percent, response.density, INK)]
    for label, colour, used in (("steps of the gray scale", POINT, True),
                                ("not counted: clipped", DOUBT, False)):
        if those := [(100.0 * s.code, s.density, f"step {n}", n)
                     for n, s in enumerate(response.known, 1) if s.used is used]:
            series.append(points(label, those, colour, hollow=not used))
    top = float(np.ceil(10.0 * max(s.density for s in response.known)) / 10.0)
    return {"x": axis("value in the scan, % of white", 0.0, 100.0),
            "y": axis("density", 0.0, top, 1), "series": series}


def strip_sketch(
    strip: Strip, tablet: Tablet, film_density: float | None, start_stops: float
) -> Options:
    """A strip while it is typed: its steps and a line through them; ``start_stops`` is where the
    axis begins, from clear film at the strip's longest time."""
    stops = step_exposures(strip, tablet, film_density)
    x, y = sketch(stops, strip.density)
    series = [line("drawn quickly: the fit follows", x - start_stops, y, INK, dashed=True)]
    for half, colour, label in _HALVES:
        rows = [(float(stops[i]) - start_stops, p.density, f"step {p.step}", p.step)
                for i, p in enumerate(strip.patches) if p.through == half]
        if rows:
            series.append(points(label, rows, colour))
    top = float(np.ceil(10.0 * strip.density.max()) / 10.0)
    return {"x": axis("exposure, stops", float(np.floor(x[0] - start_stops)),
                      min(float(np.ceil(x[-1] - start_stops)), MOST_STOPS)),
            "y": axis("density of the print", 0.0, top, 1), "series": series}


def _short(value: float) -> float:
    return round(float(value), 4)


def curve_charts(curve: Curve) -> tuple[Options, Options]:
    """How the print answers to ink, with its readings; and the correction, with its aim."""
    table, correction = curve.response, curve.correction
    percent = 100.0 * table.level
    patches = [*enumerate(patch_places(curve))]
    series = [band("where the curve lies, 95 times in 100", percent, table.lightness_low,
                   table.lightness_high),
              line("print lightness", percent, table.lightness, INK)]
    for label, colour, hollow, those in (
            ("measured patches", POINT, False, [p for p in patches if p[1].counts
                                                and not p[1].doubtful]),
            ("doubtful", DOUBT, False, [p for p in patches if p[1].counts and p[1].doubtful]),
            ("not counted", DOUBT, True, [p for p in patches if not p[1].counts])):
        if those:
            series.append(points(label, [(100.0 * p.level, p.lightness, p.name, row)
                                         for row, p in those], colour, hollow=hollow))
    ink = axis("ink on the film, % (0 is clear film)", 0.0, 100.0)
    tone = axis("lightness of the picture, L*", 0.0, 100.0)
    image = correction.image_lightness
    return (
        {"x": ink, "y": axis("lightness of the print, L*", 0.0, 100.0), "series": series},
        {"x": tone, "y": axis("ink on the film, % (dashed: lightness of the print, L*)",
                              0.0, 100.0), "series": [
            band("how sure, 95 times in 100", image, 100.0 * correction.level_low,
                 100.0 * correction.level_high),
            line("ink to print", image, 100.0 * correction.level, INK),
            line("aim: lightness of the print", image, curve.print_lightness_at(image), POINT,
                 dashed=True)]})


def check_chart(check: Check) -> Options:
    """How far each tone of a print is from its aim, and how far it may be."""
    tones = sorted(enumerate(check.tones), key=lambda t: t[1].image_lightness)
    image = np.array([t.image_lightness for _, t in tones])
    half = np.array([WITHIN_95 * t.difference_lightness_sd for _, t in tones])
    most = float(np.ceil(max(5.0, *(abs(t.difference_lightness) for _, t in tones), *half)))
    return {"x": axis("lightness of the picture, L*", 0.0, 100.0),
            "y": axis("print lighter (+) or darker (−) than its aim, L*", -most, most),
            "series": [band("may be off by this much", image, -half, half),
                       line("as aimed", np.array([0.0, 100.0]), np.zeros(2), INK),
                       points("print", [(t.image_lightness, t.difference_lightness,
                                         f"picture L* {t.image_lightness:.0f}", row)
                                        for row, t in tones], DOUBT)]}

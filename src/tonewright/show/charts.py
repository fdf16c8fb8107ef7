"""Pictures for a page, as the options of a chart that ECharts draws in the browser.

Series are named, and points carry their rows, so that a click on one can be told.
"""

from __future__ import annotations

import json
import math
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
from tonewright.strip.process import Process
from tonewright.strip.readings import Strip
from tonewright.strip.sketch import sketch, step_exposures
from tonewright.strip.tablet import Tablet

Options = dict[str, Any]
MOST_STOPS = 3.0
"""Stops beyond the base printing time that a strip's picture shows."""
INK, BAND, POINT, SECOND, DOUBT = "#5b3a1e", "#e3d6bd", "#2a241d", "#7a6a3a", "#96391a"
"""Colours by daylight.  Under the safelight the page inverts and reddens the whole picture."""
_STEPS = 8
"""At most so many numbered steps along an axis."""
_ICONS: dict[str, Options] = {
    "custom": {"icon": "rect"}, "scatter": {"icon": "circle"}, "line": {}}
"""In the legend: a band, a point, and a line as it is drawn."""
_TEXT = {"color": POINT, "fontSize": 15}
_BAND = """(params, api) => {{
  if (params.dataIndex) return;
  const rows = {rows};
  const low = rows.map(r => api.coord([r[0], r[1]])), high = rows.map(r => api.coord([r[0], r[2]]));
  return {{type: 'polygon', shape: {{points: low.concat(high.reverse())}},
          style: {{fill: '{colour}'}}, silent: true}};
}}"""
_HALVES = (("film", POINT, "steps under the film"), ("bare", SECOND, "bare steps"))


def picture(x: Options, y: Options, series: list[Options]) -> Options:
    """A whole picture."""
    return {
        "animation": False, "textStyle": {"fontFamily": "Georgia, serif"},
        "grid": {"left": 62, "right": 24, "top": 16, "bottom": 104},
        "legend": {"bottom": 0, "textStyle": _TEXT, "itemGap": 18, "itemWidth": 30, "data": [
            {"name": s["name"], **_ICONS[s["type"]]} for s in series if "markLine" not in s]},
        "tooltip": {"trigger": "item", "textStyle": {"fontSize": 15}},
        "xAxis": {**x, "nameGap": 34}, "yAxis": {**y, "nameGap": 44}, "series": series,
    }


def axis(name: str, low: float, high: float) -> Options:
    """One axis, numbered in even steps."""
    tens = 10.0 ** math.floor(math.log10((high - low) / _STEPS))
    step = next(n * tens for n in (1.0, 2.0, 5.0, 10.0) if (high - low) / (n * tens) <= _STEPS)
    even = [abs(end / step - round(end / step)) < 1e-6 for end in (low, high)]
    return {
        "minInterval": step, "maxInterval": step,
        "type": "value", "name": name, "min": low, "max": high,
        "nameLocation": "middle", "nameTextStyle": _TEXT,
        "axisLabel": {**_TEXT, "showMinLabel": even[0], "showMaxLabel": even[1]},
        "splitLine": {"lineStyle": {"color": "#eadfca"}},
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": "#8f8270"}},
    }


def line(name: str, x: Array, y: Array, colour: str, *, dashed: bool = False) -> Options:
    """A curve through points."""
    return {"name": name, "type": "line", "showSymbol": False, "z": 2, "silent": True,
            "data": [[_short(a), _short(b)] for a, b in zip(x, y, strict=True)],
            "itemStyle": {"opacity": 0},  # the legend would put a point on the line
            "lineStyle": {"color": colour, "width": 2.5, "type": "dashed" if dashed else "solid"}}


def band(name: str, x: Array, low: Array, high: Array) -> Options:
    """What lies between two curves."""
    rows = [[*map(_short, row)] for row in zip(x, low, high, strict=True)]
    return {"name": name, "itemStyle": {"color": BAND}, "type": "custom", "clip": True, "z": 1,
            "silent": True, "data": [row[:2] for row in rows[:1]],
            ":renderItem": _BAND.format(rows=json.dumps(rows), colour=BAND)}


def points(
    name: str, places: list[tuple[float, float, str, int]], colour: str, hollow: bool = False
) -> list[Options]:
    """Single readings: x, y, the name of each and the row it is of; empty where there are none."""
    style = {"color": "transparent", "borderColor": colour, "borderWidth": 2} if hollow else \
        {"color": colour}
    return [{"name": name, "type": "scatter", "z": 3, "itemStyle": style,
             "symbolSize": 13 if hollow else 9,
             "data": [{"value": [_short(x), _short(y)], "name": label, "row": row}
                      for x, y, label, row in places],
             "tooltip": {":formatter": "p => document.createTextNode(p.name).textContent"
                                       ".replace(/[&<>]/g, '') + ': ' + p.value[1]"}}
            ] if places else []


def upright(label: str, x: float) -> Options:
    """A line across the picture at one place."""
    return {"name": label, "itemStyle": {"color": INK}, "type": "line", "data": [], "silent": True,
            "markLine": {
                "symbol": "none", "silent": True, "animation": False,
                "lineStyle": {"color": INK, "type": "dotted", "width": 1.5},
                "label": {"formatter": label, "position": "insideStartTop", **_TEXT},
                "data": [{"xAxis": _short(x)}]}}


def strip_chart(process: Process) -> Options:
    """Density over exposure: the steps, the response through them, the base printing time."""
    known = process.summary.next_time is None
    stops = process.stops
    series = [band("where the response lies, 95 times in 100" if known else
                   "where the response may lie: black was not reached",
                   stops, process.density_low, process.density_high),
              line("process response", stops, process.density, INK)]
    for half, colour, label in _HALVES:
        for aside in (False, True):
            series += points(
                f"{label}, set aside" if aside else label,
                [(process.step_stops(i), p.density,
                  step_name(StepPlace(p.step, p.through, p.print_name)), p.step)
                 for i, p in enumerate(process.strip.patches)
                 if p.through == half and (i in process.summary.set_aside) is aside],
                DOUBT if aside else colour, aside)
    series.append(upright("base printing time" if known else "the strip's time", 0.0))
    return _over_exposure(stops, max(process.density_high[-1], process.strip.density.max()), series)


def scanner_chart(response: ScannerResponse) -> Options:
    """Density over the scan's values: the known steps, and the response through them."""
    percent, sd = 100.0 * response.code, response.density_sd
    series = [band("how sure, 95 times in 100", percent, response.density - WITHIN_95 * sd,
                   response.density + WITHIN_95 * sd),
              line("scanner response", percent, response.density, INK)]
    for label, colour, used in (("steps of the gray scale", POINT, True),
                                ("not counted: clipped", DOUBT, False)):
        series += points(label, [(100.0 * s.code, s.density, f"step {n}", n)
                                 for n, s in enumerate(response.known, 1) if s.used is used],
                         colour, not used)
    top = _tenths_up(max(s.density for s in response.known))
    return picture(axis("value in the scan, % of white", 0.0, 100.0), axis("density", 0.0, top),
                   series)


def strip_sketch(
    strip: Strip, tablet: Tablet, film_density: float | None, start_stops: float
) -> Options:
    """A strip while it is typed: its steps and a line through them; ``start_stops`` is where the
    axis begins, from clear film at the strip's longest time."""
    stops = step_exposures(strip, tablet, film_density)
    x, y = sketch(stops, strip.density)
    series = [line("drawn quickly: the fit follows", x - start_stops, y, INK, dashed=True)]
    for half, colour, label in _HALVES:
        series += points(label, [
            (float(stops[i]) - start_stops, p.density, f"step {p.step}", p.step)
            for i, p in enumerate(strip.patches) if p.through == half], colour)
    return _over_exposure(x - start_stops, strip.density.max(), series)


def _over_exposure(stops: Array, densest: float, series: list[Options]) -> Options:
    """The picture of a strip."""
    return picture(axis("exposure, stops", float(np.floor(stops[0])),
                        min(float(np.ceil(stops[-1])), MOST_STOPS)),
                   axis("density of the print", 0.0, _tenths_up(densest)), series)


def _tenths_up(density: float) -> float:
    return float(np.ceil(10.0 * density) / 10.0)


def _short(value: float) -> float:
    return round(float(value), 4)


def curve_charts(curve: Curve) -> tuple[Options, Options]:
    """How the print answers to ink, with its readings; and the correction, with its aim."""
    table, correction = curve.response, curve.correction
    percent = 100.0 * table.level
    series = [band("where the curve lies, 95 times in 100", percent, table.lightness_low,
                   table.lightness_high),
              line("print lightness", percent, table.lightness, INK)]
    patches = [*enumerate(patch_places(curve))]
    for label, colour, hollow, those in (
            ("measured patches", POINT, False, [p for p in patches if p[1].counts
                                                and not p[1].doubtful]),
            ("doubtful", DOUBT, False, [p for p in patches if p[1].counts and p[1].doubtful]),
            ("not counted", DOUBT, True, [p for p in patches if not p[1].counts])):
        series += points(label, [(100.0 * p.level, p.lightness, p.name, row) for row, p in those],
                         colour, hollow)
    ink = axis("ink on the film, % (0 is clear film)", 0.0, 100.0)
    tone = axis("lightness of the picture, L*", 0.0, 100.0)
    image = correction.image_lightness
    return (
        picture(ink, axis("lightness of the print, L*", 0.0, 100.0), series),
        picture(tone, axis("ink on the film, % (dashed: lightness of the print, L*)", 0.0, 100.0), [
            band("how sure, 95 times in 100", image, 100.0 * correction.level_low,
                 100.0 * correction.level_high),
            line("ink to print", image, 100.0 * correction.level, INK),
            line("aim: lightness of the print", image, curve.print_lightness_at(image), POINT,
                 dashed=True)]))


def check_chart(check: Check) -> Options:
    """How far each tone of a print is from its aim, and how far it may be."""
    tones = sorted(enumerate(check.tones), key=lambda t: t[1].image_lightness)
    image = np.array([t.image_lightness for _, t in tones])
    half = np.array([WITHIN_95 * t.difference_lightness_sd for _, t in tones])
    most = float(np.ceil(max(5.0, *(abs(t.difference_lightness) for _, t in tones), *half)))
    return picture(
        axis("lightness of the picture, L*", 0.0, 100.0),
        axis("print lighter (+) or darker (−) than its aim, L*", -most, most),
        [band("may be off by this much", image, -half, half),
         line("as aimed", np.array([0.0, 100.0]), np.zeros(2), INK),
         *points("print", [(t.image_lightness, t.difference_lightness,
                            f"picture L* {t.image_lightness:.0f}", row) for row, t in tones],
                 DOUBT)])

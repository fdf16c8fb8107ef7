"""Pictures for a page, as the options of a chart: plain lists and texts, drawn in the browser.

Series are named, and points carry their rows, so that a click on one can be told.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from tonewright.scales import Array
from tonewright.show.strip_findings import step_name
from tonewright.strip.findings import StepPlace
from tonewright.strip.places import response_stops, step_stops
from tonewright.strip.process import Process

Options = dict[str, Any]
MOST_STOPS = 3.0
"""Stops beyond the base printing time that a strip's picture shows."""
INK, BAND, POINT, SECOND, DOUBT = "ink", "band", "point", "second", "doubt"
"""Colours by what they are for: a page gives each its own, in daylight and under a safelight."""


def axis(name: str, low: float, high: float, decimals: int = 0) -> Options:
    """One axis, numbered."""
    return {"type": "value", "name": name, "min": low, "max": high, "decimals": decimals}


def line(name: str, x: Array, y: Array, colour: str, *, dashed: bool = False) -> Options:
    """A curve through points."""
    return {"kind": "line", "name": name, "colour": colour, "dashed": dashed,
            "data": _pairs(x, y)}


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
    for half, colour, label in (("film", POINT, "steps under the film"),
                                ("bare", SECOND, "bare steps")):
        rows = [i for i, p in enumerate(patches) if p.through == half]
        for hollow, those in ((False, [i for i in rows if i not in aside]),
                              (True, [i for i in rows if i in aside])):
            if those:
                series.append(points(
                    f"{label}, set aside" if hollow else label,
                    [(step_stops(process, i), patches[i].density, _step(process, i),
                      patches[i].step) for i in those],
                    DOUBT if hollow else colour, hollow=hollow))
    series.append(upright("base printing time" if known else "the strip's time", 0.0))
    top = float(np.ceil(10.0 * max(process.density_high[-1], process.strip.density.max())) / 10.0)
    return {"x": axis("exposure, stops", float(np.floor(stops[0])),
                      min(float(np.ceil(stops[-1])), MOST_STOPS)),
            "y": axis("density of the print", 0.0, top, 1), "series": series}


def _step(process: Process, row: int) -> str:
    patch = process.strip.patches[row]
    return step_name(StepPlace(patch.step, patch.through, patch.print_name))


def _pairs(x: Array, y: Array) -> list[list[float]]:
    return [[_short(a), _short(b)] for a, b in zip(x, y, strict=True)]


def _short(value: float) -> float:
    return round(float(value), 4)

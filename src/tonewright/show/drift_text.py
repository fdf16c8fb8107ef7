"""What has moved over time, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.errors import counted
from tonewright.files.shelf import FoundDrift
from tonewright.record.provenance import short_id
from tonewright.shelf.drift import TIMES, Series
from tonewright.show.report import doubts, found_json, report, taken
from tonewright.show.shelf_findings import QUANTITY, change_words, month_words
from tonewright.show.shelf_text import filled, left_out_facts, setup_words
from tonewright.show.words import Fact

_UNITS = {"black_lightness": "L*", "white_lightness": "L*", "difference_lightness_mean": "L*",
          "log_exposure_range": "density"}
LABEL = {**QUANTITY, "printing_time": "time", "log_exposure_range": "range",
          "difference_lightness_mean": "error", "middle_tone_time": "mid tone"}

TELLING_LIGHTNESS, TELLING_DENSITY = 10.0, 1.0
"""Half-widths of limits (L*; density, or stops of time) beyond which they would let anything pass:
of a handful of prints, by Student's t."""


def drift_json(found: FoundDrift) -> dict[str, Any]:
    """All series with their limits, and what they show, under the names the command line
    promises; limits, days and slope on top are those of the leading time."""
    drift = found.drift
    leading = _series_json(drift.leading)
    return {
        "series": [*map(_series_json, drift.series)],
        "leading": drift.series.index(drift.leading),
        **{name: leading[name] for name in (
            "limits", "out_since", "moving_since", "drift_stops_per_month")},
        **found_json(drift.findings),
        "left_out": [asdict(one) for one in found.left_out],
    }


def _series_json(one: Series) -> dict[str, Any]:
    time, drawn, shift = one.quantity in TIMES, one.chart, one.chart.shift
    last = {name: _plain(one, getattr(drawn, of)[-1]) for name, of in (
        ("centre", "centre"), ("low", "low"), ("high", "high"), ("ewma_low", "average_low"),
        ("ewma_high", "average_high"))}
    return {
        "quantity": one.quantity, "of": "strips" if one.curve is None else "checks",
        "curve": None if one.curve is None else asdict(one.curve), "setup": asdict(one.setup),
        "scale": one.scale, "unit": (one.time_unit or "stops") if time else _UNITS[one.quantity],
        "date": [p.day for p in one.points], "file": [p.file for p in one.points],
        "values": [_plain(one, p.value) for p in one.points],
        "ewma": [_plain(one, v) for v in drawn.average],
        "limits": None if last["centre"] is None else last,
        **taken(one, "out_since", "moving_since"),
        "change": shift and round(shift.value, 4), "change_sd": shift and round(shift.sd, 4),
        "drift_stops_per_month": one.per_month and round(one.per_month, 4) if time else None,
        "drift_per_month": one.per_month and round(one.per_month, 4),
        "drift_per_month_sd": one.per_month_sd and round(one.per_month_sd, 4),
    }


def _plain(one: Series, value: float) -> float | None:
    """A value of a chart in the unit of its series."""
    if not np.isfinite(value):
        return None
    if one.quantity not in TIMES or one.time_unit is None:
        return round(float(value), 4)
    time = one.time(float(value))
    return None if time is None else round(time.value, 2)


def drift_text(found: FoundDrift, picture: Path | None) -> str:
    """The series of each setup, what has drifted, what was left out, and what to do next."""
    drift = found.drift
    days = [p.day for s in drift.series for p in s.points]
    prints = {(s.group, p.file) for s in drift.series for p in s.points}
    lines: list[Fact | str] = []
    several = len({s.scale for s in drift.series}) > 1
    before: Any = None
    for one in drift.series:
        if one.group != before:
            lines += ["", filled(_heading(one, several))]
            before = one.group
        lines.append((LABEL[one.quantity], "; ".join(_facts(one))))
    more = [*doubts(drift.findings), *left_out_facts(found.left_out)]
    out = [s for s in drift.series if s.out_since is not None]
    return report(f"Drift: {counted(len(prints), 'print')}, {min(days)} to {max(days)}",
                  [*lines, *([""] if more else []), *more], picture, _next(out), exposes=bool(out))


def _heading(one: Series, several_scales: bool) -> str:
    scale = f", {one.scale.replace('-', ' ')}" if several_scales else ""
    count = len(one.points)
    if one.curve is None:
        return f"{counted(count, 'strip')}{scale}: {setup_words(one.setup)}"
    return (f"{counted(count, 'check')}{scale} of the curve {one.curve.name}"
            f" ({short_id(one.curve.sha256)})")


def _facts(one: Series) -> Iterator[str]:
    drawn = one.chart
    yield f"now {said(one, one.points[-1].value)}"
    telling = TELLING_LIGHTNESS if _UNITS.get(one.quantity) == "L*" else TELLING_DENSITY
    if one.out_since is None and drawn.high[-1] - drawn.low[-1] > 2.0 * telling:
        yield f"usually {said(one, drawn.centre[-1])}; still too few prints for useful limits"
    elif np.isfinite(drawn.centre[-1]):
        yield (f"usually {said(one, drawn.centre[-1])}, single prints"
               f" {said(one, drawn.low[-1])} to {said(one, drawn.high[-1])}")
        yield _limits_words(one)
    if one.quantity in TIMES and one.per_month is not None and one.per_month_sd is not None:
        yield (f"{one.per_month:+.3f} ±{2.0 * one.per_month_sd:.3f} stop a month".replace("-", "−"))


def _limits_words(one: Series) -> str:
    shift, moving, out = one.chart.shift, one.moving_since, one.out_since
    if shift is None or moving is None or out is None:
        return "within its limits"
    months = month_words(moving.isoformat()), month_words(out.isoformat())
    before = "" if months[0] == months[1] else f", moving since about {months[0]}"
    return f"OUT since {months[1]}{before}: {change_words(one.quantity, shift.value)}"


def said(one: Series, value: float) -> str:
    time = one.time(float(value))
    if time is not None:
        return str(time.on_timer())
    if one.quantity in TIMES:
        return f"{-value:+.2f} stop of light" if one.time_unit is None else "no limit"
    places = 2 if one.quantity == "log_exposure_range" else 1
    return f"{value:.{places}f}" + ("" if places == 2 else " L*")


def _next(out: Sequence[Series]) -> str:
    if any(s.quantity in TIMES for s in out):
        return ("print one strip: it shows the time and whether the contrast has moved too. Then"
                " renew the curve:  tonewright renew OLD.curve.json --process NEW.process.json"
                " -o NEW.curve.json")
    if out:
        return "look for the cause named above, then print one strip and check one print"
    return "go on; measure a strip or check a print once a month"

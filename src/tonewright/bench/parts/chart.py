"""A picture of a result: the neutral description of ``show.charts``, drawn by ECharts."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from nicegui import ui
from nicegui.events import EChartPointClickEventArguments, GenericEventArguments

from tonewright.bench.parts.tags import Tag

_COLOURS = {"ink": "#5b3a1e", "band": "#e3d6bd", "point": "#2a241d", "second": "#7a6a3a",
            "doubt": "#96391a"}
"""By what they are for.  Under the safelight the page inverts and reddens the whole picture."""
_STEPS = 8
"""At most so many numbered steps along an axis."""
_ICONS: dict[str, dict[str, Any]] = {
    "custom": {"icon": "rect"}, "scatter": {"icon": "circle"}, "line": {}}
"""In the legend: a band, a point, and a line as it is drawn."""
_TEXT = {"color": "#2a241d", "fontSize": 15}
_BAND = """(params, api) => {{
  if (params.dataIndex) return;
  const rows = {rows};
  const low = rows.map(r => api.coord([r[0], r[1]])), high = rows.map(r => api.coord([r[0], r[2]]));
  return {{type: 'polygon', shape: {{points: low.concat(high.reverse())}},
          style: {{fill: '{colour}'}}, silent: true}};
}}"""


_KEYS = """(event) => { if (['ArrowLeft', 'ArrowRight', 'Enter', ' '].includes(event.key)) {
  event.preventDefault(); emit(event.key); } }"""


@dataclass(frozen=True)
class _Point:
    """A reading in the picture."""

    series: int
    place: int
    row: int
    name: str


class Chart:
    """A picture with a name for who does not see it; a point that is clicked, or gone to with the
    arrow keys and chosen with Enter, is told."""

    def __init__(self, label: str, on_point: Callable[[int], Any] | None = None) -> None:
        self._points: list[_Point] = []
        self._here = -1
        self._on_point = on_point
        with Tag("figure", classes="chart", aria_label=label, role="group"):
            self._chart = ui.echart({"series": []}, on_point_click=self._clicked)
            self._chart.classes("chart-drawn").props(f'role="img" aria-label={json.dumps(label)}')
            if on_point:
                keys = f"{label}: go through the points with the arrow keys, choose with Enter"
                self._chart.props(f'tabindex=0 role=application aria-label={json.dumps(keys)}')
                self._chart.on("keydown", self._pressed, js_handler=_KEYS)
            self._told = Tag("p", "", "unseen", role="status")
            self._empty = Tag("p", "", "chart-empty")
        self.show(None)

    def show(self, description: dict[str, Any] | None, instead: str = "") -> None:
        """Draw another picture; None: none yet, and ``instead`` says why."""
        self._empty.say(instead)
        self._empty.set_visibility(description is None and bool(instead))
        self._chart.set_visibility(description is not None)
        if description is None:
            return
        found = [(p["value"][0], number, place, p["row"], p["name"])
                 for number, s in enumerate(description["series"]) if s["kind"] == "points"
                 for place, p in enumerate(s["data"])]
        self._points = [_Point(*p) for _, *p in sorted(found, key=lambda p: (p[0], p[3]))]
        self._chart.options.clear()
        self._chart.options.update(_options(description))
        self._chart.update()

    def _clicked(self, event: EChartPointClickEventArguments) -> Any:
        there = (event.series_index, event.data_index)
        return self._choose([p for p in self._points if (p.series, p.place) == there])

    def _pressed(self, event: GenericEventArguments) -> Any:
        if event.args in ("Enter", " "):
            return self._choose(self._points[self._here:] if self._here >= 0 else [])
        step = 1 if event.args == "ArrowRight" else -1
        self._here = max(0, min(self._here + step, len(self._points) - 1))
        for one in self._points[self._here:][:1]:
            self._told.say(one.name)
            self._chart.run_chart_method("dispatchAction", {
                "type": "showTip", "seriesIndex": one.series, "dataIndex": one.place})
        return None

    def _choose(self, found: list[_Point]) -> Any:
        return self._on_point(found[0].row) if found and self._on_point else None


def _options(description: dict[str, Any]) -> dict[str, Any]:
    series = [*map(_series, description["series"])]
    return {
        "animation": False, "textStyle": {"fontFamily": "Georgia, serif"},
        "grid": {"left": 62, "right": 24, "top": 16, "bottom": 104},
        "legend": {"bottom": 0, "textStyle": _TEXT, "itemGap": 18, "itemWidth": 30, "data": [
            {"name": s["name"], **_ICONS[s["type"]]} for s in series if "markLine" not in s]},
        "tooltip": {"trigger": "item", "textStyle": {"fontSize": 15}},
        "xAxis": _axis(description["x"], 34), "yAxis": _axis(description["y"], 44),
        "series": series,
    }


def _axis(axis: dict[str, Any], gap: int) -> dict[str, Any]:
    low, high = axis["min"], axis["max"]
    tens = 10.0 ** math.floor(math.log10((high - low) / _STEPS))
    step = next(n * tens for n in (1.0, 2.0, 5.0, 10.0) if (high - low) / (n * tens) <= _STEPS)
    even = [abs(end / step - round(end / step)) < 1e-6 for end in (low, high)]
    return {
        "minInterval": step, "maxInterval": step,
        "type": "value", "name": axis["name"], "min": low, "max": high,
        "nameLocation": "middle", "nameGap": gap, "nameTextStyle": _TEXT,
        "axisLabel": {**_TEXT, "showMinLabel": even[0], "showMaxLabel": even[1]},
        "splitLine": {"lineStyle": {"color": "#eadfca"}},
        "axisLine": {"show": True, "onZero": False, "lineStyle": {"color": "#8f8270"}},
    }


def _series(one: dict[str, Any]) -> dict[str, Any]:
    colour = _COLOURS[one["colour"]]
    common = {"name": one["name"], "itemStyle": {"color": colour}}
    match one["kind"]:
        case "band":
            rows = json.dumps(one["data"])
            return {**common, "type": "custom", "clip": True, "z": 1, "silent": True,
                    "data": [row[:2] for row in one["data"][:1]],
                    ":renderItem": _BAND.format(rows=rows, colour=colour)}
        case "line":
            return {**common, "type": "line", "data": one["data"], "showSymbol": False, "z": 2,
                    "itemStyle": {"opacity": 0},  # the legend would put a point on the line
                    "silent": True, "lineStyle": {"color": colour, "width": 2.5,
                                                  "type": "dashed" if one["dashed"] else "solid"}}
        case "points":
            style = {"color": "transparent", "borderColor": colour, "borderWidth": 2} \
                if one["hollow"] else {"color": colour}
            data = [{"value": p["value"], "name": p["name"]} for p in one["data"]]
            return {**common, "type": "scatter", "data": data, "z": 3, "itemStyle": style,
                    "symbolSize": 13 if one["hollow"] else 9,
                    "tooltip": {":formatter": "p => document.createTextNode(p.name).textContent"
                                              ".replace(/[&<>]/g, '') + ': ' + p.value[1]"}}
        case _:
            return {**common, "type": "line", "data": [], "silent": True, "markLine": {
                "symbol": "none", "silent": True, "animation": False,
                "lineStyle": {"color": colour, "type": "dotted", "width": 1.5},
                "label": {"formatter": one["name"], "position": "insideStartTop", **_TEXT},
                "data": [{"xAxis": one["at"]}]}}

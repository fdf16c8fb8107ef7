"""A picture of a result, as ``show.charts`` has it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from nicegui import ui
from nicegui.events import EChartPointClickEventArguments, GenericEventArguments

from tonewright.bench.parts.tags import Tag

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

    def show(self, options: dict[str, Any] | None, instead: str = "") -> None:
        """Draw another picture; None: none yet, and ``instead`` says why."""
        self._empty.say(instead)
        self._empty.set_visibility(options is None and bool(instead))
        self._chart.set_visibility(options is not None)
        if options is None:
            return
        found = [(p["value"][0], number, place, p["row"], p["name"])
                 for number, s in enumerate(options["series"]) if s["type"] == "scatter"
                 for place, p in enumerate(s["data"])]
        self._points = [_Point(*p) for _, *p in sorted(found, key=lambda p: (p[0], p[3]))]
        self._chart.options.clear()
        self._chart.options.update(options)
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

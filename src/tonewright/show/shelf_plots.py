"""Pictures of what is kept: curves side by side and control charts, as PNG bytes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure

from tonewright.curve.document import Curve
from tonewright.scales import Array
from tonewright.shelf.drift import TIMES, Drift, Series
from tonewright.shelf.side_by_side import TONES, Compared
from tonewright.show.drift_text import LABEL, said
from tonewright.show.plots import BAND, DOUBT, INK, POINT, finish, panels, png
from tonewright.show.side_by_side import legend_words

_COLOURS = (INK, "#1f4e8c", "#2e7d32", "#b3261e", "#7b3fa0", "#00838f")
_DASHES = ("-", "--", "-.", ":")
MOST_ROWS = 9
"""Series in one picture; the report and its numbers have them all."""


def plot_side_by_side(curves: Sequence[Curve], compared: Sequence[Compared]) -> bytes:
    """Three panels: ink for each tone with its band, the tones of the print, and how far the
    others are from the first, against what the bands explain."""
    figure, (ink, tones, apart) = panels(14.0, 5.0, 3)
    for i, curve in enumerate(curves):
        colour, dash = _style(i)
        table = curve.correction
        ink.fill_between(table.image_lightness, 100.0 * table.level_low, 100.0 * table.level_high,
                         color=colour, alpha=0.18, lw=0)
        ink.plot(table.image_lightness, 100.0 * table.level, dash, color=colour, lw=1.6,
                 label=legend_words(curve))
        tones.plot(table.image_lightness, curve.print_lightness_at(table.image_lightness), dash,
                   color=colour, lw=1.6, label=curve.name)
    _finish(ink, "ink on the film, %", "Ink, with bands of 95 %")
    ink.set_ylim(0, 100)
    _finish(tones, "lightness of the print, L*", "Tones aimed at")
    tones.set_ylim(0, 100)
    for i, (curve, one) in enumerate(zip(curves[1:], compared, strict=True), 1):
        colour, dash = _style(i)
        apart.fill_between(TONES, -one.bands_lightness, one.bands_lightness, color=colour,
                           alpha=0.13, lw=0, label=f"what the bands of {curve.name} explain")
        apart.plot(TONES, one.difference_lightness, dash, color=colour, lw=1.6, label=curve.name)
        if one.differs:
            apart.plot(TONES[one.apart], one.difference_lightness[one.apart], ".", color=colour,
                       ms=4)
    apart.axhline(0.0, color=POINT, lw=0.8)
    most = max(float(np.max(np.abs([one.difference_lightness, one.bands_lightness])))
               for one in compared)
    apart.set_ylim(-1.15 * most - 0.1, 1.5 * most + 0.1)
    _finish(apart, "lighter (+) or darker (−), L*",
            "Printed as the first is (dots: more than both bands)")
    figure.suptitle("Curves side by side", fontsize=12)
    return png(figure)


def _style(place: int) -> tuple[str, str]:
    return _COLOURS[place % len(_COLOURS)], _DASHES[place // len(_COLOURS) % len(_DASHES)]


def _finish(axes: Axes, label: str, title: str) -> None:
    axes.set_title(title, fontsize=10)
    finish(axes, "upper left", xlim=(0, 100), xlabel="lightness of the picture, L*", ylabel=label)


def plot_drift(drift: Drift) -> bytes:
    """A row for each series: single prints on the left, their moving average on the right."""
    rows = sorted(drift.series, key=lambda s: s.group != drift.leading.group)[:MOST_ROWS]
    figure = Figure(figsize=(11.0, 0.6 + 2.1 * len(rows)), layout="constrained")
    for one, (left, right) in zip(rows, figure.subplots(len(rows), 2, squeeze=False), strict=True):
        drawn = one.chart
        _draw(left, one, drawn.values, (drawn.low, drawn.high), "single prints")
        _draw(right, one, drawn.average, (drawn.average_low, drawn.average_high),
              "moving average (EWMA)")
    left.set_xlabel("date")
    right.set_xlabel("date")
    figure.suptitle("What has moved over time, with limits from the scatter of the prints",
                    fontsize=12)
    return png(figure)


def _draw(
    axes: Axes, one: Series, values: Array, limits: tuple[Array, Array], what: str
) -> None:
    days: Any = [p.day for p in one.points]
    zero = _zero(one)
    low, high = (edge - zero for edge in limits)
    axes.fill_between(days, low, high, color=BAND, alpha=0.45, lw=0, label="limits")
    axes.plot(days, one.chart.centre - zero, color=INK, lw=0.8, ls=":", label="usual")
    axes.plot(days, values - zero, "-", color=POINT, lw=0.8)
    with np.errstate(invalid="ignore"):
        outside = (values < limits[0]) | (values > limits[1])
    axes.plot(days, values - zero, ".", color=POINT, ms=5)
    axes.plot([d for d, o in zip(days, outside, strict=True) if o], (values - zero)[outside], "o",
              mfc="none", mec=DOUBT, ms=9, ls="none", label="outside")
    if one.moving_since is not None:
        axes.axvline(one.moving_since, color=DOUBT, lw=1.0, ls="--")  # type: ignore[arg-type]
        axes.annotate("moving since", (one.moving_since, 0.92), (3, 0),
                      xycoords=("data", "axes fraction"), textcoords="offset points", fontsize=8,
                      color=DOUBT)
    of = f"{one.of}, " if one.of else ""
    axes.set_title(f"{of}{'strips' if one.curve is None else 'checks'}: {LABEL[one.quantity]},"
                   f" {what}", fontsize=9)
    axes.set_ylabel(_unit(one), fontsize=8)
    margin = (days[-1] - days[0]) / 40 or timedelta(1)
    axes.set_xlim(days[0] - margin, days[-1] + margin)
    axes.set_ylim(*_room(values - zero, (low[-1], high[-1])))
    axes.tick_params(labelsize=8)
    locator: Any = AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.grid(alpha=0.2)


def _room(values: Array, limits: tuple[float, float]) -> tuple[float, float]:
    """Lowest and highest to be shown: all values, and the limits as they are now; those of the
    first few values are far apart."""
    shown = np.array([*values, *limits])
    shown = shown[np.isfinite(shown)]
    low, high = (float(shown.min()), float(shown.max())) if shown.size else (0.0, 1.0)
    margin = 0.15 * (high - low) or 1.0
    return low - margin, high + margin


def _zero(one: Series) -> float:
    """What counts as 0: of a time the usual one, or the first."""
    if one.quantity not in TIMES:
        return 0.0
    centre = float(one.chart.centre[-1])
    return centre if np.isfinite(centre) else one.points[0].value


def _unit(one: Series) -> str:
    if one.quantity in TIMES:
        return f"stops slower than\n{said(one, _zero(one))}" if one.time_unit else "stops slower"
    return "density" if one.quantity == "log_exposure_range" else "L*"

"""Pictures of curves and prints, as PNG bytes.

matplotlib's object interface is used without pyplot: no window system, no global state.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.curve.prints import PatchPlace, patch_places
from tonewright.errors import visible
from tonewright.files.export.make import Export
from tonewright.files.negative.again import PLOT
from tonewright.negative.tones import encoding_lightness
from tonewright.numeric.student import WITHIN_95
from tonewright.record.provenance import made_by
from tonewright.scales import Array
from tonewright.show.check_text import cause_text
from tonewright.strip.process import Process

INK, BAND, POINT, DOUBT = "#5b3a1e", "#d9c3a5", "#2f2f2f", "#b3261e"
SECOND = "#1f4e8c"
_DPI = 110
LEGEND: dict[str, Any] = {"fontsize": 8, "framealpha": 1.0, "edgecolor": "none"}
_FRAMELESS = {"fontsize": 8, "frameon": False}
_PRINTS = (POINT, SECOND, DOUBT, "#3f7f3f", "#7a4f9a")
"""Colours of several prints of one check."""
MOST_NAMES = 10
"""Patches whose names are written beside them."""


def panels(width: float, height: float, columns: int = 1) -> tuple[Figure, list[Axes]]:
    """An empty picture of so many inches, and its panels side by side."""
    figure = Figure(figsize=(width, height), layout="constrained")
    return figure, [*figure.subplots(1, columns, squeeze=False)[0]]


def finish(axes: Axes, place: Any, legend: dict[str, Any] = LEGEND, **entries: Any) -> None:
    """Give a panel its legend and grid, and what `Axes.set` takes."""
    axes.set(**entries)
    axes.legend(loc=place, **legend)
    axes.grid(alpha=0.2)


def plot_curve(curve: Curve, old: Curve | None = None) -> bytes:
    """Two panels: how the print answers to ink, and the curve that corrects it; dashed in both
    the ``old`` curve that this one renews."""
    figure, (left, right) = panels(11.0, 5.2, 2)
    _draw_response(left, curve, old)
    _draw_correction(right, curve, old)
    figure.suptitle(f"{curve.name}: from ink to print, and from picture to ink", fontsize=12)
    return png(figure)


def _draw_response(axes: Axes, curve: Curve, old: Curve | None) -> None:
    table = curve.response
    percent = 100.0 * table.level
    axes.fill_between(percent, table.reading_low, table.reading_high, color=BAND, alpha=0.35,
                      lw=0, label="where a reading should lie")
    axes.fill_between(percent, table.lightness_low, table.lightness_high, color=BAND, lw=0,
                      label="where the curve lies, 95 times in 100")
    if old is not None:
        axes.plot(100.0 * old.response.level, old.response.lightness, "--", color=SECOND, lw=1.2,
                  label=f"before: {old.name}")
    axes.plot(percent, table.lightness, color=INK, lw=1.8, label="print lightness")
    _draw_patches(axes, patch_places(curve))
    for edge in (curve.summary.level_black, curve.summary.level_white):
        axes.axvline(100.0 * edge, color=INK, lw=0.8, ls=":")
    # where neither curve nor patches lie
    late = min(c.response.lightness_at(0.4) for c in (curve, old) if c is not None) < 30.0
    finish(axes, "upper left" if late else "lower right", xlim=(0, 100), ylim=(0, 100),
           xlabel="ink on the film, % (0 is clear film)", ylabel="lightness of the print, L*",
           title="What the paper does with the ink")


def _draw_patches(axes: Axes, patches: list[PatchPlace]) -> None:
    """Filled where they count, hollow and named where they do not, ringed where doubtful."""
    kinds: tuple[tuple[str, dict[str, Any], Callable[[PatchPlace], bool]], ...] = (
        ("measured patches", {"marker": ".", "color": POINT, "ms": 4},
         lambda p: p.counts and not p.moved),
        ("patches printed for another time, moved by it",
         {"marker": "D", "color": SECOND, "ms": 2.5}, lambda p: p.counts and p.moved),
        ("do not count", {"marker": "o", "mfc": "none", "mec": POINT, "mew": 0.8, "ms": 5},
         lambda p: not p.counts),
        ("doubtful", {"marker": "o", "mfc": "none", "mec": DOUBT, "ms": 9},
         lambda p: p.doubtful))
    for label, style, belongs in kinds:
        found = [p for p in patches if belongs(p)]
        if found:
            axes.plot([100.0 * p.level for p in found], [p.lightness for p in found], ls="none",
                      label=label, **style)
    for patch in [p for p in patches if not p.counts or p.doubtful][:MOST_NAMES]:
        axes.annotate(patch.name, (100.0 * patch.level, patch.lightness), (5, 4),
                      textcoords="offset points", fontsize=7, color=DOUBT)


def _draw_correction(axes: Axes, curve: Curve, old: Curve | None) -> None:
    table = curve.correction
    axes.fill_between(table.image_lightness, 100.0 * table.level_low, 100.0 * table.level_high,
                      color=BAND, lw=0, label="how sure, 95 times in 100")
    if old is not None:
        axes.plot(old.correction.image_lightness, 100.0 * old.correction.level, "--", color=SECOND,
                  lw=1.2, label=f"before: {old.name}")
    axes.plot(table.image_lightness, 100.0 * table.level, color=INK, lw=1.8, label="ink to print")
    axes.plot(table.image_lightness, curve.print_lightness_at(table.image_lightness), "-.",
              color=POINT, lw=1.0, label="aim: lightness of the print")
    axes.secondary_yaxis("right").set_ylabel("lightness of the print, L*")
    finish(axes, "upper left", xlim=(0, 100), ylim=(0, 100), xlabel="lightness of the picture, L*",
           ylabel="ink on the film, %", title="The correction curve")


def plot_points(made: Export) -> bytes:
    """The curve from picture to negative, both 0 to 255, and the points to type in."""
    figure, [axes] = panels(7.2, 7.0)
    lightness = encoding_lightness(str(made.encoding), 256)
    axes.plot(np.arange(256), made.curve.code_at(lightness) / 257.0, color=INK, lw=1.8,
              label="the curve")
    picture, negative, *_ = made.columns.values()
    axes.plot(picture, negative, "o", color=DOUBT, ms=5, label="points to type in")
    for x, y in zip(picture.tolist(), negative.tolist(), strict=True):
        left = x > 128.0
        axes.annotate(f"{x:.0f} → {y:.0f}", (x, y), (-7, -8) if left else (7, 5), fontsize=8,
                      textcoords="offset points", ha="right" if left else "left")
    words = str(made.encoding).replace(":", " ")
    finish(axes, "lower left", xlim=(0, 255), ylim=(0, 255), aspect="equal",
           xlabel=f"value of the picture ({words}), 0 to 255",
           ylabel="value of the negative, 0 to 255 (255 is clear film)",
           title=f"{made.curve.name}: from picture to negative",
           xticks=range(0, 256, 51), yticks=range(0, 256, 51))
    return png(figure)


def plot_process(process: Process) -> bytes:
    """The strip: measured steps, the response through them, and the base printing time."""
    figure, [axes] = panels(8.0, 4.8)
    known = process.summary.next_time is None
    stops = process.stops
    axes.fill_between(stops, process.density_low, process.density_high, color=BAND, lw=0,
                      label="95 % band of the response" if known else
                      "where the response may lie (black not reached)")
    axes.plot(stops, process.density, color=INK, lw=1.8, label="process response")
    for half, colour, label in (("film", POINT, "steps through the film"),
                                ("bare", SECOND, "bare steps")):
        rows = [i for i, p in enumerate(process.strip.patches) if p.through == half]
        place = {i: process.step_stops(i) for i in rows}
        if rows:
            axes.plot(list(place.values()), [process.strip.patches[i].density for i in rows], ".",
                      color=colour, ms=5, label=label)
    aside = process.summary.set_aside
    if aside:
        axes.plot([process.step_stops(i) for i in aside],
                  [process.strip.patches[i].density for i in aside], "o", mfc="none", mec=DOUBT,
                  ms=9, label="set aside")
    axes.axvline(0.0, color=INK, lw=0.8, ls=":")
    axes.annotate("clear film at the\n" + ("base printing time" if known else "strip's time"),
                  (0.0, 0.25), (6, 0),
                  textcoords="offset points", fontsize=8, color=INK)
    finish(axes, "upper left", xlim=(stops[0], min(stops[-1], 3.0)), xlabel="exposure, stops",
           ylabel="density of the print", title=f"{process.name}: density over exposure")
    return png(figure)


def plot_check(check: Check) -> bytes:
    """Two panels: where each tone landed, and how far off that is, as PNG bytes."""
    figure, (left, right) = panels(11.0, 5.2, 2)
    image = np.array([t.image_lightness for t in check.tones])
    sheets = [t.print_name for t in check.tones]
    _draw_tones(left, check, image, sheets)
    _draw_differences(right, check, image, sheets)
    verdict = "what the curve promises" if check.passes else cause_text(check)
    figure.suptitle(f"{check.name}: {verdict.split('. ')[0]}", fontsize=12)
    return png(figure)


def _draw_tones(axes: Axes, check: Check, image: Array, sheets: list[str | None]) -> None:
    order = np.argsort(image, kind="stable")
    aim = np.array([t.aim_lightness for t in check.tones])
    axes.plot(image[order], aim[order], color=INK, lw=1.8, label="aim")
    _draw_prints(axes, image, np.array([t.lightness for t in check.tones]), sheets)
    finish(axes, "upper left", _FRAMELESS, xlim=(-2, 102), ylim=(0, 100),
           xlabel="lightness of the picture, L*", ylabel="lightness of the print, L*",
           title="Where the tones landed")


def _draw_differences(
    axes: Axes, check: Check, image: Array, sheets: list[str | None]
) -> None:
    order = np.argsort(image, kind="stable")
    half = WITHIN_95 * np.array([t.difference_lightness_sd for t in check.tones])
    axes.fill_between(image[order], -half[order], half[order], color=BAND, lw=0,
                      label="good prints, 95 times in 100")
    axes.axhline(0.0, color=INK, lw=1.2)
    off = np.array([t.difference_lightness for t in check.tones])
    _draw_prints(axes, image, off, sheets)
    most = max(1.15 * float(np.max(np.abs(np.concatenate([off, half])))), 3.0)
    finish(axes, "upper right", _FRAMELESS, xlim=(-2, 102), ylim=(-most, 1.3 * most),
           xlabel="lightness of the picture, L*",
           ylabel="print lighter (+) or darker (−) than aimed, L*",
           title=f"How far off: {check.difference_lightness_rms:.1f} L* on the whole")


def _draw_prints(axes: Axes, image: Array, value: Array, sheets: list[str | None]) -> None:
    names = [*dict.fromkeys(sheets)]
    for number, name in enumerate(names):
        here = np.array([sheet == name for sheet in sheets])
        label = "print" if len(names) == 1 else name or "print"
        axes.plot(image[here], value[here], "o", color=_PRINTS[number % len(_PRINTS)], ms=4.5,
                  label=label if number < len(_PRINTS) else None)


def plot_errors(image_lightness: Array, errors: Iterable[tuple[str, Array]], title: str) -> bytes:
    """How far each way of printing, by its name, lands from its aim over the tone scale (L*)."""
    figure, [axes] = panels(8.0, 4.4)
    axes.axhspan(-1.0, 1.0, color="#e9e9e9", lw=0, label="within a just-visible step")
    # the third is dashed: it may lie on the second
    styles = zip((DOUBT, INK, SECOND, POINT), ("-", "-", "--", "-"), strict=True)
    for (label, error), (colour, line) in zip(errors, styles, strict=False):
        rms = float(np.sqrt(np.mean(error**2)))
        axes.plot(image_lightness, error, line, color=colour, lw=1.8,
                  label=f"{label}: {rms:.1f} L* on the whole")
    axes.axhline(0.0, color=POINT, lw=0.8)
    finish(axes, "best", {"fontsize": 9, "frameon": False}, xlim=(0, 100),
           xlabel="lightness of the picture, L*",
           ylabel="print lighter (+) or darker (−) than aimed, L*", title=title)
    return png(figure)


def plot_prints(prints: list[tuple[str, NDArray[np.float64]]]) -> bytes:
    """Pictures side by side, each a title and its lightness (L*, rows by columns)."""
    rows, columns = prints[0][1].shape
    width = 5.0
    figure, places = panels(width * len(prints), width * rows / columns + 0.4, len(prints))
    for axes, (title, lightness) in zip(places, prints, strict=True):
        # L* is close to even steps for the eye, and so is a screen's gray scale
        axes.imshow(lightness, cmap="gray", vmin=0.0, vmax=100.0, interpolation="antialiased")
        axes.set_title(title, fontsize=11)
        axes.set_axis_off()
    return png(figure)


def png(figure: Figure) -> bytes:
    """A figure as PNG bytes."""
    stream = io.BytesIO()
    figure.set_dpi(_DPI)
    for text in figure.findobj(Text):  # names are no formulas, and hold what they like
        text.set_parse_math(False)
        text.set_text("\n".join(map(visible, text.get_text().split("\n"))))
    canvas: Any = FigureCanvasAgg(figure)
    # as `Figure.savefig` does, which lays the picture out twice
    canvas.print_png(stream, metadata={
        "Software": None, "Description": f"{PLOT} by {made_by()}"})
    return stream.getvalue()

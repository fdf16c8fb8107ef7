"""Curves in one picture, as PNG bytes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from tonewright.curve.document import Curve
from tonewright.shelf.side_by_side import TONES, Compared
from tonewright.show.plots import INK, POINT, finish, panels, png
from tonewright.show.side_by_side import legend_words

_COLOURS = (INK, "#1f4e8c", "#2e7d32", "#b3261e", "#7b3fa0", "#00838f")
_DASHES = ("-", "--", "-.", ":")


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

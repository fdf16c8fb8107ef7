"""A checked print as a picture."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from tonewright.check.document import Check
from tonewright.numeric.student import WITHIN_95
from tonewright.scales import Array
from tonewright.show.check_text import cause_text
from tonewright.show.plots import BAND, DOUBT, INK, POINT, SECOND, finish, panels, png

_LEGEND = {"fontsize": 8, "frameon": False}
_COLOURS = (POINT, SECOND, DOUBT, "#3f7f3f", "#7a4f9a")


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
    finish(axes, "upper left", _LEGEND, xlim=(-2, 102), ylim=(0, 100),
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
    finish(axes, "upper right", _LEGEND, xlim=(-2, 102), ylim=(-most, 1.3 * most),
           xlabel="lightness of the picture, L*",
           ylabel="print lighter (+) or darker (−) than aimed, L*",
           title=f"How far off: {check.difference_lightness_rms:.1f} L* on the whole")


def _draw_prints(axes: Axes, image: Array, value: Array, sheets: list[str | None]) -> None:
    names = [*dict.fromkeys(sheets)]
    for number, name in enumerate(names):
        here = np.array([sheet == name for sheet in sheets])
        label = "print" if len(names) == 1 else name or "print"
        axes.plot(image[here], value[here], "o", color=_COLOURS[number % len(_COLOURS)], ms=4.5,
                  label=label if number < len(_COLOURS) else None)

"""The prints that tell of an ink, taken together: a target's own, and those behind other curves."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tonewright.curve.document import Curve
from tonewright.curve.recipe import PrintedTarget, Recipe, pooled
from tonewright.errors import OptionError
from tonewright.measured.readings import Readings
from tonewright.record.times import PrintingTime
from tonewright.scales import Array
from tonewright.strip.process import Process


@dataclass(frozen=True, eq=False)
class DerivedSettings:
    """What a derived curve is wanted for; None: the usual."""

    target_time: PrintingTime | None = None
    """What the target was printed for; None: the strip's time, as on one sheet."""
    printing_time: PrintingTime | None = None
    """What the curve shall hold for; None: the base printing time."""
    ink_from: tuple[Curve, ...] = ()
    """Other curves made with the same printer, film and ink, whose prints count too."""


def make_recipe(
    process: Process, readings: Readings | None, settings: DerivedSettings
) -> Recipe:
    """The recipe of a curve for ``process`` from readings of a target, from other curves' ink,
    or from both.

    Raises
    ------
    OptionError
        Nothing tells of the ink, what the target was printed for is not known, or scales or units
        do not go together.
    """
    processes = [process]
    prints = []
    if readings is not None:
        times = process.strip.times()
        if settings.target_time is None and len(times) > 1:
            raise OptionError(
                f"strips of {process.name} were printed for {' and '.join(map(str, times))}",
                "for which of them, or for what else, the target was printed must be known",
                "name the time that the target was printed for", code="target_time_unknown",
                time=str(times[0]).replace(" ", ""))
        prints.append(PrintedTarget(readings, 0, settings.target_time or times[0]))
    for other in settings.ink_from:
        recipe = recipe_of(other)
        first = len(processes)
        processes += recipe.processes
        prints += [replace(p, process=p.process + first) for p in prints_of(other)]
    if not prints:
        raise OptionError("nothing tells how dense the ink is", "it must be known from a print",
                          "name the readings of a target, or a curve made with the same ink",
                          code="ink_unknown")
    return pooled(tuple(processes), tuple(prints), 0, settings.printing_time or process.base_time)


def recipe_of(curve: Curve) -> Recipe:
    """What a curve was derived from; `OptionError` if it was fitted without a process."""
    if curve.recipe is None:
        raise OptionError(
            f"the curve {curve.name} was made without a process response",
            "how dense its ink is can only be told through one",
            "print a strip on its paper and make the curve again with it, or print a whole target",
            code="curve_without_process")
    return curve.recipe


def prints_of(curve: Curve) -> tuple[PrintedTarget, ...]:
    """The prints of a curve's recipe, without the patches that it leaves out."""
    return tuple(replace(p, left_out=tuple(dict.fromkeys((*p.left_out,
                                                          *curve.settings.left_out))))
                 for p in recipe_of(curve).prints)


def moved_patches(curve: Curve) -> tuple[Array, Array]:
    """Ink level and lightness (L*) of patches printed on the curve's process for another time.

    Each stands at the level that gets as much light at the curve's printing time:
    ``N(u') = N(u) + x0 - x``.  Patches that would need more or less ink than there is are left
    out, and so are those that do not count; shapes (n,).
    """
    recipe, negative = curve.recipe, curve.negative
    if recipe is None or negative is None:
        return np.empty(0), np.empty(0)
    process = recipe.processes[recipe.process]
    levels, lights = [], []
    for print_ in prints_of(curve):
        if print_.process != recipe.process or print_.time == recipe.printing_time:
            continue
        counts = np.array([p.patch not in print_.left_out for p in print_.readings.patches])
        wanted = np.interp(print_.readings.level[counts], negative.level, negative.density) \
            + process.shift(recipe.printing_time) - process.shift(print_.time)
        inside = (wanted >= negative.density[0]) & (wanted <= negative.density[-1])
        levels.append(np.interp(wanted[inside], negative.density, negative.level))
        lights.append(print_.readings.lightness[counts][inside])
    return np.concatenate(levels or [np.empty(0)]), np.concatenate(lights or [np.empty(0)])

"""The prints that tell of an ink, taken together: a target's own, and those behind other curves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tonewright.curve.document import Curve
from tonewright.curve.findings import DoubtfulPatchesCount, PatchesSetAside, ToneReversal
from tonewright.curve.fit import patch_names
from tonewright.curve.recipe import PrintedTarget, Recipe, pooled
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Readings
from tonewright.record.times import PrintingTime
from tonewright.scales import Array
from tonewright.strip.process import Process


def make_recipe(
    process: Process, readings: Readings | None, target_time: PrintingTime | None = None,
    printing_time: PrintingTime | None = None, ink_from: tuple[Curve, ...] = (),
) -> Recipe:
    """The recipe of a curve for ``process`` from readings of a target, from other curves' ink,
    or from both.

    ``target_time``: what the target was printed for; None: the strip's time, as on one sheet.
    ``printing_time``: what the curve shall hold for; None: the base printing time.  ``ink_from``:
    curves made with the same printer, film and ink, whose prints count too.

    Raises
    ------
    OptionError
        What the target was printed for is not known, or scales or units do not go together.
    """
    processes = [process]
    prints = []
    if readings is not None:
        times = process.strip.times()
        if target_time is None and len(times) > 1:
            raise OptionError(
                f"strips of {process.name} were printed for {' and '.join(map(str, times))}",
                "for which of them, or for what else, the target was printed must be known",
                "name the time that the target was printed for", code="target_time_unknown",
                time=str(times[0]).replace(" ", ""))
        prints.append(PrintedTarget(readings, 0, target_time or times[0]))
    for other in ink_from:
        recipe = recipe_of(other)
        first = len(processes)
        processes += recipe.processes
        prints += [replace(p, process=p.process + first) for p in prints_of(other)]
    return pooled(tuple(processes), tuple(prints), 0, printing_time or process.base_time)


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


@dataclass(frozen=True)
class PatchPlace:
    """Where a patch on the curve's process lies beside the curve."""

    name: str
    level: float
    """Of ink; of a patch printed for another time the level that gets as much light at the
    curve's: ``N(u') = N(u) + x0 - x``."""
    lightness: float
    moved: bool
    """Whether it was printed for another time."""
    counts: bool
    off_by_density: float | None
    """How far it lies from what the others suggest, where that makes it doubtful; above 0: denser.
    """
    scan_doubt: str | None
    """What its readings say that the scan gave reason to doubt; None: nothing."""

    @property
    def doubtful(self) -> bool:
        """Whether the fit or the scan doubts it."""
        return self.off_by_density is not None or self.scan_doubt is not None


def patch_places(curve: Curve) -> list[PatchPlace]:
    """Every patch that was measured on the curve's own process.

    Patches of another time that would need more or less ink than there is are left out.
    """
    recipe = curve.recipe
    if recipe is None:
        assert curve.readings is not None  # a curve without a recipe was made from readings
        return _places(curve, curve.readings, curve.readings.level, curve.settings.left_out)
    process, found = recipe.own_process, []
    for print_ in prints_of(curve):
        if print_.process == recipe.process:
            beyond = process.shift(recipe.printing_time) - process.shift(print_.time)
            level = _level_with(curve, print_.readings.level, beyond)
            found += _places(curve, print_.readings, level, print_.left_out, beyond != 0.0)
    return found


def _level_with(curve: Curve, level: Array, beyond: float) -> Array:
    """The levels whose ink is so much denser; nan where there is no such level."""
    negative = curve.negative
    if beyond == 0.0 or negative is None:
        return level
    wanted = negative.density_at(level) + beyond
    return np.asarray(np.interp(wanted, negative.density, negative.level, left=np.nan,
                                right=np.nan))


def _places(
    curve: Curve, readings: Readings, level: Array, left_out: tuple[str, ...], moved: bool = False
) -> list[PatchPlace]:
    aside = {*left_out, *(n for f in curve.findings if isinstance(f, PatchesSetAside)
                          for n in f.patches)}
    doubtful = {d.patch: d.off_by_density for d in curve.summary.doubtful}
    if not any(isinstance(f, DoubtfulPatchesCount) for f in curve.findings):
        aside |= {*doubtful}
    used = [(f.used_from, f.used_to) for f in curve.findings
            if isinstance(f, ToneReversal) and f.used_from is not None and f.used_to is not None]
    return [PatchPlace(
        full, float(at), float(light), moved,
        not aside & {patch.patch, full} and all(a <= patch.level <= b for a, b in used),
        doubtful.get(full), patch.doubt)
        for patch, full, at, light in zip(readings.patches, patch_names(readings.patches), level,
                                          readings.lightness, strict=True) if np.isfinite(at)]

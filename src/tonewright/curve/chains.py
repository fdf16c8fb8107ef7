"""The fit behind a derived curve: strips and prints of targets, all together.

``P(u) = H(x0 - N(u))``: strips give every ``H``, prints of a target give ``N`` through them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tonewright.curve.few import few_strays
from tonewright.curve.findings import AddedToCurve, Doubt
from tonewright.curve.fit import (
    FittedPrint,
    check_left_out,
    fit_print,
    names_of,
    patch_names,
    rows_called,
)
from tonewright.curve.recipe import PrintedTarget, Recipe
from tonewright.errors import FitError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Reading
from tonewright.numeric.chain import ChainData, ChainFit, RiseModel, fit_chain
from tonewright.strip.fit import response_model
from tonewright.strip.process import Process

SHEET_EXPOSURE_SD = 0.01
"""How much the speed of one coated sheet differs from the strip's, log10 units: a thirtieth of a
stop, an even coating's own (from memory, no source)."""
SHEET_DENSITY_SD = 0.008
"""How much patch and step of the same exposure differ on one paper beyond the noise of reading:
coating, and what a scanner does not tell of itself (from memory, no source)."""
USUAL_RANGE = 2.0
WHOLE_TARGET = 10
"""Levels from which on a print is also looked at by itself."""
HOPELESS = 6.0
"""The same, from which on no curve is drawn."""
TOO_DARK, TOO_LIGHT = 0.3, 0.1
"""By how much density a patch must be darker than a paper's black, or lighter than its white, to be
no patch of it."""

_Patch = tuple[Reading, str]
"""A reading and its full name."""


@dataclass(frozen=True, eq=False)
class Chains:
    """The fit to everything, and the one without a few patches that only mend it."""

    whole: ChainFit
    unmended: ChainFit | None
    unrefined: ChainFit | None
    """Without prints that were added to the curve; None: there are none."""
    data: list[ChainData]
    """What counted."""
    alone: tuple[FittedPrint, ...]
    """Whole targets, each fitted by itself: for its noise, doubtful patches and reversals."""
    strays: tuple[Doubt, ...]
    """Of the few patches, those that did not count."""


def fit_recipe(recipe: Recipe, left_out: tuple[str, ...] = ()) -> Chains:
    """Fit ``N`` and every ``H`` together.

    Raises
    ------
    FitError
        No print tells of the ink, a left-out name that no patch has, patches that are no tones of
        the paper, or strips and targets that do not go together.
    """
    if not recipe.prints:
        raise FitError("no print of a target is known", "the ink's density is read from one",
                       "give readings of a target, or a curve that was made with a process"
                       " response", code="ink_unknown")
    check_left_out(left_out, {n for p in recipe.prints for n in names_of(p.readings.patches)})
    models = [response_model(p) for p in recipe.processes]
    dropped = [_dropped(p, left_out) for p in recipe.prints]
    for print_, names in zip(recipe.prints, dropped, strict=True):
        _refuse_beyond(print_, recipe.processes[print_.process], names)
    fits = [_fit_alone(p, names) for p, names in zip(recipe.prints, dropped, strict=True)]
    counted = [_counted(p, f, names)
               for p, f, names in zip(recipe.prints, fits, dropped, strict=True)]
    if not any(counted):
        raise FitError("every patch is left out", "the ink's density is read from patches",
                       "leave fewer of them out")
    return _fit_chains(recipe, counted, fits, models)


def _fit_chains(
    recipe: Recipe, counted: list[list[_Patch]], fits: list[FittedPrint | None],
    models: list[tuple[RiseModel, float]],
) -> Chains:
    """The fit to everything, and the one to what was known without a few patches.

    Where a whole target tells of the ink already, a few patches on this process only mend it.
    """
    outer = [m for m, _ in models]
    data = [_chain_data(recipe, p, f, models, patches)
            for p, f, patches in zip(recipe.prints, fits, counted, strict=True)]
    few = [f is None and d.model == recipe.process for d, f in zip(data, fits, strict=True)]
    rest = [d for d, only_mends in zip(data, few, strict=True) if not only_mends]
    unmended, mending = None, 0
    strays: list[Doubt] = []
    if any(few) and any(d.u.size > 0 for d in rest):
        unmended = fit_chain(rest, outer, USUAL_RANGE)
        for i in (place for place, only_mends in enumerate(few) if only_mends):
            data[i], found = _without_strays(data[i], unmended)
            strays += [Doubt(counted[i][row][1], counted[i][row][0].level, round(off, 4),
                             round(deviations, 2)) for row, (off, deviations) in found.items()]
            mending += data[i].u.size
    first = [d for d, p in zip(data, recipe.prints, strict=True) if not _added(p) and d.u.size]
    data = [d for d in data if d.u.size]
    chain = fit_chain(data, outer, USUAL_RANGE)
    if chain.noise > HOPELESS:
        raise FitError(
            f"strips and targets disagree {chain.noise:.0f} times more than reading noise explains",
            "they are of one paper, chemistry and ink, each with its own printing time",
            "check the times and which strip belongs to which target, and leave out patches that"
            " were misread", code="leave_out")
    unrefined = fit_chain(first, outer, USUAL_RANGE) if 0 < len(first) < len(data) else None
    return Chains(chain, unmended if mending else None, unrefined, data,
                  tuple(f for f in fits if f is not None), tuple(strays))


def _without_strays(
    data: ChainData, known: ChainFit
) -> tuple[ChainData, dict[int, tuple[float, float]]]:
    """A few patches without those that fit neither the others nor what is known."""
    step = 0.01
    expected, covariance = known.outer(data.model, data.shift, data.u)
    ends = [known.outer(data.model, data.shift + s, data.u)[0] for s in (-step, step)]
    slope = (ends[1] - ends[0]) / (2.0 * step)
    covariance = covariance + data.shift_sd**2 * np.outer(slope, slope)
    found = few_strays(expected, covariance, data.y, data.sd)
    kept = np.array([i not in found for i in range(data.u.size)], dtype=bool)
    return replace(data, u=data.u[kept], y=data.y[kept], sd=data.sd[kept]), found


def _dropped(print_: PrintedTarget, left_out: tuple[str, ...]) -> tuple[str, ...]:
    """Full names of this print's patches to leave out."""
    patches = print_.readings.patches
    full = patch_names(patches)
    return tuple(full[i] for i in rows_called(patches, {*print_.left_out, *left_out}))


def _refuse_beyond(print_: PrintedTarget, process: Process, left_out: tuple[str, ...]) -> None:
    """A whole target tells its own strays; a few patches must all be tones of the paper."""
    found, patches = process.summary, print_.readings.patches
    if not found.reached_black:
        return
    beyond = [f"{full} (density {patch.density:.2f})"
              for patch, full in zip(patches, patch_names(patches), strict=True)
              if full not in left_out
              and (patch.density > found.max_black_density + TOO_DARK
                   or patch.density < found.paper_white_density - TOO_LIGHT)]
    whole = np.unique(print_.readings.level).size >= WHOLE_TARGET
    if not beyond or (whole and len(beyond) < len(patches) / 3.0):
        return
    listed = ", ".join(beyond[:6]) + (" …" if beyond[6:] else "")
    raise FitError(
        f"{listed} lie{'' if beyond[1:] else 's'} outside what {process.name} can print, densities"
        f" {found.paper_white_density:.2f} to {found.max_black_density:.2f}",
        "patches and strip are of one paper and chemistry, measured alike",
        "name the strip of the paper that was printed" + (
            "" if whole else ", measure again, or leave single patches out"),
        code=None if whole else "leave_out")


def _fit_alone(print_: PrintedTarget, left_out: tuple[str, ...]) -> FittedPrint | None:
    """The print by itself, for its noise, its doubtful patches and its reversals; None for a few
    patches, and for a print that was added to a curve: it only mends that."""
    if _added(print_) or np.unique(print_.readings.level).size < WHOLE_TARGET:
        return None
    return fit_print(print_.readings, left_out)


def _added(print_: PrintedTarget) -> bool:
    return any(isinstance(f, AddedToCurve) for f in print_.readings.findings)


def _counted(
    print_: PrintedTarget, fitted: FittedPrint | None, left_out: tuple[str, ...]
) -> list[_Patch]:
    """The patches of a print that count."""
    dropped, patches = set(left_out), print_.readings.patches
    if fitted is not None:
        dropped |= set(fitted.unused_patches)
        if fitted.robust:
            dropped |= {d.patch for d in fitted.doubtful}
    return [(p, full) for p, full in zip(patches, patch_names(patches), strict=True)
            if full not in dropped]


def _chain_data(
    recipe: Recipe, print_: PrintedTarget, fitted: FittedPrint | None,
    models: list[tuple[RiseModel, float]], patches: list[_Patch],
) -> ChainData:
    process = recipe.processes[print_.process]
    noise = models[print_.process][1] if fitted is None else fitted.noise_density_sd
    return ChainData(
        model=print_.process, shift=process.shift(print_.time),
        u=np.array([p.level for p, _ in patches]), y=np.array([p.density for p, _ in patches]),
        sd=np.full(len(patches), np.hypot(noise, SHEET_DENSITY_SD)), shift_sd=SHEET_EXPOSURE_SD)



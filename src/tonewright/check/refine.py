"""A curve made surer by more prints of its own paper and chemistry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tonewright.check.aims import holds
from tonewright.check.make import (
    PrintRequest,
    check_print,
    curve_time,
    judged,
    refuse_other_paper,
    refuse_other_unit,
)
from tonewright.check.promise import Response
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Curve
from tonewright.curve.findings import AddedToCurve
from tonewright.curve.fit import patch_names, rows_called
from tonewright.curve.make import make_curve
from tonewright.curve.prints import prints_of, recipe_of
from tonewright.curve.recipe import PrintedTarget, pooled
from tonewright.curve.renew import Renewed, movement
from tonewright.errors import FitError, OptionError
from tonewright.measured.readings import Reading, Readings

MOVED = 0.01
"""How seldom a good print may differ as much before its process counts as moved."""
CURVE_OFF = 3.0
"""L* (RMS) up to which a curve itself is to blame where no known cause is."""
EARLIER, ADDED = "earlier", "check"
"""What the sheet of an old curve, and one that is added, are called where they have no name."""


def refine_curve(new: PrintRequest) -> Renewed:
    """The old curve with more readings: its history, strip, time and setup kept.

    By way of the strip where there is one behind the curve; else all readings are fitted anew,
    each print as a sheet of its own.

    Raises
    ------
    OptionError
        Another paper or chemistry, another printing time without a strip, or readings that the
        curve holds already.
    FitError
        The print is off what the curve promises, with its `Check` among the values; and as
        `make_curve` and `make_derived_curve`.
    """
    refuse_other_paper(new.curve.setup, new.changes)
    refuse_other_unit(new.curve, new.time)
    _refuse_held(new)
    _refuse_moved(new)
    curve = _plain(new) if new.curve.recipe is None else _by_strip(new)
    return Renewed(new.curve, curve, movement(new.curve, curve), ())


def _refuse_held(new: PrintRequest) -> None:
    """The same readings twice would only make a curve seem surer."""
    if holds(new.curve, new.tones.readings):
        raise OptionError(
            f"the curve {new.curve.name} holds the readings of this print already",
            "a curve is made surer by other prints", "name the readings of another print",
            code="readings_held")


def _refuse_moved(new: PrintRequest) -> None:
    """A print of another process would bend the curve, not make it surer."""
    response = Response(new.curve)
    out = rows_called(new.tones.readings.patches, new.left_out)
    tones = new.tones.without(out) if len(out) < len(new.tones.aim) else new.tones
    _, found, _ = judged(tones, response, MOVED, _light(new))
    off = tones.readings.lightness - tones.aim
    nameless = found.cause.code == "unknown" and found.cause.likelier is None
    rms = float(np.sqrt(np.mean(off**2)))
    if found.cause.code != "none" and not (nameless and rms <= CURVE_OFF):
        worst = max(off, key=abs)
        raise FitError(
            f"the print is up to {abs(worst):.1f} L* {'lighter' if worst > 0.0 else 'darker'} than"
            f" the curve {new.curve.name} promises: fewer than 1 good print in {1.0 / MOVED:.0f} is"
            " as far off",
            "a curve is refined by prints that are what it promises", "check the print to see why",
            code="process_moved", check=check_print(new))


def _light(new: PrintRequest) -> float:
    """How much more light than for the curve the print had, log10."""
    here = curve_time(new.curve)
    if new.time is None or new.time == here:
        return 0.0
    if new.curve.recipe is None:
        raise OptionError(f"the print was made for {new.time}, and the curve {new.curve.name} has"
                          " no strip", "times are told apart by a strip alone",
                          "print for the curve's time, or make the curve again with a strip",
                          code="process_needed")
    recipe, process = new.curve.recipe, new.curve.recipe.own_process
    return process.shift(new.time) - process.shift(recipe.printing_time)


def _by_strip(new: PrintRequest) -> Curve:
    """All prints together, weighed by the strip behind the curve."""
    recipe = recipe_of(new.curve)
    readings = new.tones.readings
    added = replace(readings, findings=(*readings.findings, AddedToCurve(new.curve.name)))
    own = PrintedTarget(added, recipe.process, new.time or recipe.printing_time,
                        new.left_out)
    made = pooled(recipe.processes, (*prints_of(new.curve), own), recipe.process,
                  recipe.printing_time)
    return make_derived_curve(made, replace(new.curve.settings, left_out=()), new.curve.setup,
                              new.name, new.curve.as_ancestor(new.sha256))


def _plain(new: PrintRequest) -> Curve:
    old = new.curve.readings
    assert old is not None  # a curve without a recipe has readings
    first = tuple(replace(p, print_name=p.print_name or EARLIER) for p in old.patches)
    taken = {p.print_name for p in first}
    second = tuple(replace(p, print_name=_free_name(p, taken)) for p in new.tones.readings.patches)
    added = AddedToCurve(new.curve.name, tuple(dict.fromkeys(p.print_name or "" for p in second)))
    both = Readings((*first, *second), old.scale, old.relative_to_paper,
                    (*old.sources, *new.tones.readings.sources),
                    tuple(dict.fromkeys((*old.findings, *new.tones.readings.findings, added))),
                    old.ink_colour)
    out = [*rows_called(old.patches, new.curve.settings.left_out),
           *(len(first) + i for i in rows_called(new.tones.readings.patches, new.left_out))]
    full = patch_names(both.patches)
    settings = replace(new.curve.settings, left_out=tuple(dict.fromkeys(full[i] for i in out)))
    return make_curve(both, settings, new.curve.setup, new.name, new.curve.as_ancestor(new.sha256))


def _free_name(patch: Reading, taken: set[str | None]) -> str:
    """What the print of a patch is called, told from the old curve's sheets."""
    name, number = patch.print_name or ADDED, 2
    free = name
    while free in taken:
        free, number = f"{name} ({number})", number + 1
    return free

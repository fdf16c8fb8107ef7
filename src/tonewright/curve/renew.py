"""A new curve from an old one, after the paper or the chemistry changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Ancestor, Curve, refuse_two_zeros
from tonewright.curve.fit import patch_names
from tonewright.curve.make import make_curve
from tonewright.curve.recipe import PrintedTarget, pooled
from tonewright.errors import OptionError
from tonewright.measured.columns import Weighting
from tonewright.measured.readings import Readings
from tonewright.record.setup import LIGHT, Setup, other_light
from tonewright.record.times import PrintingTime
from tonewright.strip.process import Process


@dataclass(frozen=True)
class Movement:
    """What moved between an old curve and its renewal; lightness is CIE L*."""

    old_black_lightness: float
    new_black_lightness: float
    old_white_lightness: float
    new_white_lightness: float
    old_levels: tuple[float, float]
    """Ink levels of black and white."""
    new_levels: tuple[float, float]
    largest_shift_lightness: float
    """Largest tone error had the old curve been kept: signed, print less aim."""
    shift_at_image_lightness: float
    """Image lightness at which it happens."""
    rms_shift_lightness: float
    """Root mean square of that error over the tone scale."""
    warning: str | None = None
    """Why old and new lightness may not be quite comparable; None where they are."""


@dataclass(frozen=True, eq=False)
class Renewal:
    """What is new; None where it is as before."""

    process: Process | None = None
    printing_time: PrintingTime | None = None
    """What the curve shall hold for; None: the new process's base printing time."""
    readings: Readings | None = None
    """A few patches, printed on the new process."""
    readings_time: PrintingTime | None = None
    """What they were printed for; None: the time that the curve shall hold for."""
    left_out: tuple[str, ...] = ()


def renew_from_readings(
    old: Curve, sha256: str, readings: Readings, name: str, changes: dict[str, str | None],
    left_out: tuple[str, ...] = (),
) -> Curve:
    """Fit new readings with the old curve's aim, the setup carried over with its changes.

    Parameters
    ----------
    old, sha256:
        The curve renewed and the fingerprint of its file, kept as the ancestor.
    changes:
        New entries of the setup; None keeps the old one.
    left_out:
        Names of new patches that shall not count; those left out of the old curve are its own.

    Raises
    ------
    FitError
        As `tonewright.curve.make.make_curve`.
    OptionError
        One of the two sets of readings counts from the bare paper, the other does not.
    """
    refuse_two_zeros(old.relative_to_paper, readings.relative_to_paper,
                     f"the old curve {old.name}")
    settings = replace(old.settings, left_out=left_out)
    # what a derived curve holds for was worked out; what the new target was printed for was not
    setup = old.setup if old.recipe is None else replace(old.setup, printing_time=None)
    return make_curve(readings, settings, setup.with_changes(changes), name,
                      Ancestor(old.name, sha256, old.setup))


def renew_from_process(
    old: Curve, sha256: str, new: Renewal, name: str, changes: dict[str, str | None]
) -> Curve:
    """``P_new(u) = H_new(x0 - N(u))``: a new curve without a new negative.

    Parameters
    ----------
    old, sha256:
        A curve made with a process response, and the fingerprint of its file.
    new:
        What changed: the process, the printing time, or both, and a few patches if there are.
    changes:
        New entries of the setup; None keeps the old one (or takes the new process's).

    Raises
    ------
    OptionError
        The old curve knows nothing of the ink, or scales or units do not go together.
    FitError
        As `tonewright.curve.derive.make_derived_curve`.
    """
    recipe = old.recipe
    if recipe is None:
        raise OptionError(f"the curve {old.name} was made without a process response",
                          "how dense its ink is can only be told through one",
                          "print a strip on the old paper and make the curve again with"
                          " tonewright fit --process, or renew it with --readings of a whole"
                          " target")
    processes, index = recipe.processes, recipe.process
    prints = tuple(replace(p, left_out=tuple(
        dict.fromkeys((*p.left_out, *old.settings.left_out))))
                   for p in recipe.prints)
    if new.process is not None:
        processes, index = (*processes, new.process), len(processes)
    process = processes[index]
    time = new.printing_time or (process.base_time if new.process else recipe.printing_time)
    left_out = new.left_out
    if new.readings is not None:
        # a patch of the new print is meant, though an old one may have one of its name
        patches = new.readings.patches
        known = {*(p.patch for p in patches), *patch_names(patches)}
        own = tuple(name for name in left_out if name in known)
        left_out = tuple(name for name in left_out if name not in known)
        prints = (*prints, PrintedTarget(new.readings, index, new.readings_time or time, own))
    setup = old.setup
    if new.process is not None:
        setup = setup.with_changes(new.process.setup.to_dict())
    setup = setup.with_changes({**changes, "printing_time": process.spoken(time)})
    return make_derived_curve(pooled(processes, prints, index, time),
                              replace(old.settings, left_out=left_out), setup, name,
                              Ancestor(old.name, sha256, old.setup))


def refuse_other_light(
    old: Setup, new: Setup, whose: str, what: str, entries: tuple[str, ...] = LIGHT
) -> None:
    """Raise `OptionError` if some entries are said to differ: lamp and film, or what ``entries``
    names. How much light the ink holds back hangs on them."""
    for entry, before, after in other_light(old, new, entries):
        raise OptionError(
            f"the {entry} of {what} is {after!r}, that of {whose} {before!r}",
            f"how much light the ink holds back was found for one {entry} alone",
            "print a target with the new one, or add --anyway if it makes no difference")


def taken_as_before(old: Setup, process: Process, changes: dict[str, str | None]) -> list[str]:
    """Entries that neither the new strip nor anybody says, and that are carried over."""
    return [entry.replace("_", " ") for entry in (*LIGHT, "paper", "coating", "developer")
            if getattr(old, entry) and not getattr(process.setup, entry) and not changes.get(entry)]


def movement(old: Curve, new: Curve) -> Movement:
    """What moved, and how far off the new print would be had the old curve been kept."""
    image = np.linspace(1.0, 99.0, 197)
    kept = new.response.lightness_at(old.level_at(image))
    shift = kept - new.print_lightness_at(image)
    worst = int(np.argmax(np.abs(shift)))
    was, now = old.summary, new.summary
    return Movement(
        was.black_lightness, now.black_lightness, was.white_lightness, now.white_lightness,
        (was.level_black, was.level_white), (now.level_black, now.level_white),
        round(float(shift[worst]), 2), float(image[worst]),
        round(float(np.sqrt(np.mean(shift**2))), 2), _two_scales(old.scale, new.scale))


def _two_scales(old: Weighting, new: Weighting) -> str | None:
    if old == new:
        return None
    names = {"luminance": "luminance", "visual-density": "visual density"}
    return (f"The old curve was measured as {names[old]}, the new one as"
            f" {names[new]}. On a neutral print the two agree; on a blue one they differ by"
            " up to 0.07 in density, and part of what moved may be that.")


def changed_setup(old: Setup, new: Setup) -> tuple[str, ...]:
    """One line for each entry of the setup that changed."""
    return tuple(f"{name.replace('_', ' ')}: {before or 'not said'} → {after or 'not said'}"
                 for name, (before, after) in old.differences(new).items())

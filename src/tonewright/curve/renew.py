"""A new curve from an old one, after the paper, the chemistry or the printing time changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, field, replace

import numpy as np

from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Curve, refuse_two_zeros
from tonewright.curve.findings import NothingMoved, StripGivenUp, TakenAsBefore, TwoWeightings
from tonewright.curve.fit import names_of
from tonewright.curve.ink import one_ink, readings_colour, refuse_other_light
from tonewright.curve.make import WIDE_GAP, make_curve
from tonewright.curve.prints import prints_of, recipe_of
from tonewright.curve.recipe import PrintedTarget, pooled
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.findings import AimsStated
from tonewright.measured.readings import Readings
from tonewright.record.findings import Finding
from tonewright.record.setup import INK, LIGHT, PAPER, Setup
from tonewright.record.times import PrintingTime, parse_time
from tonewright.scales import Array
from tonewright.strip.process import Process

AT_END = 0.05
"""Ink level within which a target's readings reach an end of the ink."""


@dataclass(frozen=True, eq=False)
class RenewRequest:
    """What is new since an old curve; None where it is as before."""

    old: Curve
    sha256: str
    """Fingerprint of its file, kept with the ancestor."""
    name: str
    process: Process | None = None
    """From a strip on the new paper or chemistry; needs an old curve made with a process."""
    readings: Readings | None = None
    """Of a whole target; or of a few patches, which are added to what is known."""
    changes: Setup = field(default_factory=Setup)
    """New entries of the setup; the others are the new process's or the old curve's."""
    printing_time: PrintingTime | None = None
    """What the curve shall hold for; None: as the changes say, or the new process's base
    printing time."""
    readings_time: PrintingTime | None = None
    """What a few patches were printed for; None: the time that the curve shall hold for."""
    left_out: tuple[str, ...] = ()
    """Names of new patches to leave out; those left out of the old curve are its own."""
    light_may_differ: bool = False
    """Go on although lamp, film, printer or ink differ from before."""
    replace: bool = False
    """Readings that cover all of the ink replace what the old curve knows."""

    @property
    def time(self) -> PrintingTime | None:
        """What the curve shall hold for, where that is said."""
        said = self.changes.printing_time
        return self.printing_time or (parse_time(said) if said else None)


@dataclass(frozen=True, eq=False)
class Renewed:
    """A renewed curve, what moved, and what was taken for granted or given up."""

    old: Curve
    curve: Curve
    """It names the old one as its ancestor."""
    movement: Movement
    findings: tuple[Finding, ...]


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


def renew_curve(new: RenewRequest) -> Renewed:
    """A curve with the old one's aim and setup, for what is new.

    By way of the process where there is a new one, a few patches or another time,
    ``P_new(u) = H_new(x0 - N(u))``; from readings of a whole target otherwise.

    Raises
    ------
    OptionError
        Nothing is new; ink colours, lamps, films, weightings or zeros do not go together; the old
        curve knows nothing of the ink; a time is named that nothing can be told from.
    FitError
        As `make_curve` and `make_derived_curve`.
    """
    if new.process is None and new.readings is None and new.time is None:
        raise OptionError("nothing new is named", "a renewal needs a strip, a target or another"
                          " printing time", "name one of them", code="nothing_new")
    if new.readings_time is not None and new.readings is None:
        raise OptionError("the new patches' printing time is given without readings",
                          "it says what the new patches were printed for",
                          "name their readings, or leave the time out", code="readings_needed")
    colour = _new_ink(new)
    new = replace(new, changes=replace(new.changes, ink_colour=colour))
    by_readings = (new.readings is not None and new.process is None
                   and not _adds_patches(new, new.readings))
    curve = _from_readings(new) if by_readings else _from_process(new)
    return Renewed(new.old, curve, movement(new.old, curve), tuple(_findings(new, curve)))


def _new_ink(new: RenewRequest) -> str | None:
    """The ink colour that the new readings and the new setup agree on; None: they do not say."""
    said = readings_colour(new.readings)
    if new.changes.ink_colour is not None:
        said["the new setup"] = new.changes.ink_colour
    before = new.old.setup.ink_colour
    if new.readings is not None and not said and before is not None:
        names = ", ".join(s.name for s in new.readings.sources) or "the readings"
        raise OptionError(
            f"the curve {new.old.name} is for the ink colour {before}, and {names} does not say in"
            " which ink it was printed",
            "a level of ink means something only in the colour that was printed",
            "name the ink colour if it was this one; for another ink fit a new curve",
            code="ink_colour_unknown", colour=before)
    return one_ink(said)


def _adds_patches(new: RenewRequest, readings: Readings) -> bool:
    """Whether readings make the old curve surer, by where they come from and what they cover.

    Those that cover the ink from end to end replace all that it knows, if that is asked for.
    """
    other = next((e for e in PAPER if getattr(new.changes, e) is not None
                  and getattr(new.changes, e) != getattr(new.old.setup, e)), None)
    whole, old = covers_ink(readings.level), new.old
    if other is not None and not whole:
        raise OptionError(
            f"the readings are a few patches, and the {other} is new:"
            f" {getattr(new.changes, other)!r}",
            "a few patches help only beside a strip of the same paper and chemistry",
            "name the process response of a strip on it, or measure a whole target",
            code="process_needed")
    if other is None and not new.replace and (
            _through_curve(readings) or (not whole and old.recipe is None)):
        raise OptionError(
            f"the readings are {'of a print made through a curve' if whole else 'a few patches'},"
            " and no paper or chemistry is new", "they make a curve surer and do not replace it",
            f"refine the curve {old.name} with them", code="refine_instead")
    if whole and not new.replace:
        strip = "" if old.recipe is None else " and its strip"
        raise OptionError(
            f"the readings cover the ink from end to end: they would replace all readings of"
            f" the curve {old.name}{strip}", "a curve is replaced only if that is asked for",
            "say so; readings of its own paper and chemistry refine it instead",
            code="replace_needed")
    return not whole and old.recipe is not None


def covers_ink(level: Array) -> bool:
    """Whether ink levels (0 to 1) are those of a whole target: from end to end, without a gap."""
    steps = np.unique(level)
    return bool(steps[0] <= AT_END and steps[-1] >= 1.0 - AT_END
                and np.max(np.diff(steps), initial=0.0) <= WIDE_GAP)


def _through_curve(readings: Readings) -> bool:
    return any(isinstance(f, AimsStated) for f in readings.findings)


def _from_readings(new: RenewRequest) -> Curve:
    """Fit the new readings with the old curve's aim."""
    old, readings = new.old, new.readings
    assert readings is not None
    if new.readings_time is not None:
        raise OptionError("the target's printing time is given without a process response",
                          "times are told apart by a process response alone",
                          "name one too, or leave the time out", code="process_needed")
    refuse_two_zeros(old.relative_to_paper, readings.relative_to_paper,
                     f"the old curve {old.name}")
    # what a derived curve holds for was worked out; what a new target was printed for was not, but
    # for one drawn through the curve
    kept = old.recipe is None or _through_curve(readings)
    setup = old.setup if kept else replace(old.setup, printing_time=None)
    return make_curve(readings, replace(old.settings, left_out=new.left_out),
                      setup.with_changes(asdict(new.changes)), new.name,
                      old.as_ancestor(new.sha256))


def _from_process(new: RenewRequest) -> Curve:
    """By way of the model: for a new process, another time or both, and with a few patches."""
    _refuse_other_setup(new)
    old, recipe = new.old, recipe_of(new.old)
    processes, index, prints = recipe.processes, recipe.process, prints_of(old)
    if new.process is not None:
        processes, index = (*processes, new.process), len(processes)
    process = processes[index]
    time = new.time or (process.base_time if new.process else recipe.printing_time)
    left_out = new.left_out
    if new.readings is not None:
        # a patch of the new print is meant, though an old one may have one of its name
        known = names_of(new.readings.patches)
        own = tuple(name for name in left_out if name in known)
        left_out = tuple(name for name in left_out if name not in known)
        prints = (*prints, PrintedTarget(new.readings, index, new.readings_time or time, own))
    made = pooled(processes, prints, index, time)
    setup = old.setup
    if new.process is not None:
        setup = setup.with_changes(asdict(new.process.setup))
    setup = setup.with_changes({**asdict(new.changes), "printing_time": str(made.timer_time)})
    return make_derived_curve(made, replace(old.settings, left_out=left_out), setup, new.name,
                              old.as_ancestor(new.sha256))


def _refuse_other_setup(new: RenewRequest) -> None:
    """The old prints still tell of the ink, so colour, ink and light are as they were."""
    old, whose = new.old.setup, f"the curve {new.old.name}"
    if new.changes.ink_colour is not None:
        one_ink({whose: old.ink_colour, "the new print": new.changes.ink_colour})
    if new.light_may_differ:
        return
    said = replace(new.changes, ink_colour=None)
    refuse_other_light(old, said, whose, "the new print", INK)
    if new.process is not None:
        what = f"the process {new.process.name}"
        refuse_other_light(new.process.setup, said, what, "the new print")
        refuse_other_light(old, new.process.setup, whose, what)


def _findings(new: RenewRequest, curve: Curve) -> Iterator[Finding]:
    """What was taken for granted, or given up."""
    old = new.old
    if old.scale != curve.scale:
        yield TwoWeightings(old.scale, curve.scale)
    if curve.recipe is None and old.recipe is not None:
        yield StripGivenUp()
        return
    if np.array_equal(curve.correction.level, old.correction.level):
        yield NothingMoved(old.name)
    if new.process is not None:
        entries = tuple(
            entry for entry in (*LIGHT, *PAPER) if getattr(old.setup, entry)
            and not getattr(new.process.setup, entry) and not getattr(new.changes, entry))
        if entries:
            yield TakenAsBefore(entries, new.process.name)


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
        round(float(np.sqrt(np.mean(shift**2))), 2))

"""From readings, settings and setup to a finished correction curve."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, field, replace

import numpy as np

from tonewright.curve.aim import Aim
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Ancestor, Curve, Settings, Summary, make_correction
from tonewright.curve.few import follow
from tonewright.curve.findings import (
    AbruptEnd,
    AddedToCurve,
    BlackStillDarkening,
    ClearFilmNotMeasured,
    DoubtfulPatchesCount,
    End,
    FewLevels,
    HeaviestInkNotMeasured,
    PaleBlack,
    SheetsBorrowed,
    WhiteDarkerThanPaper,
    WhiteStillLightening,
    WideGap,
)
from tonewright.curve.fit import (
    FEWEST_LEVELS,
    EndReport,
    FittedPrint,
    fit_print,
    reversal_findings,
    rows_called,
)
from tonewright.curve.ink import (
    DrawnTarget,
    one_ink,
    readings_colour,
    refuse_other_light,
    target_colour,
)
from tonewright.curve.prints import make_recipe
from tonewright.curve.sheets import USUAL_SHEETS_LIGHTNESS, band_width
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Readings
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.record.setup import INK, Setup
from tonewright.record.times import PrintingTime, parse_time
from tonewright.scales import Array
from tonewright.strip.process import Process

WIDE_GAP = 0.21
"""Widest step between ink levels that passes without a word: six even ones make 0.2."""
PAPER_WHITE, GRAY_PAPER, PALE_BLACK = 88.0, 80.0, 42.0
"""Lightness of usual papers, of none, and of no decent black (from memory, no source)."""
FEW_LEVELS = 11
"""Fewer levels than this make a curve, but a poor one."""


@dataclass(frozen=True, eq=False)
class FitRequest:
    """What a curve is made from, and what it is for; None: there is none, or the usual."""

    name: str
    readings: Readings | None = None
    """Of a target; may be None where ``ink_from`` tells of the ink."""
    settings: Settings = field(default_factory=lambda: Settings(Aim()))
    setup: Setup = field(default_factory=Setup)
    """What is said of it; a process tells the rest of itself.  With a process, the printing time
    in it is what the curve shall hold for; without, the base printing time."""
    target: DrawnTarget | None = None
    """The target's own document, which says in which ink it was printed."""
    process: Process | None = None
    """From a strip: with it the curve knows how dense the ink is."""
    target_time: PrintingTime | None = None
    """What the target was printed for; None: the strip's time."""
    ink_from: tuple[Curve, ...] = ()
    """Other curves made with a process and the same printer, film and ink."""
    light_may_differ: bool = False
    """Go on although lamp, film, printer or ink differ from before."""


def fit_curve(wanted: FitRequest) -> Curve:
    """A curve from readings alone, or by way of a process response where there is one.

    Raises
    ------
    OptionError
        Nothing tells of the ink, ink colours, lamps or films differ, or a time is named that
        nothing can be told from.
    FitError
        As `make_curve` and `make_derived_curve`.
    """
    if wanted.readings is None and not wanted.ink_from:
        raise OptionError("no readings were named", "a curve is made from the readings of a target",
                          "name a file of readings, or with a process response an earlier curve"
                          " made with the same ink", code="no_readings")
    said = wanted.setup.with_changes({"ink_colour": _ink_colour(wanted)})
    if wanted.process is not None:
        return _by_process(wanted, wanted.process, said)
    for what, given in (("target's printing time", wanted.target_time),
                        ("ink of another curve", wanted.ink_from)):
        if given:
            raise OptionError(f"the {what} is given without a process response",
                              "times and inks are told apart by a process response alone",
                              "name one too", code="process_needed")
    assert wanted.readings is not None
    return make_curve(wanted.readings, wanted.settings, said, wanted.name)


def _ink_colour(wanted: FitRequest) -> str | None:
    """The ink colour that target, readings, setup and process agree on."""
    said = {**target_colour(wanted.target), **readings_colour(wanted.readings)}
    for what, colour in (("the setup", wanted.setup.ink_colour),
                         ("the process", wanted.process and wanted.process.setup.ink_colour)):
        if colour:
            said[what] = colour
    return one_ink(said)


def _by_process(wanted: FitRequest, process: Process, said: Setup) -> Curve:
    if wanted.target_time is not None and wanted.readings is None:
        raise OptionError("the target's printing time is given without readings",
                          "it says what the target was printed for",
                          "name the target's readings, or leave the time out")
    setup = process.setup.with_changes(asdict(said))
    if not wanted.light_may_differ:
        refuse_other_light(process.setup, said, f"the strip of {process.name}", "the target")
        inks = {f"the curve {other.name}": other.setup.ink_colour for other in wanted.ink_from}
        one_ink(inks if wanted.readings is None else {"this target": setup.ink_colour, **inks})
    for other in wanted.ink_from:
        if not wanted.light_may_differ:
            refuse_other_light(setup, other.setup, "this curve", f"the curve {other.name}", INK)
        setup = setup.with_changes({k: getattr(other.setup, k) for k in INK
                                    if getattr(setup, k) is None})
    time = said.printing_time
    recipe = make_recipe(process, wanted.readings, wanted.target_time,
                         parse_time(time) if time else None, wanted.ink_from)
    setup = setup.with_changes({"printing_time": str(recipe.timer_time)})
    return make_derived_curve(recipe, wanted.settings, setup, wanted.name)


def make_curve(
    readings: Readings, settings: Settings, setup: Setup, name: str,
    ancestor: Ancestor | None = None,
) -> Curve:
    """Fit the readings, invert the response at the aim, and keep everything together.

    Raises
    ------
    FitError
        When no honest curve can be drawn (see `tonewright.curve.fit.fit_print`).
    """
    fitted = _followed(fit_print(readings, settings.left_out), readings, settings.left_out)
    response = fitted.response
    correction = make_correction(response, settings.aim, response.usable)
    sheets_sd = fitted.print_lightness_sd
    return Curve(
        name=name, made_by=made_by(), setup=setup.with_time_spelled(), settings=settings,
        response=response, summary=Summary.of_response(
            response, correction, noise_density_sd=round(fitted.noise_density_sd, 5),
            print_to_print_lightness_sd=None if sheets_sd is None else round(sheets_sd, 3),
            doubtful=fitted.doubtful, negative_density_range=None),
        findings=(*_findings(fitted, readings),
                  *settings.aim.findings(*response.ends)),
        correction=correction, readings=readings, ancestor=ancestor)


def _followed(
    fitted: FittedPrint, readings: Readings, left_out: tuple[str, ...]
) -> FittedPrint:
    """Where prints were added to a curve, a response that follows them as far as is wise."""
    added = {name for f in readings.findings if isinstance(f, AddedToCurve) for name in f.prints}
    if not added:
        return fitted
    out = {*rows_called(readings.patches, left_out)}
    first = tuple(p for i, p in enumerate(readings.patches)
                  if p.print_name not in added and i not in out)
    before = fit_print(replace(readings, patches=first)).response.lightness_at(
        fitted.response.level)
    return replace(fitted, response=follow(before, fitted.response, band_width(fitted.sheets)))


def rebuild(curve: Curve) -> Curve:
    """The same curve, made again from the readings, settings and setup it carries."""
    if curve.recipe is not None:
        return make_derived_curve(curve.recipe, curve.settings, curve.setup, curve.name,
                                  curve.ancestor)
    assert curve.readings is not None  # a curve without a recipe was made from readings
    return make_curve(curve.readings, curve.settings, curve.setup, curve.name, curve.ancestor)


def _findings(fitted: FittedPrint, readings: Readings) -> Iterator[Finding]:
    """What the printer should know."""
    yield from reversal_findings(fitted, limits_curve=True)
    black, white = fitted.response.ends
    if not fitted.black.reached:
        yield BlackStillDarkening(round(fitted.black.still_gaining, 4))
    if not fitted.white.reached:
        yield WhiteStillLightening(round(fitted.white.still_gaining, 4))
    elif not readings.relative_to_paper and white < GRAY_PAPER:
        # an ink that gives up early levels off like paper white; the paper itself tells
        yield WhiteDarkerThanPaper(white, PAPER_WHITE)
    if fitted.black.reached and black > PALE_BLACK:
        yield PaleBlack(black)
    ends: tuple[tuple[End, EndReport], ...] = (("black", fitted.black), ("white", fitted.white))
    for end, report in ends:
        if report.corner is not None:
            yield AbruptEnd(end, round(report.corner, 3))
    yield from _level_findings(np.unique(readings.level))
    if fitted.doubtful and not fitted.robust:
        yield DoubtfulPatchesCount()
    if fitted.sheets == 2:
        yield SheetsBorrowed(USUAL_SHEETS_LIGHTNESS)


def _level_findings(levels: Array) -> Iterator[Finding]:
    """What the measured ink levels, different and rising, leave open."""
    if levels[0] > 0.0:
        yield ClearFilmNotMeasured(float(levels[0]))
    if levels[-1] < 1.0:
        yield HeaviestInkNotMeasured(float(levels[-1]))
    gap = int(np.argmax(np.diff(levels)))
    if levels[gap + 1] - levels[gap] > WIDE_GAP:
        yield WideGap(float(levels[gap]), float(levels[gap + 1]))
    if FEWEST_LEVELS <= levels.size < FEW_LEVELS:
        yield FewLevels(int(levels.size))

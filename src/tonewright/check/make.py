"""From readings of a print and its curve to the check."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, field, replace
from datetime import date

import numpy as np

from tonewright import scales
from tonewright.check.aims import PrintedTones
from tonewright.check.cause import Verdict, judge, place_tells, wide_covariance
from tonewright.check.document import Cause, Check, Checked, CheckedTone
from tonewright.check.findings import (
    NoStripBehind,
    PrintedForAnotherTime,
    PrintsDiffer,
    PrintsFailAlone,
    SheetsAssumed,
    TonesSetAside,
    UnevennessUntold,
    ZeroMayBeOff,
)
from tonewright.check.promise import Promise, Response, promise
from tonewright.curve.document import Curve
from tonewright.curve.few import few_strays
from tonewright.curve.fit import patch_names, rows_called
from tonewright.curve.ink import one_ink
from tonewright.curve.sheets import USUAL_SHEETS_LIGHTNESS
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.findings import AimsStated
from tonewright.numeric.student import chi_square_quantile
from tonewright.record.dates import parse_date
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.record.setup import PAPER, Setup, other_light
from tonewright.record.times import PrintingTime, parse_time, ratio
from tonewright.scales import Array

PASSING = 0.05
"""A print passes if one good print in twenty differs at least as much."""
PLAINLY_APART = 0.01
"""How seldom even sheets may differ at least as much before it is said that prints do."""
AT_END = 0.5
"""L* within which a tone counts as the curve's black or white."""


@dataclass(frozen=True, eq=False)
class PrintRequest:
    """A print, or several alike, and the curve it was made through."""

    curve: Curve
    sha256: str
    """Fingerprint of the curve's file."""
    name: str
    tones: PrintedTones
    changes: Setup = field(default_factory=Setup)
    """What is known of the print beyond the curve's setup, its date among it."""
    time: PrintingTime | None = None
    """What it was printed for; None: the curve's time."""
    left_out: tuple[str, ...] = ()
    """Names of patches to leave out."""
    today: date | None = None
    """The last day that a print may be of."""


def check_print(asked: PrintRequest) -> Check:
    """Compare a print with what its curve promises.

    Raises
    ------
    OptionError
        The print is on another paper, its date is none, a time has another unit than the curve's,
        or a left-out name that no patch has.
    """
    curve = asked.curve
    refuse_other_paper(curve.setup, asked.changes)
    refuse_other_unit(curve, asked.time)
    day = asked.changes.date
    if day is not None:
        day = parse_date(day, asked.today).isoformat()
    response = Response(curve)
    tones = asked.tones.without(_rows_left_out(asked))
    strays = _strays(tones, promise(curve, tones, response), response)
    names = patch_names(tones.readings.patches)
    tones = tones.without(strays)
    promised, verdict, findings = judged(tones, response, PASSING)
    said = (f for f in tones.readings.findings if not isinstance(f, AimsStated))
    aside = [TonesSetAside(tuple(names[i] for i in strays))] if strays else []
    return _document(asked, tones, promised, verdict, day,
                     (*said, *aside, *findings, *_findings(asked, tones)))


def judged(
    tones: PrintedTones, response: Response, passing: float, light: float = 0.0
) -> tuple[Promise, Verdict, list[Finding]]:
    """What a print, or several, should be, the verdict, and what was found of the prints.

    They pass from a probability ``passing`` on, together and each by itself: a good print does not
    make up for a bad one.  ``light``: how much more they had than at the curve's time, log10.
    """
    promised = promise(response.curve, tones, response, light)
    verdict = judge(tones, promised, response, passing)
    findings: list[Finding] = []
    apart = _prints_apart(tones, promised)
    if apart is not None:
        findings.append(PrintsDiffer(apart))
        failing = _failing(tones, response, passing, light)
        if failing:
            findings.append(PrintsFailAlone(tuple(failing)))
            verdict = next(iter(failing.values()))
    if verdict.zero_off is not None:
        findings.append(ZeroMayBeOff(round(verdict.zero_off, 3)))
    return promised, verdict, findings


def _document(
    asked: PrintRequest, tones: PrintedTones, promised: Promise, verdict: Verdict,
    day: str | None, findings: tuple[Finding, ...],
) -> Check:
    curve, cause, light = asked.curve, verdict.cause, tones.readings.lightness
    off = light - tones.aim
    worst = int(np.argmax(np.abs(off)))
    stops = verdict.light_stops if cause.code in ("none", "exposure", "unknown") else None
    time = asked.time or curve_time(curve)
    some_pass = any(isinstance(f, PrintsFailAlone) and len(f.prints) < len(set(tones.sheet))
                    for f in findings)
    return Check(
        made_by=made_by(), name=asked.name,
        setup=curve.setup.with_changes({**asdict(asked.changes), "date": day}) if day else
        replace(curve.setup.with_changes(asdict(asked.changes)), date=None),
        date=day, curve=Checked(curve.name, asked.sha256), printing_time=time, scale=curve.scale,
        relative_to_paper=curve.relative_to_paper, tones=_tones(tones, promised),
        passes=cause.code == "none", probability=round(verdict.probability, 6),
        difference_lightness_rms=round(float(np.sqrt(np.mean(off**2))), 3),
        difference_lightness_mean=round(float(np.mean(off)), 3),
        worst_image_lightness=round(float(tones.image[worst]), 2),
        worst_difference_lightness=round(float(off[worst]), 3),
        black_lightness=_at(light, tones.aim, float(curve.print_lightness_at(0.0))),
        white_lightness=_at(light, tones.aim, float(curve.print_lightness_at(100.0))),
        cause=_rounded(cause), findings=findings,
        exposure_off_stops=None if stops is None else round(stops[0], 3),
        exposure_off_stops_sd=None if stops is None else max(round(stops[1], 3), 0.001),
        next_time=None if cause.code != "exposure" or some_pass else
        _next_time(curve, time, stops))


def _rounded(cause: Cause) -> Cause:
    better = cause.times_better
    return replace(
        cause, size=None if cause.size is None else round(cause.size, 3),
        size_sd=None if cause.size_sd is None else max(round(cause.size_sd, 3), 0.001),
        times_better=None if better is None else float(f"{better:.4g}"))


def _tones(tones: PrintedTones, promised: Promise) -> tuple[CheckedTone, ...]:
    light = scales.density_to_lightness(promised.density)
    sd = np.sqrt(np.diag(promised.covariance)) * scales.lightness_per_density(light)
    rows = zip(tones.readings.patches, tones.image, tones.aim, tones.readings.lightness, sd,
               strict=True)
    return tuple(CheckedTone(p.patch, p.print_name, p.level, *(
        round(float(v), 3) for v in (image, aim, seen, seen - aim, spread)))
        for p, image, aim, seen, spread in rows)


def curve_time(curve: Curve) -> PrintingTime | None:
    """What a curve is for; None where it does not say, or not in a way that is a time."""
    if curve.recipe is not None:
        return curve.recipe.timer_time
    try:
        return parse_time(curve.setup.printing_time or "")
    except OptionError:
        return None


def _next_time(
    curve: Curve, time: PrintingTime | None, stops: tuple[float, float] | None
) -> PrintingTime | None:
    """The time that makes up for so much light too much."""
    if time is None or stops is None or curve.recipe is None:
        return None
    power = curve.recipe.own_process.summary.reciprocity
    return time.times(2.0 ** (-stops[0] / power)).on_timer()


def _at(light: Array, aim: Array, end: float) -> float | None:
    """Mean lightness of the tones at one end of the aim."""
    there = np.abs(aim - end) <= AT_END
    return round(float(np.mean(light[there])), 3) if there.any() else None


def refuse_other_paper(setup: Setup, changes: Setup) -> None:
    """Raise `OptionError` if a print is said to be on another paper than its curve is for, or in
    another ink colour."""
    if changes.ink_colour is not None:
        one_ink({"the curve": setup.ink_colour, "the print": changes.ink_colour})
    for entry, before, after in other_light(setup, changes, PAPER):
        raise OptionError(f"the {entry} of the print is {after!r}, that of the curve {before!r}",
                          "a print and its curve are of one paper and chemistry",
                          "renew the curve for it", code="check_other_paper")


def refuse_other_unit(curve: Curve, time: PrintingTime | None) -> None:
    """Raise `OptionError` for a print timed in minutes and a curve in integrator units, or the
    reverse."""
    here = curve_time(curve)
    if time is not None and here is not None:
        ratio(time, here)


def _rows_left_out(asked: PrintRequest) -> list[int]:
    patches = asked.tones.readings.patches
    for name in asked.left_out:
        if not rows_called(patches, (name,)):
            raise OptionError(f"no patch is called {name!r}", "only measured patches can be left"
                              " out", "names are in the patch column", code="leave_out")
    out = rows_called(patches, asked.left_out)
    if len(out) == len(patches):
        raise OptionError("every patch is left out", "a check needs some", "leave fewer out")
    return out


def _strays(tones: PrintedTones, promised: Promise, response: Response) -> list[int]:
    """Patches that fit neither the promise, moved by whatever cause, nor the others."""
    noise = np.sqrt(promised.spot)
    wide = wide_covariance(tones, promised, response)
    return sorted(few_strays(promised.density, wide - np.diag(noise**2),
                             tones.readings.density, noise))


def _failing(
    tones: PrintedTones, response: Response, passing: float, light: float
) -> dict[str, Verdict]:
    """The prints that do not pass by themselves, for all that the others differ by; the one that is
    furthest off first.

    Each has its part of the level, so that good prints fail no oftener for being several.
    """
    found, sheets = {}, np.unique(tones.sheet)
    for sheet in sheets:
        here = tones.sheet == sheet
        alone, others = (tones.without(np.flatnonzero(out).tolist()) for out in (~here, here))
        own, theirs = (promise(response.curve, one, response, light) for one in (alone, others))
        scatter = theirs.scatter(others.readings.density - theirs.density, others)
        verdict = judge(alone, own.with_sheets(*scatter), response, passing / len(sheets))
        if verdict.cause.code != "none":
            found[alone.readings.patches[0].print_name or ""] = verdict
    return dict(sorted(found.items(), key=lambda one: one[1].probability))


def _findings(asked: PrintRequest, tones: PrintedTones) -> Iterator[Finding]:
    curve = asked.curve
    here = curve_time(curve)
    if asked.time is not None and here is not None and asked.time != here:
        yield PrintedForAnotherTime(asked.time, here)
    if curve.recipe is None:
        yield NoStripBehind()
    if curve.summary.print_to_print_lightness_sd is None:
        yield SheetsAssumed(USUAL_SHEETS_LIGHTNESS)
    if not place_tells(tones):
        yield UnevennessUntold()


def _prints_apart(tones: PrintedTones, promised: Promise) -> float | None:
    """How much the means of several prints differ (L*), if even sheets do not differ so."""
    sheets = np.unique(tones.sheet)
    if sheets.size < 2:
        return None
    means = np.stack([(tones.sheet == s) / np.count_nonzero(tones.sheet == s) for s in sheets])
    apart = means - means.mean(axis=0)
    light = scales.density_to_lightness(promised.density)
    slope = scales.lightness_per_density(light)
    off = tones.readings.lightness - light
    expected = apart @ (promised.covariance * np.outer(slope, slope)) @ apart.T
    found = apart @ off
    size = float(found @ np.linalg.pinv(expected, rcond=1e-9) @ found)
    if size <= chi_square_quantile(1.0 - PLAINLY_APART, sheets.size - 1):
        return None
    return round(float(np.std(found, ddof=1)), 3)

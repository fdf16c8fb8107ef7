"""The report on a print: tones, verdict, cause, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.check.document import CauseCode, Check, CheckedTone
from tonewright.check.findings import (
    PrintedForAnotherTime,
    PrintsDiffer,
    PrintsFailAlone,
    TonesSetAside,
    ZeroMayBeOff,
)
from tonewright.check.refine import CURVE_OFF
from tonewright.errors import FitError, counted
from tonewright.measured.findings import DensitiesByProfile, DensitiesByResponse
from tonewright.numeric.student import WITHIN_95
from tonewright.record.codec import encode
from tonewright.show.findings import sentence
from tonewright.show.report import doubts, report, taken
from tonewright.show.words import Fact, percent

MOST_ROWS = 21
"""Tones that are listed one by one; more are put together by tens of L*."""
SCANNED = DensitiesByProfile, DensitiesByResponse
CAUSES: dict[CauseCode, str] = {
    "exposure": "the amount of light", "fog": "fog or poor clearing", "weak_black": "a weak black",
    "ink": "a change in the negative's density",
    "process": "a change in the contrast of the process",
    "unevenness": "unevenness across the sheet", "unknown": "an unknown cause", "none": "chance"}


def check_json(check: Check) -> dict[str, Any]:
    """What a check found, under the names the command line promises."""
    cause, time = check.cause, check.next_time
    return {
        **taken(check, "passes", "probability", "difference_lightness_rms",
                "difference_lightness_mean", "worst_image_lightness",
                "worst_difference_lightness", "black_lightness", "white_lightness"),
        "cause": cause.code, "likelier_cause": cause.likelier, "next_cause": cause.next,
        "times_better": cause.times_better, "cause_size": cause.size,
        "cause_size_sd": cause.size_sd,
        **taken(check, "exposure_off_stops", "exposure_off_stops_sd"),
        "next_time_s": None if time is None else time.value,
        "time_unit": None if time is None else time.unit,
        "curve": check.curve.name, "date": check.date,
        "prints": [encode(p) for p in check.prints],
        "tones": [encode(tone) for tone in check.tones],
        "findings": [encode(f) for f in check.findings],
        "warnings": [sentence(f) for f in check.findings if f.kind == "warning"],
        "what_to_do": what_to_do(check),
    }


def check_text(check: Check, output: Path | None = None, plot: Path | None = None) -> str:
    """The report; ``output`` is where the check was written, and ``plot`` its picture."""
    found = sorted(check.findings, key=lambda f: f.kind != "warning")
    return report(f"Check {check.name}: {verdict(check)}", [
        *_read_facts(check), *_table(check), *_found_facts(check), *doubts(found)],
        output, what_to_do(check), plot=plot, exposes=not check.passes)


def check_facts(check: Check) -> list[Fact]:
    """What was read and found; no option, no command."""
    return [*_read_facts(check), *_found_facts(check)]


def verdict(check: Check) -> str:
    whose = "this print is " if len(check.prints) == 1 else "these prints together are "
    if _failing(check):
        return "not each of these prints is what the curve promises"
    return whose + ("" if check.passes else "not ") + "what the curve promises"


def _read_facts(check: Check) -> Iterator[Fact]:
    prints = check.prints
    of = "one print" if len(prints) == 1 else counted(len(prints), "print")
    yield ("read", f"{counted(len(check.tones), 'patch')} of {of}"
                   + (f", made on {check.date}" if check.date else ""))
    time = f"; printed for {check.printing_time}" if check.printing_time else ""
    yield ("curve", f"{check.curve.name} ({check.curve.short_id}){time}")
    if len(prints) > 1:
        yield ("prints", "mean difference " + ", ".join(
            f"{p.difference_lightness_mean:+.1f} L* ({p.name or 'unnamed'})" for p in prints))


def _table(check: Check) -> Iterator[str]:
    """One row a tone, the darkest first; marked if any patch in it is off by more than it may."""
    rows = _rows(check.tones)
    legend = "off by more" if len(rows) == len(check.tones) else "a patch is off by more"
    yield f"  {'picture':>9}{'aim':>8}{'print':>8}{'off':>8}   may be off by  (<: {legend})"
    for tones in rows:
        image, aim, light, off = (float(np.mean(column)) for column in zip(*(
            (t.image_lightness, t.aim_lightness, t.lightness, t.difference_lightness)
            for t in tones), strict=True))
        half = WITHIN_95 * float(np.mean([t.difference_lightness_sd for t in tones]))
        beyond = any(abs(t.difference_lightness) > WITHIN_95 * t.difference_lightness_sd
                     for t in tones)
        far = "  <" if beyond else ""
        yield f"  {image:9.0f}{aim:8.1f}{light:8.1f}{round(off, 1) + 0.0:+8.1f}   ±{half:.1f}{far}"


def _rows(tones: tuple[CheckedTone, ...]) -> list[list[CheckedTone]]:
    """Patches of one tone together; of many tones, by tens."""
    step = 0.1 if len({round(t.image_lightness, 1) for t in tones}) <= MOST_ROWS else 10.0
    groups: dict[int, list[CheckedTone]] = {}
    for tone in tones:
        groups.setdefault(round(tone.image_lightness / step), []).append(tone)
    return [groups[key] for key in sorted(groups)]


def _found_facts(check: Check) -> Iterator[Fact]:
    off = check.worst_difference_lightness
    yield ("off by", f"{check.difference_lightness_rms:.1f} L* on the whole; worst at"
                   f" picture L* {check.worst_image_lightness:.0f}: {abs(off):.1f} L* too"
                   f" {'light' if off > 0.0 else 'dark'}")
    yield ("verdict", f"{'passes' if check.passes else 'does not pass'}:"
                   f" {_how_often(check.probability)}")
    if not check.passes:
        yield ("cause", cause_text(check))


def _how_often(probability: float) -> str:
    if probability < 0.001:
        return "fewer than 1 in 1000 good prints differ at least as much"
    of = 1000 if probability < 0.01 else 100
    count = round(of * probability)
    differ = "differs" if count == 1 else "differ"
    return f"{counted(count, 'good print')} in {of} {differ} at least as much"


def cause_text(check: Check) -> str:
    """What explains the differences, how large it is, and how much better than the next."""
    cause, zero = check.cause, _zero(check)
    if cause.code == "none":
        return "nothing needs to be explained"
    assert cause.next is not None and cause.times_better is not None
    instrument = "" if zero is None else f"an instrument whose zero is off by {zero.density:+.2f}"
    if cause.likelier is not None:
        return (f"cannot tell: {CAUSES[cause.likelier]} explains it best, {CAUSES[cause.next]}"
                f" nearly as well ({cause.times_better:.1f} times less likely)"
                + (f". It may also be {instrument}" if zero else ""))
    if cause.code == "unknown":
        return (f"perhaps not the print, but {instrument}" if zero else
                "none of those known here: light, fog, black, ink, contrast, unevenness")
    if zero is not None:
        return f"{_named(check)}; or {instrument}. The readings do not tell the two apart"
    better = ("more than 1000" if cause.times_better > 1000.0 else f"{cause.times_better:.0f}")
    return (f"{_named(check)}. That explains the readings {better} times better than"
            f" {CAUSES[cause.next]}")


def _failing(check: Check) -> tuple[str, ...]:
    return next((f.prints for f in check.findings if isinstance(f, PrintsFailAlone)), ())


def _zero(check: Check) -> ZeroMayBeOff | None:
    return next((f for f in check.findings if isinstance(f, ZeroMayBeOff)), None)


def _named(check: Check) -> str:
    code, size = check.cause.code, check.cause.size
    digits = 2 if code == "exposure" else 1
    sd = check.cause.size_sd
    sure = "" if sd is None else f" (±{WITHIN_95 * sd:.{digits}f})"
    if code == "exposure":
        if size is None:
            return f"too {'much' if check.difference_lightness_mean < 0.0 else 'little'} light"
        return (f"too {'much' if size > 0.0 else 'little'} light, by {abs(size):.2f} stops{sure}")
    if code == "unevenness":
        return ("light or coating varies across the sheet"
                + ("" if size is None else f", by ±{size:.2f} stops"))
    assert size is not None
    more = "more" if size > 0.0 else "less"
    return {
        "fog": f"fog or poor clearing: paper white is {size:.1f} L* down{sure}",
        "weak_black": f"a weak black, {size:.1f} L* too light{sure}",
        "ink": f"the negative is {percent(abs(size))} {more} dense than before",
        "process": f"the process has {percent(abs(size))} {more} contrast than before",
    }[code]


def why_refused(error: FitError) -> FitError:
    """Why a print is off what its curve promises, where its check can tell; else as it was."""
    check = error.values.get("check")
    if not isinstance(check, Check):
        return error
    aside = next((f for f in check.findings if isinstance(f, TonesSetAside)), None)
    if check.cause.code not in ("none", "unknown") or _zero(check):
        return FitError(error.given, f"the cause: {cause_text(check)}", what_to_do(check))
    if aside is None:
        return error
    return FitError(error.given, sentence(aside), "leave out what cannot be measured again",
                    code="leave_out_these", patches=" ".join(
                        f'--leave-out "{name}"' for name in aside.patches))


_DO: dict[CauseCode, str] = {
    "fog": "clear longer and in a fresh bath, coat and dry in weaker light, and try fresh"
           " sensitiser. A coated strip that gets no light shows whether it helped.",
    "weak_black": "coat more heavily or twice, let the coating dry evenly, and try fresh sensitiser"
                  " and developer. Then print this check again.",
    "ink": "check nozzles, printer settings, ink and film. If one of them has changed for good,"
           " print the target again and make a new curve (tonewright fit).",
    "process": "print one strip: the process has changed (tonewright strip, then tonewright"
               " renew --process).",
    "unevenness": "check lamp, contact and coating across the sheet, and print this check again"
                  " before you change the curve.",
}


def what_to_do(check: Check) -> str:
    """The next step, in the bench's terms."""
    failing = _failing(check)
    if 0 < len(failing) < len(check.prints):
        what = failing[0] or "the unnamed one" if len(failing) == 1 else "the prints that fail"
        return (f"make {what} again, coated, exposed and developed as the others. Then check"
                f" {'it by itself' if len(failing) == 1 else 'them by themselves'}.")
    zero = _zero(check)
    if zero is None:
        return _what_to_do(check)
    if any(isinstance(f, SCANNED) for f in check.findings):
        again = "scan this print again, with the gray scale beside it. If it comes out the same, "
    else:
        denser = "denser" if zero.density > 0.0 else "lighter"
        on = "bare paper" if check.relative_to_paper else "its white tile"
        again = (f"read the paper white of the strip or target behind the curve again. If it has"
                 f" become {denser} too, zero the instrument on {on} and read this print again. If"
                 " not, ")
    return again + _what_to_do(check)


def _what_to_do(check: Check) -> str:
    cause = check.cause
    if cause.code == "none" and any(isinstance(f, PrintsDiffer) for f in check.findings):
        return ("coat, expose and develop the next prints alike: these differ, though none of them"
                " so much that it fails.")
    if cause.code == "none":
        other = next((f for f in check.findings if isinstance(f, PrintedForAnotherTime)), None)
        return (f"go on printing{f', for {other.time} as this print was' if other else ''}. Keep"
                " this check, and make another one every few prints.")
    if cause.code == "exposure":
        if check.next_time is None:
            longer = "shorter" if check.difference_lightness_mean < 0.0 else "longer"
            return (f"print {longer}. How much {longer}, one strip tells (tonewright strip); a"
                    " curve made with it also tells the time (tonewright fit --process).")
        return f"print for {check.next_time} instead of {check.printing_time}."
    if cause.likelier is not None:
        return ("print this check again. If it comes out the same, print one strip (tonewright"
                " strip): it shows whether light or process has changed.")
    if cause.code == "unknown":
        again = "print this check once more; if it comes out the same, "
        if check.difference_lightness_rms <= CURVE_OFF:
            return f"{again}refine the curve (tonewright refine)."
        return (f"see that paper, chemistry and curve belong together. {again.capitalize()}print"
                " a strip (tonewright strip, then tonewright renew).")
    return _DO[cause.code]

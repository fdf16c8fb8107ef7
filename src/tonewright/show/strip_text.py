"""The report on a step-tablet strip, measured or judged by eye."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tonewright import scales
from tonewright.record.times import PrintingTime
from tonewright.show.advice import Advice
from tonewright.show.report import doubts, ending, found_json, report, taken
from tonewright.show.words import Fact, typed
from tonewright.strip.exposure import EyeResult, EyeStrip
from tonewright.strip.findings import StripWhiteNotReached, TimeUnsure
from tonewright.strip.process import Process
from tonewright.strip.tablet import Tablet


def eye_json(result: EyeResult) -> dict[str, Any]:
    """What strips judged by eye tell, under the names the command line promises."""
    known = None if result.far else result.high
    best = result.base_time if result.differ else known
    return {
        "base_printing_time_s": None if best is None else _number(best),
        "base_printing_time_low_s": (None if result.low is None or result.far
                                     else _number(result.low)),
        "base_printing_time_high_s": None if known is None else _number(known),
        "strict_printing_time_s": None if known is None else result.strict.value,
        "reached_black": result.high is not None,
        "next_time_s": None if result.right else result.next_time.value,
        "log_exposure_range": None, "iso_range": None, "film_density": None,
        "max_black_density": None, "paper_white_density": None,
        "just_visible_lightness": None,
        "time_unit": result.next_time.unit, **found_json(result.findings),
    }


def blank_text(path: object, tablet: Tablet, columns: Sequence[str]) -> str:
    """A table that was written to be filled in, and what comes next."""
    return ending(
        [f"{path}, to fill in: the {len(tablet.densities)} steps of the tablet {tablet.name},"
         f" density of {' and '.join(columns)}"],
        "let the strip dry fully, measure it and type the densities into the table; leave blank"
        f" what you did not measure. Then type  tonewright strip {typed(path)} --tablet"
        f" {typed(tablet.name)} --time TIME -o NAME.process.json")


def process_json(process: Process) -> dict[str, Any]:
    """What a measured strip tells, under the names the command line promises."""
    found = process.summary
    whole = process.range_to_white(process.base_time)
    return {
        "base_printing_time_s": found.base_printing_time,
        "base_printing_time_low_s": found.base_printing_time_low,
        "base_printing_time_high_s": found.base_printing_time_high,
        "strict_printing_time_s": found.strict_printing_time,
        "reached_black": found.reached_black, "next_time_s": found.next_time,
        **taken(found, "log_exposure_range", "iso_range"),
        "density_range_to_white": None if whole is None else round(whole, 4),
        **taken(found, "film_density", "max_black_density", "paper_white_density"),
        "just_visible_lightness": process.settings.just_visible_lightness,
        "time_unit": process.unit, **taken(found, "noise_density_sd", "reciprocity"),
        "scale": process.strip.scale,
        "set_aside": [{**taken(p, "step", "through"), "print": p.print_name, "density": p.density}
                      for p in (process.strip.patches[i] for i in found.set_aside)],
        "contradicted": process.contradicted, **found_json(process.findings),
    }


def _number(time: PrintingTime) -> float:
    return round(time.value, 2)


def eye_text(result: EyeResult, tablet: Tablet, strips: Sequence[EyeStrip]) -> str:
    """What was seen, the base printing time as far as that tells, and the next one to try."""
    return report(
        "Judged by eye, through the film and dry",
        [*eye_facts(result, tablet, strips), *doubts(result.findings)], None,
        eye_advice(result, tablet).typed(), exposes=True)


def eye_facts(result: EyeResult, tablet: Tablet, strips: Sequence[EyeStrip]) -> list[Fact]:
    """What was seen and what it tells, each under its label."""
    facts = []
    for strip in strips:
        merged = "no steps merge" if strip.merged == 1 else f"steps 1 to {strip.merged} merge"
        facts.append(("strip", f"{strip.time}: {merged}"))
    if result.high is None:
        facts.append(("time", f"base printing time: more than {result.low}. If not even steps 1"
                      " and 2 merge, the paper may print a deeper black"))
    elif not result.far:
        low, high = (t and t.on_timer() for t in (result.low, result.high))
        more = f"more than {low}, " if low not in (None, high) else ""
        facts += [("time", f"base printing time: {more}at most {high}"),
                  _one_step_less(result.strict)]
    if result.high is None or not result.far:
        facts += _tablet_facts(tablet)
    return facts


def eye_figure(result: EyeResult) -> str | None:
    """The base printing time as far as it is known, by itself; None if nothing bounds it above."""
    if result.right or result.differ:
        return str(result.base_time)
    return None if result.high is None or result.far else f"at most {result.high.on_timer()}"


def eye_advice(result: EyeResult, tablet: Tablet) -> Advice:
    """The next strip to print, or the target; nothing is typed for it."""
    return Advice(_eye_words(result, tablet), exposes=True)


def _eye_words(result: EyeResult, tablet: Tablet) -> str:
    time, change = result.next_time, result.change_stops
    if result.right:
        return (f"print the target for {result.base_time}: on the strip for {time} steps 1 and 2"
                " merge and step 3 stands apart.")
    if result.far:
        return (f"print for {time}, {-change:.0f} stops less than {result.nearest.time}, and count"
                " again.")
    if result.high is None:
        return f"print for {time}, about half a stop more than {result.nearest.time}."
    goal = "so that steps 1 and 2 just merge and step 3 stands apart"
    if result.differ:
        return f"print for {time}, half-way between what the strips say, {goal}."
    return (f"print for {time}, {abs(change):.2f} stops {'more' if change > 0 else 'less'} than"
            f" {result.nearest.time}, {goal} (a step of this tablet is"
            f" {tablet.step / scales.STOP:.2f} stop).")


def process_text(process: Process, file: Path | None, plot: Path | None = None) -> str:
    """The report: read, found, doubtful, written, next; ``file`` is where it was written, and
    ``plot`` its picture."""
    advice = process_advice(process, file)
    return report(
        f"Process {process.name}", [*process_facts(process), *doubts(process.findings)],
        file or "no process (add -o NAME.process.json)", advice.typed(), plot=plot,
        exposes=advice.exposes)


def process_facts(process: Process) -> list[Fact]:
    """What a measured strip tells, each fact under its label."""
    found, patches = process.summary, process.strip.patches
    halves = sorted({p.through for p in patches}, reverse=True)
    files = ", ".join(s.name for s in process.strip.sources)
    facts = [
        ("read", f"{len(patches)} steps ({' and '.join(halves)}) of the tablet"
                 f" {process.tablet.name}{files and f' from {files}'}, printed for"
                 f" {', '.join(map(str, process.strip.times()))}"),
        ("black", _density(found.max_black_density)
                 + ("" if found.reached_black else ", extrapolated: NOT reached on this strip")),
        ("white", _density(found.paper_white_density)),
        *_time_facts(process),
        ("range", _range_words(process)),
    ]
    if found.film_density is not None:
        facts.append(("film", f"density {found.film_density:.2f}, included in the time"))
    facts += _tablet_facts(process.tablet)
    if found.reciprocity_sd is not None:
        facts.append(("light", f"twice the time counts as {2.0**found.reciprocity:.2f} times the"
                      " light"))
    facts.append(("noise", f"readings scatter by {found.noise_density_sd:.3f} in density"))
    return facts


def _tablet_facts(tablet: Tablet) -> list[Fact]:
    base = tablet.densities[0]
    return [] if base == 0.0 else [(
        "tablet", f"its base, density {base:.2f}, was taken out: the base printing time is for the"
        " film alone")]


def _density(density: float) -> str:
    return f"density {density:.2f}, L* {float(scales.density_to_lightness(density)):.1f}"


def _time_facts(process: Process) -> list[Fact]:
    found = process.summary
    base, low, high, strict = (
        PrintingTime(t, process.unit).on_timer()
        for t in (found.base_printing_time, found.base_printing_time_low,
                  found.base_printing_time_high, found.strict_printing_time))
    between = f"between {low} and {high}"
    if found.next_time is not None:
        return [("time", f"base printing time: not known yet; nine times in ten it lies"
                         f" {between}, most likely near {base}")]
    return [("time", f"base printing time: {base}; nine times in ten it lies {between}"),
            _one_step_less(strict)]


def _one_step_less(time: PrintingTime) -> Fact:
    return ("", f"one step less: {time} (opens the shadows; black slightly weaker)")


def _range_words(process: Process) -> str:
    found, whole = process.summary, process.range_to_white(process.base_time)
    if found.log_exposure_range is None:
        return "not known"
    grade = "" if found.iso_range is None else f", ISO range {found.iso_range}"
    iso = f"{found.log_exposure_range:.2f}{grade}, by the ISO 6846 definition"
    return ("your negative needs a density range of "
            + (iso if whole is None else f"{whole:.2f} ({iso})"))


_MORE_STRIPS = (TimeUnsure, StripWhiteNotReached)
"""Findings that name another strip as a way out."""


def process_advice(process: Process, file: Path | None = None) -> Advice:
    """What to do next; ``file`` is where the process was written."""
    found = process.summary
    if process.contradicted:
        return Advice(
            "look at the strip and the warnings. Measure again, evaluate each strip by itself,"
                " or print another before you print anything for these times", exposes=True)
    if found.next_time is not None:
        return Advice(
            f"print another strip for {PrintingTime(found.next_time, process.unit)}: long"
                " enough for most papers to show black. One that is too long tells as much as one"
                " at the right time.", exposes=True)
    several = " --target-time TIME" if len(process.strip.times()) > 1 else ""
    return Advice(
        "measure the target that was printed beside the strip (if there is none, draw one: its time"
        f" is {process.base_time.on_timer()})",
        f"tonewright fit READINGS.csv --process {typed(file or 'NAME.process.json')}{several}"
        " -o NAME.curve.json",
        exposes=any(isinstance(f, _MORE_STRIPS) for f in process.findings))

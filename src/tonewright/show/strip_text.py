"""What a step-tablet strip says, in plain words."""

from __future__ import annotations

from typing import Any

from tonewright import scales
from tonewright.record.times import PrintingTime
from tonewright.show.rehearsal_text import CAUTIONS
from tonewright.show.words import labelled
from tonewright.strip.exposure import EyeResult, EyeStrip
from tonewright.strip.process import Process
from tonewright.strip.tablet import Tablet


def eye_json(result: EyeResult) -> dict[str, Any]:
    """The findings of strips judged by eye, under the names the command line promises."""
    known = None if result.far else result.high
    best = result.next_time if result.differ else known
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
        "time_unit": result.next_time.unit,
    }


def process_json(process: Process) -> dict[str, Any]:
    """The findings of a measured strip, under the names the command line promises."""
    found = process.summary
    return {
        "base_printing_time_s": found.base_printing_time,
        "base_printing_time_low_s": found.base_printing_time_low,
        "base_printing_time_high_s": found.base_printing_time_high,
        "strict_printing_time_s": found.strict_printing_time,
        "reached_black": found.reached_black, "next_time_s": found.next_time,
        "log_exposure_range": found.log_exposure_range, "iso_range": found.iso_range,
        "density_range_to_white": _rounded(process.range_to_white(process.base_time)),
        "film_density": found.film_density, "max_black_density": found.max_black_density,
        "paper_white_density": found.paper_white_density,
        "just_visible_lightness": process.settings.just_visible_lightness,
        "time_unit": process.unit, "noise_density_sd": found.noise_density_sd,
        "reciprocity": found.reciprocity, "scale": process.strip.scale,
        "set_aside": [{"step": p.step, "through": p.through, "print": p.print_name,
                       "density": p.density}
                      for p in (process.strip.patches[i] for i in found.set_aside)],
        "contradicted": found.contradicted, "warnings": list(found.warnings),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _number(time: PrintingTime) -> float:
    return round(time.value, 2)


def eye_text(result: EyeResult, tablet: Tablet, strips: list[EyeStrip]) -> str:
    """Whether the time is right, the next one to try and why."""
    lines = ["Judged by eye, through the film and dry"]
    for strip in strips:
        merged = ("no steps merge" if strip.merged == 1
                  else f"steps 1 to {strip.merged} merge")
        lines.append(labelled("strip", f"{strip.time}: {merged}"))
    if result.high is None:
        lines.append(labelled("black", "not reached for sure: where not even steps 1 and 2 merge,"
                              " the paper can print a blacker black, so this time is only a lower"
                              " bound"))
        lines.append(labelled("next", f"try {result.next_time}, about half a stop longer than"
                              f" {result.nearest.time}"))
        return "\n".join([*lines, exposing_text()])
    if result.right:
        lines.append(labelled("time", f"{result.next_time} is right: steps 1 and 2 merge and step"
                              " 3 stands apart"))
    else:
        lines.append(labelled("next", _why(result, tablet)))
    if result.far:
        return "\n".join([*lines, exposing_text()])
    low = "" if result.low is None else f"over {result.low.on_timer()} and "
    if result.low is not None and result.low.on_timer() == result.high.on_timer():
        low = ""
    lines.append(labelled("between", f"the base printing time is {low}at most"
                          f" {result.high.on_timer()}"
                          + ("; the strips do not quite agree, though by no more than a count by"
                             " eye may be off" if result.differ else "")))
    lines.append(labelled("strict", f"{result.strict}, one step shorter, keeps a little more in"
                          " the shadows for a hardly lighter black"))
    return "\n".join([*lines, exposing_text()])


def _why(result: EyeResult, tablet: Tablet) -> str:
    change = result.change_stops
    way = "longer" if change > 0 else "shorter"
    if result.far:
        return (f"print for {result.next_time}: {-change:.0f} stops shorter than"
                f" {result.nearest.time}, and count again. So many merged steps tell only that the"
                " strip is far too long, or that it is fogged or not cleared.")
    if result.differ:
        return (f"print for {result.next_time}: half way between what the strips say, so that"
                " steps 1 and 2 just merge and step 3 stands apart")
    return (f"print for {result.next_time}: {abs(change):.2f} stop {way} than"
            f" {result.nearest.time}, so that steps 1 and 2 just merge and step 3 stands apart"
            f" (a step of this tablet is {tablet.step / scales.STOP:.2f} stop)")


def exposing_text() -> str:
    """The cautions that go with every advice to expose."""
    return "\n" + "\n".join(labelled("care", CAUTIONS).splitlines())


def process_text(process: Process) -> str:
    """What was read and found: one fact a line, then the warnings."""
    found, unit = process.summary, process.unit
    patches = process.strip.patches
    halves = sorted({p.through for p in patches}, reverse=True)
    times = ", ".join(str(t) for t in process.strip.times())

    def spoken(value: float) -> str:
        return str(PrintingTime(value, unit).on_timer())

    lines = [
        f"Process {process.name}",
        labelled("read", f"{len(patches)} steps ({' and '.join(halves)}) of the tablet"
                 f" {process.tablet.name}, printed for {times}"),
        labelled("black", f"density {found.max_black_density:.2f}, L*"
                 f" {float(scales.density_to_lightness(found.max_black_density)):.1f}"
                 + ("" if found.reached_black else ", extrapolated: NOT reached on this strip")),
        labelled("white", f"density {found.paper_white_density:.2f}, L*"
                 f" {float(scales.density_to_lightness(found.paper_white_density)):.1f}"),
        labelled("time", _time_words(process)),
        *([] if found.next_time is not None else [
            labelled("strict", f"{spoken(found.strict_printing_time)}, one step shorter")]),
        labelled("range", _range_words(process)),
    ]
    if found.film_density is not None:
        lines.append(labelled("film", f"takes {found.film_density:.2f} of density, which the"
                              " times above include"))
    if found.reciprocity_sd is not None:
        lines.append(labelled("light", f"twice the time counts as"
                              f" {2.0**found.reciprocity:.2f} times the light"))
    lines.append(labelled("noise", f"readings scatter by {found.noise_density_sd:.3f} in density"))
    lines += [labelled("warning", text) for text in found.warnings]
    return "\n".join(lines)


def _time_words(process: Process) -> str:
    found = process.summary

    def spoken(value: float) -> str:
        return str(PrintingTime(value, process.unit).on_timer())

    between = (f"between {spoken(found.base_printing_time_low)} and"
               f" {spoken(found.base_printing_time_high)}")
    if found.next_time is None:
        return (f"base printing time {spoken(found.base_printing_time)}; nine times in ten it lies"
                f" {between}")
    return (f"the base printing time is not known yet: nine times in ten it lies {between}, most"
            f" likely near {spoken(found.base_printing_time)}")


def _range_words(process: Process) -> str:
    found = process.summary
    if found.log_exposure_range is None:
        return "not known"
    grade = "" if found.iso_range is None else f" (ISO range {found.iso_range})"
    said = (f"{found.log_exposure_range:.2f} in log exposure{grade}: the negative needs a density"
            f" range of {found.log_exposure_range:.2f} in the light that prints")
    whole = process.range_to_white(process.base_time)
    if whole is None:
        return said
    return (said + f", to nine tenths of black; from the blackest black at the base printing time"
            f" to paper white it is {whole:.2f}")


def next_words(process: Process, file: str | None = None) -> str:
    """What to do next; ``file`` is where the process was written."""
    found = process.summary
    if found.contradicted:
        return ("look at the strip and at the warnings above: measure again, evaluate each strip by"
                " itself, or print another, before anything is printed for these times")
    if found.next_time is not None:
        return (f"print another strip for {PrintingTime(found.next_time, process.unit)}: long"
                " enough to show black if the paper needs more than is likely, and a strip that is"
                " too long tells all that one at the right time does")
    time = PrintingTime(found.base_printing_time, process.unit).on_timer()
    several = " --target-time TIME" if len(process.strip.times()) > 1 else ""
    return (f"print the target for {time} (or use the target printed beside the strip), then"
            f" tonewright fit READINGS.csv --process {file or 'NAME.process.json'}{several}"
            " -o NAME.curve.json")

"""The report on a curve, fitted or renewed: read, found, doubtful, written, next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.curve.aim import Aim
from tonewright.curve.document import Curve
from tonewright.curve.findings import InkToSpare, PaperWhiteNotReached, TwoWeightings
from tonewright.curve.fit import patch_names
from tonewright.curve.next_step import NextStep, next_step, plan_to_print
from tonewright.curve.prints import PatchPlace
from tonewright.curve.recipe import Recipe
from tonewright.curve.renew import Movement, Renewed
from tonewright.curve.responses import PrintResponse
from tonewright.errors import capital, counted, visible
from tonewright.files.curves import Rebuilt
from tonewright.measured.readings import Readings
from tonewright.record.codec import encode
from tonewright.record.findings import Finding
from tonewright.record.setup import Setup
from tonewright.show.advice import Advice, untyped
from tonewright.show.findings import sentence
from tonewright.show.report import doubts, found_json, report, taken
from tonewright.show.scan_findings import DOUBTS_IN_SHORT
from tonewright.show.words import Fact, percent, typed

MOST_DIFFERENCES = 4
LEAST_SHOWN = 0.05
"""L* that would be written as 0.0."""
_STRIPS = ("repeat_strip", "print_longer_strip")
"""Next steps that have another strip printed."""
_WEIGHTINGS = {"luminance": "luminance (true CIE L*)",
               "visual-density": "visual density (lightness is computed from it)"}


def fit_json(curve: Curve) -> dict[str, Any]:
    """What a fit found, under the names the command line promises."""
    found = curve.summary
    return {
        **taken(found, "black_lightness", "white_lightness", "level_black", "level_white",
                "noise_density_sd"),
        "doubtful": [asdict(d) for d in found.doubtful],
        **taken(found, "band_halfwidth_mean", "band_halfwidth_max", "negative_density_range",
                "print_to_print_lightness_sd", "least_sure_level"),
        "scale": curve.scale, **found_json(found_in(curve)),
        "next": encode(next_step(curve)),
        **_derived_json(curve),
    }


def _derived_json(curve: Curve) -> dict[str, Any]:
    """What only a curve by way of a process response knows."""
    if curve.recipe is None:
        return {}
    process = curve.recipe.own_process
    return {
        "printing_time_s": curve.recipe.printing_time.value,
        "time_unit": curve.recipe.printing_time.unit, "process": process.name,
        "process_log_exposure_range": process.summary.log_exposure_range,
        "plan_levels": list(curve.plan),
        "few_patches_moved_lightness": curve.summary.few_patches_moved_lightness,
    }


def renew_json(renewed: Renewed) -> dict[str, Any]:
    """The same of a renewal, with what moved."""
    data, old = fit_json(renewed.curve), renewed.curve.ancestor
    assert old is not None
    other = next((f for f in renewed.findings if isinstance(f, TwoWeightings)), None)
    return {
        **data, "findings": data["findings"] + [encode(f) for f in renewed.findings],
        "ancestor": old.name, "setup_changes": setup_changes(old.setup, renewed.curve.setup),
        "notes": [sentence(f) for f in renewed.findings if f.kind == "note"],
        "moved": {**asdict(renewed.movement), "warning": other and sentence(other)},
    }


def found_in(curve: Curve) -> list[Finding]:
    """Those of the curve, and of every file of readings that it was made from."""
    return [*dict.fromkeys((*curve.findings, *(f for r in curve.measured for f in r.findings)))]


def fit_text(curve: Curve, file: Path | None, plot: Path | None = None) -> str:
    """The report on a fit; ``file`` is where the curve goes, ``plot`` its picture, None: it is not
    kept."""
    return _report(curve, (file, plot), "", curve_facts(curve))


def renew_text(renewed: Renewed, file: Path, plot: Path | None = None) -> str:
    """The report on a renewal."""
    curve, old = renewed.curve, renewed.curve.ancestor
    assert old is not None
    changes = setup_changes(old.setup, curve.setup) or [
        "no new paper or chemistry was noted (add --paper, --coating, …)"]
    return _report(curve, (file, plot), f", renewed from {old.name}", [
        *_read_facts(curve), *(("changed", change) for change in changes), *_found_facts(curve),
        *_moved_facts(renewed.movement)], renewed.findings, renewed=True)


def refine_text(refined: Renewed, file: Path, plot: Path | None = None) -> str:
    """The report on a curve refined by more readings."""
    curve, old, moved = refined.curve, refined.old, refined.movement
    return _report(curve, (file, plot), f", refined from {old.name}", [
        *_read_facts(curve), *_found_facts(curve),
        ("moved", "nowhere: the print agrees with the curve as it was"
         if abs(moved.largest_shift_lightness) < LEAST_SHOWN else
         f"by {moved.rms_shift_lightness:.1f} L* on the whole, at most"
         f" {abs(moved.largest_shift_lightness):.1f} at picture L*"
         f" {moved.shift_at_image_lightness:.0f}"),
        ("surer", f"±{old.summary.band_halfwidth_mean:.1f} L* before, now"
         f" ±{curve.summary.band_halfwidth_mean:.1f} (95 times in 100, on average)")],
        refined.findings)


def curve_facts(curve: Curve) -> list[Fact]:
    """What a curve was made from and what it knows, but for its doubtful patches; no option, no
    command."""
    return [*_read_facts(curve), *_tone_facts(curve), *_found_facts(curve)]


def curve_advice(curve: Curve) -> Advice:
    """What to do with a curve."""
    step = next_step(curve)
    if step.code == "make_negative":
        return Advice("make a negative of a picture with this curve, and check its print")
    return Advice(untyped(next_step_words(step)).strip(), exposes=step.code in _STRIPS)


def _read_facts(curve: Curve) -> Iterator[Fact]:
    recipe = curve.recipe
    if recipe is not None:
        yield from _recipe_facts(recipe)
    elif curve.readings is not None:
        yield ("read", readings_line(curve.readings))
        if curve.setup.printing_time:
            yield ("time", f"the curve is for a printing time of {curve.setup.printing_time}")
    yield ("weighting", _WEIGHTINGS[curve.scale]
                   + (", counted from the bare paper" if curve.relative_to_paper else ""))
    yield ("aim", _aim(curve.settings.aim))
    prints = () if recipe is None else recipe.prints
    names = dict.fromkeys((*curve.settings.left_out, *(n for p in prints for n in p.left_out)))
    if names:
        yield ("left out", ", ".join(names))


def _aim(aim: Aim) -> str:
    if aim.kind == "like":
        return f"the tones of {aim.label}"
    if aim.kind == "points":
        return f"the points of {aim.label}"
    return f"equal steps of {aim.kind} between the print's black and white"


def _recipe_facts(recipe: Recipe) -> Iterator[Fact]:
    """For a derived curve the prints, the process and the time."""
    for print_ in recipe.prints:
        yield ("read", f"{readings_line(print_.readings)}, printed as"
                       f" {recipe.processes[print_.process].name} for"
                       f" {recipe.spoken_print_time(print_)}")
    process = recipe.own_process
    yield ("process", f"{process.name}, from a strip of {len(process.strip.patches)} steps")
    yield ("time", f"the curve is for a printing time of {recipe.timer_time}")


def readings_line(readings: Readings) -> str:
    """How many patches of how many levels came from which files."""
    levels = len(set(readings.level.tolist()))
    files = ", ".join(s.name for s in readings.sources) or "readings made in the program"
    patches = counted(len(readings.patches), "patch")
    return f"{patches} of {counted(levels, 'ink level')} from {files}"


def _found_facts(curve: Curve) -> Iterator[Fact]:
    found = curve.summary
    yield ("noise", f"readings scatter by {found.noise_density_sd:.3f} in density")
    if curve.recipe is None and curve.readings is not None:
        yield ("sheets", _sheets(
            curve.readings, found.print_to_print_lightness_sd, curve.response))
    weakest = float(curve.response.lightness_at(found.least_sure_level))
    yield ("how sure", f"95 times in 100 the true tone lies within"
                   f" ±{found.band_halfwidth_mean:.1f} L* on average; weakest at"
                   f" {percent(found.least_sure_level)} ink (print L* {weakest:.0f}):"
                   f" ±{found.band_halfwidth_max:.1f}")
    yield from _negative_facts(curve)
    moved = found.few_patches_moved_lightness
    if moved is not None:
        yield ("patches", f"they moved the curve by up to {moved:.1f} L*"
                          if moved >= LEAST_SHOWN else "they agree with the strip")


def _tone_facts(curve: Curve) -> Iterator[Fact]:
    """Where the print's tones begin and end."""
    found = curve.summary
    for end, light, level in (("black", found.black_lightness, found.level_black),
                              ("white", found.white_lightness, found.level_white)):
        yield (end, f"L* {light:.1f}; picture {end} = {percent(level)} ink")


def _sheets(readings: Readings, sd: float | None, response: PrintResponse) -> str:
    sheets = {p.print_name for p in readings.patches}
    if sd is None and len(sheets) > 1:
        return f"{len(sheets)}, but too few patches on each to tell how much they differ"
    if sd is None:
        return "one, which does not tell how much the next sheet may differ"
    half = float(np.mean(response.reading_high - response.reading_low)) / 2.0
    return (f"{len(sheets)}; they differ by ±{sd:.1f} L* from one to the next. A reading of the"
            f" next sheet lies within ±{half:.1f} L* of the curve (95 times in 100)")


def _negative_facts(curve: Curve) -> Iterator[Fact]:
    """The negative's density range against what the process needs."""
    recipe, negative = curve.recipe, curve.negative
    if recipe is None or negative is None:
        return
    process = recipe.own_process
    iso, whole = process.summary.log_exposure_range, process.range_to_white(recipe.printing_time)
    # the way to white is less where the time is too short for black
    need = max((r for r in (iso, whole) if r is not None), default=None)
    needs = ("what density range it needs is not known" if need is None
             else f"it needs a density range of {need:.2f}")
    found, half = negative.density[-1], (negative.density_high[-1] - negative.density_low[-1]) / 2.0
    # past the ink that still prints a tone nothing tells how dense it is
    gives = (f"{found:.2f} ± {half:.2f}" if half < found / 4.0
             else f"at least {negative.density_low[-1]:.2f}")
    yield ("negative", f"{needs}; the ink gives {gives}."
                   f" {_range_advice(curve, need)}".strip())


def _range_advice(curve: Curve, need: float | None) -> str:
    """What to do about the negative's range."""
    for found in curve.findings:
        if isinstance(found, InkToSpare):
            return sentence(found)
        if isinstance(found, PaperWhiteNotReached):
            return "That is too little: see the warning."
    return "" if need is None else "That is enough."


def setup_changes(old: Setup, new: Setup) -> list[str]:
    """``paper: cotton → linen`` for each entry of the setup that changed."""
    return [f"{name.replace('_', ' ')}: {before or 'not named'} → {after or 'not named'}"
            for name, (before, after) in old.differences(new).items()]


def _moved_facts(moved: Movement) -> Iterator[Fact]:
    blacks, whites = zip(moved.old_levels, moved.new_levels, strict=True)
    for end, before, after, levels in (
            ("black", moved.old_black_lightness, moved.new_black_lightness, blacks),
            ("white", moved.old_white_lightness, moved.new_white_lightness, whites)):
        yield ("moved", f"{end} L* {before:.1f} → {after:.1f}, ink {percent(levels[0])} →"
                       f" {percent(levels[1])}")
    off = moved.largest_shift_lightness
    yield ("old curve", f"for this print: up to {abs(off):.1f} L* too"
                   f" {'light' if off > 0.0 else 'dark'} (at picture L*"
                   f" {moved.shift_at_image_lightness:.0f}); RMS over all tones"
                   f" {moved.rms_shift_lightness:.1f} L*")


def doubtful_words(curve: Curve) -> str:
    """The patches that the fit or the scan doubts, and that are not left out."""
    found = {d.patch: f"{percent(d.level)} ink, {doubt_words(d.off_by_density)}"
             for d in curve.summary.doubtful}
    every = [(curve.readings, ())] if curve.recipe is None else [
        (p.readings, p.left_out) for p in curve.recipe.prints]
    for readings, left_out in every:
        patches = () if readings is None else readings.patches
        for patch, full in zip(patches, patch_names(patches), strict=True):
            if patch.doubt and not {patch.patch, full} & {*left_out, *curve.settings.left_out}:
                seen = doubt_words(None, patch.doubt)
                found[full] = "; ".join(filter(None, (found.get(full), seen)))
    return "; ".join(f"{name} ({why})" for name, why in found.items()) or "no patch"


def doubt_words(off_by_density: float | None, scan_doubt: str | None = None) -> str:
    """Why a patch is doubtful, by the fit and by the scan; what is no code of ours is quoted."""
    off = off_by_density
    by_fit = "" if off is None else (f"density {abs(off):.2f} {'higher' if off > 0 else 'lower'}"
                                     " than its neighbours suggest")
    codes = (scan_doubt or "").split()
    by_scan = (" and ".join(DOUBTS_IN_SHORT[code] for code in codes)
               if {*codes} <= {*DOUBTS_IN_SHORT} else f'"{visible(scan_doubt or "")}"')
    return "; ".join(filter(None, (by_fit, by_scan and f"in the scan {by_scan}")))


def patch_words(place: PatchPlace) -> str:
    """One patch of a list of those that are doubtful or do not count."""
    why = doubt_words(place.off_by_density, place.scan_doubt)
    return "; ".join(filter(None, (
        f"{place.name}: {percent(place.level)} ink, print L* {place.lightness:.0f}", why,
        "" if place.counts else "does not count")))


def _report(
    curve: Curve, written: tuple[Path | None, Path | None], made: str, facts: Iterable[Fact],
    more: Iterable[Finding] = (), *, renewed: bool = False,
) -> str:
    """A whole report of a curve and its picture; ``made`` follows the curve's name."""
    kept, plot = written
    # the line on the negative tells of ink to spare
    found = [f for f in (*found_in(curve), *more) if not isinstance(f, InkToSpare)]
    step, plan = next_step(curve), plan_to_print(curve, renewed=renewed)
    file = typed(kept or f"{curve.name}.curve.json")
    told = _plan(curve, plan, file) if plan else ""
    surer: list[Fact] = []
    if step.code != "make_negative":
        then = next_step_words(step) + told
    elif kept is None:
        then = f"the same again with -o {file} keeps the curve"
    else:
        then = f"tonewright negative IMAGE.tif --curve {file} -o NEGATIVE.tif"
        surer = [("Surer:", told)] if told else []
    return report(f"Curve {curve.name}{made}",
                  [*facts, ("doubtful", doubtful_words(curve)), *doubts(found)], kept, then, *surer,
                  plot=plot, exposes=bool(plan) or step.code in _STRIPS)


def next_step_words(step: NextStep) -> str:
    """What to do about a curve that is not ready for a picture."""
    again = " Then make the curve again; do not print a picture with this one."
    leave_out = "measure the doubtful patches again, or leave them out (--leave-out PATCH)"
    if step.code == "repeat_strip":
        return ("the strip's readings contradict each other, see the warnings. Measure the strip"
                f" again or print another (tonewright strip).{again}")
    if step.code == "print_longer_strip":
        return ("the strip did not show black, so this curve may be for the wrong time. Print"
                f" another strip for {step.strip_time} (tonewright strip).{again}")
    if step.code == "settle_contradiction":
        return ("strips and patches contradict each other, see the warnings. Check times and"
                f" papers{f'; {leave_out}' if step.doubtful else ''}.{again}")
    return ("the curve is too unsure for a picture. "
            + (f"{capital(leave_out)}. " if step.doubtful else ""))


def _plan(curve: Curve, plan: tuple[float, ...], file: str) -> str:
    assert curve.recipe is not None  # only a derived curve has a plan
    return (f"Print a few patches on this paper for {curve.recipe.timer_time}; those at"
            f" {', '.join(map(percent, plan))} ink would tell most. Draw such a sheet (tonewright"
            f" target --levels-for {file} --levels 7 -o FEW.tif), measure it and add the"
            f" readings (tonewright refine {file} FEW.csv -o SURER.curve.json).")


def rebuild_json(made: Rebuilt, path: Path, output: Path | None) -> dict[str, Any]:
    """How a curve made again compares, under the names the command line promises."""
    return {"rebuilt": path, "same_bytes": made.same_bytes, "same": not made.differences,
            "differences": [asdict(d) for d in made.differences],
            "print_shift_lightness": round(made.print_shift_lightness, 3),
            "made_by": made.old.made_by, "output": output}


def rebuild_text(made: Rebuilt, path: Path, output: Path | None) -> str:
    """How a curve made again compares."""
    again = f"{path} was made again from its readings and comes out"
    if made.same_bytes:
        return f"{again} the same, byte for byte."
    if not made.differences:
        return (f"{again} the same: no number differs by more than rounding. It was made by"
                f" {made.old.made_by}, perhaps on another computer.")
    said = "; ".join(d.part if d.amount is None else f"{d.part} by up to {d.amount:.3g}"
                     for d in made.differences[:MOST_DIFFERENCES])
    more = len(made.differences) - MOST_DIFFERENCES
    shift = made.print_shift_lightness
    prints = (f"The print it predicts changes by up to {shift:.1f} L*." if shift >= 0.05 else
              "The print it predicts looks the same.")
    return (f"{again} DIFFERENT. {prints} Entries that differ: {said}"
            f"{f' and {more} more' if more > 0 else ''}. It was made by {made.old.made_by}, or it"
            " was edited."
            + ("" if output else " Add -o NEW.curve.json to keep it as it is now."))

"""What the commands say, in plain words."""

from __future__ import annotations

from typing import Any

from tonewright.curve.document import Curve
from tonewright.curve.renew import Movement
from tonewright.errors import counted
from tonewright.measured.readings import Readings
from tonewright.record.times import PrintingTime
from tonewright.show.findings import sentence
from tonewright.show.words import labelled

CONTRADICTS = 1.8
"""From how many times worse agreement than readings should have on something is plainly wrong."""
UNSURE = 6.0
"""Half-width of the band, L*, from which on a tone would be seen to be off."""
_SCALES = {"luminance": "luminance (true CIE L*)",
           "visual-density": "visual density (lightness is computed from it)"}


def fit_json(curve: Curve) -> dict[str, Any]:
    """The findings of a fit, under the names the command line promises."""
    found = curve.summary
    return {
        "black_lightness": found.black_lightness,
        "white_lightness": found.white_lightness,
        "level_black": found.level_black,
        "level_white": found.level_white,
        "noise_density_sd": found.noise_density_sd,
        "doubtful": list(found.doubtful),
        "band_halfwidth_mean": found.band_halfwidth_mean,
        "band_halfwidth_max": found.band_halfwidth_max,
        "negative_density_range": found.negative_density_range,
        "print_to_print_lightness_sd": found.print_to_print_lightness_sd,
        "least_sure_level": found.least_sure_level,
        "scale": curve.scale,
        "warnings": list(found.warnings) + _notes(curve),
        **_derived_json(curve),
    }


def _derived_json(curve: Curve) -> dict[str, Any]:
    """What only a curve by way of a process response knows."""
    if curve.recipe is None:
        return {}
    process = curve.recipe.processes[curve.recipe.process]
    return {
        "printing_time_s": curve.recipe.printing_time.value,
        "time_unit": curve.recipe.printing_time.unit, "process": process.name,
        "process_log_exposure_range": process.summary.log_exposure_range,
        "plan_levels": list(curve.plan),
        "few_patches_followed": curve.summary.few_patches_followed,
    }


def _notes(curve: Curve) -> list[str]:
    return [] if curve.readings is None else [*map(sentence, curve.readings.findings)]


def fit_text(curve: Curve) -> str:
    """What was read and found: one fact a line, then the warnings."""
    found = curve.summary
    span = found.white_lightness - found.black_lightness
    lines = [
        f"Curve {curve.name}",
        *_origin_lines(curve),
        labelled("scale", _SCALES[curve.scale]
                 + (", counted from the bare paper" if curve.relative_to_paper else "")),
        *_left_out_lines(curve),
        labelled("noise", f"readings scatter by {found.noise_density_sd:.3f} in density"),
        *([labelled("sheets", _sheets_text(curve.readings, found.print_to_print_lightness_sd))]
          if curve.recipe is None and curve.readings is not None else []),
        labelled("black", f"L* {found.black_lightness:.1f}, printed by ink up to"
              f" {found.level_black:.0%}"),
        labelled("white", f"L* {found.white_lightness:.1f}, printed by ink from"
              f" {found.level_white:.0%} on"),
        labelled("range", f"{span:.0f} L* between black and white; the curve uses"
              f" {found.level_black:.0%} to {found.level_white:.0%} of the ink"),
        labelled("how sure", f"the true tone lies within ±{found.band_halfwidth_mean:.1f} L* on the"
              f" average (95 times in 100); least sure, ±{found.band_halfwidth_max:.1f} L*, at"
              f" {found.least_sure_level:.0%} ink"),
        labelled("doubtful", _doubtful_text(found.doubtful)),
    ]
    lines += _range_lines(curve)
    lines += _followed_lines(found.few_patches_followed, found.disagreement is None)
    lines += [labelled("note", text) for text in _notes(curve)]
    lines += [labelled("warning", text) for text in found.warnings]
    return "\n".join(lines)


def _left_out_lines(curve: Curve) -> list[str]:
    prints = () if curve.recipe is None else curve.recipe.prints
    names = dict.fromkeys((*curve.settings.left_out, *(n for p in prints for n in p.left_out)))
    return [labelled("left out", ", ".join(names))] if names else []


def readings_line(readings: Readings) -> str:
    """How many patches of how many levels came from which files."""
    levels = len(set(readings.level.tolist()))
    files = ", ".join(s.name for s in readings.sources) or "readings made in the program"
    patches = counted(len(readings.patches), "patch")
    return f"{patches} of {counted(levels, 'ink level')} from {files}"


def movement_text(old_name: str, moved: Movement, changed: tuple[str, ...]) -> str:
    """What moved since the old curve."""
    lines = [f"Renewed from {old_name}"]
    lines += [labelled("changed", text) for text in changed] or [
        labelled("changed", "nothing in the setup: say what is new with --paper, --coating, …")]
    lines += [
        labelled("black", f"L* {moved.old_black_lightness:.1f} → {moved.new_black_lightness:.1f}"),
        labelled("white", f"L* {moved.old_white_lightness:.1f} → {moved.new_white_lightness:.1f}"),
        labelled("ink", f"{moved.old_levels[0]:.0%} to {moved.old_levels[1]:.0%} →"
              f" {moved.new_levels[0]:.0%} to {moved.new_levels[1]:.0%}"),
        labelled("tones", "had the old curve been kept, tones would be off by up to"
              f" {moved.largest_shift_lightness:+.1f} L* (image L*"
              f" {moved.shift_at_image_lightness:.0f}), {moved.rms_shift_lightness:.1f} L* on the"
              " whole"),
    ]
    if moved.warning is not None:
        lines.append(labelled("warning", moved.warning))
    return "\n".join(lines)


def _origin_lines(curve: Curve) -> list[str]:
    """What was read, and for a derived curve the process and the time as well."""
    recipe = curve.recipe
    if recipe is None:
        return [] if curve.readings is None else [labelled("read", readings_line(curve.readings))]
    process = recipe.processes[recipe.process]
    lines = [labelled("ink", f"{readings_line(p.readings)}, printed as"
                      f" {recipe.processes[p.process].name} for {recipe.spoken_print_time(p)}")
             for p in recipe.prints]
    lines.append(labelled("process", f"{process.name}, from a strip of"
                          f" {len(process.strip.patches)} steps"))
    return [*lines, labelled("time", f"the curve is for a printing time of"
                             f" {recipe.spoken_time}")]


def _range_lines(curve: Curve) -> list[str]:
    """The negative's density range against what the process needs."""
    found = curve.summary.negative_density_range
    if found is None or curve.recipe is None:
        return []
    process = curve.recipe.processes[curve.recipe.process]
    needed = process.summary.log_exposure_range
    need = "a range that is not known" if needed is None else f"{needed:.2f} (ISO 6846)"
    whole = process.range_to_white(curve.recipe.printing_time)
    if whole is not None and whole > (needed or 0.0):  # less where the time is too short for black
        need += f", and {whole:.2f} from clear film to paper white at this printing time"
    spread = ""
    if curve.negative is not None:
        ends = curve.negative.density_low[-1], curve.negative.density_high[-1]
        spread = f" (between {ends[0]:.2f} and {ends[1]:.2f}, 95 times in 100)"
    return [labelled("negative", f"has a density range of {found:.2f}{spread} in the light that"
                     f" prints; the process needs {need}")]


def _followed_lines(part: float | None, agree: bool) -> list[str]:
    """What a few patches did to a curve that was known without them."""
    if part is None:
        return []
    if part == 0.0:
        said = ("they bear out what the strip said, as nearly as single readings can; the curve"
                " stays as it was" if agree else
                "they and the strip do not agree, see the warning; the curve stays as it was")
    elif part < 0.995:
        said = (f"the curve goes {part:.0%} of the way they point to; further, their noise could as"
                " well make it worse")
    else:
        said = "the curve follows them"
    return [labelled("patches", said)]


def plan_lines(curve: Curve, file: str, *, renewed: bool = False) -> list[str]:
    """Which patches to print next, if the curve in ``file`` shall be surer: where it is unsure,
    and always after a renewal without patches, unless something else must be mended first."""
    found = curve.summary
    wanted = renewed and found.few_patches_followed is None
    if not curve.plan or _first_mend(curve) or not (wanted or found.band_halfwidth_max > UNSURE):
        return []
    assert curve.recipe is not None
    levels = ", ".join(f"{v:.0%}" for v in curve.plan)
    return [labelled("plan", f"to be surer, print a few patches on this paper for"
                     f" {curve.recipe.spoken_time}; those at {levels} ink would tell most"
                     f" (tonewright target --levels-for {file} --levels 7 -o FEW.tif draws a sheet"
                     f" much like that). Measure them and add them: tonewright renew {file}"
                     " --readings FEW.csv -o SURER.curve.json")]


def _first_mend(curve: Curve) -> str:
    """What to do before anything is printed with a curve; empty where nothing speaks against
    it."""
    recipe, found = curve.recipe, curve.summary
    if recipe is None:
        return ""
    process = recipe.processes[recipe.process]
    longer = process.summary.next_time
    if process.contradicted:
        return ("the strip's readings contradict each other, see the warnings: measure or print it"
                " again, tonewright strip, and make the curve again before a picture is printed")
    if longer is not None:
        return ("the strip did not show black, so this curve may be for the wrong time: print"
                f" another strip for {PrintingTime(longer, process.unit)}, tonewright strip, and"
                " make the curve again before a picture is printed with it")
    if found.disagreement is not None and found.disagreement > CONTRADICTS:
        return ("strip and patches contradict each other, see the warnings: check times and papers"
                + (", measure the doubtful patches again or leave them out with --leave-out,"
                   if found.doubtful else "")
                + " and make the curve again before a picture is printed with it")
    return ""


def next_words(curve: Curve, file: str) -> str:
    """What to do with a curve that was written to ``file``."""
    if mend := _first_mend(curve):
        return mend
    if curve.plan and curve.summary.band_halfwidth_max > UNSURE:
        if curve.summary.doubtful:
            return ("the curve is too unsure for a picture: measure the doubtful patches again, or"
                    " leave them out with --leave-out, then print and add those of the plan")
        return "the curve is too unsure for a picture: print and add the patches of the plan first"
    return f"tonewright negative IMAGE.tif --curve {file} -o NEGATIVE.tif"


def _sheets_text(readings: Readings, sd: float | None) -> str:
    sheets = {p.print_name for p in readings.patches}
    if sd is None and len(sheets) > 1:
        return f"{len(sheets)}, but too few patches on each to tell how much they differ"
    if sd is None:
        return "one; how much the next sheet may differ is not known from it"
    return f"{len(sheets)}; they differ by ±{sd:.1f} L* from one to the next"


def _doubtful_text(doubtful: tuple[dict[str, Any], ...]) -> str:
    if not doubtful:
        return "no patch"
    return "; ".join(
        f"{d['patch']} (ink {d['level']:.0%}, {abs(d['off_by_density']):.2f}"
        f" {'darker' if d['off_by_density'] > 0 else 'lighter'} than its neighbours say)"
        for d in doubtful)

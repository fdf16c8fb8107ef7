"""How often good prints pass, how often the cause of a bad one is named, how well times are told.

Run ``python tests/benchmarks/print_checks.py [processes [noise [tones [kinds]]]]``; processes
``8000:8040`` are those of these seeds.  Every process, ink, sheet and noise is drawn with its own
seed; half of the processes have shapes that the virtual darkroom does not know.  Strip, target and
check are different sheets, which differ by 0.8 L* in each room; good prints are counted with and
without a zero of the day.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from materials import level_for_lightness, lightness_range
from rooms import random_darkroom
from shapes import other_darkroom
from tonewright import scales
from tonewright.check.aims import printed_tones
from tonewright.check.cause import judge
from tonewright.check.promise import Response, promise
from tonewright.curve.aim import Aim
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.curve.prints import make_recipe
from tonewright.measured.readings import Reading, Readings
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual import darkroom

TABLET = nominal_tablet("31")
SHEETS = {"speed_sd": 0.01, "contrast_sd": 0.01, "black_density_sd": 0.01,
          "uneven_exposure_sd": 0.005}
"""Scaled in each room to what sheets differ by."""
SHEETS_LIGHTNESS = 0.8
DAY_DENSITY_SD = 0.005
"""How much the zero of one day's readings differs from another's."""
OFFSETS = (0.03, -0.03, 0.05, -0.05)
KINDS = {"plain 21 x 1": (False, 21, 1, 1), "plain 31 x 2": (False, 31, 2, 1),
         "three sheets 21 x 1": (False, 21, 1, 3), "strip + 21 x 1": (True, 21, 1, 1),
         "strip + 31 x 2": (True, 31, 2, 1)}


def any_room(seed):
    """Of the darkroom's own shapes, or of others."""
    rng = np.random.default_rng(seed)
    room = other_darkroom(rng) if seed % 2 else random_darkroom(rng)
    return replace(room, printing_time=room.base_time)


def even_sheets(room):
    """How sheets differ in a room, by 0.8 L* in the mean over the tones."""
    low, high = lightness_range(room)
    level = level_for_lightness(room, np.linspace(low + 0.01, high - 0.01, 11))
    light = [darkroom.measure_target(room, level, flaws=darkroom.Flaws(0.0, **SHEETS),
                                     seed=s).readings.lightness for s in range(60)]
    times = SHEETS_LIGHTNESS / float(np.mean(np.std(light, axis=0)))
    return {name: times * sd for name, sd in SHEETS.items()}


def strip_process(room, seconds, seed, flaws):
    read = darkroom.measure_strip(room, TABLET.density, seconds, flaws=flaws, seed=seed)
    time = PrintingTime(float(seconds))
    patches = tuple(StripPatch(int(s), float(d), None, half, time, None)
                    for half in ("film", "bare")
                    for s, d in zip(read.step, getattr(read, f"density_{half}"), strict=True))
    return make_process(Strip(patches, "visual-density", ()), TABLET, Setup(), "p")


def made_curve(room, kind, seed, noise, sheets=SHEETS):
    """A curve for the base printing time of a room."""
    by_strip, levels, repeats, prints = KINDS[kind]
    flaws = darkroom.Flaws(noise_density_sd=noise, **sheets)
    readings = darkroom.measure_target(room, np.linspace(0, 1, levels), repeats, flaws=flaws,
                                       sheets=prints, seed=seed + 77).readings
    if not by_strip:
        return make_curve(readings, Settings(Aim()), Setup(), "c")
    process = strip_process(room, room.base_time, seed + 999, flaws)
    time = PrintingTime(room.base_time)
    recipe = make_recipe(process, readings, time, time)
    return make_derived_curve(recipe, Settings(Aim()), Setup(), "c")


def tone_row(room, level, flaws, prints, seed):
    """Tones that stand in a row along one edge of each sheet, so that light and coating change
    little from each to the next."""
    rng, along = np.random.default_rng(seed), np.arange(level.size) / level.size
    patches = []
    for sheet in range(1, prints + 1):
        uneven = flaws.uneven(along, np.zeros(level.size), rng)
        exact = flaws.print_density(room, room.exposure(level) + uneven, rng)
        density, _ = flaws.read(exact, rng)
        patches += [
            Reading(float(u), float(d), flaws.noise_density_sd, f"sheet {sheet}", f"A{i}")
            for i, (u, d) in enumerate(zip(level, density, strict=True), 1)]
    return Readings(tuple(patches), "visual-density", relative_to_paper=False)


def check_of(room, curve, seed, flaws, tones, offset=0.0, prints=1):
    """Of the tone scale beside a picture, or a sheet of more tones and its reference patches."""
    image = np.linspace(0.0, 100.0, tones)
    level, aim = curve.level_at(image), curve.print_lightness_at(image)
    if tones > 11:
        level = np.append(level, [0.0, 0.0, 1.0, 1.0])
        aim = np.append(aim, curve.response.lightness_at(level[-4:]))
        readings = darkroom.measure_target(room, level, flaws=flaws, sheets=prints,
                                           seed=seed).readings
    else:
        readings = tone_row(room, level, flaws, prints, seed)
    patches = tuple(replace(p, density=p.density + offset) for p in readings.patches)
    printed = printed_tones(curve, replace(readings, patches=patches), np.tile(aim, prints))
    response = Response(curve)
    return judge(printed, promise(curve, printed, response), response, 0.05)


def middle(room):
    """log10 exposure of the middle tone, on the process's own axis."""
    black, white = lightness_range(room)
    level = float(level_for_lightness(room, 0.5 * (black + white)))
    return float(room.exposure(level)) + room.base_log_exposure


def planted(room, fault, size):
    process = room.process
    seconds = room.base_time
    fixed = replace(room, printing_time=seconds)
    if fault == "exposure":
        return replace(room, printing_time=seconds * 2.0**size)
    if fault == "fog":
        white = scales.density_to_lightness(process.white_density)
        new = float(scales.lightness_to_density(white - size))
        process = replace(process, white_density=new)
    elif fault == "weak_black":
        black = scales.density_to_lightness(process.black_density)
        process = replace(process, black_density=float(scales.lightness_to_density(black + size)))
    elif fault == "ink":
        return replace(fixed, ink=replace(room.ink, max_density=room.ink.max_density * (1 + size)))
    elif fault == "process":
        pivot = middle(room)
        process = replace(process, log_exposure_range=process.log_exposure_range / (1 + size),
                          speed_exposure=pivot + (process.speed_exposure - pivot) / (1 + size))
    # what the sheet gets of light stays; only its answer is another
    moved = replace(fixed, process=process)
    moved.__dict__["base_log_exposure"] = room.base_log_exposure
    return moved


FAULTS = [("exposure", 1 / 3), ("exposure", -1 / 3), ("exposure", 0.5), ("exposure", -0.5),
          ("fog", 2.0), ("fog", 3.0), ("weak_black", 3.0), ("weak_black", 4.0), ("ink", 0.15),
          ("ink", -0.15), ("process", 0.15), ("process", -0.15)]


def name_of(found):
    """The cause as it is named; in brackets what comes nearest where it cannot be told."""
    code, likelier = found.cause.code, found.cause.likelier
    return f"({likelier})" if likelier else code


def main(seeds, noise, tones, kinds):
    for kind in kinds:
        passed = {"alone": [], "with a zero of the day": [], "two prints": []}
        said = {fault: Counter() for fault in [*FAULTS, *(("zero", o) for o in OFFSETS)]}
        off = []
        for seed in seeds:
            room = any_room(seed)
            sheets = even_sheets(room)
            curve = made_curve(room, kind, seed, noise, sheets)
            flaws = darkroom.Flaws(noise_density_sd=noise, states_sd=True, **sheets)
            day = np.random.default_rng(seed)
            for k in range(4):
                for words, offset, prints in (
                        ("alone", 0.0, 1), ("with a zero of the day",
                                            DAY_DENSITY_SD * day.standard_normal(), 1),
                        ("two prints", 0.0, 2)):
                    good = check_of(room, curve, 10 * seed + k + 5, flaws, tones, offset, prints)
                    passed[words].append(good.probability >= 0.05)
            for i, (fault, size) in enumerate(said):
                wrong, offset = (room, size) if fault == "zero" else (
                    planted(room, fault, size), 0.0)
                found = check_of(wrong, curve, 100 * seed + i, flaws, tones, offset)
                said[fault, size][name_of(found)] += 1
                if fault == "exposure" and found.light_stops:
                    off.append(abs(found.light_stops[0] - size))
        print(f"{kind}, {tones} tones, noise {noise}, {len(seeds)} processes: good prints pass",
              {words: round(float(np.mean(of)), 3) for words, of in passed.items()},
              f"; time off {np.median(off):.3f} stop" if off else "")
        for (fault, size), names in said.items():
            print(f"  {fault} {size:+.2f}:", dict(names.most_common()), flush=True)


if __name__ == "__main__":
    main(range(*map(int, sys.argv[1].split(":"))) if len(sys.argv) > 1 else range(100),
         float(sys.argv[2]) if len(sys.argv) > 2 else 0.01,
         int(sys.argv[3]) if len(sys.argv) > 3 else 11, sys.argv[4:] or [*KINDS])

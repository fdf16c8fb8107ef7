"""How well one strip finds the base time, and how far derived and renewed curves land.

Run ``python tests/benchmarks/strip_and_renewal.py [processes]``.  Every process, ink and noise is
drawn by the virtual darkroom with its own seed.  Errors of times are in stops; errors of curves
are the RMS distance in L* of the print made through the curve from its aim, over 1 % to 99 % of
the tone scale.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from materials import lightness_range
from rooms import random_darkroom, random_pair
from tonewright.curve.aim import Aim
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.curve.prints import make_recipe
from tonewright.curve.renew import RenewRequest, renew_curve
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual import darkroom

TABLET = nominal_tablet("31")
TONES = np.linspace(1.0, 99.0, 99)
NOISE = darkroom.Flaws(noise_density_sd=0.02)


def strip_process(room, seconds, seed, name="p", halves=("film",)):
    read = darkroom.measure_strip(room, TABLET.density, seconds, flaws=NOISE, seed=seed)
    time = PrintingTime(float(seconds))
    patches = tuple(StripPatch(int(s), float(d), None, half, time, None) for half in halves
                    for s, d in zip(read.step, getattr(read, f"density_{half}"), strict=True))
    return make_process(Strip(patches, "visual-density", ()), TABLET, Setup(), name)


def target(room, levels, repeats, seconds, seed):
    return darkroom.measure_target(replace(room, printing_time=float(seconds)), levels,
                                   repeats=repeats, flaws=NOISE, seed=seed).readings


def distance(room, curve, seconds=None):
    aim = curve.print_lightness_at(TONES)
    return float(np.sqrt(np.mean((room.print_lightness(curve.level_at(TONES), seconds) - aim)**2)))


def coverage(room, curve, seconds=None):
    truth = room.print_lightness(curve.response.level, seconds)
    inside = (truth >= curve.response.lightness_low) & (truth <= curve.response.lightness_high)
    return float(np.mean(inside))


def base_times(count, halves):
    rows = []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        room = random_darkroom(rng)
        off = float(rng.uniform(-0.5, 2.0))
        found = strip_process(room, room.base_time * 2.0**off, seed + 999, "p", halves).summary
        error = np.log2(found.base_printing_time / room.base_time)
        inside = found.base_printing_time_low <= room.base_time <= found.base_printing_time_high
        wide = np.log2(found.base_printing_time_high / found.base_printing_time_low) / 2.0
        rows.append((abs(error), inside, wide))
    error, inside, wide = np.array(rows).T
    print(f"base time, {' and '.join(halves)}, guess -0.5 to +2 stops: error"
          f" {np.median(error):.3f} stop median, {np.quantile(error, 0.9):.3f} p90; interval"
          f" holds {inside.mean():.3f}, half-width {np.median(wide):.2f} median", flush=True)


def short_strips(count):
    short = []
    for seed in range(count):
        room = random_darkroom(np.random.default_rng(seed + 5000))
        off = -1.0 - 0.5 * (seed % 3)
        found = strip_process(room, room.base_time * 2.0**off, seed + 999).summary
        step = None if found.next_time is None else np.log2(found.next_time / room.base_time) - off
        short.append((found.reached_black, np.nan if step is None else step, -off))
    reached, step, wanted = np.array(short, dtype=float).T
    print(f"short by 1 to 2 stops: says not reached {1 - reached.mean():.2f}; next time longer by"
          f" {np.nanmedian(step):.2f} stop median ({np.nanmin(step):.2f} to {np.nanmax(step):.2f}),"
          f" wanted {np.median(wanted):.2f}", flush=True)


def one_sheet(count, levels, repeats, off):
    rows = []
    for seed in range(count):
        room = random_darkroom(np.random.default_rng(seed))
        seconds = room.base_time * 2.0**off
        process = strip_process(room, seconds, seed + 999)
        readings = target(room, np.linspace(0, 1, levels), repeats, seconds, seed + 77)
        recipe = make_recipe(process, readings, printing_time=PrintingTime(room.base_time))
        curve = make_derived_curve(recipe, Settings(Aim()), Setup(), "c")
        rows.append((distance(room, curve), coverage(room, curve)))
    error, inside = np.array(rows).T
    print(f"one sheet, {levels} x {repeats}, guess {off:+.1f} stop: {np.median(error):.3f} median,"
          f" {np.quantile(error, 0.9):.3f} p90; band holds {inside.mean():.3f}", flush=True)


def renewals(count):
    rows = []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        old, new = random_pair(rng)
        guess_old, guess_new = rng.uniform(0.0, 1.0, 2)
        first = strip_process(old, old.base_time * 2.0**guess_old, seed + 999, "old")
        second = strip_process(new, new.base_time * 2.0**guess_new, seed + 1999, "new")
        readings = target(old, np.linspace(0, 1, 51), 2, old.base_time, seed + 77)
        time = PrintingTime(old.base_time)
        recipe = make_recipe(first, readings, time, time)
        curve = make_derived_curve(recipe, Settings(Aim()), Setup(), "old")
        wanted = PrintingTime(new.base_time)
        ask = RenewRequest(curve, "", "new", process=second, printing_time=wanted)
        by_strip = renew_curve(ask).curve
        places = np.linspace(0.1, 0.9, 7), np.array([*by_strip.plan, 0.1, 0.9])[:7]
        with_few, with_plan = (renew_curve(replace(
            ask, readings=target(new, levels, 1, new.base_time, seed + 88))).curve
            for levels in places)
        fresh = make_curve(target(new, np.linspace(0, 1, 21), 1, new.base_time, seed + 66),
                           Settings(Aim()), Setup(), "fresh")
        black, white = lightness_range(new)
        kept = new.print_lightness(curve.level_at(TONES)) - (black + TONES / 100 * (white - black))
        rows.append((distance(new, by_strip), distance(new, with_few), distance(new, with_plan),
                     distance(new, fresh), float(np.sqrt(np.mean(kept**2))),
                     coverage(new, by_strip), coverage(new, with_few), coverage(new, with_plan)))
    strip, few, plan, fresh, kept, inside, inside_few, inside_plan = np.array(rows).T
    for name, error in (("strip alone", strip), ("strip and 7 even patches", few),
                        ("strip and 7 patches, 5 of them planned", plan),
                        ("fresh 21 x 1 target", fresh), ("old curve kept", kept)):
        print(f"renewal, {name}: {np.median(error):.3f} median, {np.quantile(error, 0.9):.3f} p90")
    for name, error in (("even", few), ("planned", plan)):
        print(f"  7 {name} patches no worse than the strip alone in"
              f" {np.mean(error <= strip + 1e-9):.2f}"
              f" (within 0.05 L*: {np.mean(error <= strip + 0.05):.2f})")
    print(f"  band holds {inside.mean():.3f}, with even patches {inside_few.mean():.3f}, planned"
          f" {inside_plan.mean():.3f}", flush=True)


def main(count: int) -> None:
    base_times(6 * count, ("film",))
    base_times(6 * count, ("film", "bare"))
    short_strips(count)
    for levels, repeats, off in ((51, 2, 0.0), (51, 2, 0.5), (51, 2, 1.0), (51, 2, -0.4),
                                 (21, 1, 0.0)):
        one_sheet(count, levels, repeats, off)
    renewals(count)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)

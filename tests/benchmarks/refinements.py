"""How much one check print improves a curve.

Run ``python tests/benchmarks/refinements.py [processes]``.  Errors are the RMS distance in L* of a
mean sheet printed through the curve from its aim, over 1 % to 99 % of the tone scale.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
sys.path.append(str(Path(__file__).parent))
from print_checks import KINDS, SHEETS, made_curve, planted

from rooms import random_darkroom
from tonewright.check.aims import printed_tones
from tonewright.check.refine import PrintRequest, refine_curve
from tonewright.errors import FitError
from tonewright.virtual import darkroom

TONES = np.linspace(1.0, 99.0, 99)


def distance(room, curve):
    aim = curve.print_lightness_at(TONES)
    return float(np.sqrt(np.mean((room.print_lightness(curve.level_at(TONES)) - aim) ** 2)))


def tones_of(room, curve, seed, noise):
    image = np.linspace(0.0, 100.0, 11)
    flaws = darkroom.Flaws(noise_density_sd=noise, **SHEETS)
    readings = darkroom.measure_target(room, curve.level_at(image), flaws=flaws, seed=seed).readings
    return printed_tones(curve, readings, curve.print_lightness_at(image))


def main(count, noise, kinds):
    for kind in kinds:
        rows, refused, kept_out = [], 0, 0
        for seed in range(count):
            room = random_darkroom(np.random.default_rng(seed))
            room = replace(room, printing_time=room.base_time)
            curve = made_curve(room, kind, seed, noise)
            try:
                new = refine_curve(PrintRequest(
                    curve, "", "n", tones_of(room, curve, seed + 31, noise))).curve
                rows.append((distance(room, curve), distance(room, new)))
            except FitError:
                refused += 1
            bad = planted(room, "exposure", 0.5 if seed % 2 else -0.5)
            try:
                refine_curve(PrintRequest(curve, "", "n", tones_of(bad, curve, seed, noise)))
            except FitError:
                kept_out += 1
        before, after = np.array(rows).T
        print(f"{kind}, noise {noise}: {np.median(before):.3f} to {np.median(after):.3f} median,"
              f" ratio of medians {np.median(after) / np.median(before):.2f}, median ratio"
              f" {np.median(after / before):.2f}; not worse by 0.05 in"
              f" {np.mean(after <= before + 0.05):.2f}; good prints refused {refused} of {count},"
              f" prints half a stop off refused {kept_out} of {count}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100,
         float(sys.argv[2]) if len(sys.argv) > 2 else 0.02, sys.argv[3:] or [*KINDS])

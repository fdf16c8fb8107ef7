"""How far prints made through a fitted curve land from their aim, over many invented processes.

Run ``python tests/benchmarks/fit_accuracy.py [processes]``.  Every process, ink and noise is
drawn by the virtual darkroom with its own seed, so the truth is known.  Printed per case: the
RMS distance in L* over 1 % to 99 % of the tone scale (median and 90th percentile over the
processes), the same for the plain way of joining the means of the patches, how often the 95 %
bands of the curve and of its inverse hold the truth, and the half-width of the bands over the
RMS error.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from materials import level_for_lightness, lightness_range
from rooms import random_darkroom
from tonewright.curve.fit import fit_print
from tonewright.numeric.inverse import invert, invert_band
from tonewright.virtual import darkroom

TONES = np.linspace(0.01, 0.99, 99)
CASES = [(51, 2, 0), (31, 2, 0), (21, 1, 0), (51, 2, 5), (31, 2, 3), (51, 1, 0), (51, 1, 3),
         (21, 1, 1), (11, 1, 0)]


def one(seed: int, levels: int, repeats: int, stains: int) -> dict[str, float]:
    rng = np.random.default_rng(seed)
    room = random_darkroom(rng)
    flaws = darkroom.Flaws(noise_density_sd=0.02, stains=stains)
    result = darkroom.measure_target(room, np.linspace(0.0, 1.0, levels), repeats=repeats,
                                     flaws=flaws, seed=seed + 10_000)
    fitted = fit_print(result.readings)
    out = judged(room, result.readings, fitted.response)
    out["noise"] = fitted.noise_density_sd
    out["reversals"] = float(len(fitted.reversals))
    stained = {p for p in result.stained}
    named = {d.patch for d in fitted.doubtful}
    out["found"] = len(named & stained) / max(len(stained), 1)
    out["false"] = float(len(named - stained))
    return out


def judged(room, readings, curve) -> dict[str, float]:
    """A response beside the truth: what a print through it gets, and what its bands hold."""
    out = {"rms": distance(room, curve.level, curve.lightness),
           "means": distance(room, *joined_means(readings))}
    truth = room.print_lightness(curve.level)
    inside = (truth >= curve.lightness_low) & (truth <= curve.lightness_high)
    out["coverage"] = float(np.mean(inside))
    out["half"] = float(np.mean(curve.lightness_high - curve.lightness_low) / 2.0)
    out["curve_rms"] = float(np.sqrt(np.mean((curve.lightness - truth) ** 2)))
    aim = curve.lightness[0] + TONES * np.ptp(curve.lightness)
    low, high = invert_band(curve.level, curve.lightness_low, curve.lightness_high, aim)
    bottom, top = lightness_range(room)
    true_level = level_for_lightness(room, np.clip(aim, bottom, top))
    level = invert(curve.level, curve.lightness, aim)
    out["inv_coverage"] = float(np.mean((true_level >= low - 1e-9) & (true_level <= high + 1e-9)))
    out["inv_half"] = float(np.mean(high - low) / 2.0)
    out["inv_rms"] = float(np.sqrt(np.mean((level - true_level) ** 2)))
    return out


def joined_means(readings) -> tuple[np.ndarray, np.ndarray]:
    level = np.unique(readings.level)
    mean = np.array([readings.lightness[readings.level == u].mean() for u in level])
    return level, np.maximum.accumulate(mean)


def distance(room, level, lightness) -> float:
    aim = lightness[0] + TONES * (lightness[-1] - lightness[0])
    printed = room.print_lightness(invert(level, lightness, aim))
    return float(np.sqrt(np.mean((printed - aim) ** 2)))


def main(count: int) -> None:
    for levels, repeats, stains in CASES:
        rows = [one(seed, levels, repeats, stains) for seed in range(count)]
        col = {k: np.array([r[k] for r in rows]) for k in rows[0]}
        print(f"{levels} x {repeats}, {stains} stains: "
              f"RMS {np.median(col['rms']):.3f} median {np.quantile(col['rms'], 0.9):.3f} p90"
              f" | joined means {np.median(col['means']):.3f}"
              f" | band holds {col['coverage'].mean():.3f},"
              f" half/RMS {col['half'].mean() / np.sqrt((col['curve_rms']**2).mean()):.2f}"
              f" (median {np.median(col['half'] / col['curve_rms']):.2f})"
              f" | inverse {col['inv_coverage'].mean():.3f},"
              f" {col['inv_half'].mean() / np.sqrt((col['inv_rms']**2).mean()):.2f}"
              f" ({np.median(col['inv_half'] / col['inv_rms']):.2f})"
              f" | noise {np.median(col['noise']):.4f}"
              f" | reversals {int(col['reversals'].sum())}, stains named {col['found'].mean():.2f},"
              f" false {col['false'].mean():.2f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)

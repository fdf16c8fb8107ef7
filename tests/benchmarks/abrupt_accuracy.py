"""How far prints land from their aim on processes that reach black or leave white at a corner.

Run ``python tests/benchmarks/abrupt_accuracy.py [processes]``.  The processes are those of
``tests/abrupt.py``; printed per kind of corner and for all: the RMS distance in L* over 1 % to
99 % of the tone scale (median and 90th percentile), the same over that of joined means, and how
often the 95 % bands of the curve and of its inverse hold the truth.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from fit_accuracy import judged

from abrupt import AbruptRoom, random_abrupt
from tonewright.curve.fit import fit_print

CASES = [(51, 2), (21, 1)]


def one(seed: int, levels: int, repeats: int) -> tuple[AbruptRoom, dict[str, float]]:
    room = random_abrupt(np.random.default_rng(seed))
    readings = room.measure(np.linspace(0.0, 1.0, levels), repeats, seed + 10_000)
    fitted = fit_print(readings)
    return room, judged(room, readings, fitted.response)


def kinds(room: AbruptRoom) -> list[str]:
    """What a process counts as."""
    ends = {"toe": room.toe, "shoulder": room.shoulder}
    found = [f"{name} {kind}" for name, (kind, _) in ends.items()]
    hard = (room.black - room.white) / room.length > 1.8
    return ["all", *found, "high contrast" if hard else "moderate contrast",
            "both abrupt" if "soft" not in (room.toe[0], room.shoulder[0]) else "one abrupt"]


def main(count: int) -> None:
    for levels, repeats in CASES:
        rows = [one(seed, levels, repeats) for seed in range(count)]
        names = sorted({k for room, _ in rows for k in kinds(room)})
        for name in names:
            some = [r for room, r in rows if name in kinds(room)]
            col = {k: np.array([r[k] for r in some]) for k in some[0]}
            mid, far = (np.quantile(col["rms"], q) for q in (0.5, 0.9))
            plain, plain_far = (np.quantile(col["means"], q) for q in (0.5, 0.9))
            print(f"{levels} x {repeats} {name} ({len(some)}): RMS {mid:.3f} median {far:.3f} p90;"
                  f" over joined means {mid / plain:.2f} {far / plain_far:.2f}"
                  f" | band holds {col['coverage'].mean():.3f}, half {col['half'].mean():.2f}"
                  f" | inverse {col['inv_coverage'].mean():.3f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)

"""How well a strip finds the base printing time of processes with abrupt ends, shape by shape.

Run ``python tests/benchmarks/abrupt_strips.py [processes of each shape]``.  All are invented: the
ends are rounded by closed formulas, the middle may sag, bulge or have a knee.  Errors are in stops,
from both halves of one strip printed half a stop short to two stops long.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1]))
from tonewright import scales
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.scales import STOP, Array
from tonewright.strip.fit import make_process
from tonewright.strip.process import Process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet

TABLET = nominal_tablet("31")
SECONDS, FILM = 600.0, 0.06
X = np.linspace(-6.0, 4.0, 40_001)


def _sharp(x: Array, _: float) -> Array:
    return np.maximum(x, 0.0)


def _hyperbola(x: Array, radius: float) -> Array:
    return np.asarray(0.5 * (x + np.sqrt(x**2 + radius**2)))


def _parabola(x: Array, radius: float) -> Array:
    near = np.clip((x + radius) / (2.0 * radius), 0.0, 1.0)
    return np.asarray(np.where(x > radius, x, radius * near**2))


def _circle(x: Array, radius: float) -> Array:
    """An arc of a circle that touches both lines."""
    r = radius / np.tan(np.pi / 8.0)
    arc = r - np.sqrt(np.maximum(r**2 - (x + radius) ** 2, 0.0))
    return np.asarray(np.where(x <= -radius, 0.0, np.where(x >= radius * np.sqrt(0.5), x, arc)))


def _exponential(x: Array, radius: float) -> Array:
    return np.asarray(0.25 * radius * np.logaddexp(0.0, 4.0 * x / radius))


def _gauss(x: Array, radius: float) -> Array:
    """A corner seen through a Gaussian blur."""
    z = 2.0 * x / radius
    below = 0.5 * np.array([math.erfc(v) for v in -z.ravel() / math.sqrt(2.0)]).reshape(z.shape)
    return np.asarray(x * below + 0.5 * radius * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi))


def _facets(x: Array, radius: float) -> Array:
    """Two corners, with half the slope between them."""
    return np.asarray(0.5 * (np.maximum(x + radius, 0.0) + np.maximum(x - radius, 0.0)))


def _soft(x: Array, _: float) -> Array:
    return np.asarray(0.15 * np.logaddexp(0.0, x / 0.15))


def _tanh(x: Array, radius: float) -> Array:
    """A line from the corner on, an exponential before it."""
    h = 0.25 * radius
    return np.asarray(np.where(x > 0.0, x + h, h * (1.0 + np.tanh(0.5 * np.minimum(x, 0.0) / h))))


def _mixed(x: Array, radius: float) -> Array:
    return np.asarray(0.5 * (_parabola(x, radius) + _exponential(x, radius)))


def _student(x: Array, radius: float) -> Array:
    """A corner seen through a blur with long tails: Student's t with four degrees of freedom."""
    z = 2.0 * x / radius
    root = np.sqrt(4.0 + z**2)
    return np.asarray(0.25 * radius * (z + root - 2.0 / root))


TURNS: dict[str, Callable[[Array, float], Array]] = {
    "sharp": _sharp, "hyperbola": _hyperbola, "parabola": _parabola, "circle": _circle,
    "exponential": _exponential, "soft": _soft}
HELD_OUT = {"gauss": _gauss, "facets": _facets, "tanh": _tanh, "mixed": _mixed,
            "student": _student}
"""Shapes that nobody looked at while the fit was made."""


@dataclass(frozen=True)
class AbruptProcess:
    """Print density over log exposure, white and black at their corners."""

    toe: tuple[str, float]
    shoulder: tuple[str, float]
    length: float
    """From corner to corner, log10 exposure."""
    bend: float
    knee: float
    white: float
    black: float

    def density(self, x: Array) -> Array:
        """At log exposures where 0 is black's corner; any shape."""
        turns = TURNS | HELD_OUT
        rise = turns[self.toe[0]](x + self.length, self.toe[1]) / self.length
        rise = 1.0 - turns[self.shoulder[0]](1.0 - rise, self.shoulder[1] / self.length)
        rise = np.clip(rise, 0.0, 1.0)
        rise = rise + self.bend * rise * (1.0 - rise)
        rise = rise + self.knee * np.sin(2.0 * np.pi * rise) / (2.0 * np.pi)
        return np.asarray(self.white + (self.black - self.white) * rise)

    def just_black(self) -> float:
        """Where it comes within 1 L* of its black."""
        light = scales.density_to_lightness(self.density(X))
        return float(np.interp(-(light[-1] + 1.0), -light, X))


def random_abrupt(rng: np.random.Generator, toe: str, shoulder: str) -> AbruptProcess:
    """Turns over 0.02 to 0.15 of log exposure, contrasts from soft to very hard."""
    return AbruptProcess(
        (toe, float(rng.uniform(0.02, 0.15))), (shoulder, float(rng.uniform(0.02, 0.15))),
        float(np.exp(rng.uniform(np.log(0.35), np.log(1.7)))), float(rng.uniform(-0.5, 0.5)),
        float(rng.uniform(-0.4, 0.4)), float(rng.uniform(0.05, 0.12)),
        float(rng.uniform(1.3, 2.2)))


def print_strip(
    process: AbruptProcess, guess: float, seed: int, halves: tuple[str, ...] = ("film", "bare"),
    noise: float = 0.02,
) -> Process:
    """Evaluated, with a base printing time ``guess`` stops below `SECONDS`."""
    rng = np.random.default_rng(seed)
    first = process.just_black() + TABLET.step + guess * STOP
    time, patches = PrintingTime(SECONDS), []
    for half in halves:
        x = first - TABLET.density + (FILM if half == "bare" else 0.0)
        seen = process.density(x) + noise * rng.standard_normal(x.size)
        patches += [StripPatch(k, float(max(d, 0.0)), None, half, time, None)
                    for k, d in enumerate(seen, 1)]
    return make_process(Strip(tuple(patches), "visual-density", ()), TABLET, Setup(), "abrupt")


def judge(toe: str, shoulder: str, count: int) -> list[tuple[float, float, float, float]]:
    """Error, whether the interval holds, its half-width and whether black is called reached."""
    rows = []
    for seed in range(count):
        rng = np.random.default_rng([seed, *f"{toe},{shoulder}".encode()])
        process, guess = random_abrupt(rng, toe, shoulder), float(rng.uniform(-0.5, 2.0))
        found = print_strip(process, guess, seed + 900).summary
        truth = SECONDS * 2.0**-guess
        inside = found.base_printing_time_low <= truth <= found.base_printing_time_high
        rows.append((float(np.log2(found.base_printing_time / truth)), float(inside),
                     float(np.log2(found.base_printing_time_high / found.base_printing_time_low))
                     / 2.0, float(found.reached_black)))
    return rows


def told(name: str, rows: list[tuple[float, float, float, float]]) -> None:
    """One line."""
    error, inside, wide, reached = np.array(rows).T
    print(f"{name:24s} error {np.median(abs(error)):.3f} median, {np.quantile(abs(error), 0.9):.3f}"
          f" p90, bias {np.median(error):+.3f}; interval holds {inside.mean():.3f}, half-width"
          f" {np.median(wide):.2f}; reached {reached.mean():.2f}", flush=True)


def short_strips(count: int) -> None:
    """How often a strip 1 to 2 stops short is called long enough."""
    for shoulder in TURNS:
        wrong = []
        for seed in range(count):
            rng = np.random.default_rng([seed, 77, len(shoulder)])
            process = random_abrupt(rng, str(rng.choice(list(TURNS))), shoulder)
            found = print_strip(process, -1.0 - 0.5 * (seed % 3), seed + 900, ("film",))
            wrong.append(found.summary.reached_black)
        print(f"1 to 2 stops short, {shoulder}: called reached {np.mean(wrong):.3f}", flush=True)


SHAPES = (("sharp", "sharp"), ("hyperbola", "hyperbola"), ("parabola", "parabola"),
          ("circle", "circle"), ("exponential", "exponential"), ("soft", "sharp"),
          ("soft", "parabola"), ("soft", "hyperbola"), ("sharp", "hyperbola"), ("sharp", "soft"),
          ("parabola", "soft"), ("soft", "soft"))


def main(count: int) -> None:
    """Every shape, and all of them."""
    every = []
    for toe, shoulder in SHAPES:
        rows = judge(toe, shoulder, count)
        told(f"{toe} toe, {shoulder} black", rows)
        every += rows if (toe, shoulder) != ("soft", "soft") else []
    for name in HELD_OUT:
        rows = judge(name, name, count)
        told(f"held out: {name} toe, {name} black", rows)
        every += rows
    told("all with a corner", every)
    short_strips(count)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)

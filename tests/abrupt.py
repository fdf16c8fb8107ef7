"""Processes that reach black and leave white at a corner, for tests; all invented.

Each end is rounded by a closed formula of its own: no splines, and none of the shapes of the
virtual darkroom.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rooms import random_ink
from tonewright import scales
from tonewright.measured.readings import Reading, Readings
from tonewright.scales import Array
from tonewright.virtual.darkroom import Ink

ROUNDINGS = ("sharp", "hyperbola", "parabola", "exponential", "soft")
"""How a line turns level: at a point; along a hyperbola; along a parabola; in an exponential
approach; and so gently that there is no corner at all."""


def _turned(x: Array, rounding: str, radius: float) -> Array:
    """0 for x far below 0, x far above it; rounded over ``radius`` about 0."""
    if rounding == "sharp":
        return np.maximum(x, 0.0)
    if rounding == "hyperbola":
        return np.asarray(0.5 * (x + np.sqrt(x**2 + radius**2)))
    if rounding == "parabola":
        near = np.clip((x + radius) / (2.0 * radius), 0.0, 1.0)
        return np.asarray(np.where(x > radius, x, radius * near**2))
    scale = radius / 4.0 if rounding == "exponential" else 0.3
    return np.asarray(scale * np.logaddexp(0.0, x / scale))


@dataclass(frozen=True)
class AbruptRoom:
    """A darkroom as far as a target is concerned; the same questions as the virtual one's."""

    ink: Ink
    toe: tuple[str, float]
    """Rounding and radius (log10 exposure) where the print leaves white."""
    shoulder: tuple[str, float]
    """The same where it reaches black."""
    length: float
    """From corner to corner, log10 exposure."""
    bend: float
    """How far the middle of the straight part sags or rises, as a share of the whole."""
    white: float
    black: float
    beyond: float
    """How far past the shoulder's corner clear film is exposed, log10."""

    def print_density(self, level: ArrayLike) -> Array:
        """Print density of ink levels, any shape."""
        x = self.length + self.beyond - self.ink.printing_density(level)
        rise = _turned(x, *self.toe) / self.length
        rise = 1.0 - _turned(1.0 - rise, self.shoulder[0], self.shoulder[1] / self.length)
        rise = np.clip(rise, 0.0, 1.0)
        rise = rise + self.bend * rise * (1.0 - rise)
        return np.asarray(self.white + (self.black - self.white) * rise)

    def print_lightness(self, level: ArrayLike) -> Array:
        """CIE L* of ink levels."""
        return scales.density_to_lightness(self.print_density(level))

    def lightness_range(self) -> tuple[float, float]:
        """L* of black and white."""
        ends = self.print_lightness(np.array([0.0, 1.0]))
        return float(ends[0]), float(ends[1])

    def level_for_lightness(self, lightness: ArrayLike) -> Array:
        """Ink level that prints these L*; of a flat end the level next to the other tones."""
        level = np.linspace(0.0, 1.0, 20_001)
        light = self.print_lightness(level)
        black = int(np.flatnonzero(light <= light[0] + 1e-6)[-1])
        white = int(np.flatnonzero(light >= light[-1] - 1e-6)[0])
        return np.asarray(np.interp(lightness, light[black:white + 1], level[black:white + 1]))

    def measure(self, levels: ArrayLike, repeats: int, seed: int, noise: float = 0.02) -> Readings:
        """A target of these levels as measured."""
        rng = np.random.default_rng(seed)
        wanted = np.repeat(np.asarray(levels, dtype=np.float64), repeats)
        seen = self.print_density(wanted) + noise * rng.standard_normal(wanted.size)
        return Readings(tuple(
            Reading(float(u), float(max(d, 0.0)), None, None, f"p{i}")
            for i, (u, d) in enumerate(zip(wanted, seen, strict=True))), "visual-density",
            relative_to_paper=False)


def random_abrupt(rng: np.random.Generator) -> AbruptRoom:
    """At least one end within 0.02 to 0.15 of log exposure, or at a true corner; the other end
    of any kind."""
    ends = [(str(rng.choice(ROUNDINGS[:4])), float(rng.uniform(0.02, 0.15))) for _ in range(2)]
    if rng.random() < 0.4:
        ends[int(rng.integers(2))] = ("soft", 0.0)
    length = float(rng.uniform(0.5, 1.6))
    beyond = float(rng.uniform(0.02, 0.2))
    gentle = 0.9 * sum(rounding == "soft" for rounding, _ in ends)
    density = (length + beyond + gentle) * float(rng.uniform(1.05, 1.4))
    return AbruptRoom(random_ink(rng, float(np.clip(density, 0.8, 3.0))), ends[0], ends[1],
                      length, float(rng.uniform(-0.5, 0.5)), float(rng.uniform(0.05, 0.12)),
                      float(rng.uniform(1.2, 2.2)), beyond)

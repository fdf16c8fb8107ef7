"""Processes of shapes that the virtual darkroom does not have, for benchmarks; all invented."""

from __future__ import annotations

import numpy as np

from materials import logistic
from rooms import random_darkroom, random_process
from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.virtual.darkroom import Darkroom, Process

SHAPES = ("burr", "algebraic", "stretched", "cosine")
"""A Hill curve with a skew (Burr 1942); a ratio of powers; a stretched exponential of a rounded
line; half a wave of a cosine with rounded ends."""


@dataclass(frozen=True)
class OtherProcess(Process):
    """A process whose rise has another form; ``power`` is the form's own number."""

    other: str = "burr"
    power: float = 1.0

    def _rise(self, z: Array) -> Array:
        z = np.clip(z, -50.0, 50.0)
        if self.other == "burr":
            return np.asarray(-np.expm1(-self.power * np.logaddexp(0.0, z)))
        if self.other == "algebraic":
            k = 2.0 + self.power
            return np.asarray(0.5 + 0.5 * z / (1.0 + np.abs(z) ** k) ** (1.0 / k))
        if self.other == "stretched":
            return np.asarray(-np.expm1(-np.logaddexp(0.0, 2.0 * z) ** (1.0 + 0.5 * self.power)))
        soft = 0.05 * self.power
        there = soft * (np.logaddexp(0.0, z / soft) - np.logaddexp(0.0, (z - 1.0) / soft))
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * there))


def other_darkroom(rng: np.random.Generator) -> Darkroom:
    """A random darkroom whose process has one of these shapes."""
    room, like = random_darkroom(rng), random_process(rng)
    process = OtherProcess(
        logistic, (), like.white_density, like.black_density, like.log_exposure_range,
        like.speed_exposure, other=SHAPES[int(rng.integers(len(SHAPES)))],
        power=float(rng.uniform(0.6, 2.0)))
    return Darkroom(room.ink, process, room.film_density, room.lamp)

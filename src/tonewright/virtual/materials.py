"""What the virtual darkroom works with: ink, film, lamp and process, all invented.

Every shape here is a closed formula, so that the truth is exact.  None is a spline: what the
program fits to readings must not be tried on a copy of itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.scales import Array

# ISO 6846:1992, clause 5.6: the two points that the log exposure range lies between.
TOE_DENSITY = 0.04
SHOULDER_FRACTION = 0.90


@dataclass(frozen=True)
class Ink:
    """Ink level (0 to 1) to printing density, the film base excluded."""

    max_density: float
    """Printing density at level 1."""
    shape: Callable[[Array, float], Array]
    """From 0 at level 0 to 1 at level 1."""
    form: float = 1.0
    """What the shape takes besides."""

    def printing_density(self, level: ArrayLike) -> Array:
        """Printing density of ink levels (0 to 1), any shape; 0 at level 0."""
        return np.asarray(
            self.max_density * self.shape(np.asarray(level, dtype=np.float64), self.form))


def flattening(u: Array, form: float) -> Array:
    """``1 - exp(-form u)``: little more is blocked near full ink."""
    return np.asarray(np.expm1(-form * u) / math.expm1(-form))


@dataclass(frozen=True)
class Film:
    """The clear film that a negative is printed on."""

    density: float = 0.06
    """Its own printing density."""


@dataclass(frozen=True)
class Lamp:
    """A light and how the coating adds it up: ``E = intensity * time**reciprocity``.

    The law is Schwarzschild's (1900): with an exponent below 1, one stop more exposure takes
    more than twice the time.
    """

    intensity: float = 1.0
    """Relative; halved, every time doubles (at an exponent of 1)."""
    reciprocity: float = 1.0
    """Schwarzschild's exponent; 1: time and intensity trade evenly."""

    def log_exposure(self, time: ArrayLike) -> Array:
        """log10 of the exposure after a time in seconds (above 0), nothing in between."""
        seconds = np.asarray(time, dtype=np.float64)
        return np.asarray(math.log10(self.intensity) + self.reciprocity * np.log10(seconds))

    def time(self, log_exposure: float) -> float:
        """Seconds that give this log10 exposure; the inverse of `log_exposure`."""
        return float(10.0 ** ((log_exposure - math.log10(self.intensity)) / self.reciprocity))


def richards(z: Array, nu: float) -> Array:
    """Generalised logistic; above 1 the shoulder is the quicker end, below 1 the toe."""
    return np.asarray((1.0 + nu * np.exp(-z)) ** (-1.0 / nu))


def straight(z: Array, toe: float, shoulder: float) -> Array:
    """A straight line from 0 to 1 whose two ends are rounded by so much of its length."""
    risen = toe * np.logaddexp(0.0, z / toe)
    capped = 1.0 - shoulder * np.logaddexp(0.0, (1.0 - risen) / shoulder)
    floor = 1.0 - shoulder * math.log1p(math.exp(1.0 / shoulder))
    return np.asarray((capped - floor) / (1.0 - floor))


@dataclass(frozen=True)
class Process:
    """Paper, coating and developer together: log10 exposure to visual print density."""

    shape: Callable[..., Array]
    """From 0 to 1."""
    form: tuple[float, ...] = ()
    """What the shape takes besides."""
    white_density: float = 0.08
    """Of the paper."""
    black_density: float = 1.6
    """What the density rises to with ever more exposure."""
    log_exposure_range: float = 1.5
    """By ISO 6846: from white + 0.04 to white + 0.90 (black - white)."""
    speed_exposure: float = 2.6
    """log10 exposure at the upper of those two points; smaller is faster."""

    @cached_property
    def _anchors(self) -> tuple[float, float]:
        """The standard shape's own argument at the two points of ISO 6846."""
        net = self.black_density - self.white_density
        toe = rising_root(lambda z: float(self._rise(np.array(z))), TOE_DENSITY / net, -50, 50)
        end = rising_root(lambda z: float(self._rise(np.array(z))), SHOULDER_FRACTION, -50, 50)
        return toe, end

    def _rise(self, z: Array) -> Array:
        return self.shape(np.clip(z, -50.0, 50.0), *self.form)

    def density(self, log_exposure: ArrayLike) -> Array:
        """Print density at log10 exposures of any shape, before any flaw."""
        past = np.asarray(log_exposure, dtype=np.float64) - self.speed_exposure
        toe, shoulder = self._anchors
        rise = self._rise(shoulder + past * (shoulder - toe) / self.log_exposure_range)
        return np.asarray(self.white_density + (self.black_density - self.white_density) * rise)

    @property
    def blackest(self) -> tuple[float, float]:
        """(log10 exposure, density) of maximum black; here the limit density."""
        return self.speed_exposure + 10.0 * self.log_exposure_range, self.black_density


def rising_root(function: Callable[[float], float], value: float, low: float, high: float) -> float:
    """Where a rising function reaches a value, by bisection to the last bit.

    Outside its range the nearer end is returned.
    """
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if function(middle) < value:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


# Invented figures throughout: plausible, measured on nothing.
DEMO_INK = Ink(2.3, flattening, 1.1)
KALLITYPE = Process(richards, (0.75,), 0.09, 1.62, 1.50, 2.62)
CYANOTYPE = Process(straight, (0.16, 0.11), 0.10, 1.38, 1.15, 2.45)

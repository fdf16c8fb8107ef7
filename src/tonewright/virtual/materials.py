"""What the virtual darkroom works with: ink, film, lamp and process, all invented.

Every shape here is a closed formula, so that the truth is exact.  None is a spline: what the
program fits to readings must not be tried on a copy of itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.scales import Array

InkShape = Literal["gamma", "s-shaped", "flattening", "lumpy"]
ProcessShape = Literal[
    "logistic", "richards", "weibull", "gompertz", "straight", "normal", "two-layer"
]

# ISO 6846:1992, clause 5.6: the two points that the log exposure range lies between.
TOE_DENSITY = 0.04
SHOULDER_FRACTION = 0.90


@dataclass(frozen=True)
class Ink:
    """Ink level (0 to 1) to printing density, the film base excluded.

    ``gamma``: ``u**form``.  ``s-shaped``: a piece of a hyperbolic tangent, ``form`` its
    steepness (1 to 6).  ``flattening``: ``1 - exp(-form u)``, little more blocked near full
    ink.  ``lumpy``: a straight line with three waves of relative slope ``form`` (-0.9 to 0.9),
    as where a printer changes from light to dark ink.
    """

    max_density: float = 2.2
    """Printing density at level 1, before pooling."""
    shape: InkShape = "gamma"
    form: float = 1.0
    pooling_level: float | None = None
    """Above this level ink runs together and blocks less; None: it never does."""
    pooling_density: float = 0.0
    """Printing density lost to pooling at level 1."""

    def printing_density(self, level: ArrayLike) -> Array:
        """Printing density of ink levels (0 to 1), any shape; 0 at level 0."""
        u = np.asarray(level, dtype=np.float64)
        density = self.max_density * self._fraction(u)
        if self.pooling_level is not None:
            over = np.maximum(u - self.pooling_level, 0.0) / (1.0 - self.pooling_level)
            density = density - self.pooling_density * over**2
        return np.asarray(density)

    def _fraction(self, u: Array) -> Array:
        k = self.form
        if self.shape == "gamma":
            return np.asarray(u**k)
        if self.shape == "s-shaped":
            return np.asarray(0.5 + 0.5 * np.tanh(k * (u - 0.5)) / math.tanh(0.5 * k))
        if self.shape == "flattening":
            return np.asarray(np.expm1(-k * u) / math.expm1(-k))
        if self.shape == "lumpy":
            return np.asarray(u + k * np.sin(6.0 * np.pi * u) / (6.0 * np.pi))
        raise OptionError(
            f"ink shape {self.shape!r}",
            "no such shape is known",
            "take gamma, s-shaped, flattening or lumpy",
        )


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


def _logistic(z: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-z)))


def _softplus(z: Array) -> Array:
    return np.asarray(np.logaddexp(0.0, z))


def _richards(z: Array, nu: float) -> Array:
    """Generalised logistic; above 1 the shoulder is the quicker end, below 1 the toe."""
    return np.asarray((1.0 + nu * np.exp(-z)) ** (-1.0 / nu))


def _weibull(z: Array) -> Array:
    return np.asarray(-np.expm1(-np.exp(z)))


def _gompertz(z: Array) -> Array:
    return np.asarray(np.exp(-np.exp(-z)))


def _straight(z: Array, toe: float, shoulder: float) -> Array:
    """A straight line from 0 to 1 whose two ends are rounded by so much of its length."""
    risen = toe * _softplus(z / toe)
    capped = 1.0 - shoulder * _softplus((1.0 - risen) / shoulder)
    floor = 1.0 - shoulder * math.log1p(math.exp(1.0 / shoulder))
    return np.asarray((capped - floor) / (1.0 - floor))


def _normal(z: Array) -> Array:
    erfc = np.frompyfunc(math.erfc, 1, 1)
    return np.asarray(0.5 * np.asarray(erfc(-z / math.sqrt(2.0)), dtype=np.float64))


def _two_layer(z: Array, share: float, delay: float) -> Array:
    """Two coats, the second slower: a knee in the middle tones."""
    return np.asarray(share * _logistic(z) + (1.0 - share) * _logistic(z - delay))


_SHAPES: dict[str, Callable[..., Array]] = {
    "logistic": _logistic,
    "richards": _richards,
    "weibull": _weibull,
    "gompertz": _gompertz,
    "straight": _straight,
    "normal": _normal,
    "two-layer": _two_layer,
}


@dataclass(frozen=True)
class Process:
    """Paper, coating and developer together: log10 exposure to visual print density."""

    shape: ProcessShape = "logistic"
    form: tuple[float, ...] = ()
    """What the shape takes besides: richards (nu,), straight (toe, shoulder), two-layer
    (share of the first coat, delay of the second)."""
    white_density: float = 0.08
    """Of the paper."""
    black_density: float = 1.6
    """What the density rises to with ever more exposure."""
    log_exposure_range: float = 1.5
    """By ISO 6846: from white + 0.04 to white + 0.90 (black - white)."""
    speed_exposure: float = 2.6
    """log10 exposure at the upper of those two points; smaller is faster."""
    solarising_depth: float = 0.0
    """Part of the density range (0 to 1) that is lost again when grossly over-exposed."""
    solarising_exposure: float = 0.6
    """Where half of that is lost: log10 exposure past `speed_exposure`."""

    @cached_property
    def _anchors(self) -> tuple[float, float]:
        """The standard shape's own argument at the two points of ISO 6846."""
        net = self.black_density - self.white_density
        toe = rising_root(lambda z: float(self._rise(np.array(z))), TOE_DENSITY / net, -50, 50)
        end = rising_root(lambda z: float(self._rise(np.array(z))), SHOULDER_FRACTION, -50, 50)
        return toe, end

    def _rise(self, z: Array) -> Array:
        return _SHAPES[self.shape](np.clip(z, -50.0, 50.0), *self.form)

    def density(self, log_exposure: ArrayLike) -> Array:
        """Print density at log10 exposures of any shape, before any flaw."""
        past = np.asarray(log_exposure, dtype=np.float64) - self.speed_exposure
        toe, shoulder = self._anchors
        rise = self._rise(shoulder + past * (shoulder - toe) / self.log_exposure_range)
        if self.solarising_depth:
            lost = np.clip((past - self.solarising_exposure) / 0.08, -50.0, 50.0)
            rise = rise * (1.0 - self.solarising_depth * _logistic(lost))
        return np.asarray(self.white_density + (self.black_density - self.white_density) * rise)

    @cached_property
    def blackest(self) -> tuple[float, float]:
        """(log10 exposure, density) of maximum black; without solarising the limit density."""
        if not self.solarising_depth:
            return self.speed_exposure + 10.0 * self.log_exposure_range, self.black_density
        low, high = self.speed_exposure - 1.0, self.speed_exposure + self.solarising_exposure + 1.0
        for _ in range(6):
            grid = np.linspace(low, high, 201)
            best = int(np.argmax(self.density(grid)))
            low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, 200)])
        middle = 0.5 * (low + high)
        return middle, float(self.density(middle))


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
DEMO_INK = Ink(max_density=2.3, shape="flattening", form=1.1)
KALLITYPE = Process("richards", (0.75,), 0.09, 1.62, 1.50, 2.62)
CYANOTYPE = Process("straight", (0.16, 0.11), 0.10, 1.38, 1.15, 2.45)

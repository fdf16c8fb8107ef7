"""Inks and processes of other shapes than the virtual darkroom's own, for tests; all invented."""

from __future__ import annotations

import math
from dataclasses import field, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.virtual.darkroom import Darkroom, Ink, Process, straight
from tonewright.virtual.darkroom import flattening as flattening
from tonewright.virtual.darkroom import richards as richards

if TYPE_CHECKING:
    from abrupt import AbruptRoom

# Inks


def power(u: Array, form: float) -> Array:
    """``u**form``."""
    return np.asarray(u**form)


def s_shaped(u: Array, form: float) -> Array:
    """A piece of a hyperbolic tangent, ``form`` its steepness (1 to 6)."""
    return np.asarray(0.5 + 0.5 * np.tanh(form * (u - 0.5)) / math.tanh(0.5 * form))


def lumpy(u: Array, form: float) -> Array:
    """A straight line with three waves of relative slope ``form`` (-0.9 to 0.9), as where a
    printer changes from light to dark ink."""
    return np.asarray(u + form * np.sin(6.0 * np.pi * u) / (6.0 * np.pi))


def even_ink(max_density: float) -> Ink:
    """An ink whose printing density is proportional to its level."""
    return Ink(max_density, power)


@dataclass(frozen=True)
class PoolingInk:
    """An ink that runs together and blocks less above a level."""

    ink: Ink
    level: float
    density: float
    """Printing density lost to pooling at level 1."""

    def printing_density(self, level: ArrayLike) -> Array:
        """As `Ink.printing_density`."""
        u = np.asarray(level, dtype=np.float64)
        over = np.maximum(u - self.level, 0.0) / (1.0 - self.level)
        return np.asarray(self.ink.printing_density(u) - self.density * over**2)


INK_SHAPES = (power, s_shaped, flattening, lumpy)

# Processes


def logistic(z: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-z)))


def weibull(z: Array) -> Array:
    return np.asarray(-np.expm1(-np.exp(z)))


def gompertz(z: Array) -> Array:
    return np.asarray(np.exp(-np.exp(-z)))


def normal(z: Array) -> Array:
    erfc = np.frompyfunc(math.erfc, 1, 1)
    return np.asarray(0.5 * np.asarray(erfc(-z / math.sqrt(2.0)), dtype=np.float64))


def two_layer(z: Array, share: float, delay: float) -> Array:
    """Two coats, the second slower: a knee in the middle tones."""
    return np.asarray(share * logistic(z) + (1.0 - share) * logistic(z - delay))


PROCESS_SHAPES = (logistic, richards, weibull, gompertz, straight, normal, two_layer)


@dataclass(frozen=True)
class SolarisingProcess(Process):
    """A process that loses density again when grossly over-exposed."""

    depth: float = field(kw_only=True)
    """Part of the density range (0 to 1) that is lost."""
    exposure: float = field(kw_only=True)
    """Where half of that is lost: log10 exposure past `speed_exposure`."""

    def density(self, log_exposure: ArrayLike) -> Array:
        past = np.asarray(log_exposure, dtype=np.float64) - self.speed_exposure
        lost = np.clip((past - self.exposure) / 0.08, -50.0, 50.0)
        net = super().density(log_exposure) - self.white_density
        return np.asarray(self.white_density + net * (1.0 - self.depth * logistic(lost)))

    @cached_property
    def blackest(self) -> tuple[float, float]:
        low, high = self.speed_exposure - 1.0, self.speed_exposure + self.exposure + 1.0
        for _ in range(6):
            grid = np.linspace(low, high, 201)
            best = int(np.argmax(self.density(grid)))
            low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, 200)])
        middle = 0.5 * (low + high)
        return middle, float(self.density(middle))


def solarising(process: Process, depth: float, exposure: float) -> SolarisingProcess:
    """The same process, which solarises."""
    kept: dict[str, Any] = {f.name: getattr(process, f.name) for f in fields(Process)}
    return SolarisingProcess(**kept, depth=depth, exposure=exposure)


# Truth both ways: also asked of an `AbruptRoom`, which answers itself


def _rising_branch(room: Darkroom, time: float | None) -> tuple[float, float]:
    """Levels of the blackest and, above it, the lightest print."""
    levels = np.linspace(0.0, 1.0, 2001)
    light = room.print_lightness(levels, time)
    black = int(np.argmin(light))
    return float(levels[black]), float(levels[black + int(np.argmax(light[black:]))])


def lightness_range(room: Darkroom | AbruptRoom, time: float | None = None) -> tuple[float, float]:
    """L* of the darkest and the lightest tone that the ink can make."""
    if not isinstance(room, Darkroom):
        return room.lightness_range()
    black, white = room.print_lightness(np.array(_rising_branch(room, time)), time)
    return float(black), float(white)


def level_for_lightness(
    room: Darkroom | AbruptRoom, lightness: ArrayLike, time: float | None = None
) -> Array:
    """The level that prints each L*: the exact inverse of `print_lightness`, by bisection.

    Lightness out of reach gives the nearer end.  Where solarising or pooling turns the response
    back, the stretch between the blackest and the lightest level counts.
    """
    if not isinstance(room, Darkroom):
        return room.level_for_lightness(lightness)
    wanted = np.asarray(lightness, dtype=np.float64)
    black, white = _rising_branch(room, time)
    low, high = np.full(wanted.shape, black), np.full(wanted.shape, white)
    for _ in range(60):
        middle = 0.5 * (low + high)
        darker = room.print_lightness(middle, time) < wanted
        low, high = np.where(darker, middle, low), np.where(darker, high, middle)
    return np.asarray(0.5 * (low + high))

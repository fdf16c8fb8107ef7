"""The virtual darkroom's truth: what one printer's materials do, exactly and both ways.

Exposure follows the conventions of `scales`: 0 is what reaches the coating through clear film
at the base printing time, and that time is the one at which step 2 of a tablet (0.10 denser
than clear film) comes out just visibly lighter than maximum black.
"""

from __future__ import annotations

from dataclasses import field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.virtual.materials import (
    DEMO_INK,
    KALLITYPE,
    Film,
    Ink,
    Lamp,
    Process,
    rising_root,
)


@dataclass(frozen=True)
class Darkroom:
    """One printer's materials, and the truth about them.

    Levels are 0 to 1, times in seconds (None: `printing_time`), densities visual print
    densities, lightness CIE L*; arrays of any shape give the same shape back.
    """

    ink: Ink = DEMO_INK
    process: Process = KALLITYPE
    film: Film = field(default_factory=Film)
    lamp: Lamp = field(default_factory=Lamp)
    just_visible_lightness: float = 1.0
    """L* that step 2 lies above maximum black at the base printing time."""
    step_density: float = 0.10
    """Printing density of step 2."""
    printing_time: float | None = None
    """Seconds that everything is printed for unless told otherwise; None: `base_time`."""

    @property
    def max_black_density(self) -> float:
        """Density of maximum black."""
        return self.process.blackest[1]

    @cached_property
    def base_log_exposure(self) -> float:
        """The process's own log10 exposure where `exposure` is 0."""
        black = float(scales.density_to_lightness(self.max_black_density))
        density = float(scales.lightness_to_density(black + self.just_visible_lightness))
        if density <= self.process.white_density:
            raise OptionError(
                f"a just visible difference of {self.just_visible_lightness} L*",
                "it must be smaller than the whole tone range of the process",
                "take a smaller one",
            )
        low = self.process.speed_exposure - 20.0
        found = rising_root(
            lambda x: float(self.process.density(x)), density, low, self.process.blackest[0]
        )
        return found + self.step_density

    @cached_property
    def base_time(self) -> float:
        """The base printing time, seconds, through the film."""
        return self.lamp.time(self.base_log_exposure + self.film.density)

    def exposure(self, level: ArrayLike, time: float | None = None, *, bare: bool = False) -> Array:
        """Exposure (log10, 0 as in `scales`) behind ink levels; `bare`: no film in between."""
        return self.tablet_exposure(self.ink.printing_density(level), time, bare=bare)

    def tablet_exposure(
        self, density: ArrayLike, time: float | None = None, *, bare: bool = False
    ) -> Array:
        """Exposure (log10) behind a printing density such as a tablet step's."""
        longer = 0.0
        seconds = self.printing_time if time is None else time
        if seconds is not None:
            reached = float(self.lamp.log_exposure(seconds)) - self.film.density
            longer = reached - self.base_log_exposure
        base = self.film.density if bare else 0.0
        return np.asarray(longer + base - np.asarray(density, dtype=np.float64))

    def process_density(self, exposure: ArrayLike) -> Array:
        """The process response: print density at exposures (log10, 0 as in `scales`)."""
        return self.process.density(np.asarray(exposure, dtype=np.float64) + self.base_log_exposure)

    def print_density(self, level: ArrayLike, time: float | None = None) -> Array:
        """The print response: exact print density of ink levels."""
        return self.process_density(self.exposure(level, time))

    def print_lightness(self, level: ArrayLike, time: float | None = None) -> Array:
        """Exact CIE L* of ink levels."""
        return scales.density_to_lightness(self.print_density(level, time))

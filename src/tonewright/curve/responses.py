"""The responses of the model, as tables that are evaluated with numpy alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.record.codec import LEVEL, NEVER_FALLING, RISING
from tonewright.scales import Array

LEVELS = replace(LEVEL, each=True)
END_TOLERANCE = 0.5
"""Half a just-visible step (L*): what counts as still black, or already white."""
Rising = Annotated[Array, RISING]
NeverFalling = Annotated[Array, NEVER_FALLING]


@dataclass(frozen=True, eq=False)
class PrintResponse:
    """``P``: ink level to print lightness, with its bands.

    All arrays have one shape (m,).  ``level`` increases; every lightness (CIE L*) is
    non-decreasing.  ``lightness_low`` and ``lightness_high`` hold the curve itself 95 times in
    100, ``reading_low`` and ``reading_high`` the next single reading.
    """

    level: Annotated[Rising, LEVELS]
    lightness: NeverFalling
    lightness_low: NeverFalling
    lightness_high: NeverFalling
    reading_low: NeverFalling
    reading_high: NeverFalling

    def lightness_at(self, level: ArrayLike) -> Array:
        """Print lightness (L*) at ink levels (0 to 1); beyond the table its end value."""
        wanted = np.asarray(level, dtype=np.float64)
        return np.asarray(np.interp(wanted, self.level, self.lightness))

    @property
    def ends(self) -> tuple[float, float]:
        """Lightness (L*) of the blackest black and of the lightest white."""
        return float(self.lightness[0]), float(self.lightness[-1])

    @property
    def usable(self) -> tuple[float, float]:
        """The most ink that still prints the blackest black, the least that already prints the
        lightest white."""
        black = np.flatnonzero(self.lightness <= self.lightness[0] + END_TOLERANCE)[-1]
        white = np.flatnonzero(self.lightness >= self.lightness[-1] - END_TOLERANCE)[0]
        return float(self.level[black]), float(self.level[white])


@dataclass(frozen=True, eq=False)
class NegativeResponse:
    """``N``: ink level to printing density, the film's base not counted, with its band.

    All arrays have one shape (m,); ``level`` increases, the densities never fall.
    """

    level: Annotated[Rising, LEVELS]
    density: NeverFalling
    density_low: NeverFalling
    density_high: NeverFalling

    def density_at(self, level: ArrayLike) -> Array:
        """Printing density at ink levels (0 to 1); beyond the table its end value."""
        return np.asarray(np.interp(np.asarray(level, dtype=np.float64), self.level, self.density))

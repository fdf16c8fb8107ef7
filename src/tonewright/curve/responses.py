"""The responses of the model, as tables that are evaluated with numpy alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from tonewright.record.codec import NEVER_FALLING, RISING
from tonewright.record.schema import Rule, is_number
from tonewright.scales import Array

LEVELS = Rule(lambda v: is_number(v) and 0.0 <= v <= 1.0, "it is a list of levels, 0 to 1",
              each=True)
"""Ink levels in a document."""
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


@dataclass(frozen=True, eq=False)
class NegativeResponse:
    """``N``: ink level to printing density, the film's base not counted, with its band.

    All arrays have one shape (m,); ``level`` increases, the densities never fall.
    """

    level: Annotated[Rising, LEVELS]
    density: NeverFalling
    density_low: NeverFalling
    density_high: NeverFalling

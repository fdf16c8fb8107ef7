"""The responses of the model, as tables that are evaluated with numpy alone."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tonewright.record.tables import check_levels, table_from_dict
from tonewright.scales import Array


@dataclass(frozen=True, eq=False)
class PrintResponse:
    """``P``: ink level to print lightness, with its bands.

    All arrays have one shape (m,).  ``level`` increases; every lightness (CIE L*) is
    non-decreasing.  ``lightness_low`` and ``lightness_high`` hold the curve itself 95 times in
    100, ``reading_low`` and ``reading_high`` the next single reading.
    """

    level: Array
    lightness: Array
    lightness_low: Array
    lightness_high: Array
    reading_low: Array
    reading_high: Array

    def lightness_at(self, level: ArrayLike) -> Array:
        """Print lightness (L*) at ink levels (0 to 1); beyond the table its end value."""
        wanted = np.asarray(level, dtype=np.float64)
        return np.asarray(np.interp(wanted, self.level, self.lightness))

    def to_dict(self) -> dict[str, list[float]]:
        """Arrays as lists."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


@dataclass(frozen=True, eq=False)
class NegativeResponse:
    """``N``: ink level to printing density, the film's base not counted, with its band.

    All arrays have one shape (m,); ``level`` increases, the densities never fall.
    """

    level: Array
    density: Array
    density_low: Array
    density_high: Array

    def to_dict(self) -> dict[str, list[float]]:
        """Arrays as lists."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


def negative_from_dict(data: Any) -> NegativeResponse:
    """Check and rebuild a negative response; `DocumentError` as `response_from_dict`."""
    names = [f.name for f in fields(NegativeResponse)]
    columns = table_from_dict(data, names, "negative response")
    check_levels(columns["level"], "negative response")
    return NegativeResponse(**columns)


def response_from_dict(data: Any) -> PrintResponse:
    """Check and rebuild a response.

    Raises
    ------
    DocumentError
        Missing or unequal columns, values that are no numbers, or one that should not
        decrease and does.
    """
    columns = table_from_dict(data, [f.name for f in fields(PrintResponse)], "response")
    check_levels(columns["level"], "response")
    return PrintResponse(**columns)

"""How much of a sheet is coated, and how much sensitiser that takes."""

from __future__ import annotations

from tonewright.errors import OptionError
from tonewright.frozen import dataclass

MOST_ML = 1000.0
WIDEST_MM = 200.0


@dataclass(frozen=True)
class Coating:
    """How the user coats."""

    margin_mm: float = 0.0
    """Beyond the negative, on every side."""
    ml: float | None = None
    """Sensitiser that the user takes for ``ml_for_mm``; None: not said, and none is invented."""
    ml_for_mm: tuple[float, float] | None = None
    """Width and height of what that amount coats."""

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        if (self.ml is None) != (self.ml_for_mm is None):
            given = "the size that it coats" if self.ml is None else "the amount of sensitiser"
            raise OptionError(f"only {given} is given" if self.ml is None else
                              f"{given} is {self.ml:g} ml, for no size",
                              "an amount is for a size", "give both, or neither",
                              code="sensitiser_for_size")
        if self.ml is not None and not 0.0 < self.ml <= MOST_ML:
            raise OptionError(f"the amount of sensitiser is {self.ml:g} ml",
                              f"it is above 0, and {MOST_ML:g} ml at most",
                              "give what you take for one sheet", code="sensitiser_for_size")
        if self.ml_for_mm is not None and not all(side >= 1.0 for side in self.ml_for_mm):
            raise OptionError("the size that is coated has no area", "it is at least 1 mm wide",
                              "write it as 130x180mm or 8x10", code="sensitiser_for_size")
        if not 0.0 <= self.margin_mm <= WIDEST_MM:
            raise OptionError(f"the coated margin is {self.margin_mm:g} mm",
                              f"it lies between 0 and {WIDEST_MM:g} mm", "write it as 10mm")

    def coated_mm(self, size_mm: tuple[float, float]) -> tuple[float, float]:
        """Width and height of what is coated for a negative of a size in mm."""
        width, height = size_mm
        return width + 2.0 * self.margin_mm, height + 2.0 * self.margin_mm

    def ml_of(self, size_mm: tuple[float, float]) -> float | None:
        """Sensitiser for a negative of a size in mm, in proportion to the coated area; None where
        the user's own amount is not known."""
        if self.ml is None or self.ml_for_mm is None:
            return None
        width, height = self.coated_mm(size_mm)
        return self.ml * width * height / (self.ml_for_mm[0] * self.ml_for_mm[1])

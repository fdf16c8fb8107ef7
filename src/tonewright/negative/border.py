"""What the printer wants around the picture: the choices, before anything is laid out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tonewright.errors import OptionError

Border = Literal["clear", "opaque"]
BORDERS: tuple[Border, ...] = ("clear", "opaque")

DEFAULT_MARGIN_MM, LEAST_MARGIN_MM, MOST_MARGIN_MM = 14.0, 8.0, 300.0
LEAST_SCALE_MARGIN_MM = 10.0


@dataclass(frozen=True)
class FrameSettings:
    """What the printer wants around the picture."""

    margin_mm: float | None = None
    """Width of the border on all sides; None: `DEFAULT_MARGIN_MM` if anything stands in it."""
    border: Border = "clear"
    """Clear film prints a black border; opaque ink keeps it paper white."""
    marks: bool = False
    tone_scale: bool = False
    caption: bool = False

    @property
    def wanted(self) -> bool:
        """Whether there is anything around the picture."""
        return self.margin > 0.0

    @property
    def margin(self) -> float:
        """Width of the border, mm."""
        if self.margin_mm is not None:
            return self.margin_mm
        return DEFAULT_MARGIN_MM if self.furnished else 0.0

    @property
    def furnished(self) -> bool:
        """Whether anything stands in the border."""
        return self.marks or self.tone_scale or self.caption

    def __post_init__(self) -> None:
        """Hold the ranges; `OptionError` names the one that is broken."""
        margin = self.margin
        if not 0.0 <= margin <= MOST_MARGIN_MM:
            raise OptionError(f"--margin is {margin:g} mm", f"it lies between 0 and"
                              f" {MOST_MARGIN_MM:g} mm", "12 to 20 mm are usual")
        least = LEAST_SCALE_MARGIN_MM if self.tone_scale else LEAST_MARGIN_MM
        if self.furnished and margin < least:
            raise OptionError(
                f"--margin is {margin:g} mm",
                f"{'a tone scale needs' if self.tone_scale else 'marks and caption need'}"
                f" a margin of {least:g} mm",
                f"take --margin {DEFAULT_MARGIN_MM:g}mm, or leave them out")

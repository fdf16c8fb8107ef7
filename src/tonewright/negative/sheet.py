"""What the printer wants around the picture: the choices, before anything is laid out."""

from __future__ import annotations

from dataclasses import fields
from typing import Literal

from tonewright.errors import OptionError
from tonewright.frozen import dataclass

Border = Literal["clear", "opaque"]
BORDERS: tuple[Border, ...] = ("clear", "opaque")

DEFAULT_MARGIN_MM, LEAST_MARGIN_MM, MOST_MARGIN_MM = 14.0, 8.0, 300.0
LEAST_SCALE_MARGIN_MM = 10.0


@dataclass(frozen=True)
class SheetSettings:
    """What lies around the picture on its sheet of film; None: nothing was said."""

    margin_mm: float | None = None
    """Width of the border on all sides; None: `DEFAULT_MARGIN_MM` if anything needs one."""
    border: Border | None = None
    """Clear film prints a black border, as does None; opaque ink keeps it paper white."""
    marks: bool | None = None
    tone_scale: bool | None = None
    caption: bool | None = None

    @property
    def margin(self) -> float:
        """Width of the border, mm; 0 without one."""
        if self.margin_mm is not None:
            return self.margin_mm
        return DEFAULT_MARGIN_MM if self.furnished or self.border is not None else 0.0

    @property
    def furnished(self) -> bool:
        """Whether anything stands in the border."""
        return bool(self.marks or self.tone_scale or self.caption)

    def over(self, other: SheetSettings) -> SheetSettings:
        """These choices, and the other's where nothing was said."""
        names = (f.name for f in fields(self))
        both = {n: getattr(other, n) if getattr(self, n) is None else getattr(self, n)
                for n in names}  # fmt: skip
        if self.margin_mm == 0.0:  # then there is no border, whatever the other says of it
            both["border"] = self.border
        return SheetSettings(**both)

    def check(self) -> None:
        """Raise `OptionError` for a margin that is impossible, or too narrow for its contents."""
        margin = self.margin
        if not 0.0 <= margin <= MOST_MARGIN_MM:
            raise OptionError(
                f"the margin is {margin:g} mm",
                f"it lies between 0 and {MOST_MARGIN_MM:g} mm",
                "12 to 20 mm are usual", code="margin_impossible",
            )
        least = LEAST_SCALE_MARGIN_MM if self.tone_scale else LEAST_MARGIN_MM
        if self.furnished and margin < least:
            raise OptionError(
                f"the margin is {margin:g} mm",
                f"{'a tone scale needs' if self.tone_scale else 'marks and caption need'}"
                f" a margin of {least:g} mm",
                f"make it {DEFAULT_MARGIN_MM:g} mm, or leave them out",
                code="margin_too_narrow", margin=f"{DEFAULT_MARGIN_MM:g}mm",
            )  # fmt: skip
        if margin == 0.0 and self.border is not None:
            raise OptionError(
                f"the border is {self.border} and the margin 0 mm",
                "a border is as wide as the margin",
                f"leave the border out, or make the margin {DEFAULT_MARGIN_MM:g} mm",
                code="margin_too_narrow", margin=f"{DEFAULT_MARGIN_MM:g}mm",
            )  # fmt: skip

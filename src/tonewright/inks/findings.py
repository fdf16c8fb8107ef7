"""What a chart of inks and its ranking found."""

from __future__ import annotations

from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime


class ColoursNotMeasured(Finding, kind="note"):
    """Colours of the chart without a reading."""

    ink_colours: tuple[str, ...]
    """Each as `Setup.ink_colour` has it."""


class ClearFilmOff(Finding):
    """Clear film printed otherwise than the strip predicts: another time, paper or chemistry."""

    lighter_log_exposure: float
    """log10 exposure that it lacks; below 0: it printed darker."""
    process: str
    time: PrintingTime


class InkPatchesDiffer(Finding):
    """Patches of one ink that differ too much: one is stained, or they are in a wrong order."""

    patches: tuple[str, ...]
    difference_density: float


class InksPaperWhite(Finding):
    """Colours that print paper white at full ink: only the least density is known."""

    paper_white: int
    colours: int
    longer_stops: int | None
    """By how much longer a print would show more of them; None: there is no need."""
    next_time: PrintingTime | None
    full_ink_only: bool
    """True: the chart has no lighter level, which would show more as well."""

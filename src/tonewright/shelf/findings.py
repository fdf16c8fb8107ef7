"""What strips and checks show over time."""

from __future__ import annotations

from typing import Literal

from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime

Quantity = Literal["printing_time", "middle_tone_time", "black_lightness", "white_lightness",
                   "log_exposure_range", "difference_lightness_mean"]
"""What is followed: printing times in stops, lightness in L*, the range in density."""


class TimeDrifted(Finding):
    """Paper, chemistry or lamp have become slower or faster, by more than prints scatter."""

    of: str
    """The strips' paper, or the curve."""
    moving_since: str
    """Day of the first print that most likely shows it, as 2026-03-31."""
    out_since: str
    """Day of the print with which it left its limits."""
    slower_stops: float
    """Below 0: faster."""
    slower_stops_sd: float
    still_moving: bool
    """It has moved steadily since, not at once."""
    print_for: PrintingTime | None
    """What the time would be now; None where it is not known."""


class Drifted(Finding):
    """Black, white, range or mean difference have moved, by more than prints scatter."""

    of: str
    quantity: Quantity
    moving_since: str
    out_since: str
    """As in `TimeDrifted`."""
    change: float
    """L*, or density of the range."""
    change_sd: float


class PrintStrays(Finding, kind="note"):
    """A single print lies outside what prints scatter; those after it do not."""

    of: str
    quantity: Quantity
    file: str
    change: float
    """From the centre, in the quantity's unit."""


class FewForLimits(Finding, kind="note"):
    """So few prints that nothing can be said of a drift yet."""

    of: str
    prints: int
    needed: int


class DatesMissing(Finding):
    """Prints without a day, or with one that cannot be; they are left out."""

    files: tuple[str, ...]


class DatesToCome(Finding):
    """Prints of a day still to come; they are left out."""

    files: tuple[str, ...]


class TimeUnitsMixed(Finding, kind="note"):
    """Some strips are timed in minutes, others in integrator units; each are followed apart."""

    of: str


class StripsContradicted(Finding, kind="note"):
    """Strips whose readings contradict each other; they are left out."""

    files: tuple[str, ...]


class CountedOnce(Finding, kind="note"):
    """Copies of documents that are there already, or others of the same readings, day and curve;
    each counts once."""

    files: tuple[str, ...]

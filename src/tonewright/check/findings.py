"""What a check finds beside its verdict."""

from __future__ import annotations

from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime


class TonesSetAside(Finding):
    """Tones of a print that fit neither the curve nor the other tones; they do not count."""

    patches: tuple[str, ...]


class ZeroMayBeOff(Finding):
    """All readings of a print may be off by the same density, as where an instrument was not
    zeroed: they do not tell that from a fault of the print."""

    density: float
    """Above 0: read too dense."""


class PrintsDiffer(Finding):
    """Several prints differ more from each other than even sheets do."""

    lightness_sd: float
    """Standard deviation of the prints' means, L*."""


class PrintsFailAlone(Finding):
    """Of several prints that differ these are not what the curve promises; verdict and cause are
    those of the first."""

    prints: tuple[str, ...]
    """The one that is furthest off first."""


class SheetsAssumed(Finding, kind="note"):
    """How much sheets differ is not known from the curve: what is usual was taken."""

    usual_lightness: float
    """Standard deviation from sheet to sheet, L*."""


class NoStripBehind(Finding, kind="note"):
    """The curve was made without a strip: amounts of light cannot be told."""


class PrintedForAnotherTime(Finding, kind="note"):
    """The print was made for another time than the curve is for."""

    time: PrintingTime
    curve_time: PrintingTime


class UnevennessUntold(Finding, kind="note"):
    """Unevenness of the sheet cannot be told: the tones lie in order, or their places are not
    known."""

"""What reading a print, or learning a scanner, found; of scans as such see `measured.findings`."""

from __future__ import annotations

from typing import Literal

from tonewright.record.findings import Finding

# Of a scanner response


class DensitiesByKnownPatches(Finding):
    """Densities rest on a few known patches, and between them on an assumed tone curve."""

    by_profile: bool
    """The tone curve is that of the scan's profile; False: the usual one of scanners."""


class GrayScaleClipped(Finding):
    """Steps of the gray scale that are clipped, and so left out."""

    white_steps: int
    black_steps: int


class GrayScaleShort(Finding):
    """The gray scale has few steps."""

    steps: int
    enough: int


class ResponseEndsEarly(Finding):
    """The response ends before the blacks of usual papers."""

    darkest_density: float


# Of a print in a scan


class ScanInverted(Finding):
    """What should be light is dark: the scan is inverted, or the film itself was scanned."""


class ScanMirrored(Finding):
    """The scan shows the print swapped left to right."""


class MarkLost(Finding):
    """One of the four marks was not found; the border dots stand in for it."""

    spots: int


class CornersUnchecked(Finding):
    """Too little of the border was found to check the corners given by hand."""


class DensitiesShifted(Finding):
    """All densities were moved to agree with the known patches."""

    shift_density: float


class PatchesNotRead(Finding):
    """Patches left out because the scan is clipped there."""

    patches: tuple[str, ...]


# Doubts about one patch; their codes stand in the column ``doubt`` of the readings


class PatchClipped(Finding):
    """So much of the patch is clipped that its density is not known."""

    patch: str
    end: Literal["white", "black"]
    clipped_share: float


class PatchOutsideResponse(Finding):
    """The patch lies outside the densities that the scanner response covers."""

    patch: str
    lightest_density: float
    darkest_density: float


class PatchSpoilt(Finding):
    """A scratch or stain covers part of the patch; the rest was read."""

    patch: str
    spoilt_share: float


class PatchUnlike(Finding):
    """The patch differs from what similar patches and its place on the sheet suggest."""

    patch: str
    off_density: float
    """Above 0: denser."""


Doubt = PatchClipped | PatchOutsideResponse | PatchSpoilt | PatchUnlike

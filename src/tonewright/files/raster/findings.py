"""What was found in an image file."""

from __future__ import annotations

from tonewright.record.findings import Finding


class FewTones(Finding):
    """Its values have 8 bits, or came from 8 bits."""

    colour: bool


class LossyImage(Finding):
    """It is a JPEG: 8 bits, and not what was photographed to the last pixel."""


class TransparencyFlattened(Finding):
    """Its transparency was laid on white, as asked."""


class ExtraChannelIgnored(Finding):
    """It has a channel that is no transparency, such as a saved mask; left out, as asked."""


class OrientationIgnored(Finding):
    """Its orientation is none of the eight of TIFF and EXIF."""

    orientation: int


class ResolutionUnknown(Finding):
    """How large it prints is not known."""

    without_unit: bool
    """Whether it has a resolution, but in no unit of length."""


class PixelsNotSquare(Finding):
    """Its resolution differs across and down."""

    across_by_down: float


class PrimariesNotSrgb(Finding):
    """A PNG without a profile states primaries (cHRM) that are not those of sRGB, as which its
    colours are weighed."""

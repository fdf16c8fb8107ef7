"""What is found while a negative is made: of the image's values, its size and its tones."""

from __future__ import annotations

from tonewright.record.findings import Finding


class ProfileSetAside(Finding):
    """The embedded profile was not used, because the encoding was said."""


class EncodingAssumed(Finding):
    """Neither the image nor the user said what its values mean."""

    encoding: str
    """As `tones.encoding_lightness` has it."""


class Enlarged(Finding):
    """The picture was resampled to clearly more pixels than it has."""

    times: float
    """Pixels across, new to old."""


class FewPixels(Finding):
    """So few pixels to the inch that edges may look stepped."""

    pixels_per_inch: float


class ColourDropped(Finding):
    """The image has colour, of which the negative holds only the lightness."""

    coloured_share: float
    """Of its pixels, 0 to 1."""


class VisibleSteps(Finding):
    """From one value of the image to the next the print takes a step that the eye sees."""

    bits: int
    """Of the image's values."""
    colour: bool
    """Whether it has them in three channels, and so more tones than grays."""
    step_lightness: float
    """The largest step: L* of the print."""
    image_lightness: float
    """L* of the image where it is."""


class CaptionCut(Finding):
    """The caption was longer than its line."""

    cut: tuple[str, ...]
    """What was shortened or left out, in full."""


class LettersNotDrawn(Finding):
    """A name on the sheet has letters that the font does not have."""

    letters: str


class BlackTonesLost(Finding):
    """Part of the picture asks for the curve's least ink and prints without any tone."""

    share: float
    """Of the picture's pixels, 0 to 1."""
    below_image_lightness: float | None
    """L* of the image below which all print alike; None: only black itself does."""


class WhiteTonesLost(Finding):
    """Part of the picture asks for the curve's most ink and prints without any tone."""

    share: float
    """Of the picture's pixels, 0 to 1."""
    above_image_lightness: float | None
    """L* of the image above which all print alike; None: only white itself does."""

"""What was found in an image file, as sentences."""

from __future__ import annotations

from tonewright.files.raster import findings as image
from tonewright.show.sentence import sentence


@sentence.register
def _(found: image.FewTones) -> str:
    has = "256 steps of each colour" if found.colour else "at most 256 tones"
    return f"8-bit image, {has}: smooth skies may print in steps; a 16-bit original is better"


@sentence.register
def _(found: image.LossyImage) -> str:
    return (
        "JPEG image, 8 bits and lossy: smooth tones may print in steps and blocks; a 16-bit"
        " original is better"
    )


@sentence.register
def _(found: image.TransparencyFlattened) -> str:
    return "transparency was laid on white"


@sentence.register
def _(found: image.ExtraChannelIgnored) -> str:
    return "an extra channel was left out"


@sentence.register
def _(found: image.OrientationIgnored) -> str:
    return f"the orientation tag is {found.orientation}, which is not defined; it was ignored"


@sentence.register
def _(found: image.ResolutionUnknown) -> str:
    if found.without_unit:
        return "the resolution in the file has no unit: set the print size yourself"
    return "no resolution in the file: set the print size yourself"


@sentence.register
def _(found: image.PixelsNotSquare) -> str:
    return "the pixels are not square: the resolution differs across and down"


@sentence.register
def _(found: image.PrimariesNotSrgb) -> str:
    return (
        "the primaries in the file (cHRM) are not those of sRGB, but sRGB was used; save the image"
        " with an ICC profile for exact tones"
    )

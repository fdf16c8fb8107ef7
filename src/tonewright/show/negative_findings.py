"""What is found in an image and in the negative made from it, as sentences about the image."""

from __future__ import annotations

from tonewright.files.raster import findings as image
from tonewright.negative import findings as negative
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


@sentence.register
def _(found: negative.ProfileSetAside) -> str:
    return "the embedded ICC profile was ignored because of --encoding"


@sentence.register
def _(found: negative.EncodingAssumed) -> str:
    meaning = "sRGB" if found.encoding == "srgb" else f"gray {found.encoding.replace(':', ' ')}"
    return f"no ICC profile: {meaning} was assumed; if that is wrong, use --encoding"


@sentence.register
def _(found: negative.Enlarged) -> str:
    return f"enlarged {found.times:.1f} times: that adds pixels, not detail"


@sentence.register
def _(found: negative.FewPixels) -> str:
    return (
        f"only {found.pixels_per_inch:.0f} pixels per inch at this size: edges may look stepped"
    )


@sentence.register
def _(found: negative.ColourDropped) -> str:
    percent = max(1, round(100 * found.coloured_share))
    return (
        f"colour image (about {percent} % of its pixels): only the lightness was used; convert it"
        " to gray in your editor to choose how each colour prints"
    )


@sentence.register
def _(found: negative.VisibleSteps) -> str:
    kind = "grays" if found.colour else "tones"
    return (
        f"from one of its {1 << found.bits} {kind} to the next the print jumps by up to"
        f" {found.step_lightness:.1f} L* (near image L* {found.image_lightness:.0f}): smooth tones"
        " there will print in steps; a 16-bit original is better"
    )


@sentence.register
def _(found: negative.CaptionCut) -> str:
    return (
        f"the caption is too long for its line: {found.cut!r} was cut off; print the picture"
        " larger, or shorten the name of the image or the curve"
    )


@sentence.register
def _(found: negative.BlackTonesLost) -> str:
    return _lost(found.share, "maximum black", "below", found.below_image_lightness)


@sentence.register
def _(found: negative.WhiteTonesLost) -> str:
    return _lost(found.share, "paper white", "above", found.above_image_lightness)


def _lost(share: float, end: str, side: str, lightness: float | None) -> str:
    percent = f"{100 * share:.0f} %" if share >= 0.1 else f"{100 * share:.1f} %"
    tones = "" if lightness is None else f": all tones {side} image L* {lightness:.0f}"
    return f"{percent} of the picture prints as {end}, without detail{tones}"

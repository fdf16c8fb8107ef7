"""What is found while a negative is made, as sentences about its image."""

from __future__ import annotations

from tonewright.negative import findings as negative
from tonewright.show.sentence import sentence


@sentence.register
def _(found: negative.ProfileSetAside) -> str:
    return "another encoding was named, so the embedded ICC profile was ignored"


@sentence.register
def _(found: negative.EncodingAssumed) -> str:
    meaning = "sRGB" if found.encoding == "srgb" else f"gray {found.encoding.replace(':', ' ')}"
    return (f"no ICC profile: {meaning} was assumed; if that is wrong, name the encoding"
            " (--encoding NAME)")


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
        f"the caption is too long for its line: {', '.join(found.cut)} shortened or left out; print"
        " the picture larger, or use shorter names"
    )


@sentence.register
def _(found: negative.LettersNotDrawn) -> str:
    return (f"the font has no letters {' '.join(found.letters)}: each is drawn as a question mark;"
            " use a name in Latin, Greek or Cyrillic letters if you want to read it on the film")


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

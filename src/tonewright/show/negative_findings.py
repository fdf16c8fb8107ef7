"""What is found while a negative is made, as sentences about its image."""

from __future__ import annotations

from tonewright.negative import findings
from tonewright.show.sentence import says


def _lost(share: float, end: str, side: str, lightness: float | None) -> str:
    percent = f"{100 * share:.0f} %" if share >= 0.1 else f"{100 * share:.1f} %"
    tones = "" if lightness is None else f": all tones {side} image L* {lightness:.0f}"
    return f"{percent} of the picture prints as {end}, without detail{tones}"


says(findings.ProfileSetAside,
     "another encoding was named, so the embedded ICC profile was ignored")
says(findings.EncodingAssumed,
     "no ICC profile: {meaning} was assumed; if that is wrong, name the encoding (--encoding"
     " NAME)",
     meaning=lambda f: "sRGB" if f.encoding == "srgb" else f"gray {f.encoding.replace(':', ' ')}")
says(findings.Enlarged, "enlarged {times:.1f} times: that adds pixels, not detail")
says(findings.FewPixels,
     "only {pixels_per_inch:.0f} pixels per inch at this size: edges may look stepped")
says(findings.ColourDropped,
     "colour image (about {percent} % of its pixels): only the lightness was used; convert it to"
     " gray in your editor to choose how each colour prints",
     percent=lambda f: max(1, round(100 * f.coloured_share)))
says(findings.VisibleSteps,
     "from one of its {count} {kind} to the next the print jumps by up to {step_lightness:.1f} L*"
     " (near image L* {image_lightness:.0f}): smooth tones there will print in steps; a 16-bit"
     " original is better",
     count=lambda f: 1 << f.bits, kind=lambda f: "grays" if f.colour else "tones")
says(findings.CaptionCut,
     "the caption is too long for its line: {cut|list} shortened or left out; print the picture"
     " larger, or use shorter names")
says(findings.LettersNotDrawn,
     "the font has no letters {them}: each is drawn as a question mark; use a name in Latin, Greek"
     " or Cyrillic letters if you want to read it on the film",
     them=lambda f: " ".join(f.letters))
says(findings.BlackTonesLost,
     lambda f: _lost(f.share, "maximum black", "below", f.below_image_lightness))
says(findings.WhiteTonesLost,
     lambda f: _lost(f.share, "paper white", "above", f.above_image_lightness))

"""What a check finds beside its verdict, in words."""

from __future__ import annotations

from tonewright.check.findings import (
    NoStripBehind,
    PrintedForAnotherTime,
    PrintsDiffer,
    SheetsAssumed,
    TonesSetAside,
    UnevennessUntold,
    ZeroMayBeOff,
)
from tonewright.show.sentence import says, sentence


@sentence.register
def _(found: TonesSetAside) -> str:
    fit = "fit" if len(found.patches) > 1 else "fits"
    return (f"Set aside: {', '.join(found.patches)}, which {fit} neither the curve nor the other"
            " tones. Look for a stain or a misread value, and measure again.")


@sentence.register
def _(found: ZeroMayBeOff) -> str:
    high = "high" if found.density > 0.0 else "low"
    return (f"All densities may read {abs(found.density):.2f} too {high}, as where an instrument's"
            " zero is off.")


says(PrintsDiffer, "The prints differ from each other more than evenly coated sheets do (standard"
     " deviation {lightness_sd:.1f} L*): coat, expose and develop them alike, or check each by"
     " itself.")
says(SheetsAssumed, "How much your sheets differ is not known, so the usual amount was taken"
     " (±{usual_lightness:.1f} L*). A curve made from two or more sheets measures it.")
says(NoStripBehind, "No strip stands behind this curve, so amounts of light are not known. With a"
     " strip (tonewright strip) the check also tells the next printing time.")
says(PrintedForAnotherTime, "The print was made for {time}; the curve is for {curve_time}.")
says(UnevennessUntold, "Unevenness was not checked: tones in order cannot show it. A target with"
     " scattered tones can (tonewright target --through).")

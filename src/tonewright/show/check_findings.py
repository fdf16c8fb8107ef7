"""What a check finds beside its verdict, in words."""

from __future__ import annotations

from tonewright.check import findings
from tonewright.errors import listed
from tonewright.show.sentence import says

says(findings.TonesSetAside,
     "Set aside: {patches|list}, which {fit} neither the curve nor the other tones. Look for a"
     " stain or a misread value, and measure again.",
     fit=lambda f: "fit" if len(f.patches) > 1 else "fits")
says(findings.ZeroMayBeOff,
     "All densities may read {off:.2f} too {way}, as where an instrument's zero is off.",
     off=lambda f: abs(f.density), way=lambda f: "high" if f.density > 0.0 else "low")
says(findings.PrintsDiffer,
     "The prints differ from each other more than evenly coated sheets do (standard deviation"
     " {lightness_sd:.1f} L*): coat, expose and develop them alike.")
says(findings.PrintsFailAlone,
     "Checked each by itself, {which} {is_not} what the curve promises. Verdict and cause are"
     " those of {first}.",
     which=lambda f: listed(name or "the unnamed one" for name in f.prints),
     is_not=lambda f: "are not" if len(f.prints) > 1 else "is not",
     first=lambda f: f.prints[0] or "the unnamed one")
says(findings.SheetsAssumed,
     "How much your sheets differ is not known, so the usual amount was taken"
     " (±{usual_lightness:.1f} L*). A curve made from two or more sheets measures it.")
says(findings.NoStripBehind,
     "No strip stands behind this curve, so amounts of light are not known. With a strip"
     " (tonewright strip) the check also tells the next printing time.")
says(findings.PrintedForAnotherTime,
     "The print was made for {time}; the curve is for {curve_time}.")
says(findings.UnevennessUntold,
     "Unevenness was not checked: tones in order cannot show it. A target with scattered tones"
     " can (tonewright target --through).")

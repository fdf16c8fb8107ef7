"""What the findings in the scan of a print or of a gray scale mean to the printer."""

from __future__ import annotations

from tonewright.scan import findings
from tonewright.show.measured_findings import SURER, densities
from tonewright.show.sentence import says

DOUBTS_IN_SHORT = {
    "patch_clipped": "clipped", "patch_outside_response": "outside the scanner response",
    "patch_spoilt": "a scratch or stain", "patch_unlike": "unlike similar patches"}
"""By the codes of doubts about one patch, as the column ``doubt`` of readings has them."""

says(findings.DensitiesByKnownPatches,
     f"Between the known patches, densities rest on the {{what}} {SURER}.",
     what=lambda f: "scan's embedded profile." if f.by_profile else
     "tone curve that most scanners have (gamma about 2.2). More known patches are better.")
says(findings.GrayScaleClipped, "Clipped in the scan, and so left out: {ends}.",
     ends=lambda f: " and ".join(
         f"{count} of the {end} steps" for count, end in (
             (f.white_steps, "lightest"), (f.black_steps, "darkest")) if count))
says(findings.GrayScaleShort,
     "The gray scale has {steps} steps. Densities between them are surer with {enough} or more.")
says(findings.ResponseEndsEarly,
     "The response ends at density {darkest_density:.2f}: darker patches will be doubtful. A gray"
     " scale with darker steps reaches further.")
says(findings.ScanInverted,
     "The scan is inverted, so its values were turned round. If you scanned the film itself, none"
     " of these densities hold: scan the print.")
says(findings.ScanMirrored,
     "The scan shows the print mirrored. If the print itself reads mirrored, the film lay with its"
     " ink away from the coating, and fine detail suffers.")
says(findings.MarkLost,
     "The mark with {spots} spot{s} was not found; the dots of the border stand in for it.",
     s=lambda f: "" if f.spots == 1 else "s")
says(findings.CornersUnchecked,
     "Too little of the border was found to check the corners you gave. Look at the overlay"
     " (--overlay) before you use the readings.")
says(findings.DensitiesShifted,
     "All densities were moved by {shift_density:+.3f} to agree with the known patches.")
says(findings.PatchesNotRead, "Left out, because the scan is clipped there: {patches|names}.")
says(findings.PatchClipped,
     "{clipped_share|percent} clipped to {end}; its density is not known")
says(findings.PatchOutsideResponse,
     "outside the densities that the scanner response covers ({densities})", densities=densities)
says(findings.PatchSpoilt,
     "a scratch or stain covers {spoilt_share|percent} of it; the rest was read")
says(findings.PatchUnlike, "{off:.2f} {way} than similar patches and its position suggest",
     off=lambda f: abs(f.off_density), way=lambda f: "denser" if f.off_density > 0.0 else "lighter")

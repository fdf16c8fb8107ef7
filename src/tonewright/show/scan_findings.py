"""What the findings in scans mean to the printer."""

from __future__ import annotations

from tonewright.errors import runs
from tonewright.measured import findings as measured
from tonewright.scan import findings
from tonewright.show.sentence import says

_SURER = "A gray scale that you scan yourself (tonewright scanner) is much surer"
_ENTRIES = {"bits": "bits of each value", "resolution": "resolution", "profile": "ICC profile",
            "device": "scanner or program"}
DOUBTS_IN_SHORT = {
    "patch_clipped": "clipped", "patch_outside_response": "outside the scanner response",
    "patch_spoilt": "a scratch or stain", "patch_unlike": "unlike similar patches"}
"""By the codes of doubts about one patch, as the column ``doubt`` of readings has them."""


def _steps(found: measured.StepsOutsideResponse | measured.StepsOutOfLine) -> str:
    """``steps 1 to 4 and 30 are``."""
    steps = found.steps
    return f"steps {runs(steps)} are" if steps[1:] else f"step {steps[0]} is"


def _range(found: measured.StepsOutsideResponse | findings.PatchOutsideResponse) -> str:
    return f"{max(found.lightest_density, 0.0):.2f} to {found.darkest_density:.2f}"


says(measured.ScanIsJpeg,
     "{file} is a JPEG: densities read from it are off, most of all in the blacks. Save the scan"
     " as a 16-bit TIFF.")
says(measured.ScanHasFewTones,
     "{file} has 8 bits, 256 tones in all: densities above about 1.3 are uncertain. Scan at 16"
     " bits.")
says(measured.ScanResolutionUneven,
     "{file} states {across_ppi:.0f} ppi across and {down_ppi:.0f} ppi down; a scanner has one"
     " resolution.")
says(measured.ScanProfileUnusable,
     "{file}: the ICC profile is broken, or not for this kind of picture, and was ignored.")
says(measured.ScanWeighedAsSrgb,
     "{file} is in colour and carries no usable profile, so it was treated as sRGB. Scan in gray,"
     " or choose one channel (--channel).")
says(measured.ScanTakenOtherwise,
     "{file} and the scan of the gray scale differ in their {what} ({now}; gray scale: {before})."
     " Scan both with the same settings.", what=lambda f: _ENTRIES[f.entry])
says(measured.LampTakenOut,
     "Uneven light in {file} was corrected with the plain sheet: up to {span_density:.3f} in"
     " density across it.")
says(measured.GrayScaleInOtherLight,
     "The scanner was calibrated without a plain sheet, so all densities of {file} may be off by"
     " one amount, up to {span_density:.2f}. Calibrate it again with the same plain sheet"
     " (tonewright scanner --flat).")
says(measured.RowEndMerges,
     "{file}: the {end} end of the row looks like one more step. Check that the row has {steps}"
     " steps.")
says(measured.DensitiesByProfile,
     "{file}: the densities rest on the embedded profile alone, and may be off by 0.1 or more in"
     f" the blacks. {_SURER}.")
says(measured.DensitiesByResponse, "{file}: densities by the scanner response{name}.",
     name=lambda f: f" {f.response}".rstrip())
says(measured.StepsOutsideResponse,
     "{file}, {through}: {which} outside the densities that the scanner response covers ({range}),"
     " so {so}.", which=_steps, range=_range,
     so=lambda f: "their densities are estimates" if f.steps[1:] else "its density is an estimate")
says(measured.StepsOutOfLine,
     "{file}, {through}: {which} out of line with the neighbouring steps, as a stain or a scratch"
     " would be. Look at the strip; if so, leave {them} out ({skip}).", which=_steps,
     them=lambda f: "them" if f.steps[1:] else "it",
     skip=lambda f: " ".join(f"--skip {step}" for step in f.steps))
says(findings.DensitiesByKnownPatches,
     f"Between the known patches, densities rest on the {{what}} {_SURER}.",
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
says(findings.PatchesNotRead, "Left out, because the scan is clipped there: {patches:names}.")
says(findings.PatchClipped,
     "{clipped_share:percent} clipped to {end}; its density is not known")
says(findings.PatchOutsideResponse,
     "outside the densities that the scanner response covers ({range})", range=_range)
says(findings.PatchSpoilt,
     "a scratch or stain covers {spoilt_share:percent} of it; the rest was read")
says(findings.PatchUnlike, "{off:.2f} {way} than similar patches and its position suggest",
     off=lambda f: abs(f.off_density), way=lambda f: "denser" if f.off_density > 0.0 else "lighter")

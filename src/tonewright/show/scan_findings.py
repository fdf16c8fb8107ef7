"""What the findings in scans mean to the printer."""

from __future__ import annotations

from collections.abc import Sequence

from tonewright.errors import runs
from tonewright.measured.findings import (
    DensitiesByProfile,
    DensitiesByResponse,
    GrayScaleInOtherLight,
    LampTakenOut,
    RowEndMerges,
    ScanHasFewTones,
    ScanIsJpeg,
    ScanProfileUnusable,
    ScanResolutionUneven,
    ScanTakenOtherwise,
    ScanWeighedAsSrgb,
    StepsOutOfLine,
    StepsOutsideResponse,
)
from tonewright.scan.findings import (
    CornersUnchecked,
    DensitiesByKnownPatches,
    DensitiesShifted,
    GrayScaleClipped,
    GrayScaleShort,
    MarkLost,
    PatchClipped,
    PatchesNotRead,
    PatchOutsideResponse,
    PatchSpoilt,
    PatchUnlike,
    ResponseEndsEarly,
    ScanInverted,
    ScanMirrored,
)
from tonewright.show.readings_findings import names
from tonewright.show.sentence import sentence
from tonewright.show.words import percent

_SURER = "A gray scale that you scan yourself (tonewright scanner) is much surer"


@sentence.register
def _(found: ScanIsJpeg) -> str:
    return (f"{found.file} is a JPEG: densities read from it are off, most of all in the blacks."
            " Save the scan as a 16-bit TIFF.")


@sentence.register
def _(found: ScanHasFewTones) -> str:
    return (f"{found.file} has 8 bits, 256 tones in all: densities above about 1.3 are uncertain."
            " Scan at 16 bits.")


@sentence.register
def _(found: ScanResolutionUneven) -> str:
    return (f"{found.file} states {found.across_ppi:.0f} ppi across and {found.down_ppi:.0f} ppi"
            " down; a scanner has one resolution.")


@sentence.register
def _(found: ScanProfileUnusable) -> str:
    return (f"{found.file}: the ICC profile is broken, or not for this kind of picture, and was"
            " ignored.")


@sentence.register
def _(found: ScanWeighedAsSrgb) -> str:
    return (f"{found.file} is in colour and carries no usable profile, so it was treated as sRGB."
            " Scan in gray, or choose one channel (--channel).")


_ENTRIES = {"bits": "bits of each value", "resolution": "resolution", "profile": "ICC profile",
            "device": "scanner or program"}


@sentence.register
def _(found: ScanTakenOtherwise) -> str:
    return (f"{found.file} and the scan of the gray scale differ in their"
            f" {_ENTRIES[found.entry]} ({found.now}; gray scale: {found.before}). Scan both with"
            " the same settings.")


@sentence.register
def _(found: LampTakenOut) -> str:
    return (f"Uneven light in {found.file} was corrected with the plain sheet: up to"
            f" {found.span_density:.3f} in density across it.")


@sentence.register
def _(found: GrayScaleInOtherLight) -> str:
    return ("The scanner was calibrated without a plain sheet, so all densities of"
            f" {found.file} may be off by one amount, up to {found.span_density:.2f}. Calibrate it"
            " again with the same plain sheet (tonewright scanner --flat).")


@sentence.register
def _(found: RowEndMerges) -> str:
    return (f"{found.file}: the {found.end} end of the row looks like one more step. Check that"
            f" the row has {found.steps} steps.")


@sentence.register
def _(found: DensitiesByProfile) -> str:
    return (f"{found.file}: the densities rest on the embedded profile alone, and may be off by 0.1"
            f" or more in the blacks. {_SURER}.")


@sentence.register
def _(found: DensitiesByResponse) -> str:
    return f"{found.file}: densities by the scanner response {found.response}".rstrip() + "."


@sentence.register
def _(found: StepsOutsideResponse) -> str:
    many = found.steps[1:]
    return (f"{_steps(found.file, found.through, found.steps)} outside the densities that the"
            f" scanner response covers ({_range(found)}), so {'their' if many else 'its'}"
            f" {'densities are estimates' if many else 'density is an estimate'}.")


@sentence.register
def _(found: StepsOutOfLine) -> str:
    skip = " ".join(f"--skip {step}" for step in found.steps)
    they = "them" if found.steps[1:] else "it"
    return (f"{_steps(found.file, found.through, found.steps)} out of line with the neighbouring"
            f" steps, as a stain or a scratch would be. Look at the strip; if so, leave {they} out"
            f" ({skip}).")


@sentence.register
def _(found: DensitiesByKnownPatches) -> str:
    if found.by_profile:
        return ("Between the known patches, densities rest on the scan's embedded profile."
                f" {_SURER}.")
    return ("Between the known patches, densities rest on the tone curve that most scanners have"
            f" (gamma about 2.2). More known patches are better. {_SURER}.")


@sentence.register
def _(found: GrayScaleClipped) -> str:
    ends = [f"{count} of the {end} steps" for count, end in (
        (found.white_steps, "lightest"), (found.black_steps, "darkest")) if count]
    return f"Clipped in the scan, and so left out: {' and '.join(ends)}."


@sentence.register
def _(found: GrayScaleShort) -> str:
    return (f"The gray scale has {found.steps} steps. Densities between them are surer with"
            f" {found.enough} or more.")


@sentence.register
def _(found: ResponseEndsEarly) -> str:
    return (f"The response ends at density {found.darkest_density:.2f}: darker patches will be"
            " doubtful. A gray scale with darker steps reaches further.")


@sentence.register
def _(_found: ScanInverted) -> str:
    return ("The scan is inverted, so its values were turned round. If you scanned the film itself,"
            " none of these densities hold: scan the print.")


@sentence.register
def _(_found: ScanMirrored) -> str:
    return ("The scan shows the print mirrored. If the print itself reads mirrored, the film lay"
            " with its ink away from the coating, and fine detail suffers.")


@sentence.register
def _(found: MarkLost) -> str:
    spots = "1 spot" if found.spots == 1 else f"{found.spots} spots"
    return f"The mark with {spots} was not found; the dots of the border stand in for it."


@sentence.register
def _(_found: CornersUnchecked) -> str:
    return ("Too little of the border was found to check the corners you gave. Look at the overlay"
            " (--overlay) before you use the readings.")


@sentence.register
def _(found: DensitiesShifted) -> str:
    return (f"All densities were moved by {found.shift_density:+.3f} to agree with the known"
            " patches.")


@sentence.register
def _(found: PatchesNotRead) -> str:
    return f"Left out, because the scan is clipped there: {names(found.patches)}."


@sentence.register
def _(found: PatchClipped) -> str:
    return f"{percent(found.clipped_share)} clipped to {found.end}; its density is not known"


@sentence.register
def _(found: PatchOutsideResponse) -> str:
    return f"outside the densities that the scanner response covers ({_range(found)})"


@sentence.register
def _(found: PatchSpoilt) -> str:
    return f"a scratch or stain covers {percent(found.spoilt_share)} of it; the rest was read"


@sentence.register
def _(found: PatchUnlike) -> str:
    return (f"{abs(found.off_density):.2f} {'denser' if found.off_density > 0.0 else 'lighter'}"
            " than similar patches and its position suggest")


DOUBTS_IN_SHORT = {
    "patch_clipped": "clipped", "patch_outside_response": "outside the scanner response",
    "patch_spoilt": "a scratch or stain", "patch_unlike": "unlike similar patches"}
"""By the codes of doubts about one patch, as the column ``doubt`` of readings has them."""


def _steps(file: str, through: str, steps: Sequence[int]) -> str:
    """``strip.tif, film: steps 1 to 4 and 30 are``."""
    said = f"steps {runs(steps)} are" if steps[1:] else f"step {steps[0]} is"
    return f"{file}, {through}: {said}"


def _range(found: StepsOutsideResponse | PatchOutsideResponse) -> str:
    return f"{max(found.lightest_density, 0.0):.2f} to {found.darkest_density:.2f}"

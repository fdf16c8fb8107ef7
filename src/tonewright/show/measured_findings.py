"""What the findings in measurement files, and in scans of any kind, mean to the printer."""

from __future__ import annotations

from typing import Any

from tonewright.errors import counted, runs
from tonewright.measured import findings
from tonewright.show.sentence import says

SURER = "A gray scale that you scan yourself (tonewright scanner) is much surer"
_ENTRIES = {"bits": "bits of each value", "resolution": "resolution", "profile": "ICC profile",
            "device": "scanner or program"}


def densities(found: Any) -> str:
    """Those that a scanner response covers, of a finding that holds them: ``0.00 to 1.52``."""
    return f"{max(found.lightest_density, 0.0):.2f} to {found.darkest_density:.2f}"


def _steps(found: findings.StepsOutsideResponse | findings.StepsOutOfLine) -> str:
    """``steps 1 to 4 and 30 are``."""
    steps = found.steps
    return f"steps {runs(steps)} are" if steps[1:] else f"step {steps[0]} is"


says(findings.AimsStated,
     "{file} gives each patch its aim: the print was made through a curve.")
says(findings.EndDataMissing, "{file}: END_DATA is missing, but every row is there.")
says(findings.CodePageAssumed,
     "{file}: the text is not UTF-8; it was read in the Windows code page 1252. Check the names.")
says(findings.LighterThanPaper,
     "{file}: the lightest patch has density {lightest_density:.2f}; few papers are that white. If"
     " the instrument was zeroed on the bare paper, say so (--relative-to-paper).")
says(findings.SheetsNotNamed,
     "The {files} files do not say which sheet they were measured on, so they count as readings of"
     " one sheet. A column named print tells sheets apart.")
says(findings.HeaderAssumed,
     "{file}: there is no row of column names; the columns were read as {columns|list}.")
says(findings.CellsBlank,
     "{file}: nothing was measured in {where} {lines|runs}; {those} skipped.",
     where=lambda f: "lines" if f.lines[1:] else "line",
     those=lambda f: "those rows were" if f.lines[1:] else "that row was")
says(findings.StatedCountWrong, "{file}: {keyword} is {stated}, but there {are} {things}.",
     are=lambda f: "is" if f.found == 1 else "are",
     things=lambda f: counted(f.found, "row" if f.keyword == "NUMBER_OF_SETS" else "field"))
says(findings.OtherViewing,
     "{file}: its colour values are for {lights}. A print is judged under D50 with the 2-degree"
     " observer, so a coloured print may read slightly off.",
     lights=lambda f: " and ".join(
         [*f.illuminants, *(["the 10-degree observer"] if f.ten_degrees else [])]))
says(findings.PatchesNotInList, "{file}: not in the list, and so not read: {patches|names}.")
says(findings.PatchesDoubted,
     "{file}: doubtful in the scan: {patches|names}. The column doubt says why. Look at the print,"
     " and leave out any patch that is spoilt (--leave-out PATCH).")
says(findings.ValuesLeftAside, "{file}: {one} was used, not {left_aside|names}.{instead}",
     one=lambda f: f.used or "the spectrum",
     instead=lambda f: "" if f.other_weighting is None else
     f" To use the {'lightness' if f.other_weighting == 'luminance' else 'density'} instead, name"
     f" it (--scale {f.other_weighting}).")
says(findings.ScanIsJpeg,
     "{file} is a JPEG: densities read from it are off, most of all in the blacks. Save the scan"
     " as a 16-bit TIFF.")
says(findings.ScanHasFewTones,
     "{file} has 8 bits, 256 tones in all: densities above about 1.3 are uncertain. Scan at 16"
     " bits.")
says(findings.ScanResolutionUneven,
     "{file} states {across_ppi:.0f} ppi across and {down_ppi:.0f} ppi down; a scanner has one"
     " resolution.")
says(findings.ScanProfileUnusable,
     "{file}: the ICC profile is broken, or not for this kind of picture, and was ignored.")
says(findings.ScanWeighedAsSrgb,
     "{file} is in colour and carries no usable profile, so it was treated as sRGB. Scan in gray,"
     " or choose one channel (--channel).")
says(findings.ScanTakenOtherwise,
     "{file} and the scan of the gray scale differ in their {what} ({now}; gray scale: {before})."
     " Scan both with the same settings.", what=lambda f: _ENTRIES[f.entry])
says(findings.LampTakenOut,
     "Uneven light in {file} was corrected with the plain sheet: up to {span_density:.3f} in"
     " density across it.")
says(findings.GrayScaleInOtherLight,
     "The scanner was calibrated without a plain sheet, so all densities of {file} may be off by"
     " one amount, up to {span_density:.2f}. Calibrate it again with the same plain sheet"
     " (tonewright scanner --flat).")
says(findings.RowEndMerges,
     "{file}: the {end} end of the row looks like one more step. Check that the row has {steps}"
     " steps.")
says(findings.DensitiesByProfile,
     "{file}: the densities rest on the embedded profile alone, and may be off by 0.1 or more in"
     f" the blacks. {SURER}.")
says(findings.DensitiesByResponse, "{file}: densities by the scanner response{name}.",
     name=lambda f: f" {f.response}".rstrip())
says(findings.StepsOutsideResponse,
     "{file}, {through}: {which} outside the densities that the scanner response covers"
     " ({densities}), so {so}.", which=_steps, densities=densities,
     so=lambda f: "their densities are estimates" if f.steps[1:] else "its density is an estimate")
says(findings.StepsOutOfLine,
     "{file}, {through}: {which} out of line with the neighbouring steps, as a stain or a scratch"
     " would be. Look at the strip; if so, leave {them} out ({skip}).", which=_steps,
     them=lambda f: "them" if f.steps[1:] else "it",
     skip=lambda f: " ".join(f"--skip {step}" for step in f.steps))

"""Every finding of readings, scans and charts of inks has its sentence: golden files, all codes."""

from __future__ import annotations

import pytest

from reports import check_report
from tonewright.check import findings as check
from tonewright.inks import findings as inks
from tonewright.measured import findings as measured
from tonewright.record.findings import Finding, all_codes
from tonewright.record.times import PrintingTime
from tonewright.scan import findings as scan
from tonewright.show.findings import sentence
from tonewright.show.words import labelled

TIME = PrintingTime(5640.0)
SAID = {
    "findings_readings.txt": (measured, [
        measured.EndDataMissing("a.txt"),
        measured.StatedCountWrong("a.txt", "NUMBER_OF_SETS", 5, 3),
        measured.StatedCountWrong("a.txt", "NUMBER_OF_FIELDS", 9, 1),
        measured.ValuesLeftAside("a.txt", "LAB_L", ("XYZ_Y", "D_VIS"), "visual-density"),
        measured.ValuesLeftAside("a.txt", "", ("density",), "luminance"),
        measured.ValuesLeftAside("a.txt", "LAB_L", ("XYZ_Y",), None),
        measured.OtherViewing("a.txt", ("D65",), ten_degrees=True),
        measured.LighterThanPaper("a.csv", 0.004),
        measured.SheetsNotNamed(2),
        measured.HeaderAssumed("a.csv", ("level", "density")),
        measured.CodePageAssumed("a.csv"),
        measured.CellsBlank("a.csv", (5,)),
        measured.CellsBlank("a.csv", (5, 6, 9)),
        measured.PatchesNotInList("a.csv", tuple(f"A{i}" for i in range(1, 16))),
        measured.AimsStated("a.csv"),
        measured.PatchesDoubted("a.csv", ("A3", "B4")),
    ]),
    "findings_check.txt": (check, [
        check.TonesSetAside(("A3",)),
        check.TonesSetAside(("A3", "A7 on march")),
        check.PrintsDiffer(1.93), check.PrintsFailAlone(("b",)), check.PrintsFailAlone(("b", "")),
        check.SheetsAssumed(0.8), check.ZeroMayBeOff(0.031), check.ZeroMayBeOff(-0.04),
        check.NoStripBehind(),
        check.PrintedForAnotherTime(TIME, PrintingTime(480.0)),
        check.UnevennessUntold(),
    ]),
    "findings_inks.txt": (inks, [
        inks.ColoursNotMeasured(("0,128,255", "128,0,0")),
        inks.ClearFilmOff(0.602, "kallitype", TIME),
        inks.ClearFilmOff(-0.301, "kallitype", TIME),
        inks.InkPatchesDiffer(("A1", "B7"), 0.21),
        inks.InksPaperWhite(1, 26, None, None, full_ink_only=True),
        inks.InksPaperWhite(14, 26, 2, TIME, full_ink_only=False),
        inks.InksPaperWhite(14, 26, 1, PrintingTime(240.0, "unit"), full_ink_only=True),
    ]),
    "findings_scan.txt": (scan, [
        measured.ScanIsJpeg("s.jpg"),
        measured.ScanHasFewTones("s.jpg"),
        measured.ScanResolutionUneven("s.tif", 300.0, 600.0),
        measured.ScanProfileUnusable("s.tif"),
        measured.ScanWeighedAsSrgb("s.tif"),
        measured.ScanTakenOtherwise("s.tif", "resolution", "300 ppi", "600 ppi"),
        measured.LampTakenOut("s.tif", 0.062),
        measured.GrayScaleInOtherLight("s.tif", 0.07),
        measured.RowEndMerges("s.tif", "dark", 21),
        measured.DensitiesByProfile("s.tif"),
        measured.DensitiesByResponse("s.tif", "flatbed"),
        measured.StepsOutsideResponse("s.tif", "bare", (1, 2, 3, 31), -0.02, 1.52),
        measured.StepsOutsideResponse("s.tif", "film", (1,), 0.04, 1.52),
        measured.StepsOutOfLine("s.tif", "film", (4, 19)),
        scan.DensitiesByKnownPatches(by_profile=True),
        scan.DensitiesByKnownPatches(by_profile=False),
        scan.GrayScaleClipped(1, 2),
        scan.GrayScaleShort(6, 12),
        scan.ResponseEndsEarly(1.31),
        scan.ScanInverted(),
        scan.ScanMirrored(),
        scan.MarkLost(1),
        scan.MarkLost(3),
        scan.CornersUnchecked(),
        scan.DensitiesShifted(-0.0312),
        scan.PatchesNotRead(("A1", "C4")),
        scan.PatchClipped("A1", "white", 0.31),
        scan.PatchOutsideResponse("A1", 0.02, 1.5),
        scan.PatchSpoilt("A1", 0.25),
        scan.PatchUnlike("A1", 0.071),
        scan.PatchUnlike("A1", -0.04),
    ]),
}


@pytest.mark.parametrize("name", SAID)
def test_every_sentence(name):
    check_report(name, "\n".join(labelled(f.kind, sentence(f)) for f in SAID[name][1]))


def test_none_is_left_out():
    modules, said = zip(*SAID.values(), strict=True)
    declared = {c for module in modules for c in vars(module).values()
                if isinstance(c, type) and issubclass(c, Finding) and c.code in all_codes()}
    assert {type(f) for findings in said for f in findings} == declared

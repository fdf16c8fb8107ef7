"""Every finding of readings and of a chart of inks has its sentence: golden files, all codes."""

from __future__ import annotations

import pytest

from reports import check_report
from tonewright.inks import findings as inks
from tonewright.measured import findings as measured
from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime
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
        measured.PatchesNotInList("a.csv", tuple(f"A{i}" for i in range(1, 16))),
        measured.PatchesDoubted("a.csv", ("A3", "B4")),
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
}


@pytest.mark.parametrize("name", SAID)
def test_every_sentence(name):
    module, findings = SAID[name]
    check_report(name, "\n".join(labelled(f.kind, sentence(f)) for f in findings))
    declared = {c for c in vars(module).values()
                if isinstance(c, type) and issubclass(c, Finding) and c is not Finding}
    assert {type(f) for f in findings} == declared

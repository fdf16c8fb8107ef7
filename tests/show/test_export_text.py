"""What `export` says: whole reports as golden files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from reports import check_report
from tonewright.files.export.make import FORMS, ExportRequest, export_curve
from tonewright.files.export.proof import Proof
from tonewright.show.export_text import export_text

EXAMPLE = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"
PROOFS = {
    "table": Proof("a reader of plain text", 256, 0.0, 0.0),
    "points": Proof("a reader of plain text", 14, 127.0, 0.3,
                    (("straight lines", 0.42), ("a smooth curve", 0.31))),
    "lut": Proof("an XML reader", 65536, 0.0, 0.0),
    "icc-output": Proof("littleCMS", 65536, 20.0, 0.003, (), 0.48, 0.03),
    "icc-link": Proof("littleCMS", 65536, 0.0, 0.0, (), 0.0027, None, 0.003),
    "readings": Proof("the reader of measurements", 70, None, 0.0),
    "aim": Proof("the reader of measurements", 101, 0.0, 0.0),
}


@pytest.mark.parametrize("form", PROOFS)
def test_golden_reports(form):
    request = ExportRequest(form, depth=8 if form == "table" else None)
    if FORMS[form].suffixes[0] == ".icc":
        made = replace(export_curve(EXAMPLE, ExportRequest("lut")), request=request)
    else:
        made = export_curve(EXAMPLE, request)
    made = replace(made, output=Path("my k" + FORMS[form].suffixes[0]), proof=PROOFS[form])
    check_report(f"export_{form}.txt", export_text(made))

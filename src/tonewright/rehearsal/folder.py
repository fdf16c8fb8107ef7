"""The folder that a rehearsal leaves behind: its files by name, in the order of the job."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from tonewright.curve.document import Curve
from tonewright.files.documents import write_document
from tonewright.files.safe import make_folder, refuse_existing, write_bytes, write_text
from tonewright.frozen import dataclass
from tonewright.record.provenance import document_name
from tonewright.strip.process import Process

INVENTED = "invented: made by the virtual darkroom of tonewright"
MONTHS = tuple(f"2025-{month:02d}" for month in range(2, 13))
"""In which a print is checked; one file of each of these kinds goes into the folder `YEAR`."""
YEAR, READ, CHECKED = "9-year", "csv", "check.json"


class File(StrEnum):
    """What each file is called."""

    STRIP = "1-strip-readings.csv"
    PROCESS = "1-kallitype.process.json"
    STRIP_PLOT = "1-strip.png"
    TARGET = "2-target.tif"
    TARGET_LAYOUT = "2-target.target.json"
    GRAY_SCALE = "2-gray-scale.csv"
    PLAIN_SCAN = "2-plain-sheet-scan.tif"
    SCAN = "2-target-scan.tif"
    OVERLAY = "2-target-overlay.png"
    READINGS = "2-target-readings.csv"
    CURVE = "3-kallitype.curve.json"
    CURVE_PLOT = "3-kallitype-curve.png"
    PICTURE = "4-picture.tif"
    NEGATIVE = "5-negative.tif"
    STRAIGHT_NEGATIVE = "5-negative-without-curve.tif"
    PRINTS = "6-prints.png"
    TONES_PLOT = "6-tones.png"
    SCALE_NEGATIVE = "7-negative-with-scale.tif"
    SCALE_LAYOUT = "7-negative-with-scale.target.json"
    SCALE_TABLE = "7-negative-with-scale.csv"
    PALE_READINGS = "7-pale-print.csv"
    PALE = "7-pale.check.json"
    PALE_PLOT = "7-pale-check.png"
    GOOD_READINGS = "8-good-print.csv"
    GOOD = "8-good.check.json"
    REFINED = "8-kallitype-refined.curve.json"
    YEAR_PLOT = "9-year.png"
    NEW_STRIP = "10-new-strip-readings.csv"
    NEW_PROCESS = "10-cyanotype.process.json"
    NEW_CURVE = "11-cyanotype.curve.json"
    NEW_CURVE_PLOT = "11-cyanotype-curve.png"
    FEW_READINGS = "12-seven-patches.csv"
    FEW_CURVE = "12-cyanotype-surer.curve.json"
    FRESH_READINGS = "13-whole-new-target.csv"
    FRESH_CURVE = "13-cyanotype-fresh.curve.json"
    NEW_NEGATIVE = "14-renewed-negative.tif"
    NEW_TONES_PLOT = "14-roads.png"
    NEW_PRINTS = "14-prints.png"
    GUIDE = "LOOK-HERE-FIRST.txt"

    @property
    def document_name(self) -> str:
        """What the document in ``3-kallitype.curve.json`` is called: kallitype."""
        return document_name(self.value).partition("-")[2]


@dataclass(frozen=True)
class Folder:
    """Where the files go, and whether they may replace others."""

    path: Path
    force: bool = False

    def prepare(self) -> None:
        """Make the folder; `FileError` if one of the files is there and may not be replaced."""
        make_folder(self.path)
        make_folder(self.year)
        months = (self.year / f"{month}.{kind}" for month in MONTHS for kind in (READ, CHECKED))
        for path in (*(self / file for file in File), *months):
            refuse_existing(path, self.force)

    @property
    def year(self) -> Path:
        """The folder of a year's checks: readings and document of each month."""
        return self.path / YEAR

    def __truediv__(self, file: File) -> Path:
        return self.path / file.value

    def table(self, path: Path, rows: list[str]) -> None:
        """Write a table of invented readings."""
        write_text(path, "\n".join([f"# {INVENTED}", *rows]) + "\n", force=self.force)

    def keep(self, file: File, what: bytes | str | list[str] | Process | Curve) -> None:
        """Write a picture, a text, a table by its rows, or a document."""
        path, force = self / file, self.force
        if isinstance(what, bytes):
            write_bytes(path, what, force=force)
        elif isinstance(what, Process | Curve):
            write_document(path, what, force=force)
        elif isinstance(what, list):
            self.table(path, what)
        else:
            write_text(path, what, force=force)

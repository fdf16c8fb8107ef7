"""The rehearsal's way from a drawn target to readings: printed, scanned, found and read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.raster.scans import read_scan
from tonewright.files.scan.read import ReadRequest, read_print
from tonewright.files.scanners import write_scanner
from tonewright.files.tables import read_readings
from tonewright.files.targets import target_paths, write_target
from tonewright.measured.readings import Readings
from tonewright.scan.response import response_from_gray_scale
from tonewright.scan.steps import read_step_row
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import Darkroom

SCALE = tuple(round(0.08 + 0.14 * k, 2) for k in range(15))
"""Densities of the gray scale on the scanner's glass."""


DESK_SCANNER = scanroom.Scanner(shading=0.08)
SHEET = scanroom.PaperFlaws(texture_density_sd=0.02, uneven_exposure_sd=0.01,
                            streak_exposure_sd=0.005, stains=2, dust=25)
CROOKED = scanroom.Lying(rotation_degrees=2.5)


@dataclass(frozen=True)
class ScanNames:
    """File names of the road, in its order."""

    target: str
    scale_scan: str
    scanner: str
    scan: str
    overlay: str
    readings: str


@dataclass(frozen=True)
class ScanRoad:
    """Where the road runs, and how it is paved."""

    folder: Path
    names: ScanNames
    levels: int
    repeats: int
    seed: int
    force: bool

    def path(self, name: str) -> Path:
        """Of a file in the folder."""
        return self.folder / name


def target_by_scan(road: ScanRoad, printed: Darkroom, name: str) -> Readings:
    """Draw a target, print it on a sheet with all its flaws, scan it, and read the scan.

    Raises
    ------
    TonewrightError
        A file cannot be written, or the scan cannot be read.
    """
    picture, document = target_paths(road.path(road.names.target))
    target = make_target(even_levels(road.levels), LayoutSettings(
        name=name, seed=road.seed, repeats=road.repeats))
    write_target(picture, target, force=road.force)
    _learn_scanner(road)
    sheet = scanroom.print_sheet(read_codes(picture), target.ppi, printed, SHEET,
                                 seed=road.seed)
    render = scanroom.scan_sheet(sheet, DESK_SCANNER, CROOKED, seed=road.seed + 1)
    write_picture(road.path(road.names.scan), render.codes, render.ppi, force=road.force)
    readings = road.path(road.names.readings)
    read_print(road.path(road.names.scan), document, readings, ReadRequest(
        road.path(road.names.scanner), overlay=road.path(road.names.overlay),
        comments=("invented: made by the virtual darkroom of tonewright",)), force=road.force)
    return read_readings([readings])


def _learn_scanner(road: ScanRoad) -> None:
    """Lay a gray scale of known densities on the glass and learn what the scanner makes of it."""
    render = scanroom.scan_sheet(scanroom.gray_scale(SCALE), DESK_SCANNER, seed=road.seed + 2)
    write_picture(road.path(road.names.scale_scan), render.codes, render.ppi, force=road.force)
    row = read_step_row(read_scan(road.path(road.names.scale_scan)), len(SCALE), dark_first=False)
    response = response_from_gray_scale(SCALE, row.code[0], row.code_sd[0],
                                        name="desk scanner (invented)")
    write_scanner(road.path(road.names.scanner), response, force=road.force)

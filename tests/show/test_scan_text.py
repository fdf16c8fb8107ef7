"""What `read` and `scanner` say: whole reports as golden files."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reports import check_report
from rooms import Scanner, scan_sheet
from tonewright.cli.options import json_text
from tonewright.files.lettering import text_mask
from tonewright.files.scan.read import ReadResult
from tonewright.files.scanners import LearnedScanner
from tonewright.measured.columns import Source
from tonewright.measured.findings import PatchesNotInList, ScanHasFewTones
from tonewright.measured.readings import Reading, Readings
from tonewright.scan.findings import ScanMirrored
from tonewright.scan.image import Scan
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.response import response_from_gray_scale, response_of_row
from tonewright.scan.steps import read_step_row
from tonewright.show.scan_text import reading_json, reading_text
from tonewright.show.scanner_text import scanner_json, scanner_text
from tonewright.target.draw import draw
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual import darkroom, scanroom

TARGET = make_target(even_levels(9), LayoutSettings(
    name="cotton", seed=5, ppi=150.0, width_mm=101.6, height_mm=127.0, repeats=2))
ROOM = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
SCANNER = Scanner(ppi=150.0, lid_density=1.5)
KNOWN = np.round(np.linspace(0.05, 1.4, 11), 2)


@pytest.fixture(scope="module")
def read():
    """A scan with stains, its blacks darker than the scanner response reaches."""
    negative = np.concatenate(list(draw(TARGET, text_mask)))
    sheet = scanroom.print_sheet(negative, 150.0, ROOM, scanroom.PaperFlaws(
        texture_density_sd=0.01, stains=5, stain_density=0.3), seed=6)
    render = scan_sheet(sheet, SCANNER, scanroom.Lying(2.0), seed=6)
    response = response_from_gray_scale(KNOWN, SCANNER.code(KNOWN), np.full(KNOWN.size, 2e-4),
                                        name="flatbed")
    reading = read_target_scan(Scan(render.pixels, 16, 150.0, None), TARGET,
                               ReadSettings(response))
    reading = replace(reading, findings=(ScanMirrored(), ScanHasFewTones("scan.tif")))
    return ReadResult(Path("scan.tif"), TARGET, reading, Path("r.csv"), Path("o.png"))


def test_the_report_on_a_scan(read):
    check_report("read_scan.txt", reading_text(read))


def test_json_of_a_scan_holds_every_finding_and_doubt(read):
    data = json.loads(json_text(reading_json(read)))
    doubts = [d for p in read.reading.patches for d in p.doubts]
    assert {type(d).__name__ for d in doubts} >= {"PatchSpoilt", "PatchOutsideResponse"}
    assert [f["code"] for f in data["findings"]] == [
        "scan_mirrored", "scan_has_few_tones", *(d.code for d in doubts)]
    assert [len(d["why"]) for d in data["doubtful"]] == [
        len(p.doubts) for p in read.reading.doubtful]
    assert len(data["warnings"]) == 2


@pytest.fixture
def listed():
    patches = tuple(Reading(p.level, float(ROOM.print_density(p.level)), None, None, p.name)
                    for p in TARGET.patches[1:])
    source = Source("list.txt", "cgats", "0" * 64)
    return ReadResult(Path("list.txt"), TARGET, Readings(
        patches, "visual-density", False, (source,), (PatchesNotInList("list.txt", ("A1",)),)),
        Path("r.csv"), None)


def test_the_report_on_an_instruments_list(listed):
    check_report("read_list.txt", reading_text(listed))


def test_readings_from_the_bare_paper_keep_their_option(listed):
    relative = replace(listed, reading=replace(listed.reading, relative_to_paper=True))
    assert "above the bare paper" in reading_text(relative)
    assert reading_text(relative).endswith("-o NAME.curve.json --relative-to-paper")
    assert reading_json(relative)["aim_rms_lightness"] is None


def test_readings_of_a_print_through_a_curve_go_to_check(listed):
    printed = replace(listed, target=replace(TARGET, through="kallitype"),
                      output=Path("my print.csv"))
    assert "Next:     tonewright check CURVE \"my print.csv\"" in reading_text(printed)
    relative = replace(printed, reading=replace(listed.reading, relative_to_paper=True))
    assert "--relative-to-paper" in reading_text(relative)


def test_the_report_on_a_scanner():
    card = scanroom.gray_scale(KNOWN, border_density=0.3)
    render = scan_sheet(card, replace(SCANNER, ppi=200.0), scanroom.Lying(3.0), seed=1)
    scan = Scan(render.pixels, 16, 200.0, None, name="gray-scale.tif")
    row = read_step_row(scan, KNOWN.size, dark_first=False)
    learned = LearnedScanner(response_of_row(row, KNOWN, scan, "flatbed"), row,
                             Path("flatbed.scanner.json"))
    check_report("scanner.txt", scanner_text(learned))
    data = json.loads(json_text(scanner_json(learned)))
    assert [f["code"] for f in data["findings"]] == ["gray_scale_short", "response_ends_early"]

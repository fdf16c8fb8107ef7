"""The whole job in a browser: by clicks and typing, its files the same as the command line's."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tonewright.files.documents import read_curve
from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.targets import read_target
from tonewright.scales import lightness_to_density
from tonewright.virtual import darkroom, scanroom
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene
from windows import paste, same, shot

pytestmark = pytest.mark.skipif(os.name != "posix", reason="ended by a signal")
TIME = 1400.0
"""Seconds: about the base printing time of the invented paper."""


def densities(rows: Any) -> str:
    """A column of a spreadsheet, with decimal commas."""
    return "\n".join(f"{density:.3f}".replace(".", ",") for density in rows)


@pytest.mark.usefixtures("chromium")
def test_the_whole_job_from_an_empty_folder_to_a_checked_print(
    serve: Callable[..., Any], window: Any, tmp_path: Path
) -> None:
    bench = serve()
    cotton, room = bench.folder / "Cotton", Darkroom(DEMO_INK, KALLITYPE, printing_time=TIME)

    window.goto(bench.address)
    window.get_by_label("Name of the paper").fill("Cotton")
    window.get_by_role("button", name="Begin with this paper").press("Enter")
    window.wait_for_url("**/strip")
    _strip(window, room)
    same(window, bench.folder, tmp_path, "Cotton/Cotton.process.json")
    shot(window, "strip")

    window.goto(bench.paper("Cotton", "target"))
    window.get_by_role("button", name="Keep this target").click()
    window.get_by_text("The negative, to print on film").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.tif", "Cotton/Cotton.target.json",
         "Cotton/Cotton.csv")
    shot(window, "target")

    scan = _scan(cotton / "Cotton.tif", read_target(cotton / "Cotton.target.json").ppi, room,
                 tmp_path / "scan.tif")
    window.goto(bench.paper("Cotton", "read"))
    window.locator(".drop input[type=file]").set_input_files(str(scan))
    window.get_by_label("Density of the bare paper").fill("0,09")
    window.get_by_label("Density of the blackest").fill("1,55")
    window.get_by_role("button", name="Read it", exact=True).click()
    window.get_by_text("Kept as Cotton/Cotton-readings.csv").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton-readings.csv",
         "Cotton/Cotton-readings-overlay.png")
    shot(window, "read")

    window.goto(bench.paper("Cotton", "curve"))
    window.locator(".big-number").wait_for()
    window.get_by_role("button", name="Keep this curve").click()
    window.get_by_text("Kept as Cotton.curve.json").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.curve.json")
    shot(window, "curve")

    write_picture(tmp_path / "landscape.tif", scene(480, 360), 120.0)
    window.goto(bench.paper("Cotton", "negative"))
    window.locator(".drop input[type=file]").set_input_files(str(tmp_path / "landscape.tif"))
    assert window.get_by_label("Tone scale beside").is_checked(), "the check needs it"
    window.get_by_role("button", name="Make the negatives").click()
    window.get_by_text("Download landscape-negative.tif").wait_for()
    window.locator(".side-by-side img").nth(1).wait_for()
    same(window, bench.folder, tmp_path, "Cotton/landscape-negative.tif",
         "Cotton/landscape-negative.target.json", "Cotton/landscape-negative.csv")
    shot(window, "negative")

    _check(window, bench, cotton)
    same(window, bench.folder, tmp_path, "Cotton/Cotton.check.json")
    shot(window, "check")

    window.get_by_role("button", name="Renew the curve by this strip").click()
    window.get_by_text("The renewed curve is kept as Cotton-2.curve.json").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton-2.curve.json")
    (cotton / "Cotton-2.curve.json").unlink()

    window.goto(bench.paper("Cotton", "report"))
    window.get_by_role("button", name="Make the report").click()
    window.get_by_text("Open Cotton.html alone").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.html")
    shot(window, "report")
    window.goto(f"{bench.base}/")
    window.get_by_role("cell", name="today, passed").wait_for()
    window.get_by_text("The whole way is done").wait_for()
    shot(window, "papers")
    assert bench.end().endswith("The bench is closed.\n")
    assert not [*bench.folder.rglob(".*")], "nothing hidden is left"


def _strip(window: Any, room: Darkroom) -> None:
    """Paste both halves, and keep the process."""
    tablet = [0.1 * step for step in range(31)]
    read = darkroom.measure_strip(room, tablet, TIME, flaws=darkroom.Flaws(noise_density_sd=0.01),
                                  seed=3)
    window.get_by_label("Printing time").fill(f"{TIME:g}s")
    paste(window, "0,0", densities(read.density_film))
    paste(window, "0,1", densities(read.density_bare))
    window.locator(".big-number", has_text="min").wait_for()
    window.get_by_role("button", name="Keep this strip").click()
    window.get_by_text("Kept as Cotton/Cotton.process.json").wait_for()


def _scan(negative: Path, ppi: float, room: Darkroom, path: Path) -> Path:
    """The target printed on a sheet with all its flaws, and scanned."""
    sheet = scanroom.print_sheet(read_codes(negative), ppi, room, scanroom.PaperFlaws(), seed=1)
    render = scanroom.scan_sheet(sheet, scanroom.Scanner(ppi=150.0),
                                 scanroom.Lying(rotation_degrees=1.5), seed=2)
    write_picture(path, render.codes, render.ppi)
    return path


def _check(window: Any, bench: Any, cotton: Path) -> None:
    """Type the tones of a print that is as it should be, and keep the check."""
    curve = read_curve(cotton / "Cotton.curve.json")
    aims = curve.print_lightness_at([float(t) for t in range(0, 101, 10)])
    window.goto(bench.paper("Cotton", "check"))
    window.get_by_text("Or type the eleven tones").click()
    paste(window, "0,0", densities(lightness_to_density(aims)))
    window.get_by_role("button", name="Keep these tones").click()
    window.get_by_text("checked now").wait_for()
    window.locator(".big-number", has_text="As promised").wait_for()
    window.get_by_role("button", name="Keep this check").click()
    window.get_by_text("Kept as Cotton.check.json").wait_for()

"""What lies beside the way: strips of every kind, the scanner, inks, and another setup."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import chart
from materials import even_ink, flattening
from rooms import ColouredInks, Scanner, print_strip, scan_sheet
from tonewright.files.papers import SETUP
from tonewright.files.raster.pictures import write_picture
from tonewright.record.setup import parse_colour
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, Ink
from tonewright.virtual.scanroom import Lying, gray_scale
from windows import paste, same, shot

pytestmark = [pytest.mark.skipif(os.name != "posix", reason="ended by a signal"),
              pytest.mark.usefixtures("chromium")]
ROOM, FLATBED = Darkroom(), Scanner(encoding="srgb", flare=0.006, ppi=200.0)
KNOWN = [round(float(d), 2) for d in np.linspace(0.05, 1.9, 14)]
TIME = f"{ROOM.base_time * 1.25:.0f}s"
FAULT = ".field-error:not(:empty)"


def test_what_lies_beside_the_way(
    bench: Any, begin: Any, window: Any, tmp_path: Path
) -> None:
    coir = begin(bench, "Coir")

    card = scan_sheet(gray_scale(KNOWN), FLATBED, Lying(1.0), seed=5)
    write_picture(coir / "gray-scale.tif", card.codes, 200.0)
    window.goto(bench.paper("Coir", "read"))
    window.get_by_role("link", name="Calibrate it with a gray scale").click()
    _scanner(window, card.corners(0.0, 0.0, 8.0 * len(KNOWN), 14.0))
    same(window, bench.folder, tmp_path, "Coir/flatbed.scanner.json")
    shot(window, "scanner")

    sheet = print_strip(nominal_tablet("21").densities, ROOM, ROOM.base_time * 1.25, seed=3)
    strip = scan_sheet(sheet, FLATBED, Lying(-1.0, 2), seed=4)
    write_picture(coir / "strip.tif", strip.codes, 200.0)
    window.goto(bench.paper("Coir", "strip"))
    _scanned(window, coir, strip.corners(0.0, 0.0, 105.0, 24.0))
    same(window, bench.folder, tmp_path, "Coir/scanned.process.json")
    shot(window, "strip-scan")

    _tables(window, coir)
    same(window, bench.folder, tmp_path, "Coir/both.process.json")
    _by_eye(window)

    _chart_readings(coir / "inks-readings.csv")
    window.goto(bench.paper("Coir", "inks"))
    window.get_by_text("More", exact=True).click()
    window.get_by_label("Colours of your own").fill("255,0,0; 0, 0,255")
    window.get_by_label("Do not mirror").check()
    window.get_by_role("button", name="Draw a chart of inks").click()
    window.get_by_role("link", name="A blank table").wait_for()
    same(window, bench.folder, tmp_path, *(
        f"Coir/Coir-inks.{ending}" for ending in ("tif", "target.json", "csv")))
    window.get_by_label("Strip of this paper").select_option("scanned.process.json")
    window.get_by_label("Printed for").fill(f"{2.0 * ROOM.base_time:.0f}s")
    window.locator(".same-command code", has_text="--time").wait_for(state="attached")
    window.get_by_role("button", name="Print in this colour").click()
    colour = window.locator(".big-number span").text_content()
    window.get_by_text(f"The setup says {colour} now").wait_for()
    shot(window, "inks")
    assert f'ink_colour = "{colour}"' in (coir / SETUP).read_text(encoding="utf-8")
    window.goto(bench.paper("Coir", "target"))
    assert window.get_by_label("Colour of the ink").input_value() == colour

    window.goto(bench.paper("Coir", "setup"))
    _setup(window, coir)
    shot(window, "setup")
    window.goto(f"{bench.base}/")
    window.get_by_role("cell", name="Made with another lamp.").first.wait_for()


def _scanner(window: Any, corners: Any) -> None:
    """Refused without a scan, then calibrated by corners that are clicked."""
    window.get_by_label("Number of steps").fill(str(len(KNOWN)))
    window.locator(f'[data-cell="{len(KNOWN)},0"]').wait_for(state="detached")
    paste(window, "0,0", "\n".join(f"{d:.2f}".replace(".", ",") for d in KNOWN))
    window.get_by_role("button", name="Calibrate the scanner").click()
    window.locator(FAULT, has_text="no scan is chosen").wait_for()
    window.get_by_label("Scan", exact=True).select_option("gray-scale.tif")
    window.get_by_role("button", name="Set the corners by hand").click()
    window.wait_for_function("document.activeElement.closest('.scan-shown')")
    _click(window, corners[[3, 0, 1, 2]])
    window.get_by_text("Kept as Coir/flatbed.scanner.json").wait_for()


def _scanned(window: Any, coir: Path, corners: Any) -> None:
    """As a strip of another tablet its row is not found, and its corners are asked for."""
    window.get_by_label("Printing time", exact=True).fill(TIME)
    paste(window, "0,0", "\n".join(f"{1.5 - 0.05 * step:.2f}" for step in range(28)))
    window.locator(".chart-drawn").wait_for()
    window.locator(".drop input[type=file]").set_input_files(coir / "strip.tif")  # it is there
    window.locator(".scan-view svg").wait_for()
    window.get_by_text("No curve yet").wait_for()
    assert not window.locator(".chart-drawn").is_visible(), "no older curve beside a refusal"
    window.get_by_label("Step tablet").fill("21")
    window.get_by_label("Scanner", exact=True).select_option(label="flatbed.scanner.json")
    _click(window, corners[[3, 0, 2, 1]])
    window.locator(".big-number", has_text="min").wait_for()
    window.get_by_label("Keep it as").fill("scanned")
    window.get_by_role("button", name="Keep this strip").click()
    window.get_by_text("Kept as Coir/scanned.process.json").wait_for()


def _click(window: Any, corners: Any) -> None:
    """Click places of the scan, and read it with them."""
    picture = window.locator(".scan-view svg")
    picture.wait_for()
    wide = picture.evaluate("svg => svg.viewBox.baseVal.width")
    for number, (x, y) in enumerate(corners, 1):
        scale = picture.bounding_box()["width"] / wide
        picture.click(position={"x": x * scale, "y": y * scale})
        window.locator(".scan-view .mark").nth(number - 1).wait_for()
    window.get_by_role("button", name="Read it with these corners").click()


def _tables(window: Any, coir: Path) -> None:
    """A table of another step is refused as the command refuses it; a strip's fills the grid, and
    a second strip counts with it."""
    (coir / "levels.csv").write_text("level,density\n0,1.5\n1,0.1\n", encoding="utf-8")
    tablet = nominal_tablet("21").density
    for name, stops in (("a", 0.0), ("b", 1.0)):
        dark = ROOM.process_density(ROOM.tablet_exposure(tablet, ROOM.base_time * 2.0**stops))
        rows = (f"{step},{density:.3f},{ROOM.base_time * 2.0**stops:.0f} s"
                for step, density in enumerate(dark, 1))
        (coir / f"{name}.csv").write_text("\n".join(["step,film,time", *rows]), encoding="utf-8")
    window.reload()
    window.get_by_label("Read the strip").select_option("table")
    table = window.get_by_label("Open a table")
    table.select_option("levels.csv")
    window.locator(FAULT, has_text="A strip's file has a column step").wait_for()
    assert table.input_value() == "", "the grid is as it was"
    window.get_by_label("Read the strip").select_option("eye")
    window.locator(".drop input[type=file]").set_input_files(coir / "a.csv")  # it is there
    window.get_by_text("from a.csv, printed").wait_for()
    assert float(window.locator('[data-cell="0,0"]').input_value()) > 1.0
    window.get_by_role("button", name="Add another strip").click()
    window.get_by_label("Strip 2", exact=True).select_option("b.csv")
    window.get_by_text("from a.csv, b.csv").wait_for()
    window.get_by_label("Keep it as").fill("both")
    window.get_by_role("button", name="Keep this strip").click()
    window.get_by_text("Kept as Coir/both.process.json").wait_for()
    assert not (coir / "both-strip.csv").exists(), "a table that nobody changed is read itself"


def _by_eye(window: Any) -> None:
    """Two strips that are counted; what is wrong with a count stands beside it."""
    window.get_by_label("Read the strip").select_option("eye")
    window.get_by_label("Printing time", exact=True).fill("10min")
    first = window.get_by_label("Merged steps", exact=True)
    first.fill("1")
    window.locator(".big-number").wait_for()
    first.fill("two")
    window.locator(FAULT, has_text="The number of merged steps is 'two'").wait_for()
    assert window.locator(".big-number").count() == 0, "no time stands beside a refusal"
    window.get_by_text("There is nothing to keep: note the time.").wait_for()
    assert not window.get_by_role("button", name="Keep this strip").is_visible()
    first.fill("1")
    window.get_by_role("button", name="Add another strip").click()
    window.get_by_label("Printing time of strip 2").fill("15min")
    window.get_by_label("Merged steps of strip 2").fill("2")
    window.get_by_text("15 min: steps 1 to 2 merge").wait_for()
    command = window.locator(".same-command code").text_content()
    assert command == ("tonewright strip --tablet 21 --time 10min --merged 1 --time 15min"
                       " --merged 2")


def _chart_readings(path: Path) -> None:
    inks = ColouredInks(even_ink(2.4), Ink(1.1, flattening, 1.0), even_ink(0.4))
    colours = [parse_colour(c) for c in ("0,0,0", "0,255,255", "255,0,0")]
    read = chart.printed(ROOM, inks, chart.chart_target((1.0, 0.5), colours=colours), 1.0, seed=3,
                         noise=0.005)
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream)
        rows.writerow(("red", "green", "blue", "level", "density"))
        rows.writerows((*(p.colour or (255, 255, 255)), p.level, f"{p.density:.3f}")
                       for p in read.patches)


def _setup(window: Any, coir: Path) -> None:
    """What another program wrote meanwhile is not lost, nor is what was typed."""
    lamp = window.get_by_label("Lamp")
    lamp.fill("tubes")
    window.get_by_role("button", name="Keep this setup").click()
    window.get_by_text("Kept as Coir/setup.toml").wait_for()
    window.goto(window.url.replace("setup", "strip"))
    window.get_by_label("Read the strip").select_option("table")
    window.locator(".big-number", has_text="min").wait_for()
    window.get_by_label("Keep it as").fill("tubes")
    window.get_by_role("button", name="Keep this strip").click()
    window.get_by_text("Kept as Coir/tubes.process.json").wait_for()
    window.goto(window.url.replace("strip", "setup"))
    window.get_by_label("Colour of the ink").fill("black")
    lamp.fill("LED panel")
    window.get_by_role("button", name="Keep this setup").click()
    window.locator(FAULT, has_text="three whole numbers").wait_for()
    window.get_by_label("Colour of the ink").fill("")
    with (coir / SETUP).open("a", encoding="utf-8") as stream:
        stream.write('developer = "citrate"  # mine\n')
    window.get_by_role("button", name="Keep this setup").click()
    window.locator(FAULT, has_text="was changed meanwhile").wait_for()
    window.get_by_role("button", name="Keep this setup").click()
    window.get_by_text("Another lamp: tubes then, LED panel now.").wait_for()
    written = (coir / SETUP).read_text(encoding="utf-8")
    assert 'developer = "citrate"' in written and 'lamp = "LED panel"' in written
    assert any("# mine" in kept.read_text(encoding="utf-8") for kept in coir.glob("setup-*"))

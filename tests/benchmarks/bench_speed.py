"""How quick the bench is, in Chromium: run by hand, on a quiet machine.

    python tests/benchmarks/bench_speed.py

Prints the time from a typed density to the redrawn curve, from a dropped 600 ppi letter scan to its
overlay (against the command), from a 24-megapixel picture to its proof, and from the start to the
first page.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright

from rooms import scan_sheet
from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.target.layout import LayoutSettings
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene

_CHART = ("JSON.stringify(getElement(document.querySelector('.chart-drawn').id.slice(1))"
          ".chart.getOption().series.map(s => [s.name, s.data]))")
CURVE = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"


def typing(page: Any, times: int = 25) -> tuple[list[float], list[float]]:
    """Seconds from a changed density to the line drawn quickly, and to the fit, for a strip of 62
    readings."""
    for step in range(31):
        density = f"{1.5 / (1 + 2.0 ** (step - 12)) + 0.08:.2f}"
        for half in (0, 1):
            page.locator(f'[data-cell="{step},{half}"]').fill(density)
    page.locator(".big-number").wait_for()
    page.wait_for_timeout(1500)
    drawn, fitted = [], []
    for number in range(times):
        page.evaluate(f"window.before = {_CHART}; document.querySelector('.facts').seen = true")
        began = time.perf_counter()
        page.locator(f'[data-cell="{3 + number % 20},0"]').fill(
            f"{1.5 / (1 + 2.0 ** (number % 20 - 9)) + 0.09 + 0.001 * (number // 20):.3f}")
        page.wait_for_function(f"() => {_CHART} !== window.before", polling=5)
        drawn.append(time.perf_counter() - began)
        page.wait_for_function(
            "() => { const f = document.querySelector('.facts'); return f && !f.seen; }",
            polling=5)
        fitted.append(time.perf_counter() - began)
    return drawn, fitted


def main() -> None:
    """Measure, and print."""
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "prints"
        (paper := folder / "Cotton").mkdir(parents=True)
        (paper / "a.curve.json").write_bytes(CURVE.read_bytes())
        drawn = draw_target(paper / "t.tif", TargetRequest(levels=51),
                            LayoutSettings("t", width_mm=215.9, height_mm=279.4, repeats=2))
        room = Darkroom(DEMO_INK, KALLITYPE, printing_time=1400.0)
        sheet = scanroom.print_sheet(read_codes(paper / "t.tif"), drawn.target.ppi, room, seed=1)
        render = scan_sheet(sheet, scanroom.Scanner(ppi=600.0), seed=2)
        write_picture(paper / "t-scan.tif", render.codes, render.ppi)
        write_picture(paper / "big.tif", np.tile(scene(600, 400), (10, 10)), 300.0)
        command = [sys.executable, "-m", "tonewright"]
        began = time.perf_counter()
        subprocess.run([*command, "read", str(paper / "t-scan.tif"), "--target",
                        str(paper / "t.target.json"), "--known", "white=0.09", "--known",
                        "black=1.55", "-o", str(Path(place) / "r.csv"), "--overlay",
                        str(Path(place) / "r.png")], check=True, capture_output=True)
        alone = time.perf_counter() - began
        began = time.perf_counter()
        bench = subprocess.Popen([*command, "bench", str(folder), "--port", "0", "--no-browser"],
                                 stdout=subprocess.PIPE, text=True)
        assert bench.stdout is not None
        address = bench.stdout.readline().strip()
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"),
                                             args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.set_default_timeout(60_000)
        page.goto(address)
        page.get_by_role("heading", name="Papers").wait_for()
        print(f"start to first page, browser's start included: {time.perf_counter() - began:.2f} s")
        base = address.partition("/?")[0]
        page.goto(f"{base}/paper/Cotton/strip")
        page.get_by_label("Printing time").fill("20min")
        for what, took in zip(("line drawn quickly", "fit"), typing(page), strict=True):
            print(f"a typed density to the {what}: median {statistics.median(took):.3f} s, worst"
                  f" {max(took):.3f} s of {len(took)}")
        page.goto(f"{base}/paper/Cotton/read")
        page.get_by_label("What to read").select_option("t-scan.tif")
        page.get_by_label("Density of the bare paper").fill("0.09")
        page.get_by_label("Density of the blackest").fill("1.55")
        began = time.perf_counter()
        page.get_by_role("button", name="Read it", exact=True).click()
        page.locator(".scan-view .patch").first.wait_for()
        here = time.perf_counter() - began
        print(f"600 ppi letter scan to its overlay: {here:.2f} s, the command {alone:.2f} s:"
              f" {here / alone:.2f}")
        page.goto(f"{base}/paper/Cotton/negative")
        began = time.perf_counter()
        page.get_by_label("big.tif").check()
        page.locator(".side-by-side figure:nth-child(2) img").wait_for()
        print(f"24 megapixels to the first proof: {time.perf_counter() - began:.2f} s")
        browser.close()
        bench.send_signal(2)
        bench.wait(10)


if __name__ == "__main__":
    main()

"""The whole job in a browser: by clicks and typing, its files the same as the command line's."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from rooms import scan_sheet
from tonewright.files.documents import read_curve
from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.targets import read_target
from tonewright.scales import lightness_to_density
from tonewright.virtual import darkroom, scanroom
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene
from windows import same, shot

pytestmark = pytest.mark.skipif(os.name != "posix", reason="ended by a signal")
TIME = 1400.0
"""Seconds: about the base printing time of the invented paper."""


class Keys:
    """The page by keyboard alone: Tab until the focus is where it is wanted, and seen there."""

    def __init__(self, page: Any) -> None:
        self.page, self.press = page, page.keyboard.press

    def to(self, role: str, name: str, back: bool = False) -> Any:
        """Go to a control by its role and name."""
        wanted = self.page.get_by_role(role, name=name, exact=True).first
        one = wanted.element_handle()
        for _ in range(60):
            self.press("Shift+Tab" if back else "Tab")
            there = one.evaluate("one => one.isConnected ? one === document.activeElement : null")
            if there is None:  # another has taken its place
                one = wanted.element_handle()
                there = one.evaluate("one => one === document.activeElement")
            if there:
                assert wanted.evaluate("""one => { const box = one.getBoundingClientRect();
                    return one.matches(':focus-visible') && box.bottom > 0 && box.right > 0
                        && box.top < innerHeight; }"""), f"the focus on {name} is not seen"
                return wanted
        raise AssertionError(f"{role} {name} is not reached")

    def do(self, name: str, role: str = "button") -> None:
        """Go to a button or link and press it."""
        self.to(role, name)
        self.press("Enter")

    def type(self, name: str, text: str) -> None:
        """Go to a field and type into it."""
        self.to("textbox", name)
        self.page.keyboard.type(text)

    def go_on(self, step: str) -> None:
        """Follow the link to the next page."""
        self.do(f"Go on: {step}", "link")
        self.page.wait_for_url(f"**/{step.lower()}")

    def drop(self, path: Path) -> None:
        """Choose a file, as the system's own dialogue would."""
        self.page.locator(".drop input[type=file]").wait_for()
        for _ in range(60):
            self.press("Tab")
            chosen = self.page.evaluate_handle("document.activeElement").as_element()
            if chosen.get_attribute("type") == "file":
                chosen.set_input_files(str(path))
                return
        raise AssertionError("no file can be chosen")

    def paste(self, *columns: Any) -> None:
        """Paste from a spreadsheet with decimal commas."""
        rows = zip(*columns, strict=True)
        text = "\n".join("\t".join(f"{v:.3f}".replace(".", ",") for v in row) for row in rows)
        self.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        self.page.evaluate("text => navigator.clipboard.writeText(text)", text)
        self.press("Control+v")


@pytest.mark.usefixtures("chromium")
def test_the_whole_job_from_an_empty_folder_to_a_checked_print_by_keyboard_alone(
    bench: Any, begin: Any, window: Any, tmp_path: Path
) -> None:
    assert not [*bench.folder.iterdir()]
    told, keys = bench.complaints.stat().st_size, Keys(window)
    cotton, room = bench.folder / "Cotton", Darkroom(DEMO_INK, KALLITYPE, printing_time=TIME)

    window.goto(bench.address)
    keys.type("Name of the paper", "Cotton")
    keys.do("Begin with this paper")
    window.wait_for_url("**/strip")
    _strip(keys, room)
    same(window, bench.folder, tmp_path, "Cotton/Cotton.process.json")
    shot(window, "strip")

    keys.go_on("Target")
    keys.do("Keep this target")
    window.get_by_text("The negative, to print on film").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.tif", "Cotton/Cotton.target.json",
         "Cotton/Cotton.csv")
    shot(window, "target")

    scan = _scan(cotton / "Cotton.tif", read_target(cotton / "Cotton.target.json").ppi, room,
                 tmp_path / "scan.tif")
    keys.go_on("Read")
    _read(keys, scan)
    same(window, bench.folder, tmp_path, "Cotton/Cotton-readings.csv",
         "Cotton/Cotton-readings-overlay.png")
    shot(window, "read")

    keys.go_on("Curve")
    window.locator(".big-number").wait_for()
    keys.do("Keep this curve")
    window.get_by_text("Kept as Cotton.curve.json").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.curve.json")
    shot(window, "curve")

    write_picture(tmp_path / "landscape.tif", scene(480, 360), 120.0)
    keys.go_on("Negative")
    keys.drop(tmp_path / "landscape.tif")
    window.get_by_role("checkbox", name="landscape.tif", checked=True).wait_for()
    assert window.get_by_label("Tone scale beside").is_checked(), "the check needs it"
    keys.do("Make the negatives")
    window.get_by_text("Download landscape-negative.tif").wait_for()
    window.locator(".side-by-side img").nth(1).wait_for()
    same(window, bench.folder, tmp_path, "Cotton/landscape-negative.tif",
         "Cotton/landscape-negative.target.json", "Cotton/landscape-negative.csv")
    shot(window, "negative")

    keys.go_on("Check")
    _check(keys, cotton)
    same(window, bench.folder, tmp_path, "Cotton/Cotton.check.json")
    shot(window, "check")

    keys.do("Renew the curve by this strip")
    window.get_by_text("The renewed curve is kept as Cotton-2.curve.json").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton-2.curve.json")
    (cotton / "Cotton-2.curve.json").unlink()

    keys.do("Report", "link")
    window.wait_for_url("**/report")
    keys.do("Make the report")
    window.get_by_text("Open Cotton.html alone").wait_for()
    same(window, bench.folder, tmp_path, "Cotton/Cotton.html")
    shot(window, "report")
    keys.do("Papers", "link")
    window.get_by_role("cell", name="today, passed").wait_for()
    window.get_by_text("All steps are done").wait_for()
    shot(window, "papers")
    _gone(bench, window, begin(bench, "Hessian"))
    assert bench.complaints.read_text(encoding="utf-8")[told:] == ""
    assert not [*bench.folder.rglob(".*")], "nothing hidden is left"
    shutil.rmtree(cotton)


def _gone(bench: Any, window: Any, gone: Path) -> None:
    """A paper whose folder is gone is told of once."""
    window.goto(bench.paper("Hessian", "strip"))
    window.get_by_role("heading", level=1).wait_for()
    gone.rmdir()
    window.get_by_text("The folder of this paper is gone.").wait_for()
    (bench.folder / "Linen").mkdir()
    window.wait_for_timeout(1500)  # it is not looked at any more
    (bench.folder / "Linen").rmdir()


def _strip(keys: Keys, room: Darkroom) -> None:
    """Paste both halves, and keep the process."""
    tablet = [0.1 * step for step in range(31)]
    read = darkroom.measure_strip(room, tablet, TIME, flaws=darkroom.Flaws(noise_density_sd=0.01),
                                  seed=3)
    keys.type("Printing time", f"{TIME:g}s")
    keys.to("textbox", "film of step 1")
    keys.paste(read.density_film, read.density_bare)
    keys.page.locator(".big-number", has_text="min").wait_for()
    keys.to("button", "Go past the table", back=True)
    keys.press("Enter")
    keys.do("Keep this strip")
    keys.page.get_by_text("Kept as Cotton/Cotton.process.json").wait_for()


def _scan(negative: Path, ppi: float, room: Darkroom, path: Path) -> Path:
    """The target printed on a sheet with all its flaws, and scanned."""
    sheet = scanroom.print_sheet(read_codes(negative), ppi, room, scanroom.PaperFlaws(), seed=1)
    render = scan_sheet(sheet, scanroom.Scanner(ppi=150.0),
                        scanroom.Lying(rotation_degrees=1.5), seed=2)
    write_picture(path, render.codes, render.ppi)
    return path


def _read(keys: Keys, scan: Path) -> None:
    """Read the scan, go from patch to patch with the arrow keys, leave one out and take it back."""
    keys.drop(scan)
    keys.page.wait_for_function("name => [...document.querySelectorAll('select')]"
                                ".some(one => one.value === name)", arg=scan.name)
    keys.type("Density of the bare paper, if known", "0,09")
    keys.type("Density of the blackest patch, if known", "1,55")
    keys.do("Read it")
    keys.page.get_by_text("Kept as Cotton/Cotton-readings.csv").wait_for()
    patches = keys.page.locator(".scan-view .patch")
    name = patches.first.get_attribute("aria-label")
    first = keys.to("option", name)
    keys.press("ArrowRight")
    keys.press("ArrowDown")
    there = "one => one === document.activeElement"
    assert not first.evaluate(there)
    for state in ("true", "false"):
        keys.press("Space")
        keys.page.locator(f".patch:focus[aria-checked={state}]").wait_for()
    keys.press("ArrowUp")
    keys.press("ArrowLeft")
    assert first.evaluate(there)
    keys.press("Tab")
    assert patches.evaluate_all("all => !all.includes(document.activeElement)"), "one stop for all"


def _check(keys: Keys, cotton: Path) -> None:
    """Type the tones of a print that is as it should be, and keep the check."""
    curve = read_curve(cotton / "Cotton.curve.json")
    aims = curve.print_lightness_at([float(t) for t in range(0, 101, 10)])
    for _ in range(60):
        keys.press("Tab")
        if "eleven tones" in keys.page.evaluate("document.activeElement.textContent"):
            break
    keys.press("Enter")
    keys.to("textbox", "density of picture L* 0")
    keys.paste(lightness_to_density(aims))
    keys.do("Keep these tones")
    keys.page.get_by_text("Kept as Cotton-print").wait_for()
    keys.page.locator(".big-number", has_text="As promised").wait_for()
    keys.do("Keep this check")
    keys.page.get_by_text("Kept as Cotton.check.json").wait_for()

"""What goes wrong at the bench in a browser: marks not found, a batch stopped, two windows."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rooms import scan_sheet
from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.record.setup import Setup, setup_toml
from tonewright.target.layout import LayoutSettings
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene
from windows import held, read_by_two_densities

pytestmark = [pytest.mark.skipif(os.name != "posix", reason="ended by a signal"),
              pytest.mark.usefixtures("chromium")]
CURVE = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"
SEEN = "color-contrast", "target-size"
"""Rules of what the width of the window and the safelight change."""
PAGES = ("strip", "target", "read", "curve", "negative", "check", "report", "scanner", "inks",
         "setup")
MANY = 24
"""Pictures that no machine has done before they are stopped."""
HOSTILE = "<img src=x onerror=alert(1)>"


def test_marks_that_are_not_found_are_set_by_clicks(bench: Any, begin: Any, window: Any) -> None:
    paper = begin(bench, "Ramie")
    drawn = draw_target(paper / "small.tif", TargetRequest(levels=11),
                        LayoutSettings("small", width_mm=101.6, height_mm=127.0))
    room = Darkroom(DEMO_INK, KALLITYPE, printing_time=1400.0)
    sheet = scanroom.print_sheet(read_codes(paper / "small.tif"), drawn.target.ppi, room, seed=1)
    render = scan_sheet(sheet, scanroom.Scanner(ppi=120.0), seed=2)
    places = []
    codes = render.codes.copy()
    for mark in drawn.target.marks:
        x, y, w = render.matrix @ (mark.x_mm, mark.y_mm, 1.0)
        places.append((x / w, y / w))
        column, row, reach = round(x / w), round(y / w), 22
        codes[row - reach:row + reach, column - reach:column + reach] = codes[5, 5]  # torn off
    write_picture(paper / "torn-scan.tif", codes, render.ppi)

    window.goto(bench.paper("Ramie", "read"))
    read_by_two_densities(window, "torn-scan.tif")
    picture = window.locator(".scan-view svg")
    picture.wait_for()
    box = picture.bounding_box()
    for x, y in places:
        picture.click(position={"x": x * box["width"] / codes.shape[1],
                                "y": y * box["height"] / codes.shape[0]})
        picture.scroll_into_view_if_needed()
    window.locator(".scan-view .mark").nth(3).press("ArrowRight")
    window.get_by_role("button", name="Read it with these marks").click()
    window.get_by_text("Kept as Ramie/small-readings.csv").wait_for()
    window.get_by_text("marks given by hand").wait_for()
    patch = window.locator(".scan-view .patch").first
    patch.press("Enter")
    window.locator(".scan-view .patch[aria-checked=true]").wait_for()
    assert not _faults(window, "patches")


def test_a_batch_is_stopped_half_way_and_leaves_no_half_file(
    bench: Any, begin: Any, window: Any
) -> None:
    paper = begin(bench, "Hemp")
    (paper / "cotton.curve.json").write_bytes(CURVE.read_bytes())
    codes = np.tile(scene(500, 400), (5, 8))
    write_picture(paper / "picture-00.tif", codes, 300.0)
    for number in range(1, MANY):  # so large together that a second process helps
        (paper / f"picture-{number:02d}.tif").hardlink_to(paper / "picture-00.tif")
    window.goto(bench.paper("Hemp", "negative"))
    names = [f"picture-{number:02d}" for number in range(MANY)]
    _tick(window, *names)
    window.get_by_label("Tone scale").uncheck()
    window.get_by_role("button", name="Make the negatives").click()
    _until(lambda: [*(paper / "negatives").glob("picture-*.tif")], 60.0)
    with held(bench.process.pid):  # however quick the machine is
        window.get_by_role("button", name="Stop").click()
    said = window.get_by_text("Stopped.")
    said.wait_for()
    made = [*(paper / "negatives").glob("picture-*.tif")]
    assert 1 <= len(made) < MANY
    assert f"{len(made)} negative{'s' * (len(made) > 1)} of {MANY} had been" in said.text_content()
    lines = window.locator(".lines li").all_text_contents()
    ticked = _ticked(window)
    for name, line in zip(names, lines, strict=True):
        done = paper / "negatives" / f"{name}-negative.tif" in made
        assert (f"Download {name}-negative.tif" if done else "not made") in line
        assert (f"{name}.tif" in ticked) != done
    assert all(path.stat().st_size > codes.size * 2 for path in made)
    _until(lambda: not [*paper.rglob(".*")], 60.0)
    last = names[-1]
    _tick(window, last)  # the page goes on
    window.get_by_role("button", name="Make the negatives").click()
    window.get_by_text(f"Download {last}-negative.tif").wait_for()


def test_two_windows_and_a_shell_lose_no_file(
    bench: Any, begin: Any, window: Any
) -> None:
    paper = begin(bench, "Raffia")
    (paper / "a.curve.json").write_bytes(CURVE.read_bytes())
    other = window.context.new_page()
    for page in (window, other):
        page.goto(bench.paper("Raffia", "report"))
    for page in (window, other):
        page.get_by_label("Keep it as").fill("same")
        page.get_by_role("button", name="Make the report").click()
    answers = [page.locator("a:has-text('alone, to print it'), .field-error:has-text('already')")
               for page in (window, other)]
    for answer in answers:
        answer.first.wait_for()
    refused = [page for page, answer in zip((window, other), answers, strict=True)
               if "already" in answer.first.text_content()]
    for page in refused:  # both asked for one name at one moment: the second is told, and asks anew
        page.get_by_role("button", name="Make the report").click()
        page.get_by_text("alone, to print it").wait_for()
    assert sorted(p.name for p in paper.glob("*.html")) == ["same-2.html", "same.html"]
    window.goto(f"{bench.base}/")
    window.get_by_role("heading", name="Raffia").wait_for()
    linen = begin(bench, "Linen")
    began = time.monotonic()
    (linen / "linen.curve.json").write_bytes(CURVE.read_bytes())
    window.get_by_role("heading", name="Linen").wait_for()
    assert time.monotonic() - began < 15.0, "within two seconds, and more on a busy machine"


def test_every_page_holds_the_rules_of_accessibility_and_takes_names_for_texts(
    bench: Any, begin: Any, window: Any
) -> None:
    paper = begin(bench, "Wool &lt;b&gt;bold")
    (paper / "setup.toml").write_text(setup_toml(Setup(paper=HOSTILE)), encoding="utf-8")
    document = CURVE.read_text(encoding="utf-8").replace('"name": "kallitype"',
                                                         f'"name": "{HOSTILE}"', 1)
    (paper / "x.curve.json").write_text(document, encoding="utf-8")
    window.goto(f"{bench.base}/")
    window.get_by_text(HOSTILE).first.wait_for()
    faults = _faults(window, "papers")
    for step in PAGES:
        window.set_viewport_size({"width": 1280, "height": 800})
        window.goto(bench.paper("Wool%20&lt;b&gt;bold", step))
        window.get_by_role("heading", level=1).wait_for()
        window.wait_for_timeout(300)
        assert window.locator("b").count() == 0
        faults += _faults(window, step)
        window.set_viewport_size({"width": 820, "height": 1180})
        assert window.evaluate("document.documentElement.scrollWidth <= innerWidth"), step
        window.evaluate("document.body.classList.add('safelight')")
        faults += _faults(window, f"{step} under the safelight", *SEEN)
    assert not faults


def test_a_strip_is_typed_by_keyboard_alone(bench: Any, begin: Any, window: Any) -> None:
    begin(bench, "Flax")
    window.goto(bench.paper("Flax", "strip"))
    window.get_by_label("Step tablet").focus()
    window.keyboard.press("Tab")
    window.keyboard.type("10min")
    for _ in range(4):  # how it is read, a table to go on with, and the way past the grid
        window.keyboard.press("Tab")
    for step in range(15):  # each is worked out and drawn
        window.keyboard.type(f"{1.5 / (1 + 2.0 ** (step - 7)) + 0.08:.2f}".replace(".", ","))
        window.keyboard.press("ArrowDown")
    window.locator(".big-number", has_text="min").wait_for()
    window.keyboard.type("nonsense")  # into the next step
    window.get_by_text("nonsense").first.wait_for()
    assert window.get_by_label("Printing time").input_value() == "10min", "what was typed stays"


def _faults(page: Any, name: str, *rules: str) -> list[str]:
    """Of these rules, or of all."""
    asked = {"resultTypes": ["violations"], "selectors": False, "preload": False,
             **({"runOnly": rules} if rules else {})}
    if not page.evaluate("'axe' in window"):  # half a megabyte, once for a page
        axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
        page.evaluate(axe.axe_script)
    found = page.evaluate("asked => axe.run(asked).then(found => found.violations)", asked)
    return [f"{name}: {v['id']}: {v['nodes'][0]['html'][:200]}" for v in found
            if v["impact"] in ("serious", "critical")]


def _tick(page: Any, *names: str) -> None:
    """Tick these pictures and no others, by one call for all of them."""
    page.locator(".ticks label").last.wait_for()
    page.locator(".ticks label").evaluate_all("""(all, names) => { for (const one of all) {
        const box = one.querySelector('input');
        if (box.checked !== names.includes(one.textContent.trim())) box.click();
    } }""", [f"{name}.tif" for name in names])
    _until(lambda: _ticked(page) == {f"{name}.tif" for name in names})


def _ticked(page: Any) -> set[str]:
    return {*page.locator(".ticks label:has(:checked)").all_text_contents()}


def _until(holds: Callable[[], bool], seconds: float = 15.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.02)

"""What single pages of the bench ask for, show and refuse."""

from __future__ import annotations

import csv
import os
import shutil
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.target.layout import LayoutSettings
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene
from windows import held, paste, same, shot

pytestmark = [pytest.mark.skipif(os.name != "posix", reason="ended by a signal"),
              pytest.mark.usefixtures("chromium")]
CURVES = Path(__file__).parents[2] / "curves"
GRAY_SCALE = tuple(round(0.08 + 0.13 * step, 2) for step in range(12))
Corners = tuple[tuple[float, float], ...]


def faults(page: Any) -> dict[str, str]:
    """What is refused, by the label of the field it stands beside; "" for none."""
    found: list[list[str]] = page.locator(".field-error:not(:empty)").evaluate_all(
        "all => all.map(e => [e.closest('.field')?.querySelector('label').textContent ?? '',"
        " e.textContent])")
    return dict(found)


def refused(page: Any, label: str, words: str) -> None:
    """This is said beside that field, and nothing elsewhere."""
    end = time.monotonic() + 60.0
    while [*(found := faults(page))] != [label] or words not in found[label]:
        assert time.monotonic() < end, found  # while it is looked at again, nothing is said
        page.wait_for_timeout(50)


def on_glass(folder: Path) -> tuple[Path, Corners]:
    """A target beside a gray scale in a holder with a pattern, in which it is not found, with a
    plain sheet; and the corners of the gray scale, clockwise from the top left."""
    drawn = draw_target(folder / "small.tif", TargetRequest(levels=11),
                        LayoutSettings("small", width_mm=101.6, height_mm=127.0))
    room, scanner = Darkroom(DEMO_INK, KALLITYPE, printing_time=1400.0), scanroom.Scanner(ppi=150.0)
    sheet = scanroom.print_sheet(read_codes(folder / "small.tif"), drawn.target.ppi, room, seed=1)
    size = (130.0, 180.0)
    codes, (_, scale) = scanroom.scan_glass([
        scanroom.OnGlass(sheet, (8.0, 35.0)),
        scanroom.OnGlass(scanroom.gray_scale(GRAY_SCALE), (8.0, 6.0))], size, scanner, seed=2)
    ends = [scale @ (x, y, 1.0) for x, y in (
        (0.0, 0.0), (8.0 * len(GRAY_SCALE), 0.0), (8.0 * len(GRAY_SCALE), 14.0), (0.0, 14.0))]
    corners = tuple((float(x / w), float(y / w)) for x, y, w in ends)
    (left, top), _, (right, foot), _ = ((round(x), round(y)) for x, y in corners)
    inside = codes[top:foot, left:right].copy()
    around = codes[top - 20:foot + 20, left - 20:right + 20]
    around[:] = np.where(np.arange(around.shape[1]) // 5 % 2, 60_000, 2_000)
    codes[top:foot, left:right] = inside
    write_picture(folder / "scan.tif", codes, scanner.ppi)
    plain, _ = scanroom.scan_glass(
        [scanroom.OnGlass(scanroom.plain_sheet(size, seed=1), (0.0, 0.0))], size, scanner, seed=2)
    write_picture(folder / "plain.tif", plain, scanner.ppi)
    (folder / "gray.csv").write_text("density\n" + "\n".join(map(str, GRAY_SCALE)),
                                     encoding="utf-8")
    return folder / "scan.tif", corners


def test_a_gray_scale_beside_the_print_is_read_where_it_is_clicked(
    bench: Any, begin: Any, window: Any, tmp_path: Path
) -> None:
    paper = begin(bench, "Sisal")
    scan, corners = on_glass(paper)
    window.goto(bench.paper("Sisal", "read"))
    window.get_by_role("button", name="Read it", exact=True).click()
    refused(window, "What to read", "There is nothing to read yet")
    window.wait_for_function("""() => {
        const seen = document.querySelector('.field-error:not(:empty)').getBoundingClientRect();
        return seen.top >= 0 && seen.bottom < innerHeight;
    }""")
    window.get_by_label("What to read").select_option("scan.tif")
    window.get_by_role("button", name="Read it", exact=True).click()
    refused(window, "Scanner", "or lay the gray scale beside the print in the same scan")
    drop = window.locator("input[type=file]")
    drop.set_input_files(paper / "gray.csv")  # it is there: taken as it is
    window.get_by_text("gray.csv was chosen below, under Gray scale beside the print").wait_for()
    drop.set_input_files(paper / "small.target.json")
    window.get_by_text("small.target.json was chosen below, under Target").wait_for()
    assert not faults(window)
    assert window.get_by_label("What to read").input_value() == "scan.tif"
    drop.set_input_files(paper / "plain.tif")  # which could be the next scan
    window.get_by_text("scan.tif is still the scan to read.").wait_for()
    assert window.get_by_label("What to read").input_value() == "scan.tif"
    window.get_by_role("button", name="The plain white sheet", exact=True).click()
    window.get_by_text("plain.tif was chosen below, under Scan of a plain white").wait_for()
    window.get_by_role("button", name="Read it", exact=True).click()
    window.get_by_text("Click the top left corner of the gray scale").wait_for()
    refused(window, "Gray scale beside the print", "The gray scale beside the print")
    assert window.get_by_label("Scan of a plain white sheet").input_value() == "plain.tif"
    picture, size = window.locator(".scan-view svg"), read_codes(scan).shape
    box = picture.bounding_box()
    for x, y in corners[2:] + corners[:2]:  # from its wrong end
        picture.click(position={"x": x * box["width"] / size[1], "y": y * box["height"] / size[0]})
    window.get_by_role("button", name="Read it with these corners").click()
    refused(window, "Gray scale beside the print", "Step 1 is at the light end")
    window.get_by_role("button", name="Read the gray scale from its other end").click()
    window.get_by_text("Kept as Sisal/small-readings.csv").wait_for()
    assert not faults(window)
    shot(window, "read-beside")
    same(window, bench.folder, tmp_path, "Sisal/small-readings.csv",
         "Sisal/small-readings-overlay.png")
    assert "--gray-scale-corners" in window.locator(".same-command code").last.text_content()
    _pasted(window, paper)
    same(window, bench.folder, tmp_path, "Sisal/small-readings-2.csv")

    write_picture(paper / "picture.tif", scene(300, 200), 150.0)
    window.goto(bench.paper("Sisal", "negative"))
    assert window.locator(".field-choice").all_text_contents()[0] == "picture.tif"
    assert "scan.tif" not in window.locator(".page").text_content()
    assert "overlay" not in window.locator(".page").text_content()


def _pasted(window: Any, folder: Path) -> None:
    """A list as an instrument gives it; what is refused keeps nothing, and stays to be mended."""
    window.get_by_text("Or paste an instrument's list").click()
    area = window.get_by_label("The list, as text")
    press = window.get_by_role("button", name="Keep this list, and read it")
    press.click()
    refused(window, "The list, as text", "Nothing is pasted")
    area.fill("nonsense")
    press.click()
    refused(window, "The list, as text", "no rows")
    assert area.input_value() == "nonsense"
    assert not [*folder.glob("*-list*")]
    lines = [line for line in (folder / "small-readings.csv").read_text(encoding="utf-8").split(
        "\n") if not line.startswith("#")]
    rows = [*csv.DictReader(lines)]
    text = "patch\tdensity\n" + "\n".join(
        f"{row['patch']}\t{row['density'].replace('.', ',')}" for row in rows)
    area.fill(text)
    press.click()
    window.get_by_text("Kept as Sisal/small-readings-2.csv").wait_for()
    assert (folder / "Sisal-list.csv").read_text(encoding="utf-8") == text
    assert area.input_value() == ""


def test_doubts_of_scan_and_fit_stand_in_one_list(
    bench: Any, begin: Any, window: Any, tmp_path: Path
) -> None:
    paper = begin(bench, "Kapok")
    rows = [*csv.DictReader(line for line in (CURVES / "kallitype-target.csv").read_text(
        encoding="utf-8").splitlines() if not line.startswith("#"))]
    # each level once: an outlier is named, and counts
    once = {row["level"]: row for row in rows if not row["doubt"]}
    spoilt, off, fine = [*once.values()][4], [*once.values()][12], [*once.values()][8]
    off["density"] = f"{float(off['density']) + 0.15:.3f}"
    with (paper / "mine.csv").open("w", encoding="utf-8") as stream:
        out = csv.DictWriter(stream, ["patch", "level", "density", "doubt"], extrasaction="ignore")
        out.writeheader()
        out.writerows({**row, "doubt": "patch_spoilt" if row is spoilt else ""}
                      for row in once.values())
    window.goto(bench.paper("Kapok", "curve"))
    named = window.get_by_role("checkbox", name="leave out")
    window.get_by_label(f"leave out {spoilt['patch']}:").wait_for()
    labels = window.locator(".field-choice", has_text="leave out").all_text_contents()
    assert len(labels) == 2
    assert any("in the scan a scratch or stain" in label for label in labels)
    assert any("higher than its neighbours suggest" in label for label in labels)
    assert "no patch" not in window.locator(".page").text_content()
    window.get_by_label(f"leave out {off['patch']}:").check()
    window.locator("dd", has_text=off["patch"]).wait_for()  # the fact of what is left out
    _click_point(window, fine)
    window.get_by_label(f"leave out {fine['patch']}:").wait_for()
    assert window.get_by_label(f"leave out {fine['patch']}:").is_checked()
    window.get_by_role("button", name="Keep this curve").click()
    window.get_by_text("Kept as Kapok.curve.json").wait_for()
    same(window, bench.folder, tmp_path, "Kapok/Kapok.curve.json")
    assert named.count() == 3
    window.get_by_label(f"leave out {fine['patch']}:").uncheck()  # brought back
    window.get_by_label(f"leave out {fine['patch']}:").wait_for(state="detached")
    assert window.get_by_role("link", name="Go on: ").count() == 1
    shot(window, "doubts")


def _click_point(window: Any, patch: dict[str, str]) -> None:
    """A click on the point of a patch in the picture."""
    chart = window.locator(".chart-drawn").first
    chart.scroll_into_view_if_needed()
    lightness = 116.0 * (10.0 ** -float(patch["density"])) ** (1.0 / 3.0) - 16.0
    x, y = chart.evaluate("""(e, at) => getElement(Number(e.id.slice(1))).chart.convertToPixel(
        {xAxisIndex: 0, yAxisIndex: 0}, at)""", [100.0 * float(patch["level"]), lightness])
    chart.click(position={"x": x, "y": y})


def test_what_is_refused_stands_beside_its_field_and_the_rest_stays(
    bench: Any, begin: Any, window: Any, tmp_path: Path
) -> None:
    folder = begin(bench, "Abaca")
    for name in ("kallitype.curve.json", "kallitype.process.json", "kallitype-target.csv"):
        shutil.copy(CURVES / name, folder)
    write_picture(folder / "picture.tif", scene(480, 360), 120.0)
    Image.fromarray(scene(480, 360)).save(folder / "sizeless.png")
    (folder / "a-print.csv").write_text("image_lightness,density\n0,1.5\n30,1\n50,0.6\n100,0.1\n",
                                        encoding="utf-8")

    window.goto(bench.paper("Abaca", "target"))
    window.locator(".sheet-shown img").wait_for()
    tried(window, "Ink levels", ["2", "many", "900"], ["between 3", "whole number", None])
    refused(window, "Film sheet", "holds")
    _stands_while_another_field_is_typed_into(window)
    with held(bench.process.pid):
        window.get_by_label("Ink levels").fill("21")
        window.get_by_label("Keep it as").fill("a/../b")
        refused(window, "Keep it as", "leads out of the folder")
    window.wait_for_timeout(500)  # what is found of the levels comes too late
    refused(window, "Keep it as", "leads out of the folder")

    window.goto(bench.paper("Abaca", "strip"))
    light = "\n".join(f"{0.2 - 0.005 * step:.3f}" for step in range(31))
    window.locator(".caution").wait_for()  # it says how a strip is exposed
    paste(window, "0,0", light)
    refused(window, "Printing time", "no printing time is known")
    assert window.locator(".caution").count() == 0
    window.get_by_label("Printing time").fill("10 min")
    refused(window, "", "The typed strip: densities run only from 0.20 to 0.05")
    window.locator(".caution", has_text="wear eye protection").wait_for()
    assert window.locator(".big-number").count() == 0

    window.goto(bench.paper("Abaca", "curve"))
    window.locator(".big-number").wait_for()
    tried(window, "The target was printed for", ["soon", "0s", "300h"],
          ["not a time", "longer than 0", "times apart"])
    window.get_by_label("Strip", exact=True).select_option("")
    window.get_by_label("The target was printed for").fill("10min")
    refused(window, "Strip", "process response")
    window.get_by_label("Keep it as").fill("kallitype")
    window.get_by_role("button", name="Keep this curve").click()
    refused(window, "Keep it as", "Keep it as kallitype-2")

    window.goto(bench.paper("Abaca", "negative"))
    window.get_by_label("picture.tif").check()
    window.locator(".side-by-side img").nth(1).wait_for()
    tried(window, "Width on the film", ["20", "30mm"], ["number with its unit", None])
    refused(window, "Tone scale beside the picture", "runs along half of it")
    window.get_by_label("Width on the film").fill("")
    tried(window, "Pixels to the inch", ["5", ""], ["from 10 to 10000", None])
    tried(window, "Width of the border", ["400mm", "2mm", ""], ["between 0 and 300", "10 mm", None])
    tried(window, "Lay all negatives on one film", ["postcard", "70mm", ""],
          ["width of a roll", "takes negatives of", None])
    _turned(window)
    shutil.copy(folder / "picture.tif", folder / "later.tif")
    window.get_by_label("later.tif").wait_for()
    assert window.get_by_label("picture.tif").is_checked()
    same(window, bench.folder, tmp_path, *(
        f"Abaca/picture-negative.{ending}" for ending in ("tif", "target.json", "csv")))
    window.get_by_label("picture.tif").uncheck()
    window.get_by_label("sizeless.png").check()
    refused(window, "Width on the film", "size")
    window.get_by_label("sizeless.png").uncheck()
    window.locator(".field-error:not(:empty)").wait_for(state="detached")
    window.get_by_role("button", name="Make the negatives").click()
    refused(window, "", "No picture is chosen")
    window.locator("input[type=file]").set_input_files(folder / "a-print.csv")
    window.get_by_text("a-print.csv was not taken").wait_for()

    window.goto(bench.paper("Abaca", "check"))
    window.get_by_label("a-print.csv").wait_for()
    assert window.locator(".field-choice").count() == 1, "the target's own readings are no print's"
    window.locator(".big-number").wait_for()
    window.get_by_label("Date of the print").fill("yesterday")
    refused(window, "Date of the print", "A date is a year")
    assert window.locator(".big-number").count() == 0, "no verdict stands beside a refusal"

    window.goto(bench.paper("Abaca", "report"))
    window.get_by_label("Keep it as").fill("con")
    window.get_by_role("button", name="Make the report").click()
    refused(window, "Keep it as", "Windows")
    _follows_the_folder(window, folder)

    assert window.goto(bench.paper("Abaca", "nonsense")).status == 404
    window.get_by_role("heading", name="No such page").wait_for()
    window.get_by_role("link", name="See all papers").click()
    window.wait_for_url(f"{bench.base}/")
    gone = window.goto(f"{bench.base}/files/Abaca/nothing.tif")
    assert (gone.status, gone.text()) == (404, "There is no such file.")


def _stands_while_another_field_is_typed_into(window: Any) -> None:
    window.evaluate("""() => {
        window.blinks = 0;
        new MutationObserver(() => window.blinks++).observe(
            document.querySelector('.field-error:not(:empty)'),
            {childList: true, characterData: true, subtree: true});
    }""")
    for name in ("one", "another"):
        window.get_by_label("Keep it as").fill(name)
        window.wait_for_timeout(500)
    assert window.evaluate("window.blinks") == 0


def _turned(window: Any) -> None:
    """A negative with what few prints need; what is refused of it is unfolded."""
    window.get_by_text("More", exact=True).click()
    tried(window, "Height on the film", ["20"], ["number with its unit"])
    window.get_by_text("More", exact=True).click()
    window.get_by_role("button", name="Make the negatives").click()
    window.get_by_label("Height on the film").fill("100mm")
    window.get_by_label("Turn the picture clockwise").select_option("90")
    window.get_by_label("Bits of a value").select_option("8")
    window.get_by_label("Do not mirror").check()
    window.get_by_role("button", name="Make the negatives").click()
    window.get_by_text("Download picture-negative.tif").wait_for()
    window.get_by_label("Height on the film").fill("")


def _follows_the_folder(window: Any, folder: Path) -> None:
    """A curve that comes from a shell is listed; what is chosen and typed stays, though it goes."""
    chosen = window.get_by_label("Curve", exact=True).input_value()
    shutil.copy(CURVES / "kallitype.curve.json", folder / "later.curve.json")
    window.locator("option", has_text="later.curve.json").wait_for(state="attached")
    assert window.get_by_label("Curve", exact=True).input_value() == chosen
    assert window.get_by_label("Keep it as").input_value() == "con"
    (folder / chosen).unlink()
    window.locator("option", has_text=f"{chosen} (gone)").wait_for(state="attached")
    assert window.get_by_label("Curve", exact=True).input_value() == chosen


def tried(page: Any, label: str, values: list[str], words: list[str | None]) -> None:
    """Values typed one after the other, and what is said beside the field; None: not looked at."""
    for value, said in zip(values, words, strict=True):
        page.get_by_label(label, exact=True).fill(value)
        if said is not None:
            refused(page, label, said)
        assert page.get_by_label(label, exact=True).input_value() == value, "it stays"

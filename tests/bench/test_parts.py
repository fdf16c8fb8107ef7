"""The parts of the bench's pages in a browser: typed into, pasted into, dragged, seen in red."""

from __future__ import annotations

import io
import os
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tonewright.files.documents import read_curve
from tonewright.files.raster.pictures import write_picture
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.show.charts import curve_charts
from tonewright.target.layout import LayoutSettings
from tonewright.virtual.scene import scene
from windows import paste, read_by_two_densities

pytestmark = [pytest.mark.skipif(os.name != "posix", reason="ended by a signal"),
              pytest.mark.usefixtures("chromium")]
TABLET = [f"{1.5 / (1 + 2.0 ** (step - 12)) + 0.08:.2f}".replace(".", ",") for step in range(31)]
CURVE = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"
NUMBERS = count(1)


@pytest.fixture
def strip(bench: Any, begin: Any, window: Any) -> Any:
    """The page of a paper's strip."""
    name = f"Paper-{next(NUMBERS)}"
    begin(bench, name)
    window.goto(bench.paper(name, "strip"))
    window.locator("[data-cell='0,0']").wait_for()
    return window


def test_a_column_is_pasted_as_typed_and_what_has_no_place_is_told(strip: Any) -> None:
    cells = strip.locator("[data-cell$=',0']")
    cells.first.fill("0,07")
    paste(strip, "0,0", "\r\n".join(TABLET) + "\r\n")
    assert cells.evaluate_all("all => all.map(one => one.value)") == TABLET
    strip.keyboard.press("Control+z")  # what was typed before is not lost
    assert cells.evaluate_all("all => all.map(one => one.value)") == ["0,07", *[""] * 30]
    paste(strip, "29,1", "0,1\t0,2\n0,3\n0,4")
    assert strip.locator("[data-cell='30,1']").input_value() == "0,3"
    strip.get_by_text("2 values lie beyond the table and do not count.").wait_for()
    _a_whole_file_is_read_as_a_table(strip)
    _what_is_pasted_while_the_rows_change_is_kept(strip)
    _left_out_by_the_keys(strip)
    _a_file_dropped_anywhere_leaves_the_page_open(strip)
    _a_fault_is_said_and_the_page_goes_on(strip)


def _values(strip: Any) -> list[str]:
    """What stands in the cells, row by row."""
    found: list[str] = strip.locator("[data-cell]").evaluate_all("all => all.map(e => e.value)")
    return found


def _a_whole_file_is_read_as_a_table(strip: Any) -> None:
    """Or it is refused beside the grid, which stays as it was."""
    before = _values(strip)
    for text, said in (("patch,level,density\nA1,0,1.5\nA2,1,0.1", "the columns patch, level"),
                       ("My notes\non this strip", "the columns My notes"),
                       ("1,5\nn/a\n1,4", "Nothing was pasted: n/a is not a number.")):
        paste(strip, "0,0", text)
        strip.locator(".field-error", has_text=said).wait_for()
        assert _values(strip) == before
    paste(strip, "0,0", "1,5\n1,4", "1,5\n1,3", "My notes\nagain")
    strip.wait_for_timeout(300)  # what else is wrong with the strip does not take it away
    for said in ("the columns My notes", "no printing time is known"):
        strip.locator(".field-error", has_text=said).wait_for()
    before = _values(strip)
    rows = "\n".join(f"{n};{d};{d}" for n, d in enumerate(TABLET, 1))
    for text in (f"# made up\nstep;bare;film\n{rows}", rows.replace(";", "\t")):
        paste(strip, "4,1", text)
        strip.wait_for_function("document.querySelector('[data-cell=\"0,0\"]').value === '1.58'")
        assert _values(strip) == [d.replace(",", ".") for d in TABLET for _ in range(2)]
        strip.locator("[data-cell='4,1']").press("Control+z")
        assert _values(strip) == before
    paste(strip, "0,0", "Density\n1,5\n1,4")
    strip.get_by_text("The heading Density was left off.").wait_for()
    assert _values(strip)[:4:2] == ["1,5", "1,4"]
    strip.keyboard.press("Control+z")


def _what_is_pasted_while_the_rows_change_is_kept(strip: Any) -> None:
    """Before the server has heard of the other tablet, or answered."""
    fill = """([tablet, text]) => {
        const field = document.getElementById([...document.querySelectorAll('label')].find(
            one => one.textContent === 'Step tablet').htmlFor);
        field.value = tablet;
        field.dispatchEvent(new Event('input'));
        const data = new DataTransfer();
        data.setData('text', text);
        document.querySelector('[data-cell="0,0"]').dispatchEvent(new ClipboardEvent('paste',
            {clipboardData: data, bubbles: true, cancelable: true})); }"""
    for rows in (21, 31):
        strip.evaluate(fill, [str(rows), "\n".join(TABLET[:rows])])
        strip.wait_for_function("n => document.querySelectorAll('[data-cell]').length === 2 * n",
                                arg=rows)
        strip.wait_for_timeout(150)  # what the server says of it has come
        assert _values(strip)[::2] == TABLET[:rows]
    assert strip.locator(".density-grid-told").text_content() == ""


def _left_out_by_the_keys(strip: Any) -> None:
    """And wherever the focus is, it is seen."""
    strip.get_by_text("↓ 18 more below").wait_for()
    strip.get_by_role("button", name="Add another strip").focus()
    for key, there in (("Shift+Tab", "Go back past the table"), ("Enter", "Go past the table")):
        strip.keyboard.press(key)
        assert strip.evaluate("document.activeElement.textContent") == there
    strip.keyboard.press("Shift+Tab")
    assert strip.get_by_label("Open a table").evaluate("e => e === document.activeElement")
    strip.locator("[data-cell='6,1']").focus()
    strip.keyboard.press("Tab")
    strip.keyboard.press("Space")
    assert strip.get_by_label("leave out step 7", exact=True).is_checked()
    for name in ("leave out step 7", "Printing time", "bare of step 3", "Step tablet"):
        part = strip.get_by_label(name, exact=True)
        part.focus()
        assert part.evaluate("e => parseFloat(getComputedStyle(e).outlineWidth)") >= 2, name
    strip.keyboard.press("Shift+Tab")
    assert strip.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)") >= 2


def _a_file_dropped_anywhere_leaves_the_page_open(strip: Any) -> None:
    here = strip.url
    for step, said in (("target", "This page takes no files"),
                       ("strip", "inside the dashed frame")):
        strip.goto(here.replace("strip", step))
        strip.get_by_role("heading", level=1).wait_for()
        assert strip.evaluate("""() => { const data = new DataTransfer();
            data.items.add(new File(['x'], 'scan.tif'));
            return ['dragover', 'drop'].map(kind => document.querySelector('h1').dispatchEvent(
                new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}))); }""",
        ) == [False, False], "the browser is kept from opening it"
        strip.get_by_role("alert").filter(has_text=said).wait_for()
    strip.get_by_role("button", name="Close", exact=True).click()
    strip.locator("[data-cell='0,0']").wait_for()


def _a_fault_is_said_and_the_page_goes_on(strip: Any) -> None:
    fault = strip.get_by_role("alert").filter(has_text="KeyError: 'edition'")
    assert fault.count() == 0
    strip.evaluate("""() => getElement(Number(document.querySelector('.density-grid').id.slice(1)))
        .$emit('changed', {})""")
    fault.get_by_text("what you typed is still here").wait_for()
    strip.get_by_role("button", name="Close", exact=True).click()
    fault.wait_for(state="hidden")
    paste(strip, "0,0", "\n".join(f"{density}\t" for density in TABLET))
    strip.get_by_label("Printing time").fill("10 min")
    strip.locator(".big-number", has_text="min").wait_for()
    strip.locator("[data-cell='4,0']").fill("1,6")
    strip.wait_for_timeout(100)  # it is being worked out
    strip.locator("[data-cell='4,0']").fill("dark")
    strip.locator(".field-error", has_text="line 5: density is 'dark'").wait_for()
    strip.wait_for_timeout(1000)  # and comes too late
    assert strip.locator(".big-number").count() == 0
    strip.locator("[data-cell='4,0']").fill(TABLET[4])
    _a_point_is_left_out_by_the_keys(strip)


def _a_point_is_left_out_by_the_keys(strip: Any) -> None:
    strip.get_by_role("application").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "Enter"):
        strip.keyboard.press(key)
    strip.get_by_label("leave out step 31", exact=True).and_(strip.locator(":checked")).wait_for()


def test_the_legend_shows_a_line_as_it_is_drawn() -> None:
    drawn = curve_charts(read_curve(CURVE))[1]
    assert {one["name"]: one.get("icon") for one in drawn["legend"]["data"]} == {
        "how sure, 95 times in 100": "rect", "ink to print": None,  # None: the series' own
        "aim: lightness of the print": None}
    lines = [one for one in drawn["series"] if one["type"] == "line"]
    assert [one["lineStyle"]["type"] for one in lines] == ["solid", "dashed"]
    assert [one["itemStyle"]["opacity"] for one in lines] == [0, 0], "no point stands on it"


def test_under_the_safelight_only_red_leaves_the_screen(strip: Any) -> None:
    strip.get_by_label("Printing time").fill("10 min")
    paste(strip, "0,0", "\n".join(TABLET))
    strip.locator(".big-number", has_text="min").wait_for()
    strip.locator(".chart-drawn canvas").first.wait_for()
    strip.get_by_role("button", name="Safelight").click()
    strip.locator("body.safelight").wait_for()
    strip.locator(".head").scroll_into_view_if_needed()
    seen = _pixels(strip.screenshot())
    assert seen[..., 1:].max() == 0
    assert seen[..., 0].max() == 255
    # WCAG 2.2, relative luminance and contrast; the ground is the commonest value
    assert np.bincount(seen[..., 0].ravel()).argmax() == 0
    box = strip.locator(".chart-drawn").bounding_box()
    plot = seen[int(box["y"]):int(box["y"] + box["height"]),
                int(box["x"]):int(box["x"] + box["width"])]
    assert plot.max() >= 234, "4.5:1 in pure red"
    words = strip.locator("h1, label, .hint, th, button, .facts dt, nav.way a")
    colours = words.evaluate_all("all => all.map(one => getComputedStyle(one).color)")
    for colour in {*colours}:
        red, green, blue = (int(v) for v in colour[4:-1].split(","))
        linear = ((red / 255 + 0.055) / 1.055) ** 2.4
        ground_is_ink = red == 0  # the one button that is filled
        assert green == blue == 0
        assert ground_is_ink or (0.2126 * linear + 0.05) / 0.05 >= 4.5, colour


def test_marks_are_set_by_the_keys_and_dragged(bench: Any, begin: Any, window: Any) -> None:
    paper = begin(bench, "Jute")
    draw_target(paper / "small.tif", TargetRequest(levels=11),
                LayoutSettings("small", width_mm=101.6, height_mm=127.0))
    write_picture(paper / "other.tif", scene(480, 600), 120.0)
    window.goto(bench.paper("Jute", "read"))
    read_by_two_densities(window, "other.tif")
    keys = window.get_by_role("button", name="Set the next mark with the keys")
    keys.wait_for()
    for _ in range(4):
        keys.press("Enter")
    assert window.evaluate("document.activeElement.getAttribute('aria-label')").startswith("mark 4")
    assert keys.count() == 0
    window.get_by_role("button", name="Read it with these marks").wait_for()
    fourth, first = window.locator(".mark circle").nth(3), window.locator(".mark circle").first
    assert _place(fourth) == pytest.approx((48.0, 540.0))
    window.keyboard.press("Shift+ArrowRight")
    window.keyboard.press("ArrowUp")
    assert _place(fourth) == pytest.approx((68.0, 539.0))
    first.scroll_into_view_if_needed()
    box, scale = first.bounding_box(), _scale(window)
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    window.mouse.move(*middle)
    window.mouse.down()
    window.mouse.move(middle[0] + 30 * scale, middle[1] - 15 * scale, steps=5)
    window.mouse.up()
    window.mouse.move(*middle)
    assert _place(first) == pytest.approx((78.0, 45.0), abs=1.5)
    _a_finger_drags_a_mark_sets_one_and_scrolls(window)


def _a_finger_drags_a_mark_sets_one_and_scrolls(window: Any) -> None:
    finger = window.context.new_cdp_session(window)
    finger.send("Emulation.setTouchEmulationEnabled", {"enabled": True})

    def touch(x: float, y: float, *moves: tuple[float, float]) -> None:
        finger.send("Input.dispatchTouchEvent", {"type": "touchStart",
                                                 "touchPoints": [{"x": x, "y": y}]})
        for right, down in moves:
            finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [
                {"x": x + right, "y": y + down}]})
        finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    scroll, first = window.locator(".scan-window"), window.locator(".mark circle").first
    for _ in range(2):
        window.get_by_role("button", name="Larger").click()
    scroll.scroll_into_view_if_needed()
    box = first.bounding_box()
    before, scale = _place(first), _scale(window)
    touch(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2,
          *((4.0 * n, 3.0 * n) for n in range(1, 11)))
    there = before[0] + 40 / scale, before[1] + 30 / scale
    window.wait_for_function("x => Number(document.querySelector('.mark circle')"
                             ".getAttribute('cx')) > x - 2", arg=there[0])
    assert _place(first) == pytest.approx(there, abs=2.0)
    assert scroll.evaluate("one => [one.scrollLeft, one.scrollTop]") == [0, 0]
    box = scroll.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    window.get_by_role("button", name="Set the marks anew").click()
    touch(*middle)
    first.wait_for()
    touch(middle[0] - 100, middle[1], *((0.0, -12.0 * n) for n in range(1, 11)))
    window.wait_for_function("() => document.querySelector('.scan-window').scrollTop > 50")
    assert window.locator(".mark").count() == 1, "scrolling sets none"
    finger.detach()


def _place(circle: Any) -> tuple[float, float]:
    return float(circle.get_attribute("cx")), float(circle.get_attribute("cy"))


def _scale(page: Any) -> float:
    """Pixels of the screen for one of the picture."""
    scale: float = page.locator(".scan-view svg").evaluate(
        "svg => svg.getBoundingClientRect().width / svg.viewBox.baseVal.width")
    return scale


def _pixels(picture: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(picture)).convert("RGB"))

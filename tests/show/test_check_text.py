"""The report on a print, for each cause; whole reports are golden files.

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show/test_check_text.py
"""

from __future__ import annotations

import dataclasses
import io
import json
from typing import get_args

import numpy as np
import pytest
from PIL import Image

from reports import check_report
from tonewright.check.document import Cause, CauseCode, Check, Checked, CheckedTone
from tonewright.check.findings import (
    PrintedForAnotherTime,
    PrintsDiffer,
    PrintsFailAlone,
    SheetsAssumed,
    TonesSetAside,
    UnevennessUntold,
    ZeroMayBeOff,
)
from tonewright.cli.options import json_text
from tonewright.measured.findings import DensitiesByResponse
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.show.check_text import cause_text, check_json, check_text, verdict, what_to_do
from tonewright.show.plots import plot_check

OFF = (-0.2, -2.5, -4.8, -6.3, -7.4, -7.3, -7.5, -6.0, -5.1, -2.6, -1.1)
TONES = tuple(CheckedTone(f"A{i + 1}", None, 0.09 * i, 10.0 * i, 18.5 + 7.3 * i,
                          18.5 + 7.3 * i + off, off, 0.5 + 0.1 * min(i, 10 - i))
              for i, off in enumerate(OFF))
OVER = Check(
    made_by="tonewright", name="march", setup=Setup(), date="2026-03-31",
    curve=Checked("kallitype", "ab" * 32), printing_time=PrintingTime(480.0),
    scale="luminance", relative_to_paper=False, tones=TONES, passes=False, probability=0.0005,
    difference_lightness_rms=5.3, difference_lightness_mean=-4.6, worst_image_lightness=60.0,
    worst_difference_lightness=-7.5, black_lightness=18.3, white_lightness=90.4,
    cause=Cause("exposure", None, "ink", 284.0, 0.31, 0.05), exposure_off_stops=0.31,
    exposure_off_stops_sd=0.05, next_time=PrintingTime(385.0),
    findings=(SheetsAssumed(0.8), UnevennessUntold(), TonesSetAside(("A3",))))
GOOD = dataclasses.replace(
    OVER, passes=True, probability=0.44, difference_lightness_rms=0.9, next_time=None, date=None,
    cause=Cause("none", None, None, None, None, None), findings=(),
    worst_difference_lightness=1.4)
CAUSES = {
    "fog": Cause("fog", None, "unknown", 30.3, 2.1, 0.8),
    "weak_black": Cause("weak_black", None, "unknown", 2500.0, 2.6, 0.34),
    "ink": Cause("ink", None, "exposure", 12.0, -0.15, 0.03),
    "process": Cause("process", None, "ink", 12.0, 0.12, 0.03),
    "unevenness": Cause("unevenness", None, "unknown", 12.0, 0.2, 0.05),
    "two alike": Cause("unknown", "exposure", "ink", 1.4, None, None),
    "unknown": Cause("unknown", None, "exposure", 40.0, None, None),
}


def of(cause):
    return dataclasses.replace(OVER, cause=cause, next_time=None, exposure_off_stops=None,
                               exposure_off_stops_sd=None, findings=())


def test_the_report_of_a_good_print():
    check_report("check_good.txt", check_text(GOOD))


def test_the_report_of_too_much_light():
    check_report("check_exposure.txt", check_text(OVER, "march.check.json"))


def test_every_cause_and_what_to_do():
    reports = [check_text(of(cause)).split("  verdict")[1].split("Safety")[0] for cause
               in CAUSES.values()]
    check_report("check_causes.txt", "\n".join(f"  verdict{text}".rstrip() for text in reports))
    assert {c.code for c in CAUSES.values()} | {"none", "exposure"} == {*get_args(CauseCode)}


SCANNED = DensitiesByResponse("p.csv", "flatbed")


@pytest.mark.parametrize(("cause", "more", "told", "step"), [
    (CAUSES["fog"], (), "fog or poor clearing: paper white is 2.1 L* down (±1.6); or an instrument"
     " whose zero is off by +0.03. The readings do not tell the two apart",
     "read the paper white of the strip or target behind the curve again. If it has become denser"
     " too, zero the instrument on its white tile and read this print again. If not, clear longer"),
    (CAUSES["fog"], (SCANNED,), "The readings do not tell the two apart",
     "scan this print again, with the gray scale beside it. If it comes out the same, clear"),
    (Cause("unknown", "fog", "unknown", 1.6, None, None), (), "cannot tell: fog or poor clearing"
     " explains it best, an unknown cause nearly as well (1.6 times less likely). It may also be an"
     " instrument whose zero is off by +0.03", "denser too"),
    (CAUSES["two alike"], (), "a change in the negative's density nearly as well (1.4 times less"
     " likely). It may also be an instrument whose zero is off by +0.03", "denser too"),
    (CAUSES["unknown"], (), "perhaps not the print, but an instrument whose zero is off by +0.03",
     "denser too")])
def test_a_zero_that_may_be_off_is_named_and_how_to_tell(cause, more, told, step):
    check = dataclasses.replace(of(cause), findings=(ZeroMayBeOff(0.031), *more))
    assert told in cause_text(check)
    assert step in what_to_do(check)
    lighter = dataclasses.replace(check, findings=(ZeroMayBeOff(-0.031), *more),
                                  relative_to_paper=True)
    assert "-0.03" in cause_text(lighter) and (bool(more) or (
        "become lighter too, zero the instrument on bare paper" in what_to_do(lighter)))


def test_a_print_that_passes_may_still_have_a_step_of_its_own():
    other = dataclasses.replace(GOOD, findings=(
        PrintedForAnotherTime(PrintingTime(600.0), PrintingTime(480.0)),))
    assert what_to_do(other).startswith("go on printing, for 10 min as this print was. Keep")
    two = dataclasses.replace(GOOD, findings=(PrintsDiffer(3.2),), tones=tuple(
        dataclasses.replace(t, print_name=name) for name in "ab" for t in TONES))
    assert verdict(two) == "these prints together are what the curve promises"
    assert what_to_do(two).startswith("coat, expose and develop the next prints alike")


def test_a_print_that_fails_alone_is_made_again_first():
    two = dataclasses.replace(OVER, findings=(PrintsDiffer(3.2), PrintsFailAlone(("b",))),
                              tones=tuple(
        dataclasses.replace(t, print_name=name) for name in "ab" for t in TONES))
    assert verdict(two) == "not each of these prints is what the curve promises"
    assert what_to_do(two).startswith("make b again")
    both = dataclasses.replace(two, findings=(PrintsDiffer(3.2), PrintsFailAlone(("b", "a"))))
    assert what_to_do(both) == what_to_do(OVER)


def test_without_a_strip_it_says_which_way():
    dark = dataclasses.replace(
        OVER, cause=Cause("exposure", None, "ink", 9.0, None, None), next_time=None)
    assert what_to_do(dark).startswith("print shorter. How much shorter, one strip tells")
    light = dataclasses.replace(dark, difference_lightness_mean=4.0)
    assert "too little light" in check_text(light) and "print longer" in what_to_do(light)


def test_a_small_difference_without_a_cause_is_the_curve_s():
    near = dataclasses.replace(of(CAUSES["unknown"]), difference_lightness_rms=2.0)
    assert "tonewright refine" in what_to_do(near)


def test_many_tones_are_put_together():
    many = tuple(dataclasses.replace(TONES[5], image_lightness=float(v))
                 for v in np.linspace(0, 100, 51))
    rows = [line for line in check_text(dataclasses.replace(OVER, tones=many)).splitlines()
            if "±1.0" in line or "±2.0" in line]
    assert len(rows) == 11


def test_a_row_of_many_patches_is_marked_if_one_of_them_is_too_far_off():
    close = dataclasses.replace(TONES[5], difference_lightness=0.1)
    many = [dataclasses.replace(close, image_lightness=float(v)) for v in np.linspace(0, 100, 51)]
    many[26] = dataclasses.replace(many[26], difference_lightness=-2.5)
    text = check_text(dataclasses.replace(OVER, tones=tuple(many)))
    (marked,) = (line for line in text.splitlines() if line.endswith("<"))
    assert marked.split()[0] == "50"


@pytest.mark.parametrize(("probability", "words"), [
    (0.0005, "fewer than 1 in 1000 good prints differ at least as much"),
    (0.0012, "1 good print in 1000 differs at least as much"),
    (0.004, "4 good prints in 1000 differ at least as much"),
    (0.012, "1 good print in 100 differs at least as much"),
    (0.44, "44 good prints in 100 differ at least as much")])
def test_how_often_good_prints_differ(probability, words):
    assert f": {words}\n" in check_text(dataclasses.replace(GOOD, probability=probability))


def test_json_has_what_the_command_promises():
    found = json.loads(json_text(check_json(OVER)))
    assert {"passes", "difference_lightness_rms", "worst_image_lightness", "cause",
            "exposure_off_stops", "next_time_s", "findings"} <= set(found)
    assert (found["next_time_s"], found["time_unit"]) == (385.0, "s")
    assert [f["code"] for f in found["findings"]] == [
        "sheets_assumed", "unevenness_untold", "tones_set_aside"]


@pytest.mark.parametrize("check", [GOOD, OVER, of(CAUSES["unknown"])])
def test_the_picture_is_one(check):
    image = Image.open(io.BytesIO(plot_check(check)))
    assert image.size == (1210, 572)
    assert len(image.getcolors(1_000_000)) > 50

"""The report on a strip: whole reports and all sentences as golden files, `--json` by its keys.

After a change that is meant, renew them and read the difference:

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show/test_strip_text.py
"""

from __future__ import annotations

import json
import os
import textwrap
from dataclasses import replace
from pathlib import Path

import pytest

from reports import check_report
from tonewright.measured.columns import Source
from tonewright.record.findings import all_codes, finding_class
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime, parse_time
from tonewright.show.advice import untyped
from tonewright.show.findings import sentence
from tonewright.show.strip_text import (
    blank_text,
    eye_advice,
    eye_facts,
    eye_json,
    eye_text,
    process_advice,
    process_facts,
    process_json,
    process_text,
)
from tonewright.show.words import WIDTH
from tonewright.strip import findings
from tonewright.strip.exposure import EyeStrip, judge_by_eye
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip

GOLDEN = Path(__file__).parent / "golden"
TABLET = nominal_tablet("31")
# the entries of strip --json that other programs may rely on
PROMISED = (
    "base_printing_time_s", "base_printing_time_low_s", "base_printing_time_high_s",
    "strict_printing_time_s", "reached_black", "next_time_s", "log_exposure_range", "iso_range",
    "film_density", "max_black_density", "paper_white_density", "just_visible_lightness",
)  # fmt: skip


def eye(*strips):
    seen = [EyeStrip(parse_time(t), k) for t, k in strips]
    return judge_by_eye(TABLET, seen), TABLET, seen


def process(stops=0.3, halves=("film", "bare"), unit="s", slip=0.0):
    room = Darkroom()
    seconds = round(room.base_time * 2.0**stops)
    read = measure_strip(room, TABLET.density, seconds, seed=4)
    density = {"film": read.density_film, "bare": read.density_bare}
    return make_process(Strip(tuple(
        StripPatch(int(s), round(float(d) + slip * (half == "film" and s == 2), 3), None, half,
                   PrintingTime(float(seconds), unit), None)
        for half in halves for s, d in zip(read.step, density[half], strict=True)),
        "visual-density", (Source("strip.csv", "csv", "0" * 64),)), TABLET, Setup(), "kallitype")


@pytest.fixture(scope="module")
def good():
    return process()


@pytest.fixture(scope="module")
def short():
    return process(-1.5, ("film",), "unit")


def check(name, text):
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("TONEWRIGHT_RENEW_GOLDEN"):
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    assert text + "\n" == path.read_text(encoding="utf-8")
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_golden_measured_strip(good):
    check("strip", process_text(good, "kallitype.process.json"))


def test_golden_short_strip(short):
    check("strip_short", process_text(short, None))


def test_golden_doubtful_step():
    check("strip_doubtful", process_text(process(slip=-0.5), "kallitype.process.json"))


@pytest.mark.parametrize(("name", "strips"), [
    ("strip_eye", [("10min", 1), ("15min", 3)]), ("strip_eye_short", [("10min", 1)]),
    ("strip_eye_right", [("10min", 1), ("15min", 2)]), ("strip_eye_far", [("60min", 20)]),
    ("strip_eye_differ", [("10min", 1), ("12min40s", 4)]),
])
def test_golden_by_eye(name, strips):
    check(name, eye_text(*eye(*strips)))


PLACES = (findings.StepPlace(5, "film", None), findings.StepPlace(4, "bare", "1 (a.csv)"))
TIMES = (PrintingTime(600.0), PrintingTime(480.0))
EVERY = (
    findings.ReadingsWet("strip.csv"), findings.TimeNotUsed(TIMES[0], TIMES[1:]),
    findings.PaperDensityAdded(0.09),
    findings.StepsSetAside((findings.OddStep(2, "film", None, 1.02, -0.5),)),
    findings.StepsSetAside((findings.OddStep(2, "film", None, 1.02, -0.5),
                            findings.OddStep(9, "bare", "1 (a.csv)", 1.1, 0.312))),
    findings.StripsDisagree("halves", 0.08, 0.02), findings.StripsDisagree("strips", 0.11, 0.021),
    findings.LighterAgain(PLACES[:1]), findings.LighterAgain(PLACES),
    findings.ReadingsScatter(0.112), findings.FilmTooDense(0.19), findings.ZeroedOnPaper(),
    findings.StripTooShort(PrintingTime(900.0)), findings.TimeUnsure(0.82),
    findings.FilmUnsure(0.07), findings.RangeUnusual(2.91, "21"),
    findings.StripWhiteNotReached(0.06), findings.EyeCountsDiffer(),
    findings.EyeStripFarTooLong(), findings.CornerFound("black", 7, -0.621, TIMES[0]),
    findings.CornerFound("white", 24, -2.28, TIMES[1]),
)


def test_golden_sentences():
    """Every finding of a strip has one."""
    here = {c for c in all_codes() if finding_class(c).__module__ == findings.__name__}
    assert here == {f.code for f in EVERY}
    check("strip_findings", "\n".join(
        textwrap.fill(f"{f.code}: {sentence(f)}", WIDTH, subsequent_indent="  ",
                      break_on_hyphens=False) for f in EVERY))


def test_eye_json_has_every_promised_key_and_null_where_unknown():
    data = eye_json(eye(("10min", 2))[0])
    assert set(PROMISED) | {"time_unit", "findings", "warnings"} == set(data)
    assert data["base_printing_time_s"] == 600.0
    assert data["base_printing_time_high_s"] == 600.0
    assert data["base_printing_time_low_s"] == pytest.approx(476.6, abs=0.1)
    assert data["reached_black"] is True
    assert data["next_time_s"] is None
    assert data["time_unit"] == "s"
    for name in PROMISED[6:]:
        assert data[name] is None


def test_eye_json_of_a_lower_bound():
    data = eye_json(eye(("120units", 1))[0])
    assert data["reached_black"] is False
    assert data["base_printing_time_low_s"] == 120.0
    assert data["next_time_s"] == 170.0
    assert data["time_unit"] == "unit"
    for name in ("base_printing_time_s", "base_printing_time_high_s", "strict_printing_time_s"):
        assert data[name] is None


def test_process_json(good, short):
    for made in (good, short):
        data = process_json(made)
        assert set(PROMISED) <= set(data)
        json.dumps(data, allow_nan=False)
    data = process_json(good)
    assert data["reached_black"] is True
    assert data["next_time_s"] is None
    assert data["film_density"] == pytest.approx(0.06, abs=0.03)
    assert data["just_visible_lightness"] == 1.0
    assert data["findings"] == data["warnings"] == []
    data = process_json(short)
    assert data["reached_black"] is False
    assert data["next_time_s"] > short.reference_time.value
    assert data["film_density"] is None
    assert data["time_unit"] == "unit"
    assert data["findings"] == [{"code": "strip_too_short", "next_time":
                                 {"value": data["next_time_s"], "unit": "unit"}}]
    assert len(data["warnings"]) == 1


def test_the_next_step_names_the_file(good):
    assert "--process mine.process.json" in process_advice(good, "mine.process.json").command
    assert "--process NAME.process.json" in process_advice(good).command


def test_what_both_fronts_show_holds_nothing_that_is_typed(good, short):
    said = [untyped(sentence(f)) for f in EVERY]
    for made in (good, short, replace(good, findings=(findings.LighterAgain(PLACES[:1]),))):
        said += [process_advice(made).words, *(text for _, text in process_facts(made))]
    for strips in ([("10min", 1)], [("60min", 20)], [("10min", 1), ("15min", 2)]):
        result, tablet, seen = eye(*strips)
        said += [eye_advice(result, tablet).words, *(t for _, t in eye_facts(result, tablet, seen))]
    assert not [text for text in said if "--" in text or "tonewright " in text]


def test_a_name_with_spaces_is_typed_in_quotes(good):
    assert '--process "my paper.process.json" -o' in process_advice(
        good, "my paper.process.json").command


def test_care_is_told_where_another_strip_is_to_be_printed(good, short):
    apart = replace(good, findings=(findings.LighterAgain(PLACES[:1]),))
    assert "Safety:" not in process_text(good, None)
    unsure = replace(good, findings=(findings.TimeUnsure(0.4),))
    for made in (apart, short, unsure):
        assert "Safety:" in process_text(made, None)


def test_the_report_of_an_empty_table():
    check_report("strip_blank.txt", blank_text("my strip.csv", nominal_tablet("31"),
                                               ("film", "bare")))

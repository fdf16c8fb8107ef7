"""What is said of curves.  Whole reports are kept as golden files and compared exactly.

After a change that is meant, renew them and read the difference:

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show/test_curve_text.py
"""

from __future__ import annotations

import dataclasses
import json
import os
from pathlib import Path

import numpy as np
import pytest

import shelves
from tonewright.curve import findings
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.findings import (
    Doubt,
    InkToSpare,
    LightDiffers,
    NothingMoved,
    PrintsDisagree,
    TwoWeightings,
)
from tonewright.curve.make import FitRequest, fit_curve, make_curve, rebuild
from tonewright.curve.next_step import NextStep, next_step
from tonewright.curve.renew import RenewRequest, renew_curve
from tonewright.files.documents import curve_text, read_curve
from tonewright.measured.columns import Source
from tonewright.record.findings import Finding
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.show import report
from tonewright.show.curve_text import (
    curve_facts,
    doubt_words,
    doubtful_words,
    fit_json,
    fit_text,
    renew_json,
    renew_text,
)
from tonewright.show.findings import sentence
from tonewright.show.words import WIDTH
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import (
    CYANOTYPE,
    DEMO_INK,
    Darkroom,
    Flaws,
    measure_strip,
    measure_target,
)

GOLDEN = Path(__file__).parent / "golden"
LEVELS = np.linspace(0.0, 1.0, 26)
OLD, NEW = Darkroom(), Darkroom(process=CYANOTYPE)


def readings(room, levels=LEVELS, name="target.csv", seed=4, stretch=1.0, **flaws):
    """A target of the virtual darkroom, printed for so many times its base printing time."""
    room = dataclasses.replace(room, printing_time=stretch * room.base_time)
    found = measure_target(room, levels, flaws=Flaws(**flaws), seed=seed).readings
    return dataclasses.replace(found, sources=(Source(name, "csv", "00" * 32, ()),))


def process(room, name, stretch=1.0, **setup):
    tablet = nominal_tablet("31")
    time = PrintingTime(round(stretch * room.base_time))
    read = measure_strip(room, tablet.density, time.value, seed=3)
    patches = tuple(StripPatch(int(s), float(d), None, "film", time, None)
                    for s, d in zip(read.step, read.density_film, strict=True))
    return make_process(Strip(patches, "visual-density", ()), tablet, Setup(**setup), name)


def compare(name: str, text: str) -> None:
    path = GOLDEN / name
    if os.environ.get("TONEWRIGHT_RENEW_GOLDEN"):
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    assert text + "\n" == path.read_text(encoding="utf-8")
    commands = [line for line in text.splitlines() if line.startswith("Next:     tonewright")]
    assert max(map(len, set(text.splitlines()) - {*commands})) <= WIDTH


@pytest.fixture(scope="module")
def stained():
    """One stain, ink too thin, two patches left out."""
    thin = dataclasses.replace(DEMO_INK, max_density=1.4)
    found = readings(Darkroom(ink=thin), stains=1, noise_density_sd=0.01)
    return fit_curve(FitRequest("kallitype", found, Settings(Aim(), ("A01", "B02"))))


@pytest.fixture(scope="module")
def derived():
    """A target printed beside a strip for longer than the base printing time."""
    strip = process(OLD, "kallitype", 1.4, paper="cotton", lamp="UV tubes")
    return fit_curve(FitRequest("old", readings(OLD, stretch=1.4), process=strip))


def renewed(derived, **new):
    return renew_curve(RenewRequest(derived, "00" * 32, "new", replace=True, **new))


@pytest.fixture(scope="module")
def strip():
    return process(NEW, "cyanotype", 1.2, paper="linen")


def test_the_report_of_a_plain_fit(stained):
    compare("fit.txt", fit_text(stained, "kallitype.curve.json"))


def test_the_report_of_a_fit_by_process(derived):
    compare("fit_process.txt", fit_text(derived, "old.curve.json"))


def test_the_report_of_a_renewal_by_strip(derived, strip):
    compare("renew_strip.txt", renew_text(renewed(derived, process=strip), "new.curve.json"))


def test_the_report_of_a_renewal_by_patches(derived, strip):
    few = readings(NEW, np.linspace(0.1, 0.9, 7), "few.csv", seed=6)
    spoilt = dataclasses.replace(few.patches[3], density=few.patches[3].density + 0.2)
    few = dataclasses.replace(few, patches=(*few.patches[:3], spoilt, *few.patches[4:]))
    compare("renew_patches.txt", renew_text(renewed(derived, process=strip, readings=few),
                                            "new.curve.json"))


def test_the_report_of_a_renewal_by_time(derived):
    time = PrintingTime(round(0.3 * OLD.base_time))
    compare("renew_time.txt", renew_text(renewed(derived, printing_time=time), "new.curve.json"))


def test_the_report_of_a_renewal_by_readings(derived):
    whole = readings(NEW, np.linspace(0, 1, 21), "whole.csv")
    compare("renew_readings.txt", renew_text(renewed(derived, readings=whole), "new.curve.json"))


@pytest.mark.parametrize(("sheets", "levels", "said"), [
    (1, 21, "one, which does not tell how much the next sheet may differ"),
    (3, 21, "3; they differ by ±"), (2, 10, "2, but too few patches on each")])
def test_sheets(sheets, levels, said):
    found = measure_target(OLD, np.linspace(0, 1, levels), 1, flaws=Flaws(speed_sd=0.03), seed=4,
                           sheets=3 if sheets == 3 else 1).readings
    if sheets == 2:  # five patches on each
        found = dataclasses.replace(found, patches=tuple(
            dataclasses.replace(p, print_name=f"sheet {i % 2}")
            for i, p in enumerate(found.patches)))
    curve = make_curve(found, Settings(Aim()), Setup(), "x")
    assert said in " ".join(fit_text(curve, "x.curve.json").split())


def test_what_a_few_patches_did_is_said(derived):
    for by, said in ((0.3, "they moved the curve by up to 0.3 L*"),
                     (0.04, "they agree with the strip")):
        summary = dataclasses.replace(derived.summary, few_patches_moved_lightness=by)
        assert f"patches   {said}" in fit_text(dataclasses.replace(derived, summary=summary), "x")
    assert "moved the curve" not in fit_text(derived, "x")


def test_json_holds_findings_and_their_sentences(stained, derived):
    found = fit_json(stained)
    assert [f["code"] for f in found["findings"]] == [f.code for f in stained.findings]
    assert found["warnings"] == [sentence(f) for f in stained.findings]
    assert found["doubtful"] == [dataclasses.asdict(d) for d in stained.summary.doubtful]
    json.dumps(found, allow_nan=False)
    luminance = dataclasses.replace(readings(OLD), scale="luminance")
    again = renewed(derived, readings=luminance)
    found = renew_json(again)
    weightings = TwoWeightings("visual-density", "luminance")
    assert weightings in again.findings
    assert found["moved"]["warning"] == sentence(weightings)
    assert [f["code"] for f in found["findings"]][-2:] == ["two_weightings", "strip_given_up"]
    assert found["notes"] == [sentence(again.findings[-1])]
    json.dumps(found, allow_nan=False)


def with_summary(curve, **values):
    return dataclasses.replace(curve, summary=dataclasses.replace(curve.summary, **values))


def test_the_next_step_is_the_most_urgent(derived, stained):
    doubt = Doubt("A01", 0.5, 0.2, 9.0)
    steps = [next_step(with_summary(derived, **v)) for v in (
        {}, {"disagreement": 1.5}, {"disagreement": 2.0, "band_halfwidth_max": 9.0},
        {"band_halfwidth_max": 9.0}, {"band_halfwidth_max": 9.0, "doubtful": (doubt,)})]
    assert steps == [NextStep("make_negative"), NextStep("make_negative"),
                     NextStep("settle_contradiction"), NextStep("print_patches"),
                     NextStep("print_patches", doubtful=True)]
    # without a process response there is no plan, and no strip to contradict
    assert next_step(with_summary(stained, band_halfwidth_max=9.0)) == NextStep("make_negative")
    said = fit_text(with_summary(derived, band_halfwidth_max=9.0), "x.curve.json")
    assert "tonewright negative" not in said
    assert "Safety:" in said
    assert "Safety:" not in fit_text(derived, "x.curve.json")


KINDS = [k for k in vars(findings).values()
         if isinstance(k, type) and issubclass(k, Finding) and k is not Finding]


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.code)
def test_every_finding_has_its_sentence(kind):
    values = {"str": "visual-density", "float": 0.52, "int": 3, "bool": True, "End": "white",
              "float | None": 0.31, "tuple[str, ...]": ("A01", "paper"),
              "PrintingTime": PrintingTime(90.0)}
    text = sentence(kind(*(values[f.type] for f in dataclasses.fields(kind))))
    assert text.endswith((".", ")."))
    assert text[0].isupper()
    assert not {"None", "  ", "_"} & {*text.split(), *(p for p in ("  ", "_") if p in text)}


def test_sentences_depend_on_what_was_found():
    assert "that is not sure yet" in sentence(InkToSpare(0.5, False, None))
    assert "no print shows the ink above 40 %" in sentence(InkToSpare(0.5, False, 0.4))
    assert "'sun' and is 'tubes'" in sentence(LightDiffers("lamp", "sun", "tubes"))


def test_rewording_changes_no_document(stained, derived, monkeypatch):
    """Every sentence replaced: other reports, the same documents and the same rebuild."""
    curves = [stained, dataclasses.replace(derived, findings=(PrintsDisagree(1.4),))]
    before = [(curve_text(c), curve_text(rebuild(c)), fit_text(c, "x")) for c in curves]
    monkeypatch.setattr(report, "sentence", lambda found: "Something else entirely.")
    for curve, (document, again, said) in zip(curves, before, strict=True):
        assert curve_text(curve) == document
        assert curve_text(rebuild(curve)) == again
        assert fit_text(curve, "x") != said
        assert not any(sentence(f) in document for f in curve.findings)
    assert sentence(NothingMoved("old")) not in renew_text(renewed(derived, readings=readings(OLD)),
                                                           "x")


@pytest.mark.parametrize(("doubt", "words"), [
    ("patch_unlike patch_spoilt", "in the scan unlike similar patches and a scratch or stain"),
    ("a thumb was on it\x1b", 'in the scan "a thumb was on it\\x1b"'),
    (None, ""),
])
def test_a_doubt_is_said_in_words_and_a_text_of_others_is_quoted(doubt, words):
    assert doubt_words(None, doubt) == words


def test_a_patch_that_a_print_behind_the_curve_leaves_out_is_not_doubtful() -> None:
    curve = read_curve(Path(__file__).parents[2] / "curves" / "kallitype.curve.json")
    assert "E3 (in the scan" in doubtful_words(curve)
    [print_] = curve.recipe.prints
    refined = dataclasses.replace(  # as refining keeps it: what is left out stands with its print
        curve, readings=print_.readings, recipe=dataclasses.replace(
            curve.recipe, prints=(dataclasses.replace(print_, left_out=("E3",)),)))
    assert "E3" not in doubtful_words(refined)
    assert "D6" in doubtful_words(refined)


def test_the_time_that_a_plain_curve_is_for_is_said() -> None:
    assert ("time", "the curve is for a printing time of 20 min") in curve_facts(
        shelves.fitted("any", 1))

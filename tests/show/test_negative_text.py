"""What `negative` says: whole reports as golden files.

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show/test_negative_text.py
"""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import tifffile

from straight import Straight
from tonewright.files.documents import Opened
from tonewright.files.negative.batch import make_negatives
from tonewright.files.negative.settings import NegativeSettings
from tonewright.negative import findings as negative
from tonewright.negative.film import parse_film
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish
from tonewright.record.findings import Finding
from tonewright.show.findings import sentence
from tonewright.show.negative_text import batch_json, failures_text, negatives_text
from tonewright.show.words import WIDTH

GOLDEN = Path(__file__).parent / "golden"


class Aiming(Straight):
    name = "kallitype"

    def print_lightness_at(self, lightness):
        return 15.0 + 0.8 * np.asarray(lightness)


@pytest.fixture
def make(tmp_path, monkeypatch):
    """Makes negatives in an empty folder that holds a portrait, a landscape and a text."""
    monkeypatch.chdir(tmp_path)
    opened = Opened(Aiming(0.05, 0.65, ink_colour="255,120,0", printing_time="8 min"), "0" * 64, "")
    monkeypatch.setattr("tonewright.files.negative.batch.open_curve", lambda *_, **__: opened)
    ramp = np.linspace(-0.05, 1.1, 900 * 600).clip(0.0, 1.0)
    values = np.rint(65535 * ramp).astype(np.uint16).reshape(900, 600)
    tifffile.imwrite("portrait.tif", values, photometric="minisblack", metadata=None,
                     resolution=(180, 180))
    coloured = np.stack([values[::9, ::9], values[::9, ::9] // 2, values[::9, ::9]], axis=-1)
    tifffile.imwrite("landscape.tif", (coloured >> 8).astype(np.uint8), photometric="rgb",
                     metadata=None, resolutionunit=1)
    Path("notes.tif").write_text("words", encoding="utf-8")

    def call(names, output, **settings):
        chosen = NegativeSettings(date="2026-03-01", **settings)
        return make_negatives([Path(name) for name in names], Path("k.curve.json"), Path(output),
                              chosen)

    return call


def agrees(name, text):
    path = GOLDEN / name
    if os.environ.get("TONEWRIGHT_RENEW_GOLDEN"):
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    assert text + "\n" == path.read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= WIDTH


def test_the_report_of_one(make):
    batch = make(["portrait.tif"], "sheet.tif", depth=8,
                 size=SizeWish(width_mm=Fraction(100), ppi=Fraction(200)),
                 sheet=SheetSettings(marks=True, tone_scale=True, caption=True))
    agrees("negative.txt", negatives_text(batch, "kallitype.curve.json"))


def test_the_report_of_several(make):
    batch = make(["portrait.tif", "notes.tif", "landscape.tif"], "negatives", mirror=False)
    failures = failures_text(batch.failures, len(batch.reports), lambda error: "not an image")
    agrees("negatives.txt", f"{negatives_text(batch, 'kallitype.curve.json')}\n\n{failures}")


def test_the_report_of_a_film(make):
    batch = make(["portrait.tif", "landscape.tif"], "film.tif", film=parse_film("a4", "film"),
                 size=SizeWish(width_mm=Fraction(90), ppi=Fraction(100)),
                 sheet=SheetSettings(marks=True))
    agrees("negatives_film.txt", negatives_text(batch, "kallitype.curve.json"))


def test_json_carries_findings_and_their_sentences(make):
    found = batch_json(make(["portrait.tif", "landscape.tif"], "negatives"))["outputs"]
    for negative_found in found:
        assert len(negative_found["findings"]) == len(negative_found["warnings"]) > 0
    assert {"code": "encoding_assumed", "encoding": "srgb"} in found[1]["findings"]
    assert {"code": "resolution_unknown", "without_unit": True} in found[1]["findings"]


def test_every_finding_has_its_sentence():
    examples = [
        negative.ProfileSetAside(), negative.EncodingAssumed("srgb"),
        negative.EncodingAssumed("gamma:2.2"), negative.Enlarged(2.4), negative.FewPixels(100.0),
        negative.ColourDropped(0.0006), negative.VisibleSteps(8, True, 2.83, 0.0),
        negative.CaptionCut(("portrait",)), negative.LettersNotDrawn("写真"),
        negative.BlackTonesLost(0.012, 10.0),
        negative.WhiteTonesLost(0.25, None),
    ]  # fmt: skip
    assert {type(found) for found in examples} == {
        kind for kind in vars(negative).values()
        if isinstance(kind, type) and issubclass(kind, Finding) and kind is not Finding}
    words = [sentence(found) for found in examples]
    assert len(set(words)) == len(words)
    assert words[-2:] == [
        "1.2 % of the picture prints as maximum black, without detail: all tones below image L* 10",
        "25 % of the picture prints as paper white, without detail",
    ]

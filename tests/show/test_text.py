"""What the commands say.  One whole report is kept as a golden file and compared exactly.

After a change that is meant, renew it and read the difference:

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show/test_text.py
"""

from __future__ import annotations

import dataclasses
import json
import os
from pathlib import Path

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.curve.renew import Movement
from tonewright.measured.columns import Source
from tonewright.record.setup import Setup
from tonewright.show.text import fit_json, fit_text, movement_text
from tonewright.show.words import WIDTH
from tonewright.virtual.darkroom import DEMO_INK, Darkroom, Flaws, measure_target

GOLDEN = Path(__file__).parent / "golden"
PROMISED = (
    "black_lightness", "white_lightness", "level_black", "level_white", "noise_density_sd",
    "doubtful", "band_halfwidth_mean", "band_halfwidth_max", "negative_density_range",
)  # fmt: skip


def invented(levels=21, repeats=1, ink=DEMO_INK, settings=None, **more):
    """A target of the virtual darkroom that has everything to report: invented."""
    flaws = Flaws(**more.pop("flaws", {}))
    readings = measure_target(
        Darkroom(ink=ink), np.linspace(0, 1, levels), repeats, flaws=flaws, seed=4, **more
    ).readings
    readings = dataclasses.replace(
        readings, sources=(Source("target.csv", "csv", "00" * 32, ()),),
        notes=("target.csv: the column remarks was left aside",),
    )  # fmt: skip
    return make_curve(readings, settings or Settings(Aim()), Setup(paper="cotton"), "kallitype")


def compare(name: str, text: str) -> None:
    path = GOLDEN / name
    if os.environ.get("TONEWRIGHT_RENEW_GOLDEN"):
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    assert text + "\n" == path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def stained():
    thin = dataclasses.replace(DEMO_INK, max_density=1.4)
    return invented(ink=thin, flaws={"stains": 1, "noise_density_sd": 0.01})


def test_golden_report(stained):
    """One stain, ink too thin, one note: the whole report, compared exactly."""
    compare("fit.txt", fit_text(stained))


def test_the_report_names_what_was_asked(stained):
    text = " ".join(fit_text(stained).split())
    found = stained.summary
    assert "21 patches of 21 ink levels from target.csv" in text
    assert f"readings scatter by {found.noise_density_sd:.3f} in density" in text
    assert found.doubtful[0]["patch"] in text
    assert f"L* {found.black_lightness:.1f}" in text
    assert f"L* {found.white_lightness:.1f}" in text
    assert f"{found.level_black:.0%} to {found.level_white:.0%} of the ink" in text
    assert f"at {found.least_sure_level:.0%} ink" in text
    assert "remarks was left aside" in text
    for warning in found.warnings:
        assert warning in text


def test_lines_fit_the_width(stained):
    assert max(map(len, fit_text(stained).splitlines())) <= WIDTH


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "one; how much the next sheet may differ is not known"),
        ({"sheets": 3, "flaws": {"speed_sd": 0.03}}, "3; they differ by ±"),
        ({"levels": 5, "sheets": 2}, None),
    ],
)
def test_sheets(more, said):
    if said is None:  # five patches on each of two sheets, ten levels in all
        whole = invented(levels=10)
        patches = tuple(
            dataclasses.replace(p, print_name=f"sheet {i % 2}")
            for i, p in enumerate(whole.readings.patches)
        )
        readings = dataclasses.replace(whole.readings, patches=patches)
        curve = make_curve(readings, whole.settings, whole.setup, "x")
        assert curve.summary.print_to_print_lightness_sd is None
        said = "2, but too few patches on each"
    else:
        curve = invented(**more)
    assert said in " ".join(fit_text(curve).split())


def test_patches_left_out_are_named():
    assert "left out  A01, B02" in fit_text(invented(settings=Settings(Aim(), ("A01", "B02"))))
    assert "left out" not in fit_text(invented())


def test_json_has_the_promised_names(stained):
    found = fit_json(stained)
    assert set(PROMISED) <= set(found)
    assert found["negative_density_range"] is None
    assert isinstance(found["doubtful"], list)
    assert found["doubtful"][0]["patch"] == stained.summary.doubtful[0]["patch"]
    assert found["warnings"][-1] == "target.csv: the column remarks was left aside"
    json.dumps(found, allow_nan=False)


MOVED = Movement(17.9, 24.4, 92.0, 91.3, (0.03, 0.96), (0.02, 0.59), -12.34, 36.0, 5.67)


def test_movement():
    text = movement_text("kallitype", MOVED, ("paper: cotton → linen",))
    for part in ("from kallitype", "paper: cotton → linen", "L* 17.9 → 24.4", "L* 92.0 → 91.3",
                 "3% to 96% → 2% to 59%", "-12.3 L*", "5.7 L*"):  # fmt: skip
        assert part in text
    assert "warning" not in text
    assert "--paper" in movement_text("kallitype", MOVED, ())
    warned = dataclasses.replace(MOVED, warning="measured otherwise")
    assert "measured otherwise" in movement_text("kallitype", warned, ())


@pytest.mark.parametrize(("part", "said"), [
    (0.0, "the curve stays as it was"), (0.4, "goes 40% of the way"), (1.0, "follows them")])
def test_what_a_few_patches_did_is_said(part, said):
    curve = invented()
    summary = dataclasses.replace(curve.summary, few_patches_followed=part)
    text = " ".join(fit_text(dataclasses.replace(curve, summary=summary)).split())
    assert said in text
    assert "patches" not in fit_text(curve).split("\n  black")[1]

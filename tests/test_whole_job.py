"""The example does the whole job, and comes to what the commands came to under ``curves/``."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile

from tonewright.files.documents import read_curve, read_process
from tonewright.files.targets import read_target

HOUSE = Path(__file__).parents[1]
CURVES = HOUSE / "curves"


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> tuple[Path, str]:
    """The folder that the example left, and what it printed."""
    folder = tmp_path_factory.mktemp("example") / "job"
    done = subprocess.run(
        [sys.executable, str(HOUSE / "examples" / "whole_job.py"), str(folder)],
        env={**os.environ, "PYTHONPATH": str(HOUSE / "src"), "PYTHONIOENCODING": "utf-8"},
        capture_output=True, encoding="utf-8", timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


def test_the_strip_and_the_curve_are_those_of_the_commands(job):
    folder, _ = job
    process, known = (read_process(f / "kallitype.process.json") for f in (folder, CURVES))
    # to the last byte on one machine; another one may round the last figures otherwise
    assert process.density == pytest.approx(known.density, abs=0.01)
    assert process.summary.base_printing_time == pytest.approx(
        known.summary.base_printing_time, rel=0.03)
    curve, known = (read_curve(f / "kallitype.curve.json") for f in (folder, CURVES))
    assert curve.correction.level == pytest.approx(known.correction.level, abs=2e-3)
    assert curve.setup == known.setup


def test_target_and_negative_can_be_printed(job):
    folder, _ = job
    assert len({p.level for p in read_target(folder / "target.target.json").patches}) == 31
    assert tifffile.imread(folder / "target.tif").dtype == np.uint16
    picture, negative = (tifffile.imread(folder / name) for name in ("picture.tif", "negative.tif"))
    assert negative.shape == picture.shape
    # through the curve and mirrored: more light on the paper where the picture is darker
    tones = (0, 16384, 32768, 49152, 65535)
    codes = [np.median(negative[:, ::-1][np.abs(picture.astype(int) - t) < 400])
             for t in tones if np.any(np.abs(picture.astype(int) - t) < 400)]
    assert len(codes) >= 3
    assert np.all(np.diff(codes) < 0)


def test_a_shorter_time_takes_less_ink(job):
    folder, said = job
    curve, shorter = (read_curve(folder / f"{name}.curve.json")
                      for name in ("kallitype", "kallitype-shorter"))
    assert curve.recipe is not None
    assert shorter.recipe is not None
    assert shorter.recipe.printing_time.value < curve.recipe.printing_time.value
    middle = slice(30, -30)
    assert np.all(shorter.correction.level[middle] < curve.correction.level[middle])
    assert "base printing time" in said


def test_a_good_print_passes_and_makes_the_curve_surer(job):
    folder, said = job
    assert "the print is what the curve promises" in said
    curve, surer = (read_curve(folder / f"kallitype{name}.curve.json") for name in ("", "-surer"))
    assert surer.summary.band_halfwidth_mean < curve.summary.band_halfwidth_mean
    assert surer.ancestor is not None
    assert surer.ancestor.name == "kallitype"


def test_the_density_range_is_that_from_picture_black_to_picture_white():
    curve = read_curve(CURVES / "kallitype.curve.json")
    level, density = curve.negative.level, curve.negative.density
    black, white = np.interp(curve.correction.level[[0, -1]], level, density)
    assert curve.summary.negative_density_range == pytest.approx(white - black, abs=1e-3)
    assert white - black < density[-1] - 0.1  # there is heavier ink than picture white

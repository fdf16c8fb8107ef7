"""The example under curves/ holds together and can be made again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from prints import rebuilt
from tonewright.curve.make import rebuild
from tonewright.files.documents import read_curve, read_process

CURVES = Path(__file__).parents[2] / "curves"


def test_the_example_curve_is_what_its_readings_make():
    curve = read_curve(CURVES / "kallitype.curve.json")
    again = rebuild(curve)
    # to the last byte on one machine; another one may round the last figures otherwise
    assert again.correction.level == pytest.approx(curve.correction.level, abs=2e-3)
    assert again.response.lightness == pytest.approx(curve.response.lightness, abs=0.1)
    assert again.summary.doubtful == curve.summary.doubtful


def test_the_example_process_is_what_its_strip_makes():
    process = read_process(CURVES / "kallitype.process.json")
    again = rebuilt(process)
    assert again.density == pytest.approx(process.density, abs=0.01)
    assert again.summary.base_printing_time == pytest.approx(
        process.summary.base_printing_time, rel=0.03)


def test_the_example_says_that_it_is_invented():
    curve = read_curve(CURVES / "kallitype.curve.json")
    assert "invented" in (curve.setup.notes or "")
    assert np.all(np.diff(curve.correction.level) >= 0.0)

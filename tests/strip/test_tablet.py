"""Step tablets."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tonewright.errors import OptionError, ReadingsError
from tonewright.measured.columns import Source, Table
from tonewright.scales import STOP
from tonewright.strip.tablet import Tablet, nominal_tablet, tablet_from_table

REFERENCE = Path(__file__).parents[1] / "reference"
FACTS = json.loads((REFERENCE / "common_practice.json").read_text(encoding="utf-8"))["facts"]


def table(columns, rows):
    return Table(columns, tuple(tuple(map(str, r)) for r in rows), Source("t.csv", "csv", "0" * 64),
                 tuple(range(2, 2 + len(rows))))


def test_the_31_step_tablet():  # common practice, no source
    tablet = nominal_tablet("31")
    span = tablet.densities[-1] - tablet.densities[0]
    assert span == pytest.approx(FACTS["31-step tablet spans density"])
    assert tablet.step == pytest.approx(FACTS["its step"])
    assert span / STOP == pytest.approx(FACTS["span in stops"], abs=0.04)
    assert STOP / tablet.step == pytest.approx(FACTS["steps to a stop"], abs=0.02)


@pytest.mark.parametrize(("text", "count", "step"), [
    ("21", 21, 0.15), ("25x0.12", 25, 0.12), ("11 x 0,3", 11, 0.3), ("31", 31, 0.10)])
def test_nominal_tablets(text, count, step):
    tablet = nominal_tablet(text)
    assert len(tablet.densities) == count
    assert np.diff(tablet.density) == pytest.approx(step)
    assert tablet.densities[0] == 0.0


@pytest.mark.parametrize(("text", "code"), [
    ("", "tablet_unknown"), ("thirty", "tablet_unknown"), ("31 steps", "tablet_unknown"),
    ("3x0.1", "tablet_too_short"), ("0x0.1", "tablet_too_short"), ("31x0", "tablet_not_rising"),
    ("31x9", "tablet_beyond_film")])
def test_impossible_tablets_are_refused(text, code):
    with pytest.raises(OptionError) as caught:
        nominal_tablet(text)
    assert caught.value.code == code


def test_a_measured_tablet_is_read_in_the_order_of_its_steps():
    tablet = tablet_from_table(table(("step", "density"), [(7 - k, 0.1 * (7 - k)) for k in
                                                           range(7)]))
    assert tablet.densities == pytest.approx([0.1 * k for k in range(1, 8)])
    assert tablet.calibrated


@pytest.mark.parametrize(("columns", "rows", "said"), [
    (("step", "colour"), [(1, 2)] * 7, "step and density"),
    (("step", "density"), [(k, k / 10) for k in (1, 2, 3, 5, 6, 7)], "without a gap"),
    (("step", "density"), [(k, "x") for k in range(1, 8)], "x"),
])
def test_a_file_that_is_no_tablet(columns, rows, said):
    with pytest.raises(ReadingsError, match=said):
        tablet_from_table(table(columns, rows))


def test_steps_that_do_not_grow_are_named():
    with pytest.raises(OptionError, match="step 3"):
        Tablet("mine", (0.0, 0.1, 0.1, 0.2, 0.3, 0.4))

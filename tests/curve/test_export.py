"""Curves as tables."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.export import MOST_ROWS, csv_text, curve_rows, response_rows
from tonewright.curve.make import make_curve
from tonewright.errors import OptionError
from tonewright.record.setup import Setup
from tonewright.virtual.darkroom import Darkroom, measure_target


@pytest.fixture(scope="module")
def curve():
    readings = measure_target(Darkroom(), np.linspace(0.05, 0.95, 21), 1, seed=1).readings
    return make_curve(readings, Settings(Aim()), Setup(), "kallitype")


def test_curve_columns_in_their_order(curve):
    table = curve_rows(curve, 11)
    assert list(table) == [
        "image_lightness", "print_lightness", "level", "level_low", "level_high", "code"
    ]  # fmt: skip
    np.testing.assert_allclose(table["image_lightness"], np.linspace(0, 100, 11))
    np.testing.assert_array_equal(table["level"], curve.level_at(table["image_lightness"]))
    np.testing.assert_array_equal(table["code"], np.floor(65535 * (1 - table["level"]) + 0.5))
    assert np.all(table["level_low"] <= table["level"])
    assert np.all(table["level"] <= table["level_high"])


def test_response_columns_over_the_range_that_is_known(curve):
    table = response_rows(curve, 7)
    assert list(table) == ["level", "lightness", "lightness_low", "lightness_high", "density"]
    assert table["level"][0] == pytest.approx(0.05)
    assert table["level"][-1] == pytest.approx(0.95)
    np.testing.assert_allclose(scales.density_to_lightness(table["density"]), table["lightness"])
    assert np.all(np.diff(table["density"]) <= 0.0)


@pytest.mark.parametrize("rows", [2, 3, MOST_ROWS])
@pytest.mark.parametrize("make", [curve_rows, response_rows])
def test_as_many_rows_as_asked(curve, make, rows):
    assert {column.size for column in make(curve, rows).values()} == {rows}


@pytest.mark.parametrize("rows", [-5, 0, 1, MOST_ROWS + 1])
@pytest.mark.parametrize("make", [curve_rows, response_rows])
def test_impossible_rows_are_refused(curve, make, rows):
    with pytest.raises(OptionError, match=f"{rows} rows?") as caught:
        make(curve, rows)
    assert caught.value.code == "rows"


def test_csv_reads_back(curve):
    text = csv_text(curve_rows(curve, 21), ["kallitype", "invented"])
    assert text.startswith("# kallitype\n# invented\nimage_lightness,print_lightness,")
    assert text.endswith("\n")
    assert "\r" not in text
    rows = list(csv.DictReader(line for line in io.StringIO(text) if not line.startswith("#")))
    assert len(rows) == 21
    np.testing.assert_allclose(
        [float(r["level"]) for r in rows], curve_rows(curve, 21)["level"], atol=5e-7
    )
    assert all(r["code"].isdigit() for r in rows)


def test_csv_of_a_response_reads_back_as_readings(curve):
    """A table that came out can go in again: the columns are those of a measurement file."""
    from tonewright.measured.columns import Source, Table
    from tonewright.measured.readings import readings_from_table

    columns = response_rows(curve, 21)
    kept = {name: columns[name] for name in ("level", "density")}
    rows = [line.split(",") for line in csv_text(kept, []).splitlines()]
    table = Table(
        columns=tuple(rows[0]), rows=tuple(tuple(r) for r in rows[1:]),
        line_numbers=tuple(range(2, 23)), source=Source("response.csv", "csv", "00", ()),
    )  # fmt: skip
    np.testing.assert_allclose(readings_from_table(table).density, columns["density"], atol=1e-6)

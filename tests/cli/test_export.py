"""`tonewright export` as it is typed."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from commands import refused
from tonewright.cli import main
from tonewright.files.documents import read_curve
from tonewright.virtual.darkroom import Darkroom

CURVE_COLUMNS = ["image_lightness", "print_lightness", "level", "level_low", "level_high", "code"]
RESPONSE_COLUMNS = ["level", "lightness", "lightness_low", "lightness_high", "density"]


@pytest.fixture(scope="module")
def document(tmp_path_factory):
    folder = tmp_path_factory.mktemp("export")
    level = np.linspace(0, 1, 21)
    rows = [f"{u},{d:.3f}" for u, d in zip(level, Darkroom().print_density(level), strict=True)]
    (folder / "a.csv").write_text("\n".join(["level,density", *rows]), encoding="utf-8")
    output = folder / "a.curve.json"
    done = CliRunner().invoke(main, ["fit", str(folder / "a.csv"), "-o", str(output)])
    assert done.exit_code == 0, done.output
    return output.read_text(encoding="utf-8")


@pytest.fixture
def run(tmp_path, monkeypatch, document):
    monkeypatch.chdir(tmp_path)
    Path("a.curve.json").write_text(document, encoding="utf-8")
    return lambda *arguments: CliRunner().invoke(main, ["export", *arguments])


def rows_of(text):
    return list(csv.reader(io.StringIO(text)))


@pytest.mark.parametrize(
    ("kind", "columns"), [("curve-csv", CURVE_COLUMNS), ("response-csv", RESPONSE_COLUMNS)]
)
def test_to_a_file_and_to_the_screen(run, kind, columns):
    done = run("a.curve.json", "--as", kind, "--rows", "17", "-o", "out.csv")
    assert done.exit_code == 0, done.output
    assert "Written:  out.csv (" in done.output
    text = Path("out.csv").read_text(encoding="utf-8")
    head, *rows = rows_of(text)
    assert head == columns
    assert len(rows) == 17
    assert all(len(row) == len(columns) for row in rows)
    assert run("a.curve.json", "--as", kind, "--rows", "17").stdout == text


@pytest.mark.parametrize(
    ("kind", "columns"), [("curve-csv", CURVE_COLUMNS), ("response-csv", RESPONSE_COLUMNS)]
)
def test_as_one_object(run, kind, columns):
    call = ("a.curve.json", "--as", kind, "--rows", "5", "--json")
    said = json.loads(run(*call).stdout)
    table = said.pop("table")
    assert said == {"curve": "a", "as": kind, "rows": 5, "columns": columns, "output": None}
    head, *rows = rows_of(run(*call[:-1]).stdout)
    assert list(table) == head
    assert [list(row) for row in zip(*table.values(), strict=True)] == [
        [float(cell) for cell in row] for row in rows]
    said = json.loads(run(*call, "-o", "out.csv").stdout)
    assert said == {"curve": "a", "as": kind, "rows": 5, "columns": columns, "output": "out.csv"}
    assert rows_of(Path("out.csv").read_text(encoding="utf-8")) == [head, *rows]


def test_values_are_those_of_the_curve(run):
    _, *rows = rows_of(run("a.curve.json", "--as", "curve-csv", "--rows", "3").stdout)
    curve = read_curve("a.curve.json")
    image = [0.0, 50.0, 100.0]
    np.testing.assert_allclose([float(r[0]) for r in rows], image)
    np.testing.assert_allclose([float(r[2]) for r in rows], curve.level_at(image), atol=1e-6)
    assert [int(r[5]) for r in rows] == curve.code_at(image).tolist()


def test_101_rows_unless_told_otherwise(run):
    assert len(rows_of(run("a.curve.json", "--as", "curve-csv").stdout)) == 102


@pytest.mark.parametrize("rows", ["-5", "0", "1", "65537"])
def test_impossible_rows(run, rows):
    message = refused(run, "a.curve.json", "--as", "curve-csv", "--rows", rows, "-o", "x.csv")
    assert "2 to 65536" in message


def test_wrong_words_and_files(run):
    assert "--as" in refused(run, "a.curve.json")
    assert "curve-csv" in refused(run, "a.curve.json", "--as", "spreadsheet")
    assert "2.5" in refused(run, "a.curve.json", "--as", "curve-csv", "--rows", "2.5")
    assert "no file" in refused(run, "none.curve.json", "--as", "curve-csv")
    Path("t.csv").write_text("level,density\n0,1\n", encoding="utf-8")
    assert "JSON" in refused(run, "t.csv", "--as", "curve-csv")
    assert "folder" in refused(run, ".", "--as", "curve-csv")


def test_outputs_that_cannot_be(run, document):
    Path("x.csv").write_text("mine", encoding="utf-8")
    assert "--force" in refused(run, "a.curve.json", "--as", "curve-csv", "-o", "x.csv")
    assert Path("x.csv").read_text(encoding="utf-8") == "mine"
    assert "no folder" in refused(run, "a.curve.json", "--as", "curve-csv", "-o", "none/x.csv")
    assert "is being read" in refused(
        run, "a.curve.json", "--as", "curve-csv", "-o", "a.curve.json", "--force"
    )
    assert Path("a.curve.json").read_text(encoding="utf-8") == document
    assert run("a.curve.json", "--as", "curve-csv", "-o", "x.csv", "--force").exit_code == 0


@pytest.mark.parametrize("damage", ["cut", "version", "falls", "nan"])
def test_a_damaged_curve_is_refused(run, document, damage):
    data = json.loads(document)
    if damage == "version":
        data["version"] = 1
    elif damage == "nan":
        data["response"]["lightness"][3] = None
    else:
        data["correction"]["level"][500] = 0.999
    text = document[: len(document) // 2] if damage == "cut" else json.dumps(data)
    Path("a.curve.json").write_text(text, encoding="utf-8")
    for kind in ("curve-csv", "response-csv"):
        assert refused(run, "a.curve.json", "--as", kind, "-o", "x.csv")

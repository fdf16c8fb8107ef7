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


def test_an_encoding_with_a_decimal_comma(run):
    done = run("a.curve.json", "--as", "points", "--encoding", "gamma:1,8")
    assert done.stdout == run("a.curve.json", "--as", "points", "--encoding", "gamma:1.8").stdout
    assert done.stdout.startswith("picture (gamma:1.8),")


@pytest.mark.parametrize(
    ("kind", "columns"), [("curve-csv", CURVE_COLUMNS), ("response-csv", RESPONSE_COLUMNS)]
)
def test_to_a_file_and_to_the_screen(run, kind, columns):
    done = run("a.curve.json", "--as", kind, "--rows", "17", "-o", "out.csv")
    assert done.exit_code == 0, done.output
    assert "Written:  out.csv (" in done.output and "Next:     open it in a sp" in done.output
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


FORMS = ("table", "points", "lut", "icc-output", "icc-link", "readings", "aim")
SUFFIX = {"lut": ".clf", "icc-output": ".icc", "icc-link": ".icc", "readings": ".txt",
          "aim": ".txt"}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_is_written_read_back_and_told(run, form):
    name = f"k{SUFFIX.get(form, '.csv')}"
    done = run("a.curve.json", "--as", form, "-o", name)
    assert done.exit_code == 0, done.output
    words = " ".join(done.stdout.split())
    assert "read back by " in words and f"Written: {name} Next: " in words
    said = json.loads(run("a.curve.json", "--as", form, "-o", name, "--force", "--json").stdout)
    assert (said["curve"], said["as"], said["output"]) == ("a", form, name)
    off, light = said["proof"]["codes_off"], said["proof"]["lightness_off"]
    assert form == "points" or (off is not None and off <= 1) or light <= 0.05
    assert said["encoding"] == (None if form in ("readings", "aim") else "gamma:2.2")


@pytest.mark.parametrize(("form", "name"), [
    *((form, "x.icc") for form in ("curve-csv", "response-csv", "table", "points", "lut", "aim")),
    ("icc-link", "x.csv"), ("icc-output", "x.tif"), ("readings", "x.curve.json"), ("table", "x")])
def test_a_name_that_does_not_fit_is_refused(run, form, name):
    said = refused(run, "a.curve.json", "--as", form, "-o", name)
    assert name in said and "Call it x" in " ".join(said.split())


@pytest.mark.parametrize(("options", "said"), [
    (("icc-link",), "(-o NAME.icc)"), (("icc-output", "--json"), "(-o NAME.icc)"),
    (("points", "--points", "9"), "(--points 14)"),
    (("points", "--points", "21"), "Choose 10 to 20"),
    (("table", "--separator", "comma", "--decimal", "comma"), "(--separator semicolon)"),
    (("table", "--encoding", "srbg"), "the encoding is 'srbg'"),
    (("table", "--rows", "20"), "it counts for curve-csv and response-csv"),
    (("lut", "--depth", "8", "-o", "k.clf"), "a depth is asked for, of lut"),
    (("aim", "--encoding", "srgb"), "an encoding is asked for, of aim"),
    (("icc-output", "--decimal", "comma", "-o", "k.icc"), "a separator or decimal sign"),
    (("lut", "--plot", "p.png", "-o", "k.clf"), "Only points are drawn"),
    (("points", "--plot", "p.tif"), "is written as a PNG"),
    (("points", "--plot", "p.csv", "-o", "p.csv"), "is written as a PNG"),
    (("lut", "-o", "none/k.clf"), "no folder"), (("table", "--depth", "12"), "16 or 8")])
def test_wrong_options_are_refused(run, options, said):
    words = " ".join(refused(run, "a.curve.json", "--as", *options).split())
    assert said.casefold() in words.casefold()


def test_text_goes_to_the_screen_without_an_output(run):
    assert run("a.curve.json", "--as", "aim").stdout.startswith("CGATS.17\n")
    text = run("a.curve.json", "--as", "table", "--depth", "8", "--decimal", "comma").stdout
    head = "picture_value (gamma:2.2);image_lightness;ink_percent;code_8;code_16"
    assert text.splitlines()[0] == head
    said = json.loads(run("a.curve.json", "--as", "points", "--json").stdout)
    assert said["proof"] is None and len(said["table"]["picture (gamma:2.2)"]) == 14


def test_points_are_drawn(run):
    done = run("a.curve.json", "--as", "points", "-o", "p.csv", "--plot", "p.png")
    assert done.exit_code == 0, done.output
    assert Path("p.png").read_bytes().startswith(b"\x89PNG")


def test_a_curve_in_the_dialect_of_a_spreadsheet(run):
    call = ("a.curve.json", "--as", "curve-csv", "--rows", "3")
    plain = run(*call).stdout
    assert run(*call, "--decimal", "comma").stdout == plain.replace(",", ";").replace(".", ",")
    assert run(*call, "--separator", "tab").stdout == plain.replace(",", "\t")

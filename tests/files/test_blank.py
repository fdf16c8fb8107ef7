"""Tables to fill in: as they are written, filled in as spreadsheets save them, and read back."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from commands import refused, said
from prints import curve_of
from tonewright import scales
from tonewright.cli import main
from tonewright.files.documents import write_document
from tonewright.files.targets import read_target
from tonewright.virtual.darkroom import Darkroom

STRIP = [1.62 - 1.5 / (1 + np.exp(-(k - 15) / 3)) for k in range(31)]


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, list(map(str, arguments)))


def table(path):
    with Path(path).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def spreadsheet(rows, path):
    """As one saves a table where numbers have commas: semicolons, its own code page and line ends,
    a row of nothing at the end."""
    lines = [rows[0].keys(), *(row.values() for row in rows)]
    text = "\r\n".join(";".join(str(cell).replace(".", ",") for cell in line) for line in lines)
    empty = ";" * (len(rows[0]) - 1)
    Path(path).write_bytes((text + f"\r\n{empty}\r\n").encode("cp1252"))


def draw(run, *more):
    done = run("target", "-o", "T.tif", "--ppi", "100", *more)
    assert done.exit_code == 0, done.output
    return table("T.csv")


def test_a_target_s_table_lists_its_patches_in_reading_order(run):
    rows = draw(run)
    target = read_target("T.target.json")
    assert list(rows[0]) == ["patch", "level", "density"]
    assert [r["patch"] for r in rows] == [p.name for p in target.patches]
    assert [float(r["level"]) for r in rows] == [p.level for p in target.patches]
    assert {r["density"] for r in rows} == {""}


def test_filled_in_it_is_a_file_of_readings(run):
    rows = draw(run)
    for number, row in enumerate(rows):
        density = Darkroom().print_density(np.array([float(row["level"])]))[0]
        row["density"] = "" if number in (4, 11) else f"{density:.2f}"
    spreadsheet(rows, "T.csv")
    done = run("fit", "T.csv", "-o", "a.curve.json", "--json")
    assert done.exit_code == 0, done.output
    blank = [f for f in json.loads(done.stdout)["findings"] if f["code"] == "cells_blank"]
    assert [f["lines"] for f in blank] == [[6, 13]]
    patches = json.loads(Path("a.curve.json").read_text(encoding="utf-8"))["readings"]["patches"]
    kept = [r for r in rows if r["density"]]
    assert patches["patch"] == [r["patch"] for r in kept]
    assert patches["density"] == [float(r["density"]) for r in kept]


def test_a_chart_of_inks_names_its_colours(run):
    rows = draw(run, "--ink-colours")
    assert list(rows[0]) == ["patch", "level", "red", "green", "blue", "density"]
    assert {(r["red"], r["green"], r["blue"]) for r in rows if float(r["level"]) == 0.0} == {
        ("255", "255", "255")}


def test_measurements_are_never_replaced_by_an_empty_table(run):
    rows = draw(run)
    assert run("target", "-o", "T.tif", "--ppi", "100", "--force").exit_code == 0
    rows[0]["density"] = "1.62"
    spreadsheet(rows, "T.csv")
    assert "--force" in said(run, "target", "-o", "T.tif", "--ppi", "100")
    assert "T.csv holds measurements" in said(
        run, "target", "-o", "T.tif", "--ppi", "100", "--force")
    Path("U.csv").write_text("my notes\n", encoding="utf-8")
    assert "U.csv is there already" in said(run, "target", "-o", "U.tif")


NEGATIVE = ("negative", "p.tif", "--curve", "k.curve.json", "--tone-scale", "-o")


def negative(run):
    """A negative with a tone scale; the rows of its table, and each one's density by the aim."""
    write_document("k.curve.json", curve_of())
    picture = np.tile(np.linspace(0, 65535, 400).astype(np.uint16), (500, 1))
    tifffile.imwrite("p.tif", picture, photometric="minisblack", metadata=None,
                     resolution=(100, 100))
    done = run(*NEGATIVE, "n.tif")
    assert done.exit_code == 0, done.output
    rows = table("n.csv")
    aims = np.array([float(r["aim_lightness"]) for r in rows])
    return done, rows, scales.lightness_to_density(aims)


@pytest.mark.parametrize("stops", [0.0, 0.15])
def test_a_tone_scale_s_table_is_checked_without_its_layout(run, stops):
    done, rows, densities = negative(run)
    assert "n.csv (to fill in by hand)" in done.stdout
    assert "tonewright check k.curve.json n.csv" in " ".join(done.stdout.split())
    assert [r["patch"] for r in rows] == [p.name for p in read_target("n.target.json").patches]
    for number, (row, density) in enumerate(zip(rows, densities + stops, strict=True)):
        row["density"] = "" if number in (4, 7) else f"{density:.2f}"
    spreadsheet(rows, "n.csv")
    done = run("check", "k.curve.json", "n.csv", "--json")
    assert done.exit_code == (1 if stops else 0), done.output
    blank = [f for f in json.loads(done.stdout)["findings"] if f["code"] == "cells_blank"]
    assert [f["lines"] for f in blank] == [[6, 9]]
    assert "n.csv holds measurements" in said(run, *NEGATIVE, "n.tif", "--force")


def test_a_tone_scale_s_table_comes_with_the_negative_or_not_at_all(run):
    negative(run)
    assert run(*NEGATIVE, "n.tif", "--force").exit_code == 0
    for name in ("n.tif", "n.target.json"):
        Path(name).unlink()
    assert "n.csv is there already" in said(run, *NEGATIVE, "n.tif")
    assert "n.csv holds measurements" not in said(run, *NEGATIVE, "none/n.tif", "--force")
    done = run(*NEGATIVE[:2], "q.tif", *NEGATIVE[2:], "out", "--json")  # there is no q.tif
    assert json.loads(done.stdout)["outputs"][0]["table"] == str(Path("out", "p-negative.csv"))
    assert sorted(p.name for p in Path("out").iterdir()) == [
        "p-negative.csv", "p-negative.target.json", "p-negative.tif"]


@pytest.mark.parametrize("filled", [
    "patch,lightness\nA1,18.2\n", "patch;L*;a*;b*\r\nA1;18,2;0;0\r\n", "patch,LAB_L\nA1,18\n",
    "patch,XYZ_Y\nA1,3\n", "patch,nm500,nm510\nA1,3,4\n", "patch,density\nA1,\nA2,1.6\n"])
def test_whatever_was_measured_is_kept(run, filled):
    Path("T.csv").write_text(filled, encoding="utf-8", newline="")
    assert "T.csv holds measurements" in said(
        run, "target", "-o", "T.tif", "--ppi", "100", "--force")


def test_read_puts_its_readings_in_the_place_of_the_empty_table_alone(run):
    rows = draw(run)
    densities = [Darkroom().print_density(np.array([float(r["level"])]))[0] for r in rows]
    listed = [f"{r['patch']},{d:.2f}" for r, d in zip(rows, densities, strict=True)]
    Path("list.csv").write_text("\n".join(["patch,density", *listed]), encoding="utf-8")
    call = ("read", "list.csv", "--target", "T.target.json", "-o", "T.csv")
    done = run(*call)
    assert done.exit_code == 0, done.output
    assert [float(r["density"]) for r in table("T.csv")] == [round(d, 2) for d in densities]
    assert "--force" in said(run, *call)
    Path("T.csv").write_text("patch,level,density\n", encoding="utf-8")  # not of this target
    assert "--force" in said(run, *call)


def test_a_table_of_levels_is_not_replaced_by_the_empty_one(run):
    Path("T.csv").write_text("level\n0\n0.2\n0.4\n0.6\n0.8\n1\n", encoding="utf-8")
    for more in ((), ("--force",)):
        assert "T.csv" in said(run, "target", "-o", "T.tif", "--levels-file", "T.csv", *more)


@pytest.mark.parametrize(("more", "columns"), [
    ((), ["step", "film", "bare"]), (("--halves", "film"), ["step", "film"]),
    (("--halves", "bare"), ["step", "bare"]), (("--halves", "bare/film"), ["step", "film", "bare"]),
    (("--time", "8min30s"), ["step", "time", "film", "bare"])])
def test_a_strip_s_table(run, more, columns):
    done = run("strip", "--tablet", "31", "--blank", "s.csv", *more)
    assert done.exit_code == 0, done.output
    rows = table("s.csv")
    assert list(rows[0]) == columns
    assert [r["step"] for r in rows] == [str(k) for k in range(1, 32)]
    assert {r.get("time") for r in rows} == {"8 min 30 s" if "time" in columns else None}


@pytest.mark.parametrize("time", ["8min30s", None])
def test_a_strip_s_table_filled_in_is_read(run, time):
    run("strip", "--tablet", "31", "--blank", "s.csv", *(["--time", time] if time else []))
    rows = table("s.csv")
    for row, density in zip(rows, STRIP, strict=True):
        row["film"], row["bare"] = f"{density:.2f}", ""
    rows[20]["film"] = ""
    spreadsheet(rows, "s.csv")
    call = ["strip", "s.csv", "--tablet", "31", "--json", "-o", "a.process.json"]
    done = run(*call, *([] if time else ["--time", "8min30s"]))
    assert done.exit_code == 0, done.output
    process = json.loads(Path("a.process.json").read_text(encoding="utf-8"))
    patches = process["strip"]["patches"]
    assert len(patches["step"]) == 30 and 21 not in patches["step"]
    assert "cells_blank" in done.stdout


def test_left_empty_it_says_so(run):
    run("strip", "--tablet", "31", "--blank", "s.csv")
    assert "no density is filled in yet" in said(
        run, "strip", "s.csv", "--tablet", "31", "--time", "8min")
    draw(run)
    assert "no density is filled in yet" in said(run, "fit", "T.csv", "-o", "a.curve.json")


def test_what_a_blank_table_is_not(run):
    run("strip", "--tablet", "31", "--blank", "s.csv")
    strip = ("strip", "--tablet", "31", "--blank")
    assert "--force" in refused(run, *strip, "s.csv")
    assert "no tablet is named" in said(run, "strip", "--blank", "t.csv")
    assert "--blank and s.csv" in said(run, *strip, "t.csv", "s.csv")
    assert "--blank and --merged" in said(run, *strip, "t.csv", "--merged", "2")
    assert "--blank and p.json" in said(run, *strip, "t.csv", "-o", "p.json")
    assert "no folder" in said(run, *strip, "none/t.csv")
    assert "one table" in said(run, *strip, "t.csv", "--time", "8min", "--time", "9min")
    Path("s.csv").write_text("step;film\n1;1,62\n", encoding="utf-8")
    assert "holds measurements" in said(run, *strip, "s.csv", "--force")

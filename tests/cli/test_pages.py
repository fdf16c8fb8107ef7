"""`tonewright report` and `tonewright worksheet` as they are typed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from commands import opened, said
from tonewright import scales
from tonewright.cli import main
from tonewright.files.documents import read_curve

CURVES = Path(__file__).parents[2] / "curves"


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs commands in a folder with a curve, its process, a plain curve, a picture and a check."""
    monkeypatch.chdir(tmp_path)
    for name in ("kallitype.curve.json", "kallitype.process.json"):
        shutil.copy(CURVES / name, name.removeprefix("kallitype.").replace("curve", "k.curve")
                    .replace("process", "k.process"))
    ramp = np.tile(np.linspace(0, 65535, 300).astype(np.uint16), (200, 1))
    tifffile.imwrite("p.tif", ramp, photometric="minisblack", metadata=None)
    return lambda *arguments: CliRunner().invoke(main, [*arguments])


def made(run, *arguments):
    done = run(*arguments)
    assert done.exit_code in (0, 1), done.output
    return done


def make_check(run, name="c.check.json", curve="k.curve.json", off=0.0):
    """A check of a print that lies on its aims, or so many L* off."""
    image = np.linspace(0.0, 100.0, 11)
    light = read_curve(curve).print_lightness_at(image) + off
    density = scales.lightness_to_density(light)
    rows = [f"{i:g},{d:.4f}" for i, d in zip(image, density, strict=True)]
    Path("r.csv").write_text("\n".join(["image_lightness,density", *rows]) + "\n", encoding="utf-8")
    made(run, "check", curve, "r.csv", "--date", "2026-03-31", "-o", name)
    Path("r.csv").unlink()


def plain_curve(run, *options):
    """A curve fitted without a strip."""
    made(run, "fit", str(CURVES / "kallitype-target.csv"), "-o", "plain.curve.json", *options)


def test_a_report_opens_each_file_once(run, monkeypatch):
    make_check(run)
    count = opened(monkeypatch)
    done = made(run, "report", "k.curve.json", "c.check.json", "-o", "r.html", "--json")
    found = json.loads(done.stdout)
    assert count["k.curve.json"] == count["c.check.json"] == 1
    assert (found["output"], len(found["aims"]), found["time_unit"]) == ("r.html", 11, "s")
    assert found["printing_time_s"] == 1440.0 and found["one_step_less_s"] == 1155.0
    assert "what the curve promises" in Path("r.html").read_text(encoding="utf-8")


def test_a_print_that_failed_says_what_to_do(run):
    make_check(run, off=8.0)
    done = made(run, "report", "k.curve.json", "c.check.json", "-o", "r.html")
    assert "do next   make negatives" not in done.stdout
    assert "not what the curve promises" in Path("r.html").read_text(encoding="utf-8")


def test_a_strip_tells_the_time_of_a_curve_without_one(run):
    plain_curve(run)
    bare = made(run, "report", "plain.curve.json", "-o", "a.html")
    assert "not known" in bare.stdout
    done = made(run, "report", "plain.curve.json", "k.process.json", "-o", "b.html", "--json")
    found = json.loads(done.stdout)
    # the process as `strip` evaluated it: test_strip holds that against the tablet
    assert found["printing_time_s"] == pytest.approx(1470.0, rel=0.03)
    assert found["one_step_less_s"] == pytest.approx(found["printing_time_s"] * 10**-0.1, rel=0.03)


def test_without_a_strip_a_third_of_a_stop_less_is_named(run):
    plain_curve(run, "--printing-time", "8min")
    done = made(run, "report", "plain.curve.json", "-o", "a.html")
    assert "print for 8 min; a third of a stop less: 6 min 15 s" in " ".join(done.stdout.split())


@pytest.mark.parametrize(("arguments", "words"), [
    (("k.curve.json",), "-o"),
    (("k.curve.json", "-o", "r.pdf"), "A page is an HTML file. Call it r.html"),
    (("k.curve.json", "-o", "no/r.html"), "no folder"),
    (("k.curve.json", "k.curve.json", "-o", "r.html"), "this is a correction curve"),
    (("k.process.json", "-o", "r.html"), "this is a strip's process file"),
    (("p.tif", "-o", "r.html"), "p.tif"),
    (("k.curve.json", "p.tif", "-o", "r.html"), "p.tif"),
    (("k.curve.json", "k.process.json", "k.process.json", "-o", "r.html"), "one strip"),
    (("k.curve.json", "-o", "k.curve.json", "--force"), "HTML"),
    (("no.curve.json", "-o", "r.html"), "no file no.curve.json"),
])  # fmt: skip
def test_a_report_refuses_what_does_not_belong(run, arguments, words):
    assert words in said(run, "report", *arguments)


def test_a_report_refuses_the_check_of_another_curve_and_an_older_page(run):
    make_check(run)
    plain_curve(run)
    assert "c.check.json is a check of" in said(run, "report", "plain.curve.json", "c.check.json",
                                                "-o", "r.html")
    made(run, "report", "k.curve.json", "-o", "r.html")
    assert "--force" in said(run, "report", "k.curve.json", "-o", "r.html")


def test_a_report_refuses_the_strip_of_another_paper(run):
    plain_curve(run, "--paper", "linen")
    assert "the curve linen" in said(run, "report", "plain.curve.json", "k.process.json", "-o",
                                     "r.html")


def test_a_strip_in_units_goes_with_no_curve_in_minutes(run):
    plain_curve(run, "--printing-time", "120units")
    assert "cannot be compared" in said(run, "report", "plain.curve.json", "k.process.json", "-o",
                                        "r.html")
    assert "cannot be compared" in said(run, "worksheet", "plain.curve.json", "--time", "8min",
                                        "-o", "w.html")
    done = made(run, "worksheet", "plain.curve.json", "-o", "w.html")
    assert "base 120 units" in " ".join(done.stdout.split())


def negative(run, name="n.tif", curve="k.curve.json", *options):
    made(run, "negative", "p.tif", "--curve", curve, "-o", name, "--width", "200mm", *options)


def test_a_worksheet_takes_times_and_sizes_from_the_negatives(run):
    negative(run)
    negative(run, "m.tif", "k.curve.json", "--margin", "10mm", "--ppi", "60")
    plain_curve(run, "--printing-time", "5min")
    negative(run, "o.tif", "plain.curve.json")
    done = made(run, "worksheet", "k.curve.json", "n.tif", "m.tif", "o.tif", "-o", "w.html",
                "--coating-margin", "1cm", "--sensitiser", "2,0", "--coats", "200x250mm",
                "--json")
    one, framed, other = json.loads(done.stdout)["sheets"]
    # 300 x 200 pixels, 200 mm wide; with 10 mm of border 220 x 153.3
    assert one["size_mm"] == pytest.approx([200.0, 133.3], abs=0.1)
    assert framed["size_mm"] == pytest.approx([220.0, 153.3], abs=1.0)
    assert one["coated_mm"] == pytest.approx([220.0, 153.3], abs=0.1)
    assert one["sensitiser_ml"] == pytest.approx(2.0 * 220.0 * 153.33 / 50_000, abs=0.01)
    assert one["time"] == "24 min" and one["other_curve"] is None
    assert other["time"] == "5 min" and other["other_curve"] == "plain"
    assert "Made through another curve: plain." in Path("w.html").read_text(encoding="utf-8")


def test_the_ladder_is_in_thirds_of_a_stop(run):
    done = made(run, "worksheet", "k.curve.json", "--time", "8min", "-o", "w.html", "--json")
    found = json.loads(done.stdout)
    times = [rung["time_s"] for rung in found["ladder"]]
    stops = [rung["stops"] for rung in found["ladder"]]
    assert stops == pytest.approx(np.arange(-3, 4) / 3, abs=1e-4)
    assert [times[0], times[-1]] == pytest.approx([240.0, 960.0], rel=0.03)
    assert found["sheets"] == []


@pytest.mark.parametrize(("arguments", "words"), [
    (("k.curve.json", "p.tif", "-o", "w.html"), "not say that it is a negative"),
    (("k.curve.json", "k.curve.json", "-o", "w.html"), "k.curve.json"),
    (("k.curve.json", "no.tif", "-o", "w.html"), "no file no.tif"),
    (("k.curve.json", "-o", "w.txt"), "HTML"),
    (("k.curve.json", "-o", "w.html", "--time", "8"), "unit"),
    (("k.curve.json", "-o", "w.html", "--sensitiser", "2"), "--coats 8x10"),
    (("k.curve.json", "-o", "w.html", "--coats", "8x10"), "--sensitiser"),
    (("k.curve.json", "-o", "w.html", "--sensitiser", "-2", "--coats", "8x10"), "above 0"),
    (("k.curve.json", "-o", "w.html", "--sensitiser", "nan", "--coats", "8x10"), "above 0"),
    (("k.curve.json", "-o", "w.html", "--sensitiser", "2", "--coats", "big"), "size"),
    (("k.curve.json", "-o", "w.html", "--coating-margin", "10"), "unit"),
    (("k.process.json", "-o", "w.html"), "this is a strip's process file"),
])  # fmt: skip
def test_a_worksheet_refuses_what_does_not_belong(run, arguments, words):
    assert words in said(run, "worksheet", *arguments)


def test_a_worksheet_is_not_written_over(run):
    negative(run)
    made(run, "worksheet", "k.curve.json", "n.tif", "-o", "w.html")
    assert "--force" in said(run, "worksheet", "k.curve.json", "-o", "w.html")
    made(run, "worksheet", "k.curve.json", "-o", "w.html", "--force")

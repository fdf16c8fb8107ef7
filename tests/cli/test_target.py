"""`tonewright target` as it is typed, in the right order and in the wrong one."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from tonewright.cli import main
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.files.documents import write_document
from tonewright.files.targets import read_target
from tonewright.record.setup import Setup
from tonewright.virtual import darkroom

SMALL = ("--ppi", "100")


@pytest.fixture(scope="module")
def curve(tmp_path_factory):
    """A curve of an invented process on disk."""
    room = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
    readings = darkroom.measure_target(room, np.linspace(0, 1, 21), 2, seed=3).readings
    made = make_curve(readings, Settings(Aim()), Setup(), "invented")
    path = tmp_path_factory.mktemp("curve") / "invented.curve.json"
    write_document(path, made)
    return path, made


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, ["target", *map(str, arguments)])


def test_draws_a_negative_and_its_layout_and_says_what_comes_next(run):
    done = run("-o", "T.tif", *SMALL, "--name", "cotton", "--date", "2026-03-01")
    assert done.exit_code == 0, done.output
    target = read_target("T.target.json")
    assert (target.name, target.date, target.ppi, target.mirrored) == ("cotton", "2026-03-01",
                                                                       100.0, True)
    with tifffile.TiffFile("T.tif") as file:
        page = file.pages[0]
        assert page.dtype == np.uint16 and page.photometric == tifffile.PHOTOMETRIC.MINISBLACK
        assert page.shape == (700, 500)  # 5 x 7 inches
    words = " ".join(done.stdout.split())
    assert "Written: T.tif (to print), T.target.json" in words
    assert "and T.csv (to fill in by hand)" in words
    assert "tonewright read SCAN.tif --target T.target.json -o READINGS.csv" in words
    assert "gloves" in words and "local rules" in words


def test_json_is_one_object_and_nothing_else(run):
    done = run("-o", "T.tif", *SMALL, "--levels", 11, "--repeat", 3, "--json")
    assert done.exit_code == 0 and done.stderr == ""
    found = json.loads(done.stdout)
    assert (found["levels"], found["tone_patches"]) == (11, 33)
    assert found["patches"] == len(read_target("T.target.json").patches)
    assert found["patches"] == 33 + found["clear_patches"] + found["full_patches"]


def test_the_sheet_is_as_asked(run):
    assert run("-o", "A.tif", *SMALL, "--size", "130x180mm").exit_code == 0
    assert run("-o", "B.tif", *SMALL, "--paper-size", "letter", "--landscape").exit_code == 0
    first, second = read_target("A.target.json"), read_target("B.target.json")
    assert (first.width_mm, first.height_mm) == (130.0, 180.0)
    assert (second.width_mm, second.height_mm) == pytest.approx((279.4, 215.9))


def test_the_seed_scatters_and_the_same_seed_gives_the_same_bytes(run):
    for name, seed in (("A", 1), ("B", 1), ("C", 2)):
        assert run("-o", f"{name}.tif", *SMALL, "--name", "x", "--seed", seed).exit_code == 0
    one, same, other = (Path(f"{n}.tif").read_bytes() for n in "ABC")
    assert one == same != other


def test_levels_from_a_file(run):
    Path("levels.csv").write_text("level\n0\n0.2\n0.4\n1\n", encoding="utf-8")
    assert run("-o", "T.tif", *SMALL, "--levels-file", "levels.csv").exit_code == 0
    tones = {p.level for p in read_target("T.target.json").patches if p.kind == "tone"}
    assert tones == {0.0, 0.2, 0.4, 1.0}


def test_through_a_curve_patches_have_known_aims_and_corrected_levels(run, curve):
    path, made = curve
    done = run("-o", "V.tif", *SMALL, "--through", path, "--levels", 11)
    assert done.exit_code == 0, done.output
    assert "11 even tones through the curve invented" in " ".join(done.stdout.split())
    target = read_target("V.target.json")
    tones = sorted((p for p in target.patches if p.kind == "tone"), key=lambda p: p.level)[::2]
    assert target.through == "invented" and len(tones) == 11
    image = np.linspace(0.0, 100.0, 11)
    np.testing.assert_allclose([p.aim_lightness for p in tones], made.print_lightness_at(image),
                               atol=1e-3)
    # corrected like an image: the same table lookup that a negative goes through
    np.testing.assert_allclose([p.level for p in tones], made.level_at(image), atol=1e-6)


def test_levels_for_a_curve_are_uneven_and_whole(run, curve):
    assert run("-o", "T.tif", *SMALL, "--levels-for", curve[0], "--levels", 15).exit_code == 0
    target = read_target("T.target.json")
    levels = np.unique([p.level for p in target.patches if p.kind == "tone"])
    assert levels.size == 15 and levels[0] == 0.0 and levels[-1] == 1.0
    assert np.ptp(np.diff(levels)) > 0.01


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["-o", "T.png"], "T.tif"),
        (["-o", "T.tif", "--size", "60x60mm"], "What fits: 12 levels, each once|a sheet of"),
        (["-o", "T.tif", "--size", "5x7"], "130x180mm or 5x7in"),
        (["-o", "T.tif", "--paper-size", "napkin"], "napkin"),
        (["-o", "T.tif", "--paper-size", "a5", "--size", "5x7in"], "one size is enough"),
        (["-o", "T.tif", "--levels", "2"], "the number of levels is 2"),
        (["-o", "T.tif", "--repeat", "0"], "patches of each level is 0"),
        (["-o", "T.tif", "--ppi", "3"], "pixels to the inch) is 3"),
        (["-o", "T.tif", "--patch-mm", "1"], "(mm) is 1"),
        (["-o", "T.tif", "--levels-file", "none.csv"], "no file none.csv"),
        (["-o", "T.tif", "--through", "none.curve.json"], "none.curve.json"),
        (["-o", "T.tif", "--through", "a", "--levels-for", "a"], "one way"),
        (["-o", "T.tif", "--levels-file", "a", "--levels", "5"], "leave one out"),
        (["-o", "nowhere/T.tif"], "no folder nowhere"),
    ],
)
def test_what_cannot_be_is_refused_with_a_way_out(run, options, said):
    done = run(*options)
    assert done.exit_code == 2, done.output
    assert done.stdout == "" and done.stderr.startswith("tonewright target: ")
    assert done.stderr.count("\n") == 1
    assert any(part.lower() in done.stderr.lower() for part in said.split("|")), done.stderr
    assert not list(Path().iterdir())


def test_an_existing_file_is_not_replaced_unasked(run):
    Path("T.target.json").write_text("mine", encoding="utf-8")
    done = run("-o", "T.tif", *SMALL)
    assert done.exit_code == 2 and "--force" in done.stderr
    assert [p.name for p in Path().iterdir()] == ["T.target.json"]
    assert Path("T.target.json").read_text(encoding="utf-8") == "mine"
    assert run("-o", "T.tif", *SMALL, "--force").exit_code == 0


def test_a_chart_of_inks_says_how_to_print_and_rank_it(run):
    done = run("--ink-colours", "-o", "inks.tif", *SMALL)
    assert done.exit_code == 0, done.output
    words = " ".join(done.stdout.split())
    for part in ("26 colours at 100 % and 50 % ink", "16-bit RGB", "two stops more",
                 "tonewright inks READINGS.csv --process", "gloves"):
        assert part in words
    assert tifffile.imread("inks.tif").shape == (700, 500, 3)
    assert read_target("inks.target.json").is_ink_chart


def test_a_chart_as_asked(run):
    Path("c.csv").write_text("red,green,blue\n255,0,0\n0,128,0\n", encoding="utf-8")
    for more in (("--chart-file", "c.csv"),
                 ("--chart-colour", "255,0,0", "--chart-colour", "0, 128,0")):
        done = run("--ink-colours", *more, "--ink-levels", "1,0.75,0.5", "--repeat", 3, "-o",
                   "chart.tif", *SMALL, "--json", "--force", "--no-mirror")
        assert done.exit_code == 0, done.output
        found = json.loads(done.stdout)
        assert (found["colours"], found["tone_patches"]) == (2, 18)
        assert found["ink_levels"] == [1.0, 0.75, 0.5] and found["ink_chart"] is True
        assert {p.ink_colour for p in read_target("chart.target.json").patches} == {
            None, "0,0,0", "255,0,0", "0,128,0"}


@pytest.mark.parametrize(("options", "said"), [
    (["--ink-colours", "--levels", "5"], "a chart of inks and a number of levels"),
    (["--ink-colours", "--ink-colour", "0,0,0"], "a chart of inks in the one colour"),
    (["--ink-colours", "--through", "x.curve.json"], "tones through a curve and a chart of inks"),
    (["--ink-levels", "1"], "without --ink-colours"),
    (["--chart-colour", "1,2,3"], "without --ink-colours"),
    (["--ink-colours", "--ink-levels", "0.5"], "full level"),
    (["--ink-colours", "--chart-colour", "1,2,3"], "two colours or more"),
    (["--ink-colours", *["--chart-colour", "1,2,3"] * 2], "1,2,3 is given twice"),
    (["--ink-colours", "--chart-colour", "1,2"], "'1,2'"),
    (["--ink-colours", "--chart-file", "none.csv"], "there is no file none.csv"),
    (["--ink-colours", "--chart-file", "bad.csv"], "green is 300"),
    (["--ink-colours", "--chart-file", "bad.csv", "--chart-colour", "1,2,3"], "one place"),
    (["--ink-colours", "--size", "90x90mm"], "colours and levels of ink"),
    (["--ink-colour", "255,255,255"], "white"), (["--ink-colour", "orange"], "'orange'"),
])  # fmt: skip
def test_wrong_inks_are_refused(run, options, said):
    Path("bad.csv").write_text("red,green,blue\n1,300,3\n4,5,6\n", encoding="utf-8")
    done = run("-o", "T.tif", *SMALL, *options)
    assert done.exit_code == 2 and done.stdout == ""
    assert said in " ".join(done.stderr.split())
    assert sorted(p.name for p in Path().iterdir()) == ["bad.csv"]


def test_a_target_for_a_gray_curve_is_not_drawn_in_colour(run, curve):
    done = run("-o", "T.tif", *SMALL, "--through", curve[0], "--ink-colour", "255,120,0")
    assert done.exit_code == 2 and "made from a target in gray" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
@pytest.mark.parametrize(
    ("file", "name"), [("caf\udce9.tif", "caf"), ("a\x1b[2Jb\u202e\n.tif", "a[2Jb")]
)
def test_names_that_are_no_text_stay_out_of_picture_and_layout(run, file, name):
    done = run("-o", file, *SMALL, "--levels", 5)
    assert done.exit_code == 0, done.exception
    assert read_target(file.replace(".tif", ".target.json")).name == name
    with tifffile.TiffFile(Path(file)) as tiff:
        assert tiff.pages[0].description.startswith(f"Target {name}, seed 1, by tonewright")


def test_letters_that_the_font_lacks_are_named(run):
    done = run("-o", "T.tif", *SMALL, "--name", "Зима, 写真", "--json")
    found = json.loads(done.stdout)
    assert found["findings"] == [{"code": "letters_not_drawn", "letters": "写真"}]
    assert "写 真" in found["warnings"][0]
    assert read_target("T.target.json").name == "Зима, 写真"
    with tifffile.TiffFile("T.tif") as tiff:
        assert tiff.pages[0].description.startswith("Target Zima, ??, seed 1")
        assert "Зима, 写真" in tiff.pages[0].tags[700].value.decode("utf-8")

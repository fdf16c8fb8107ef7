"""`tonewright inks` as it is typed: a chart drawn, printed, scanned, ranked, and its pick used.

Everything goes through files and the command line; the truth is the virtual darkroom's.
"""

from __future__ import annotations

import csv
import dataclasses
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

import commands
from rooms import Scanner, print_coloured_sheet, random_coloured_inks, scan_sheet
from tonewright.cli import main
from tonewright.files.documents import read_curve, write_document
from tonewright.files.targets import read_target
from tonewright.inks.chart import usual_colours
from tonewright.record.setup import parse_colour
from tonewright.scan.response import response_from_gray_scale
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_strip

ROOM = Darkroom()
INKS = random_coloured_inks(np.random.default_rng(4))
STOPS = 2.0
TIME = f"{ROOM.base_time * 2**STOPS:.0f}s"
SCANNER = Scanner(ppi=120.0, lid_density=1.5)
KNOWN = np.round(np.linspace(0.05, 2.0, 14), 2)


def invoke(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def good(*arguments):
    done = invoke(*arguments)
    assert done.exit_code == 0, done.output
    return done


def printed_scan(name, time):
    """The negative NAME.tif, printed for so long and scanned as NAME-scan.tif."""
    room = dataclasses.replace(ROOM, printing_time=time)
    sheet = print_coloured_sheet(
        tifffile.imread(f"{name}.tif"), 254.0, room, INKS,
        scanroom.PaperFlaws(texture_density_sd=0.01, uneven_exposure_sd=0.01), seed=1)
    render = scan_sheet(sheet, SCANNER, scanroom.Lying(3.0, 1), seed=1)
    tifffile.imwrite(f"{name}-scan.tif", render.codes, photometric="minisblack",
                     resolution=(120, 120))


def read(name):
    return good("read", f"{name}-scan.tif", "--target", f"{name}.target.json", "--scanner",
                "s.scanner.json", "-o", f"{name}.csv")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with a strip's process, and a chart read from its scan."""
    folder = tmp_path_factory.mktemp("bench")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        strip = measure_strip(ROOM, nominal_tablet("31").density, 1800.0, flaws=Flaws(0.01), seed=1)
        rows = [f"{s},{d:.3f}" for s, d in zip(strip.step, strip.density_film, strict=True)]
        Path("strip.csv").write_text("\n".join(["# invented", "step,density", *rows]))
        good("strip", "strip.csv", "--tablet", "31", "--time", "30min", "-o", "k.process.json")
        response = response_from_gray_scale(KNOWN, SCANNER.code(KNOWN), np.full(KNOWN.size, 2e-4))
        write_document("s.scanner.json", dataclasses.replace(response, name="s"))
        good("target", "--ink-colours", "-o", "inks.tif", "--ppi", 254)
        good("target", "-o", "gray.tif", "--ppi", 100)
        printed_scan("inks", ROOM.base_time * 2**STOPS)
        said = read("inks").stdout
        assert "tonewright inks inks.csv --process NAME.process.json --time TIME" in said
    return folder


@pytest.fixture
def here(bench, tmp_path, monkeypatch):
    for path in {*bench.iterdir()} - {bench / "inks-scan.tif"}:  # large, and seldom needed
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rows_of(path):
    lines = [x for x in Path(path).read_text().splitlines() if not x.startswith("#")]
    return list(csv.DictReader(lines))


def write_list(path, rows, names):
    lines = [",".join(names), *(",".join(r[n] for n in names) for r in rows)]
    Path(path).write_text("\n".join(lines) + "\n")


RANK = ("inks", "inks.csv", "--process", "k.process.json", "--time", TIME)


def test_the_scan_reader_reads_the_chart(here):
    target, table = read_target("inks.target.json"), rows_of("inks.csv")
    assert [r["patch"] for r in table] == [p.name for p in target.patches]
    for row, patch in zip(table, target.patches, strict=True):
        colour = target.colour_of(patch) or (255, 255, 255)
        assert tuple(int(row[c]) for c in ("red", "green", "blue")) == colour
        truth = float(ROOM.print_density(0.0)) if patch.level == 0.0 else float(
            ROOM.process_density(ROOM.tablet_exposure(INKS.of_colour(colour, patch.level))
                                 + 0.30103 * STOPS))
        if patch.level:
            assert float(row["density"]) == pytest.approx(truth, abs=0.06), patch.name


def test_the_ranking_is_the_true_one(here):
    data = json.loads(good(*RANK, "--json").stdout)
    for ink in data["inks"]:
        truth = float(INKS.of_colour(parse_colour(ink["ink_colour"])))
        for bound, sign in (("low", 1.0), ("high", -1.0)):
            value = ink[f"printing_density_{bound}"]
            assert value is None or sign * (truth - value) > -0.1
    assert data["pick_sure"] is True
    assert float(INKS.of_colour(parse_colour(data["pick"]))) > data["needed_density_range"] - 0.1
    said = " ".join(good(*RANK).stdout.split())
    assert f"tonewright target --ink-colour {data['pick']} -o ink.tif" in said
    assert not Path("ink.tif").exists()


def test_patch_names_with_the_chart_say_the_same_as_colours(here):
    write_list("list.csv", rows_of("inks.csv"), ("patch", "density"))
    by_name = ("inks", "list.csv", "--target", "inks.target.json", *RANK[2:], "--json")
    one, other = (json.loads(good(*a).stdout) for a in ((*RANK, "--json"), by_name))
    assert one == other


def test_an_instruments_list_in_reading_order_goes_through_read(here):
    write_list("list.csv", rows_of("inks.csv"), ("density",))
    good("read", "list.csv", "--target", "inks.target.json", "-o", "again.csv")
    assert [(r["patch"], r["red"], r["blue"]) for r in rows_of("again.csv")] == [
        (r["patch"], r["red"], r["blue"]) for r in rows_of("inks.csv")]
    one, other = (json.loads(good("inks", f, *RANK[2:], "--json").stdout)
                  for f in ("inks.csv", "again.csv"))
    assert one["pick"] == other["pick"]


def test_from_the_pick_to_a_negative_in_its_colour(here):
    """The whole way: the curve of the picked ink prints the tones it aims at."""
    pick = json.loads(good(*RANK, "--json").stdout)["pick"]
    good("target", "--ink-colour", pick, "-o", "ink.tif", "--ppi", 254, "--levels", 15)
    assert read_target("ink.target.json").ink_colour == pick
    printed_scan("ink", ROOM.base_time)
    read("ink")
    good("fit", "ink.csv", "-o", "ink.curve.json")
    curve = read_curve("ink.curve.json")
    assert curve.setup.ink_colour == pick
    levels = curve.level_at(np.linspace(2.0, 98.0, 49))
    density = ROOM.process_density(ROOM.tablet_exposure(
        INKS.of_colour(parse_colour(pick), levels)))
    from tonewright.scales import density_to_lightness

    off = density_to_lightness(density) - curve.print_lightness_at(np.linspace(2.0, 98.0, 49))
    assert np.sqrt(np.mean(off**2)) < 1.2
    # a target through the curve, and the negatives, share its colour without being told
    good("target", "--through", "ink.curve.json", "-o", "verify.tif", "--ppi", 100)
    assert read_target("verify.target.json").ink_colour == pick
    tifffile.imwrite("picture.tif", np.full((20, 30), 65535, np.uint16), photometric="minisblack")
    good("negative", "picture.tif", "--curve", "ink.curve.json", "--encoding", "lightness", "-o",
         "n.tif")
    assert tifffile.imread("n.tif").shape == (20, 30, 3)


def refused(*arguments):
    return commands.said(invoke, *arguments)


@pytest.mark.parametrize(("arguments", "said"), [
    (("inks",), "(tonewright target --ink-colours -o inks.tif"),
    (("inks", "inks.csv"), "from tonewright strip"),
    (("inks", "none.csv", *RANK[2:]), "there is no file none.csv"),
    (("inks", "inks.tif", *RANK[2:]), "is a TIFF image"),
    (("inks", "inks.target.json", *RANK[2:]), "is a target's layout"),
    (("inks", "inks.csv", "--process", "inks.target.json"), "A process response is needed"),
    (("inks", "inks.csv", "--process", "strip.csv"), "strip.csv is not a process response"),
    (("inks", "strip.csv", *RANK[2:]), "(--target CHART.target.json)"),
    ((*RANK, "--target", "gray.target.json"), "target of tones in one ink"),
    ((*RANK, "--target", "k.process.json"), "A target is needed"),
    (("inks", "inks.csv", "inks.csv", *RANK[2:]), "byte for byte"),
    ((*RANK[:4], "--time", "30"), "A time has a unit"),
    ((*RANK[:4], "--time", "100h"), "32 times apart"),
    ((*RANK[:4], "--time", "100units"), "integrator"),
    ((*RANK, "--range", "0"), "density range asked for is 0"),
    ((*RANK, "--leave-out", "Z9"), "no patch is called 'Z9'"),
    ((*RANK, "--relative-to-paper"), "--paper-density"),
    ((*RANK, "--scale", "luminance"), "no column that gives luminance"),
    (("fit", "inks.csv", "-o", "x.curve.json"), "tonewright inks READINGS"),
    (("fit", "inks.csv", "-o", "x.curve.json", "--process", "k.process.json"),
     "tonewright inks READINGS"),
    (("target", "--ink-colours", "-o", "inks.tif"), "(--force)"),
])  # fmt: skip
def test_wrong_words_are_refused(here, arguments, said):
    assert said.lower() in refused(*arguments).lower()


def test_a_chart_is_no_target_of_tones_for_fit(here):
    write_list("list.csv", rows_of("inks.csv"), ("patch", "level", "density"))
    said = refused("fit", "list.csv", "--target", "inks.target.json", "-o", "x.curve.json")
    assert "tonewright inks READINGS" in said


def test_damaged_readings_are_refused(here):
    rows = rows_of("inks.csv")
    names = ("patch", "red", "green", "blue", "level", "density")
    for change, said in (
        ({"red": "300"}, "red is 300"), ({"red": "x"}, "red is 'x'"),
        ({"density": "nan"}, "density is 'nan'"), ({"density": "12"}, "no print has a density"),
        ({"level": "2"}, "a level lies between"),
    ):
        write_list("bad.csv", [{**rows[0], **change}, *rows[1:]], names)
        assert said.lower() in refused("inks", "bad.csv", *RANK[2:]).lower()
    write_list("few.csv", rows[:30], ("patch", "density"))
    said = refused("inks", "few.csv", "--target", "inks.target.json", *RANK[2:])
    assert "At least half of the chart must be measured" in said


def test_another_charts_scan_is_refused(here, bench):
    good("target", "--ink-colours", "-o", "other.tif", "--ppi", 254, "--seed", 9)
    said = refused("read", bench / "inks-scan.tif", "--target", "other.target.json", "--scanner",
                   "s.scanner.json", "-o", "x.csv")
    assert ".target.json" in said or "target" in said


def test_every_usual_colour_is_ranked(here):
    data = json.loads(good(*RANK, "--json").stdout)
    assert {parse_colour(i["ink_colour"]) for i in data["inks"]} == set(usual_colours())


def test_a_process_without_its_base_time_is_refused(here):
    data = json.loads(Path("k.process.json").read_text(encoding="utf-8"))
    for value in (None, 0.0, "30min"):
        data["summary"]["base_printing_time"] = value
        Path("bad.process.json").write_text(json.dumps(data), encoding="utf-8")
        assert "base_printing_time is" in refused("inks", "inks.csv", "--process",
                                                  "bad.process.json")


def test_a_tone_scale_and_a_renewal_keep_to_the_ink(tmp_path, monkeypatch):
    """The scale beside a negative says its ink; readings that say nothing of it are refused."""
    monkeypatch.chdir(tmp_path)
    level = np.linspace(0.0, 1.0, 21)
    rows = "\n".join(f"{u:.2f},{d:.3f}" for u, d in zip(level, ROOM.print_density(level),
                                                       strict=True))
    Path("silent.csv").write_text(f"level,density\n{rows}\n", encoding="utf-8")
    good("fit", "silent.csv", "-o", "ink.curve.json", "--ink-colour", "0,255,0")
    tifffile.imwrite("picture.tif", np.full((300, 400), 30000, np.uint16),
                     photometric="minisblack", resolution=(72, 72))
    good("negative", "picture.tif", "--curve", "ink.curve.json", "--encoding", "lightness", "-o",
         "s.tif", "--tone-scale")
    assert read_target("s.target.json").ink_colour == "0,255,0"
    renew = ("renew", "ink.curve.json", "--readings", "silent.csv", "--replace", "-o",
             "x.curve.json")
    assert "(--ink-colour 0,255,0)" in refused(*renew)
    good(*renew, "--ink-colour", "0,255,0")
    assert read_curve("x.curve.json").setup.ink_colour == "0,255,0"

"""`tonewright read --densities`: one scan with print and gray scale, on real files."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

import commands
from rooms import random_glass
from tonewright.cli import main
from tonewright.files.targets import read_target


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A target, the scan of its print beside a gray scale, and that of a plain sheet."""
    folder = tmp_path_factory.mktemp("beside")
    done = CliRunner().invoke(main, [
        "target", "-o", str(folder / "T.tif"), "--ppi", "254", "--seed", "4", "--paper-size",
        "4x5", "--levels", "11", "--name", "T"])
    assert done.exit_code == 0, done.output
    glass = random_glass(read_target(folder / "T.target.json"),
                         tifffile.imread(folder / "T.tif"), 7, ppi=120.0, shading=0.15)
    for name, render in (("scan", glass.print_), ("plain", glass.plain)):
        tifffile.imwrite(folder / f"{name}.tif", render.codes, photometric="minisblack",
                         resolution=(render.ppi, render.ppi))
    (folder / "scale.csv").write_text(
        "density\n" + "".join(f"{d:.2f}\n" for d in glass.density), encoding="utf-8")
    return folder, glass


@pytest.fixture
def run(made, tmp_path, monkeypatch):
    for path in made[0].iterdir():
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, [str(a) for a in arguments])


READ = ("read", "scan.tif", "--target", "T.target.json", "-o", "r.csv")
ONE_SCAN = (*READ, "--densities", "scale.csv")


def error_rms(room, path="r.csv"):
    lines = [line for line in Path(path).read_text(encoding="utf-8").splitlines()
             if not line.startswith("#")]
    place = lines[0].split(",").index("density")
    read = np.array([float(line.split(",")[place]) for line in lines[1:]])
    truth = room.print_density(read_target("T.target.json").level)
    return float(np.sqrt(np.mean((read - truth)[truth < 1.6] ** 2)))


def test_one_scan_is_enough(run, made, monkeypatch):
    count = commands.opened(monkeypatch)
    done = run(*ONE_SCAN, "--flat", "plain.tif")
    assert done.exit_code == 0, done.output
    assert [count[name] for name in ("scan.tif", "scale.csv", "plain.tif")] == [1, 1, 1]
    said = " ".join(done.stdout.split())
    assert (f"by the gray scale of {made[1].density.size} steps beside the print; lamp evened out"
            " by the plain sheet. All of them may be off together, by about 0.00") in said
    assert "densities by: gray scale beside" in Path("r.csv").read_text(encoding="utf-8")
    with_flat = error_rms(made[1].room)
    done = run(*ONE_SCAN, "--force", "--json")
    assert done.exit_code == 0, done.output
    by = json.loads(done.stdout)["densities_by"]
    assert (by["way"], by["lamp"]) == ("gray_scale_beside", "not_evened")
    assert with_flat < 0.008 < error_rms(made[1].room) < 2.5 * by["sd_density"]
    assert "(--flat) makes them surer" in " ".join(run(*ONE_SCAN, "--force").stdout.split())


def corners_of(scale):
    """Of the steps alone, without the card's border."""
    edge = 2.0 * scale.sheet.origin_px[0]
    wide, tall = ((n - edge) / scale.sheet.ppi * 25.4 for n in scale.sheet.density.shape[::-1])
    return scale.corners(0.0, 0.0, wide, tall).round(1)


def typed(points):
    return ",".join(f"{v:g}" for v in points.ravel())


def test_corners_by_hand(run, made):
    """Read off the overlay's row; the other way round the right ones are told."""
    corners = corners_of(made[1].scale)
    by_hand = "--gray-scale-corners"
    done = run(*ONE_SCAN, "--flat", "plain.tif", by_hand, typed(corners))
    assert done.exit_code == 0, done.output
    assert error_rms(made[1].room) < 0.008
    other = ("read", "scan.tif", "--target", "T.target.json", "-o", "x.csv", "--densities",
             "scale.csv")
    said = commands.refused(run, *other, by_hand, typed(corners[[2, 3, 0, 1]]))
    assert "The gray scale beside the print" in said.replace("the gray", "The gray")
    assert f"{by_hand} {typed(corners)}" in said
    for points, message in ((corners[::-1], "clockwise around the row"),
                            (corners + 9000.0, "they lie in the scan"),
                            (corners[:3], "eight numbers")):
        assert message in commands.refused(run, *other, by_hand, typed(points)).lower()
    assert "(--densities CSV)" in commands.refused(run, *other[:6], by_hand, typed(corners))


@pytest.mark.parametrize(
    ("rows", "said"),
    [("density\n0.05\n0.5\n1.0\n", "3 steps"), ("density\n0.1\n0.5\n0.4\n0.9\n1.2\n", "step 2"),
     ("density\n0.1\n0.5\nnan\n0.9\n1.2\n", "nan"), ("density\n", "row"),
     ("step,density\n1,0.1\n3,0.5\n", "steps 1, 3"),
     ("density\n" + "".join(f"{0.1 * k:.1f}\n" for k in range(1, 10)), "gray scale")])
def test_lists_that_cannot_be(run, rows, said):
    Path("scale.csv").write_text(rows, encoding="utf-8")
    assert said in commands.refused(run, *ONE_SCAN)


def test_it_says_what_would_not_count_or_is_not_there(run, made):
    scale = made[1].scale
    done = run("scanner", "scan.tif", "--densities", "scale.csv", "-o", "s.scanner.json",
               "--corners", typed(corners_of(scale)))
    assert done.exit_code == 0, done.output
    said = commands.refused(run, *ONE_SCAN, "--scanner", "s.scanner.json")
    assert "--scanner or --densities" in said
    pixels = tifffile.imread("scan.tif")
    corners = scale.corners(-6.0, -6.0, 400.0, 40.0)
    (x0, y0), (x1, y1) = (f(corners, axis=0).round().astype(int).clip(0)
                          for f in (np.min, np.max))
    x1, y1 = min(x1, pixels.shape[1]), min(y1, pixels.shape[0])
    pixels[y0:y1, x0:x1] = pixels[2, 2]
    tifffile.imwrite("bare.tif", pixels, photometric="minisblack", resolution=(120, 120))
    said = commands.refused(run, "read", "bare.tif", *ONE_SCAN[2:])
    assert "beside the print in bare.tif" in said and "--scanner NAME.scanner.json" in said
    Path("list.csv").write_text("patch,density\nA1,0.1\n", encoding="utf-8")
    assert "a gray scale" in commands.refused(run, "read", "list.csv", *ONE_SCAN[2:])
    for file in ("scale.csv", "plain.tif"):
        said = commands.refused(run, "read", "scan.tif", "--target", "T.target.json", "-o", file,
                                "--densities", "scale.csv", "--flat", "plain.tif", "--force")
        assert file in said

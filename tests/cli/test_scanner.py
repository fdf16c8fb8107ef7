"""`tonewright scanner`, and `tonewright strip` on a scan, on real files."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from commands import opened, refused
from rooms import Scanner, print_strip, scan_sheet
from tonewright.cli import main
from tonewright.files.documents import read_process
from tonewright.files.scanners import read_scanner
from tonewright.virtual.darkroom import Darkroom
from tonewright.virtual.scanroom import Lying, PaperFlaws, gray_scale

KNOWN = np.round(np.linspace(0.06, 2.1, 16), 2)
FLATBED = Scanner(encoding="srgb", flare=0.005, ppi=120.0)
ROOM = Darkroom()


def save(name, render):
    tifffile.imwrite(name, render.codes, photometric="minisblack", metadata=None,
                     resolution=(render.ppi, render.ppi))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Scans as files, once for all."""
    folder = tmp_path_factory.mktemp("scans")
    card = gray_scale(KNOWN, border_density=0.3)
    save(folder / "scale.tif", scan_sheet(card, FLATBED, Lying(3.0), seed=1))
    # automatic exposure: the lightest fifth of the tones is pushed past white
    bright = scan_sheet(card, replace(FLATBED, gain=2.5), Lying(3.0), seed=1)
    save(folder / "bright.tif", bright)
    (folder / "scale.csv").write_text(
        "step;density\n" + "".join(f"{i};{d:.2f}\n" for i, d in enumerate(KNOWN, 1)).replace(
            ".", ","), encoding="utf-8")
    codes = tifffile.imread(folder / "scale.tif")
    Image.fromarray((codes >> 8).astype(np.uint8)).save(folder / "scale.jpg", quality=95)
    flaws = PaperFlaws(texture_density_sd=0.01, dust=5)
    strip = print_strip(0.1 * np.arange(31), ROOM, ROOM.base_time * 1.3, flaws, seed=2)
    save(folder / "strip.tif", scan_sheet(strip, FLATBED, Lying(-2.0, 2), seed=2))
    return folder


@pytest.fixture
def run(made, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for path in made.iterdir():
        shutil.copy(path, tmp_path)
    return lambda *arguments: CliRunner().invoke(main, list(map(str, arguments)))


SCANNER = ("scanner", "scale.tif", "--densities", "scale.csv", "-o", "bed.scanner.json")


def test_a_gray_scale_becomes_a_response(run):
    done = run(*SCANNER, "--date", "2026-05-01")
    assert done.exit_code == 0, done.output
    assert "16 steps, density 0.06 to 2.10" in done.stdout
    assert "Written:  bed.scanner.json" in done.stdout
    assert "--scanner bed.scanner.json" in done.stdout
    response = read_scanner("bed.scanner.json")
    asked = np.linspace(0.1, 1.6, 20)
    found, _, inside = response.density_of(FLATBED.code(asked))
    assert inside.all()
    assert np.sqrt(np.mean((found - asked) ** 2)) < 0.015
    assert (response.name, response.date) == ("bed", "2026-05-01")
    assert [(s.name, s.kind, s.sha256) for s in response.sources] == [
        (name, kind, hashlib.sha256(Path(name).read_bytes()).hexdigest())
        for name, kind in (("scale.tif", "scan"), ("scale.csv", "csv"))]


def test_json_and_the_same_by_its_corners(run):
    done = run(*SCANNER, "--json")
    said = json.loads(done.stdout)
    assert (said["steps"], said["steps_used"], said["corners_found"]) == (16, 16, True)
    assert said["rms_density"] < 0.01
    corners = ",".join(map(str, said["corners"]))
    again = run(*SCANNER, "--corners", corners, "--json", "--force")
    hand = json.loads(again.stdout)
    assert not hand["corners_found"]
    assert hand["darkest_density"] == pytest.approx(said["darkest_density"], abs=0.01)


def test_every_file_is_opened_once(run, monkeypatch):
    count = opened(monkeypatch)
    assert run(*SCANNER).exit_code == 0
    assert (count["scale.tif"], count["scale.csv"]) == (1, 1)
    count.clear()
    assert run(*STRIP).exit_code == 0
    assert (count["strip.tif"], count["bed.scanner.json"]) == (1, 1)


def test_never_over_another_file(run):
    Path("bed.scanner.json").write_text("mine", encoding="utf-8")
    assert "bed.scanner.json" in refused(run, *SCANNER)
    assert run(*SCANNER, "--force").exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("scale.jpg", "--densities", "scale.csv"), "JPEG"),
        (("bright.tif", "--densities", "scale.csv"), "clipped to white"),
        (("scale.csv", "--densities", "scale.tif"), "TIFF image"),
        (("none.tif", "--densities", "scale.csv"), "no file none.tif"),
        (("scale.tif", "--densities", "none.csv"), "no file none.csv"),
        (("scale.tif", "--densities", "scale.csv", "--corners", "1,2,3"), "eight numbers"),
        (("scale.tif", "--densities", "scale.csv", "--channel", "red"), "gray"),
    ],
)
def test_bad_input_in_one_message(run, arguments, message):
    said = refused(run, "scanner", *arguments, "-o", "x.scanner.json")
    assert message.lower() in said.lower()


def test_a_list_of_another_length_and_turned_round(run):
    lines = Path("scale.csv").read_text(encoding="utf-8").splitlines()
    Path("short.csv").write_text("\n".join(lines[:-3]), encoding="utf-8")
    refused(run, "scanner", "scale.tif", "--densities", "short.csv", "-o", "x.scanner.json")
    # listed from its dark end, the row is read from there too
    falling = "".join(f"{d:.2f}\n" for d in KNOWN[::-1])
    Path("falling.csv").write_text("density\n" + falling, encoding="utf-8")
    done = run("scanner", "scale.tif", "--densities", "falling.csv", "-o", "x.scanner.json")
    assert done.exit_code == 0, done.output


def test_jpeg_if_it_must_be(run):
    done = run("scanner", "scale.jpg", "--densities", "scale.csv", "-o", "x.scanner.json",
               "--allow-jpeg", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert [f["code"] for f in found["findings"]] == ["scan_is_jpeg", "scan_has_few_tones"]
    assert "JPEG" in found["warnings"][0]


STRIP = ("strip", "strip.tif", "--tablet", "31", "--time", "10min", "--scanner",
         "bed.scanner.json")


def test_a_scanned_strip_gives_the_printing_time(run):
    assert run(*SCANNER).exit_code == 0
    done = run(*STRIP, "-o", "k.process.json", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["reached_black"]
    # printed 1.3 times as long as the base time; the scan is as sure as it says
    true = 600.0 / 1.3
    assert said["base_printing_time_low_s"] < true < said["base_printing_time_high_s"]
    assert said["base_printing_time_s"] == pytest.approx(true, rel=0.15)
    assert said["film_density"] == pytest.approx(ROOM.film_density, abs=0.02)
    assert said["max_black_density"] == pytest.approx(ROOM.max_black_density, abs=0.02)
    process = read_process("k.process.json")
    assert len(process.strip.patches) == 62
    assert process.strip.sources[0].kind == "scan"


def test_options_of_a_scan_that_would_not_count(run):
    assert run(*SCANNER).exit_code == 0
    Path("s.csv").write_text("step,density\n1,1.5\n", encoding="utf-8")
    assert "no scan" in refused(run, "strip", "s.csv", "--tablet", "31", "--time", "10min",
                                "--scanner", "bed.scanner.json")
    assert "--flip" in refused(run, *STRIP, "--flip")
    assert "--scanner" in refused(run, *STRIP[:6])
    assert "A scanner response is needed" in refused(
        run, *STRIP[:6], "--halves", "1", "--scanner", _process(run))


def _process(run):
    done = run(*STRIP, "-o", "k.process.json")
    assert done.exit_code == 0, done.output
    return "k.process.json"

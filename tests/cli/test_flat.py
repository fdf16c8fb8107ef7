"""`--flat` and a scan in another mode, on real files."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import ImageCms

import commands
from rooms import scan_sheet
from tonewright.cli import main
from tonewright.files.targets import read_target
from tonewright.virtual import darkroom, scanroom

ROOM = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
KNOWN = np.round(np.linspace(0.05, 2.0, 20), 2)
BED = scanroom.Scanner(ppi=100.0, lid_density=0.06, shading=0.15)
SHADE_SEED = 4


def save(path, codes, **options):
    tifffile.imwrite(path, codes, resolution=(100, 100), **options)


def on_the_glass(codes_light: np.ndarray) -> np.ndarray:
    """The same glass, of one size and one lamp, under whatever lies on it."""
    shade = scanroom._shade(codes_light.shape, 0.15, np.random.default_rng(SHADE_SEED))
    return scanroom._codes(BED, (codes_light * shade).astype(np.float32))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A target's print, a gray scale and a plain sheet, each scanned over the whole glass."""
    folder = tmp_path_factory.mktemp("flat")
    done = CliRunner().invoke(main, [
        "target", "-o", str(folder / "T.tif"), "--ppi", "254", "--seed", "4", "--paper-size",
        "4x5", "--levels", "11", "--name", "T"])
    assert done.exit_code == 0, done.output
    sheet = scanroom.print_sheet(tifffile.imread(folder / "T.tif"), 254.0, ROOM,
                                 scanroom.PaperFlaws(texture_density_sd=0.01), seed=1)
    bare = scanroom.Scanner(ppi=100.0, lid_density=0.06, read_noise=0.0, shot_noise=0.0,
                            gamma=1.0, gain=1.0, flare=0.0)
    light = scan_sheet(sheet, bare, scanroom.Lying(2.0), seed=1).codes / 65535.0
    shape = (max(light.shape[0], 550), max(light.shape[1], 650))
    page = np.full(shape, 10.0**-0.06)
    page[: light.shape[0], : light.shape[1]] = light
    scale = np.full(shape, 10.0**-0.06)
    for i, d in enumerate(KNOWN):
        scale[shape[0] - 125 : shape[0] - 50, 50 + 25 * i : 75 + 25 * i] = 10.0**-d
    plain = 10.0 ** -(0.06 + np.random.default_rng(9).normal(0.0, 0.01, shape))
    for name, reflected in (("print", page), ("scale", scale), ("plain", plain)):
        lit = BED.gain * (reflected + BED.flare)
        noise = np.random.default_rng(len(name)).normal(0.0, 0.002, shape) * np.sqrt(lit)
        save(folder / f"{name}.tif", on_the_glass(np.clip(lit + noise, 0.0, 1.0)),
             photometric="minisblack")
    (folder / "scale.csv").write_text(
        "density\n" + "\n".join(f"{d:.2f}" for d in KNOWN) + "\n", encoding="utf-8")
    return folder


@pytest.fixture
def run(made, tmp_path, monkeypatch):
    for path in made.iterdir():
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, [str(a) for a in arguments])


def off(path="r.csv"):
    """Distances of the densities up to 1.6 from the truth."""
    lines = [line for line in Path(path).read_text(encoding="utf-8").splitlines()
             if not line.startswith("#")]
    place = lines[0].split(",").index("density")
    read = np.array([float(line.split(",")[place]) for line in lines[1:]])
    truth = ROOM.print_density(read_target("T.target.json").level)
    return (read - truth)[truth < 1.6]


def good(done):
    assert done.exit_code == 0, done.output
    return done


def test_a_plain_sheet_instead_of_a_known_patch(run):
    learn = ("scanner", "scale.tif", "--densities", "scale.csv")
    read = ("read", "print.tif", "--target", "T.target.json")
    good(run(*learn, "-o", "a.scanner.json"))
    good(run(*read, "--scanner", "a.scanner.json", "-o", "a.csv"))
    good(run(*learn, "-o", "b.scanner.json", "--flat", "plain.tif"))
    done = good(run(*read, "--scanner", "b.scanner.json", "--flat", "plain.tif", "-o", "r.csv",
                    "--json"))
    without, with_flat = (float(np.sqrt(np.mean(off(p) ** 2))) for p in ("a.csv", "r.csv"))
    assert with_flat < 0.006 and without > 1.5 * with_flat, (without, with_flat)
    codes = [f["code"] for f in json.loads(done.stdout)["findings"]]
    assert "lamp_taken_out" in codes and "gray_scale_in_other_light" not in codes
    half = good(run(*read, "--scanner", "a.scanner.json", "--flat", "plain.tif", "-o", "h.csv",
                    "--json"))
    assert "gray_scale_in_other_light" in half.stdout


def test_a_plain_sheet_that_is_none_is_refused(run):
    learn = ("scanner", "scale.tif", "--densities", "scale.csv", "-o", "x.scanner.json")
    assert "plain" in commands.refused(run, *learn, "--flat", "scale.tif")
    assert "scan" in commands.refused(run, *learn, "--flat", "scale.csv")


def test_a_scan_in_another_mode_is_refused(run):
    """The gray scale as gray, the print as RGB of the same values with an sRGB profile."""
    good(run("scanner", "scale.tif", "--densities", "scale.csv", "-o", "s.scanner.json"))
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    gray = tifffile.imread("print.tif")
    save("rgb.tif", np.repeat(gray[..., None], 3, axis=2), photometric="rgb", iccprofile=profile)
    read = ("--target", "T.target.json", "--scanner", "s.scanner.json", "-o", "r.csv")
    said = commands.refused(run, "read", "rgb.tif", *read)
    assert "RGB with the profile" in said and "tonewright scanner" in said
    save("eight.tif", (gray >> 8).astype(np.uint8), photometric="minisblack",
         software="another program")
    done = good(run("read", "eight.tif", *read, "--json"))
    found = [f for f in json.loads(done.stdout)["findings"] if f["code"] == "scan_taken_otherwise"]
    assert {f["entry"] for f in found} == {"bits", "device"}

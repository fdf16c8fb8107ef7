"""What each command loads: help nothing heavy, a negative no scipy, colour or matplotlib.

Each command runs in a fresh interpreter, which lists its loaded modules at the end.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile

from tonewright import scales
from tonewright.files.checks import PrintFiles, check_files
from tonewright.files.curves import ReadingFiles, SetupFiles
from tonewright.files.documents import read_curve
from tonewright.record.setup import Setup
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip, measure_target

RUN = """
import json, sys
from pathlib import Path
listing = Path(sys.argv.pop(1))
from tonewright.cli import main
code = 0
try:
    main()
except SystemExit as stop:
    code = stop.code or 0
finally:
    listing.write_text(json.dumps(sorted(sys.modules)), encoding="utf-8")
sys.exit(code)
"""


def loaded_by(listing: Path, *arguments: str) -> set[str]:
    """Top-level names of the modules that a command has loaded when it is done."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(listing), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, f"tonewright {' '.join(arguments)}\n{done.stdout}{done.stderr}"
    return {name.split(".")[0] for name in json.loads(listing.read_text(encoding="utf-8"))}


@pytest.fixture(scope="module")
def curve(tmp_path_factory) -> Path:
    """A curve fitted on the command line to a target printed in the virtual darkroom."""
    folder = tmp_path_factory.mktemp("startup")
    target = measure_target(Darkroom(), np.linspace(0.0, 1.0, 31), 2, seed=1)
    rows = [f"{p.level:.5f},{p.density:.4f}" for p in target.readings.patches]
    readings = folder / "readings.csv"
    readings.write_text("\n".join(["level,density", *rows]) + "\n", encoding="utf-8")
    made = folder / "invented.curve.json"
    loaded_by(folder / "fit.json", "fit", str(readings), "-o", str(made))
    return made


@pytest.mark.parametrize("arguments", [("--help",), ("--version",)])
def test_help_loads_click_alone(tmp_path, arguments):
    loaded = loaded_by(tmp_path / "modules.json", *arguments)
    assert "click" in loaded  # the listing is of the right process
    heavy = {"numpy", "scipy", "tifffile", "imagecodecs", "PIL", "colour", "matplotlib"}
    assert not loaded & heavy


@pytest.mark.parametrize("more", [(), ("--tone-scale",)])
def test_negative_loads_no_scipy_colour_or_matplotlib(tmp_path, curve, more):
    image = tmp_path / "image.tif"
    ramp = np.linspace(0, 65535, 64).astype(np.uint16)
    tifffile.imwrite(image, np.tile(ramp, (480, 8)), photometric="minisblack", metadata=None,
                     resolution=(100, 100))
    out = tmp_path / "negative.tif"
    loaded = loaded_by(
        tmp_path / "modules.json",
        "negative", str(image), "--curve", str(curve), "--encoding", "lightness", "-o", str(out),
        *more,
    )  # fmt: skip
    assert out.is_file()
    assert "numpy" in loaded
    assert not loaded & {"scipy", "colour", "matplotlib"}


def test_a_strip_loads_no_scipy_colour_or_matplotlib(tmp_path):
    """A second of processor time that its fit does without."""
    room = Darkroom()
    read = measure_strip(room, nominal_tablet("31").density, room.base_time, seed=1)
    rows = [f"{s},{d:.3f}" for s, d in zip(read.step, read.density_film, strict=True)]
    strip = tmp_path / "strip.csv"
    strip.write_text("\n".join(["step,density", *rows]) + "\n", encoding="utf-8")
    out = tmp_path / "invented.process.json"
    loaded = loaded_by(tmp_path / "modules.json", "strip", str(strip), "--tablet", "31",
                       "--time", "10min", "-o", str(out))
    assert out.is_file()
    assert "numpy" in loaded
    assert not loaded & {"scipy", "colour", "matplotlib"}


def test_a_check_and_a_drift_load_no_scipy_colour_or_matplotlib(tmp_path, curve):
    """Half a second, for a quantile or two."""
    known = read_curve(curve)
    checks = []
    for day in range(1, 6):
        print_ = tmp_path / f"{day}.csv"
        print_.write_text("\n".join(["image_lightness,density", *(
            f"{tone},{scales.lightness_to_density(light + 0.1 * (day % 2)):.3f}"
            for tone in range(0, 101, 10) for light in [known.print_lightness_at(tone)])]) + "\n",
            encoding="utf-8")
        checks.append(tmp_path / f"{day}.check.json")
        check_files(PrintFiles(curve, ReadingFiles((print_,)), checks[-1], changes=SetupFiles(
            Setup(date=f"2025-03-0{day}"))))
    for command in (("check", str(curve), str(print_)), ("drift", *map(str, checks))):
        loaded = loaded_by(tmp_path / "modules.json", *command)
        assert "numpy" in loaded
        assert not loaded & {"scipy", "colour", "matplotlib"}


def test_the_listing_would_show_a_heavy_import(tmp_path):
    """The check can fail: a process that does load numpy is seen to."""
    listing = tmp_path / "modules.json"
    code = RUN.replace("from tonewright.cli import main", "import numpy; main = lambda: None")
    subprocess.run([sys.executable, "-c", code, str(listing)], check=True, timeout=60)
    assert "numpy" in json.loads(listing.read_text(encoding="utf-8"))

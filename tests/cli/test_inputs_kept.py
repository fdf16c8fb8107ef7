"""Nothing that a call reads is replaced by what it writes, under whatever name."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from commands import refused
from tonewright.cli import main
from tonewright.errors import OptionError
from tonewright.files.safe import one_call, remember_read, write_text
from tonewright.files.targets import read_target, target_paths

ROWS = "".join(f"{i / 20:g},{1.5 - 1.4 * i / 20:.3f}\n" for i in range(21))


def call(*arguments):
    return CliRunner().invoke(main, list(arguments))


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Readings, a curve, two images of which one is called as the other's negative, links."""
    monkeypatch.chdir(tmp_path)
    Path("r.csv").write_text(f"level,density\n{ROWS}", encoding="utf-8")
    Path("lv.tif").write_text("level\n0\n0.5\n1\n", encoding="utf-8")
    done = call("fit", "r.csv", "-o", "o.curve.json")
    assert done.exit_code == 0, done.output
    Path("o.curve.json").rename("o.target.json")  # a name that a negative's tone scale takes
    Path("n.target.json").write_bytes(Path("o.target.json").read_bytes())
    image = np.linspace(0, 65535, 400).astype(np.uint16).reshape(20, 20)
    for name in ("x.tif", "x-negative.tif"):
        tifffile.imwrite(name, image)
    os.link("o.target.json", "hard.csv")
    Path("soft.curve.json").symlink_to("r.csv")
    return tmp_path


@pytest.mark.parametrize("line", [
    "negative x.tif x-negative.tif --curve o.target.json -o . --force",
    "negative x.tif --curve o.target.json -o o.tif --tone-scale --force --width 200mm",
    "negative x.tif --curve o.target.json -o y.tif --save-layout y.target.json --tone-scale"
    " --force --width 200mm",
    "negative x.tif --curve o.target.json -o y.tif --save-layout o.target.json --force",
    "target --levels-file lv.tif -o lv.tif --force",
    "target --levels-for n.target.json -o n.tif --force",
    "target --through n.target.json -o n.tif --force",
    "fit r.csv -o soft.curve.json --force",
    "fit r.csv -o new.curve.json --plot r.csv --force",
    "fit --rebuild o.target.json -o hard.csv --force",
    "export o.target.json -o hard.csv --force"])
def test_an_input_is_kept(here, line):
    assert "Traceback" not in refused(call, *line.split())


def test_within_one_call_alone(tmp_path):
    path = tmp_path / "a.txt"
    write_text(path, "a")
    with one_call():
        remember_read(path)
        with one_call(), pytest.raises(OptionError):
            write_text(path, "b", force=True)
        with pytest.raises(OptionError):
            write_text(path, "b", force=True)
    write_text(path, "c", force=True)
    assert path.read_text(encoding="utf-8") == "c"


AT_ONCE = """
import os, sys, time
from tonewright.cli import main
from tonewright.files import targets  # before, so that they start together
put = os.replace
def slowly(*names):
    put(*names)
    time.sleep(0.5)
runs = []
for seed in "1234":
    runs.append(os.fork())
    if not runs[-1]:
        if seed == "1":
            os.replace = slowly
        else:
            time.sleep(0.2)
        main(["target", "-o", "T.tif", "--ppi", "72", "--seed", seed, "--force"])
sys.exit(any(os.waitpid(run, 0)[1] for run in runs))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no locks of folders there")
def test_targets_drawn_at_once_keep_to_their_layouts(tmp_path):
    """Of four runs onto one name, negative and document are of the same one in the end."""
    done = subprocess.run([sys.executable, "-c", AT_ONCE], cwd=tmp_path,
                          stdout=subprocess.DEVNULL, check=False)
    assert done.returncode == 0
    files = target_paths(tmp_path / "T.tif")
    with tifffile.TiffFile(files.picture) as file:
        words = file.pages[0].tags["ImageDescription"].value
    assert f"seed {read_target(files.document).seed}," in words

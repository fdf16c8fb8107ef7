"""What a name or a document holds that no screen shows is written out, and writes no lines."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import tifffile
from click.testing import CliRunner

import tonewright
from tonewright.cli import main
from tonewright.errors import FileError, visible
from tonewright.files.targets import read_target

ROWS = "".join(f"{i / 20:g},{1.5 - 1.4 * i / 20:.3f}\n" for i in range(21))
NASTY = "a\x1b[2Jb\nWritten: c\u202ed"


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, [str(a) for a in arguments])


def test_what_is_written_out():
    assert visible("a\x1b\r\n\x9b\u202e\u2066\udcffä – я") == (
        r"a\x1b\r\n\x9b\u202e\u2066\udcffä – я")
    assert str(FileError(f"the file {NASTY}", "a rule", "a way")).isprintable()


@pytest.mark.parametrize("arguments", [
    ("fit", NASTY, "-o", "x.curve.json"), ("fit", "readings.csv", "-o", NASTY + ".csv/x.json"),
    ("negative", NASTY, "--curve", NASTY, "-o", "x.tif"), (NASTY,), ("fit", "--" + NASTY),
    ("target", "--levels", NASTY, "-o", "x.tif"), ("read", NASTY, "--target", NASTY, "-o", "x")])
def test_messages(run, arguments):
    done = run(*arguments)
    assert done.exit_code == 2
    assert done.stderr.rstrip("\n").isprintable(), ascii(done.stderr)


@pytest.mark.skipif(sys.platform == "win32", reason="no such names there")
def test_reports_and_objects(run):
    Path(f"{NASTY}.csv").write_text(f"level,density\n{ROWS}", encoding="utf-8")
    done = run("fit", f"{NASTY}.csv", "-o", f"{NASTY}.curve.json", "--notes", NASTY,
               "--paper", NASTY)
    assert done.exit_code == 0, done.output
    assert all(line.isprintable() for line in done.stdout.split("\n")), ascii(done.stdout)
    assert not any(line.startswith("Written: c") for line in done.stdout.splitlines())
    assert r"\x1b" in done.stdout and r"\n" in done.stdout
    done = run("fit", f"{NASTY}.csv", "-o", f"{NASTY}.curve.json", "--json", "--force")
    assert all(line.isprintable() for line in done.stdout.split("\n"))
    assert json.loads(done.stdout)["output"] == f"{NASTY}.curve.json"


def test_one_place_alone_writes_to_the_terminal():
    """Every command says what it says through `echo`; the line of progress holds no name raw."""
    folder = Path(tonewright.__file__).parent / "cli"
    used = [path.name for path in folder.glob("*.py")
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Attribute) and node.attr == "echo"]
    assert used == ["echo.py", *["negative.py"] * 2] or sorted(used) == [
        "echo.py", "negative.py", "negative.py"]


@pytest.mark.skipif(sys.platform != "linux", reason="names of bytes")
@pytest.mark.parametrize("name", [b"\xff.csv", b"x" * 300, b"loop.csv", b"$a_b^$.csv"])
def test_names_of_every_kind(run, tmp_path, name):
    """Bytes that are no text, too long, a link that goes in circles, signs of formulas."""
    (tmp_path / "loop.csv").symlink_to("loop.csv")
    if name.endswith(b".csv") and name != b"loop.csv":
        (tmp_path / os.fsdecode(name)).write_text(f"level,density\n{ROWS}", encoding="utf-8")
    stem = name.removesuffix(b".csv")
    done = run("fit", os.fsdecode(name), "-o", os.fsdecode(stem + b".curve.json"),
               "--plot", os.fsdecode(stem + b".png"))
    assert done.exception is None or isinstance(done.exception, SystemExit), done.output
    assert done.exit_code == (0 if b"$" in name or b"\xff" in name else 2), done.output
    if done.exit_code == 0:
        again = run("fit", "--rebuild", os.fsdecode(stem + b".curve.json"))
        assert again.exit_code == 0, again.output


def test_readings_that_are_written_hold_none(run):
    run("target", "-o", "T.tif", "--ppi", "72", "--levels", "9", "--name", NASTY)
    layout = read_target("T.target.json")
    Path("list.csv").write_text("patch,density\n" + "".join(
        f"{p.name},{1.5 - 1.4 * p.level:.3f}\n" for p in layout.patches), encoding="utf-8")
    done = run("read", "list.csv", "--target", "T.target.json", "-o", "r.csv", "--print",
               NASTY + "\udcff")
    assert done.exit_code == 0, done.output
    text = Path("r.csv").read_text(encoding="utf-8")
    assert all(line.isprintable() for line in text.split("\n")), ascii(text)
    with tifffile.TiffFile("T.tif") as file:
        assert file.pages[0].tags["ImageDescription"].value.isprintable()


@pytest.mark.skipif(sys.platform != "linux", reason="a folder in use cannot go there")
def test_a_folder_that_is_gone(tmp_path):
    code = ("import os, sys; os.mkdir('gone'); os.chdir('gone'); os.rmdir('../gone');"
            "from tonewright.cli import main; main(sys.argv[1:])")
    for arguments in (["fit", "x.csv", "-o", "x.curve.json", "--plot", "x.png"],
                      ["target", "-o", "x.tif"],
                      ["negative", "x.tif", "--curve", "c", "-o", "y.tif", "--save-layout", "l"]):
        done = subprocess.run([sys.executable, "-c", code, *arguments], cwd=tmp_path,
                              capture_output=True, text=True)
        assert done.returncode == 2 and "Traceback" not in done.stderr, done.stderr

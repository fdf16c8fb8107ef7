"""`tonewright proof` as it is typed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from commands import opened, said
from tonewright.cli import main

CURVE = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs the command in a folder with a curve and a picture."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(CURVE, "k.curve.json")
    ramp = np.tile(np.linspace(0, 65535, 90).astype(np.uint16), (60, 1))
    tifffile.imwrite("p.tif", ramp, photometric="minisblack", metadata=None,
                     resolution=(300, 300), resolutionunit=2)
    return lambda *arguments: CliRunner().invoke(main, ["proof", *arguments])


def test_the_report(run):
    done = run("p.tif", "--curve", "k.curve.json", "--encoding", "lightness", "-o", "p.png")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Proof of p.tif: 90 x 60 pixels, sRGB\n")
    with Image.open("p.png") as image:
        assert image.size == (90, 60)


def test_json_is_one_object(run, monkeypatch):
    count = opened(monkeypatch)
    done = run("p.tif", "--curve", "k.curve.json", "--curve", "k.curve.json", "-o", "p.png",
               "--mark", "--json")
    found = json.loads(done.stdout)
    assert (found["output"], found["height"], len(found["prints"])) == ("p.png", 60, 2)
    assert found["prints"][0]["colour"] == "neutral"
    assert found["prints"][0]["black_lightness"] == pytest.approx(19.0, abs=1.0)
    assert count["p.tif"] == 1


def test_several_pictures_need_a_folder(run):
    shutil.copy("p.tif", "q.tif")
    done = run("p.tif", "q.tif", "--curve", "k.curve.json", "-o", "out", "--json")
    assert [o["output"] for o in json.loads(done.stdout)["outputs"]] == [
        str(Path("out") / "p-proof.png"), str(Path("out") / "q-proof.png")]
    assert "is a folder" in said(run, "p.tif", "q.tif", "--curve", "k.curve.json", "-o", "x.png")


@pytest.mark.parametrize(("arguments", "words"), [
    (("p.tif", "-o", "x.png"), "curve"),
    (("p.tif", "--curve", "k.curve.json", "-o", "x.tif"), "A proof is a PNG file"),
    (("p.tif", "--curve", "k.curve.json", "-o", "x.png", "--encoding", "log"), "encoding"),
    (("p.tif", "--curve", "k.curve.json", "-o", "no/x.png"), "no folder"),
    (("p.tif", "--curve", "p.tif", "-o", "x.png"), "p.tif"),
    (("no.tif", "--curve", "k.curve.json", "-o", "x.png"), "no file no.tif"),
    (("k.curve.json", "--curve", "k.curve.json", "-o", "x.png"), "k.curve.json"),
    (("p.tif", "--curve", "k.curve.json", "-o", "p.tif", "--force"), "PNG"),
    (("p.tif", "--curve", "k.curve.json", "-o", "x.png", "--page", "2"), "page"),
])  # fmt: skip
def test_bad_input_is_refused(run, arguments, words):
    assert words in said(run, *arguments)


def test_negatives_and_proofs_are_no_pictures(run):
    assert run("p.tif", "--curve", "k.curve.json", "-o", "p.png").exit_code == 0
    assert "--anyway" in said(run, "p.png", "--curve", "k.curve.json", "-o", "q.png")
    assert "--force" in said(run, "p.tif", "--curve", "k.curve.json", "-o", "p.png")
    made = CliRunner().invoke(main, ["negative", "p.tif", "--curve", "k.curve.json", "-o", "n.tif"])
    assert made.exit_code == 0
    assert "already a negative" in said(run, "n.tif", "--curve", "k.curve.json", "-o", "q.png")


def test_a_hostile_name_is_written_out(run):
    name = "a\u202eb\x1b[31m.tif"
    shutil.copy("p.tif", name)
    done = run(name, "--curve", "k.curve.json", "-o", "h.png")
    assert done.exit_code == 0
    assert "\x1b" not in done.stdout and "\u202e" not in done.stdout

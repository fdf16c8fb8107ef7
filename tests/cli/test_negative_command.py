"""`tonewright negative` as it is typed."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from tonewright.cli import main


class Straight:
    name = "kallitype"

    def level_at(self, image_lightness):
        return 0.05 + 0.6 * np.asarray(image_lightness) / 100.0


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs the command in an empty folder with a stand-in for the curve."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tonewright.files.documents.read_curve", lambda path: Straight())

    def call(*arguments):
        return CliRunner().invoke(main, ["negative", *arguments, "--curve", "k.curve.json"])

    return call


def save(path, shape=(240, 360), **options):
    values = np.zeros(shape, np.uint16)
    tifffile.imwrite(path, values, photometric="minisblack", metadata=None, **options)


def test_says_what_it_did_and_what_comes_next(run, tmp_path):
    save(tmp_path / "portrait.tif", resolution=(360, 360))
    result = run("portrait.tif", "-o", "n.tif")
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    assert "360 x 240 pixels, 360 to the inch: 25.4 x 16.9 mm" in text
    assert "gamma 2.2" in text
    assert "--encoding" in text
    assert "5.0% to 65.0% of the ink" in text
    assert "actual size" in text
    assert "colour management switched off" in text
    assert "ink on the coating: the picture is mirrored" in text
    for word in ("eyes", "skin", "gloves", "air the room", "safety data sheets", "local rules"):
        assert word in text
    assert max(map(len, result.stdout.splitlines())) <= 88
    assert result.stderr == ""
    assert (tifffile.imread("n.tif") == round(65535 * 0.95)).all()


def test_no_mirror_is_done_and_said(run, tmp_path):
    values = np.tile(np.arange(300, dtype=np.uint16) * 200, (10, 1))
    tifffile.imwrite("i.tif", values, photometric="minisblack", metadata=None)
    assert run("i.tif", "-o", "m.tif").exit_code == 0
    result = run("i.tif", "-o", "n.tif", "--no-mirror")
    assert "wrong way round" in " ".join(result.stdout.split())
    plain, mirrored = tifffile.imread("n.tif"), tifffile.imread("m.tif")
    assert np.array_equal(plain, mirrored[:, ::-1])
    assert plain[0, 0] > plain[0, -1]


def test_json_is_one_object_and_nothing_else(run, tmp_path):
    save(tmp_path / "i.tif", resolution=(300, 300))
    result = run("i.tif", "-o", "n.tif", "--json", "--encoding", "srgb")
    found = json.loads(result.stdout)
    assert found["output"] == "n.tif"
    assert (found["width"], found["height"]) == (360, 240)
    assert found["pixels_per_inch"] == [300, 300]
    assert (found["encoding"], found["mirrored"], found["warnings"]) == ("srgb", True, [])
    assert found["level_black"] == pytest.approx(0.05)


def test_several_images_go_into_a_folder(run, tmp_path):
    for name in "ab":
        save(tmp_path / f"{name}.tif")
    result = run("a.tif", "b.tif", "-o", "out", "--json")
    outputs = json.loads(result.stdout)["outputs"]
    assert [found["width"] for found in outputs] == [360, 360]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "a-negative.tif",
        "b-negative.tif",
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["text.tif", "-o", "n.tif"], r"text\.tif is not a TIFF.*16-bit gray"),
        (["gone.tif", "-o", "n.tif"], r"no file gone\.tif"),
        (["i.tif", "-o", "old.tif"], r"old\.tif is there already.*--force"),
        (["i.tif", "-o", "i.tif", "--force"], r"i\.tif is the image itself"),
        (["i.tif", "-o", "none/n.tif"], "no folder none"),
        (["i.tif", "-o", "n.png"], r"n\.tif"),
        (["i.tif", "i.tif", "-o", "n.tif"], "folder"),
        (["i.tif", "-o", "n.tif", "--encoding", "film"], "gamma:2.2"),
        (["i.tif", "-o", "n.tif", "--encoding", ""], "gamma:2.2"),
    ],
)
def test_bad_use_is_one_message_and_nothing_written(run, tmp_path, arguments, words):
    save(tmp_path / "i.tif")
    (tmp_path / "text.tif").write_text("words", encoding="utf-8")
    (tmp_path / "old.tif").write_bytes(b"old")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert re.search(words, result.stderr)
    assert "Traceback" not in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_force_replaces(run, tmp_path):
    save(tmp_path / "i.tif")
    (tmp_path / "old.tif").write_bytes(b"old")
    assert run("i.tif", "-o", "old.tif", "--force").exit_code == 0
    assert tifffile.imread("old.tif").shape == (240, 360)

"""`tonewright renew` on new readings of the whole target."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from commands import refused
from tonewright.cli import main
from tonewright.files.documents import read_curve
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, Flaws, measure_target


def target(name, room, **flaws):
    found = measure_target(room, np.linspace(0, 1, 21), flaws=Flaws(**flaws), seed=4).readings
    rows = [f"{p.level:.4f},{p.density:.4f},{p.patch}" for p in found.patches]
    Path(name).write_text("\n".join(["level,density,patch", *rows]), encoding="utf-8")


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs `tonewright` in a folder with an old curve and the readings of a new paper."""
    monkeypatch.chdir(tmp_path)
    target("old.csv", Darkroom())
    target("new.csv", Darkroom(process=CYANOTYPE), stains=1, noise_density_sd=0.01)

    def call(*arguments):
        return CliRunner().invoke(main, arguments)

    made = call("fit", "old.csv", "-o", "old.curve.json", "--aim", "density", "--paper", "cotton",
                "--ink", "black", "--leave-out", "A01")  # fmt: skip
    assert made.exit_code == 0, made.output
    return call


RENEW = ("renew", "old.curve.json", "--readings", "new.csv", "--replace", "-o",
         "new.curve.json")


def test_aim_and_setup_carried_over_and_the_ancestor_named(run):
    done = run(*RENEW, "--paper", "linen")
    assert done.exit_code == 0, done.output
    curve = read_curve("new.curve.json")
    assert curve.settings.aim.kind == "density"
    assert curve.settings.left_out == ()
    assert (curve.setup.paper, curve.setup.ink) == ("linen", "black")
    assert curve.ancestor.name == "old"
    digest = hashlib.sha256(Path("old.curve.json").read_bytes()).hexdigest()
    assert curve.ancestor.sha256 == digest
    assert curve.ancestor.setup.paper == "cotton"
    for said in ("Curve new, renewed from old", "paper: cotton → linen",
                 "old curve for this print: up to", "Written: new.curve.json"):
        assert said in " ".join(done.stdout.split())


def test_json(run):
    done = run(*RENEW, "--paper", "linen", "--json")
    found = json.loads(done.stdout)
    assert done.stderr == ""
    assert found["ancestor"] == "old"
    assert found["output"] == "new.curve.json"
    assert found["setup_changes"] == ["paper: cotton → linen"]
    moved = found["moved"]
    assert moved["new_black_lightness"] == found["black_lightness"]
    assert abs(moved["largest_shift_lightness"]) > 5.0
    assert moved["warning"] is None


def test_a_stain_on_the_new_print_can_be_left_out(run):
    doubtful = json.loads(run(*RENEW, "--json").stdout)["doubtful"]
    done = run(*RENEW, "--force", "--json", "--leave-out", doubtful[0]["patch"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["doubtful"] == []


@pytest.mark.fits_anew
def test_a_renewed_curve_rebuilds_and_renews(run):
    assert run(*RENEW).exit_code == 0
    assert "byte for byte" in run("fit", "--rebuild", "new.curve.json").stdout
    done = run("renew", "new.curve.json", "--readings", "old.csv", "--replace", "-o",
               "third.curve.json")
    assert done.exit_code == 0, done.output
    assert read_curve("third.curve.json").ancestor.name == "new"


def test_setup_from_a_file(run):
    Path("s.toml").write_text('paper = "linen"\nlamp = "sun"\n', encoding="utf-8")
    assert run(*RENEW, "--setup", "s.toml", "--lamp", "tubes").exit_code == 0
    setup = read_curve("new.curve.json").setup
    assert (setup.paper, setup.lamp, setup.ink) == ("linen", "tubes", "black")


def test_another_scale_is_said(run):
    text = Path("new.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in text[1:]]
    lines = [f"{r[0]},{116 * (10 ** -float(r[1])) ** (1 / 3) - 16:.3f}" for r in rows]
    Path("light.csv").write_text("\n".join(["level,lightness", *lines]), encoding="utf-8")
    done = run("renew", "old.curve.json", "--readings", "light.csv", "--replace", "-o",
               "l.curve.json")
    assert done.exit_code == 0, done.output
    assert "0.07 in density" in " ".join(done.stdout.split())


def test_another_zero_is_refused(run):
    message = refused(run, *RENEW, "--relative-to-paper")
    assert "bare paper" in message


def test_wrong_order_and_wrong_files(run):
    assert "no file" in refused(run, "renew", "none.curve.json", *RENEW[2:])
    assert "JSON" in refused(run, "renew", "new.csv", "--readings", "old.curve.json",
                             "-o", "x.json")  # fmt: skip
    assert "is a correction curve" in refused(run, "renew", "old.curve.json", "--readings",
                                              "old.curve.json", "-o", "x.json")  # fmt: skip
    assert "no file" in refused(run, "renew", "old.curve.json", "--readings", "none.csv",
                                "-o", "x.json")  # fmt: skip
    assert "--readings" in refused(run, "renew", "old.curve.json", "-o", "x.json")
    assert "--output" in refused(run, "renew", "old.curve.json", "--readings", "new.csv")
    assert "Z99" in refused(run, *RENEW, "--leave-out", "Z99")


def test_outputs_that_cannot_be(run):
    assert "no folder" in refused(run, *RENEW[:-1], "none/x.curve.json")
    Path("new.curve.json").write_text("mine", encoding="utf-8")
    assert "--force" in refused(run, *RENEW)
    assert run(*RENEW, "--force").exit_code == 0
    for output in ("old.curve.json", "new.csv"):
        assert "is being read" in refused(run, *RENEW[:-1], output, "--force")


@pytest.mark.parametrize("damage", ["cut", "version", "falls"])
def test_a_damaged_old_curve_is_refused(run, damage):
    path = Path("old.curve.json")
    text = path.read_text(encoding="utf-8")
    document = json.loads(text)
    if damage == "version":
        document["version"] = 1
    document["correction"]["level"][500] = 0.999
    path.write_text(text[:9000] if damage == "cut" else json.dumps(document), encoding="utf-8")
    message = refused(run, *RENEW)
    assert {"cut": "JSON", "version": "version 1", "falls": "follows 0.999"}[damage] in message

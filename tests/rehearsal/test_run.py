"""The rehearsal goes the whole way round, and each of its findings is known to be true."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from commands import refused
from tonewright.check.document import Check
from tonewright.cli import main
from tonewright.files.documents import open_document, read_curve
from tonewright.rehearsal import run


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The folder it left, and what it says of itself."""
    folder = tmp_path_factory.mktemp("rehearsal")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "SIZE", (1200, 100))  # what is judged does not hang on the picture
        done = CliRunner().invoke(main, ["rehearse", "-o", str(folder), "--json"])
    assert done.exit_code == 0, done.output
    return folder, json.loads(done.stdout)


def test_every_file_is_there_and_no_other(job):
    folder, told = job
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert set(told["files"]) <= there
    assert {n for n in there - set(told["files"]) if not n.endswith(".csv")} == set()


def test_the_curve_and_the_renewal_do_their_work(job):
    _, told = job
    assert told["through_curve_rms_lightness"] < 1.0 < 5.0 < told["without_curve_rms_lightness"]
    roads = told["roads_rms_lightness"]
    assert roads["renewed by a strip"] < 2.0 < 5.0 < roads["old curve kept"]
    assert told["base_printing_time_s"] == pytest.approx(
        told["true_base_printing_time_s"], rel=0.15)


def test_the_planted_fault_is_named_and_put_right(job):
    _, told = job
    pale, good = told["pale_print"], told["good_print"]
    assert (pale["passes"], pale["cause"]) == (False, "exposure")
    assert pale["exposure_off_stops"] == pytest.approx(-1 / 3, abs=1 / 6)
    assert (good["passes"], good["cause"]) == (True, "none")


def test_the_good_print_makes_the_curve_surer(job):
    folder, told = job
    assert told["refined_rms_lightness"] < told["through_curve_rms_lightness"] + 0.05
    refined, first = (read_curve(folder / f"{name}.curve.json")
                      for name in ("8-kallitype-refined", "3-kallitype"))
    assert refined.ancestor.name == first.name
    assert refined.setup.paper == first.setup.paper


def test_the_ageing_lamp_is_seen_before_the_year_is_out(job):
    folder, told = job
    found = next(f for f in told["drift"] if f["code"] == "time_drifted")
    assert "2025-06" <= found["moving_since"] <= found["out_since"]
    assert found["slower_stops"] == pytest.approx(0.25, abs=0.15)
    checks = sorted((folder / "9-year").glob("*.check.json"))
    assert [open_document(c, Check).document.date for c in checks] == [
        f"2025-{month:02d}-15" for month in range(2, 13)]


def test_every_document_is_on_the_shelf(job):
    folder, told = job
    shelf = [sys.executable, "-m", "tonewright", "shelf", str(folder), "--json"]
    found = json.loads(subprocess.run(shelf, capture_output=True, check=True).stdout)
    assert found["left_out"] == []
    documents = [n for n in told["files"] if n.endswith(".json")]
    assert found["documents"] == len(documents)


def test_nothing_is_replaced_unasked(job, monkeypatch):
    folder, _ = job
    monkeypatch.chdir(folder)
    said = refused(lambda *typed: CliRunner().invoke(main, typed), "rehearse", "-o", ".")
    assert "is there already" in said

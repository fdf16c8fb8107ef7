"""`tonewright compare` as it is typed: the same paper, another paper, and what is no curve."""

from __future__ import annotations

import dataclasses
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import commands
import shelves
from reports import check_report
from tonewright.cli import main
from tonewright.shelf.side_by_side import TONES, compare_curves
from tonewright.show.side_by_side import side_by_side_text


def invoke(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def curves():
    """Two prints of one paper, and one of paper that is half a stop slower."""
    slow = shelves.fitted("slow", 3, 0.5)
    slow = dataclasses.replace(slow, setup=dataclasses.replace(
        slow.setup, printing_time="25 min", lamp="other tubes"))
    return [shelves.fitted("march", 1), shelves.fitted("june", 2), slow]


def test_the_report():
    curves = [shelves.drawn("march", 1.5), shelves.drawn("june", 1.51),
              shelves.drawn("slow", 1.3, "25 min", "other tubes")]
    check_report("compare.txt", side_by_side_text(curves, compare_curves(curves), "c.png"))


def test_one_paper_is_within_the_bands_and_another_is_not(curves):
    same, other = compare_curves(curves)
    assert not same.differs
    assert other.differs
    # less light prints lighter: the slow paper's curve asks for less ink, which would print darker
    assert other.difference_lightness[other.worst] < -3.0
    assert other.slower_stops == pytest.approx(np.log2(25 / 20))
    assert other.other_ink == (("lamp", "UV tubes", "other tubes"),)
    assert not same.other_ink


def test_the_difference_is_what_the_print_would_show(curves):
    """The other's ink, read off the first's own response by hand."""
    first, other = curves[0], curves[2]
    found = compare_curves([first, other])[0]
    for tone in (20, 50, 80):
        ink = [np.interp(tone, c.correction.image_lightness, c.correction.level)
               for c in (first, other)]
        light = np.interp(ink, first.response.level, first.response.lightness)
        assert found.difference_lightness[tone] == pytest.approx(light[1] - light[0])
        assert TONES[tone] == tone


def test_bands_that_touch_are_no_difference():
    """Of many pairs of curves of one paper few are told apart."""
    told = [compare_curves([shelves.fitted("a", seed), shelves.fitted("b", seed + 1)])[0].differs
            for seed in range(10, 18, 2)]
    assert sum(told) <= 1


def test_the_command_table_json_and_picture(curves, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = [shelves.write(tmp_path, c.name, c).name for c in curves]
    done = invoke("compare", *names, "--plot", "three.png")
    assert done.exit_code == 0, done.output
    assert "differs from A by more than both bands" in " ".join(done.output.split())
    assert Image.open(io.BytesIO(Path("three.png").read_bytes())).size[0] > 1000
    data = json.loads(invoke("compare", *names, "--json").stdout)
    assert [c["name"] for c in data["curves"]] == ["march", "june", "slow"]
    assert [c["differs"] for c in data["compared_with_first"]] == [False, True]
    assert len(data["image_lightness"]) == len(data["curves"][0]["level"]) == 101


def test_many_curves_and_hostile_names(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = [shelves.write(tmp_path, f"c{i}", shelves.curve(f"n$\x1b[1m{i}\n", None)).name
             for i in range(9)]
    done = invoke("compare", *names, "--plot", "nine.png")
    assert done.exit_code == 0, done.output
    assert "\x1b" not in done.output
    assert max(map(len, done.output.splitlines())) <= 88


def test_units_are_not_mixed(curves):
    minutes = curves[0]
    units = dataclasses.replace(minutes, setup=dataclasses.replace(
        minutes.setup, printing_time="120 units"))
    found = compare_curves([minutes, units])
    assert found[0].slower_stops is None
    assert "are not compared" in side_by_side_text([minutes, units], found, None)


def test_bad_input(curves, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shelves.write(Path(), "one", curves[0])
    relative = dataclasses.replace(curves[0].readings, relative_to_paper=True)
    shelves.write(Path(), "paper", dataclasses.replace(curves[0], readings=relative))
    shelves.write(Path(), "strip", shelves.process(None))
    for arguments, said in (
        ((), "Two curves at least"), (("one.curve.json",), "one curve is named"),
        (("one.curve.json", "two.curve.json"), "there is no file two.curve.json"),
        (("one.curve.json", "strip.process.json"), "this is a strip's process file"),
        (("one.curve.json", "paper.curve.json"), "density of the paper"),
        (("one.curve.json", "one.curve.json", "--plot", "one.curve.json"), "one.curve.json"),
        (("one.curve.json", "one.curve.json", "--plot", "no/x.png"), "folder"),
    ):
        assert said in commands.said(invoke, "compare", *arguments)

"""How far a paper has come, by what lies in its folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tonewright.files.contents import charts, paper_way, readings_tables, stem, tables
from tonewright.files.papers import Papers
from tonewright.files.targets import ChartRequest, TargetRequest, draw_target
from tonewright.shelf.way import STEPS, way
from tonewright.show.way_text import missing_words, next_on_the_way
from tonewright.target.layout import LayoutSettings

CURVES = Path(__file__).parents[2] / "curves"


@pytest.fixture
def cotton(tmp_path: Path) -> Path:
    (tmp_path / "Cotton").mkdir()
    return tmp_path / "Cotton"


def is_readings(papers: Papers, paper: str, name: str) -> bool:
    return name in readings_tables(papers, paper)


def next_of(cotton: Path) -> str | None:
    return paper_way(Papers(cotton.parent), "Cotton").next


def test_each_thing_brings_the_next_step(cotton: Path) -> None:
    assert next_of(cotton) == "strip"
    shutil.copy(CURVES / "kallitype.process.json", cotton)
    assert next_of(cotton) == "target"
    draw_target(cotton / "t.tif", TargetRequest(levels=5), LayoutSettings("t"))
    assert next_of(cotton) == "read", "the table beside the target is still empty"
    shutil.copy(CURVES / "kallitype-target.csv", cotton / "mine.csv")
    assert next_of(cotton) == "curve"
    shutil.copy(CURVES / "kallitype.curve.json", cotton)
    assert next_of(cotton) == "negative"
    (cotton / "a-negative.tif").touch()
    assert next_of(cotton) == "check"
    (cotton / "a.check.json").touch()
    assert next_of(cotton) == "report"
    (cotton / "a.html").touch()
    assert next_of(cotton) is None


@pytest.mark.parametrize("text", [
    "density\n0.08\n0.22\n",  # a gray scale
    "patch,density\nA1,1.5\n",  # an instrument's list, which has not been read yet
    "step,density\n1,1.5\n2,1.4\n", "step,film,bare\n1,1.5,1.5\n", "level,density\n0,\n1,\n",
    "nothing of the kind", "", "\x00\x01"])
def test_other_tables_are_no_readings(cotton: Path, text: str) -> None:
    (cotton / "a.csv").write_text(text, encoding="utf-8")
    assert not is_readings(Papers(cotton.parent), "Cotton", "a.csv")


@pytest.mark.parametrize(("name", "text"), [
    ("a.csv", "level,density\n0,1.5\n1,0.1\n"), ("a.csv", "patch,level,density\nA1,0,1.5\n"),
    ("b.txt", "ink_percent\tlightness\n0\t20\n")])
def test_readings_are_known_by_what_they_hold(cotton: Path, name: str, text: str) -> None:
    (cotton / name).write_text(text, encoding="utf-8")
    assert is_readings(Papers(cotton.parent), "Cotton", name)


@pytest.mark.parametrize("name", ["a-strip.csv", "a-negative.csv", "a-print.csv"])
def test_names_tell_strips_negatives_and_prints_apart(cotton: Path, name: str) -> None:
    (cotton / name).write_text("level,density\n0,1.5\n1,0.1\n", encoding="utf-8")
    assert not is_readings(Papers(cotton.parent), "Cotton", name)


def test_a_worksheet_is_no_report(cotton: Path) -> None:
    (cotton / "a-worksheet.html").write_text("", encoding="utf-8")
    assert "report" in paper_way(Papers(cotton.parent), "Cotton").missing
    (cotton / "a.html").write_text("", encoding="utf-8")
    assert "report" in paper_way(Papers(cotton.parent), "Cotton").done


def test_a_name_without_its_endings() -> None:
    assert [*map(stem, ["a.target.json", "b/a.curve.json", "a.b.tif", "a"])] == ["a", "a", "a.b",
                                                                                 "a"]


def test_what_is_missing_and_next_is_said() -> None:
    assert missing_words(way(["process"])) == (
        "Still to do: target, read, curve, negative, check and report.")
    assert missing_words(way(["process", "curve", "check"])) == "Still to do: report."
    assert next_on_the_way(way(["process"])).startswith("Draw a target")
    everything = way(["process", "curve", "check", "report"])
    assert everything.done == set(STEPS)
    assert missing_words(everything) == "Nothing is left to do."
    assert "All steps are done" in next_on_the_way(everything)


def test_a_chart_of_inks_is_no_target_and_its_readings_make_no_curve(cotton: Path) -> None:
    shutil.copy(CURVES / "kallitype.process.json", cotton)
    draw_target(cotton / "c.tif", TargetRequest(chart=ChartRequest()), LayoutSettings("c"))
    (cotton / "read.csv").write_text("red,green,blue,level,density\n255,0,0,1,0.3\n0,0,0,1,0.1\n"
                                     "255,255,255,0,1.5\n", encoding="utf-8")
    papers = Papers(cotton.parent)
    assert next_of(cotton) == "target"
    assert (charts(papers, "Cotton"), tables(papers, "Cotton", "inks")) == (
        ["c.target.json"], ["read.csv"])
    assert not is_readings(papers, "Cotton", "read.csv")

"""What `target` says: whole reports as golden files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import chart
from reports import check_report
from tonewright.files.targets import DrawnTarget, TargetFiles
from tonewright.show.target_text import target_text
from tonewright.show.words import WIDTH, labelled, typed
from tonewright.target.layout import LayoutSettings, even_levels, make_target

FILES = TargetFiles(Path("T.tif"), Path("T.target.json"), Path("T.csv"))
PLAIN = make_target(even_levels(), LayoutSettings("cotton, kallitype", repeats=2))


@pytest.mark.parametrize(("name", "target"), [
    ("target.txt", PLAIN),
    ("target_through.txt", replace(PLAIN, through="kallitype", ink_colour="255,120,0",
                                   mirrored=False)),
    ("target_inks.txt", chart.chart_target()),
])
def test_golden_reports(name, target):
    check_report(name, target_text(DrawnTarget(target, FILES)))


def test_a_name_with_spaces_is_quoted_and_kept_whole():
    files = TargetFiles(Path("my first.tif"), Path("a rather long name for a target.target.json"),
                        Path("T.csv"))
    text = target_text(DrawnTarget(PLAIN, files))
    assert '--target\n          "a rather long name for a target.target.json"' in text


@pytest.mark.parametrize(
    ("name", "shown"),
    [("T.target.json", "T.target.json"), ("Bütten/x_1.tif", "Bütten/x_1.tif"),
     ("a b.tif", '"a b.tif"'), ("x (1).tif", '"x (1).tif"'), ("a $b.tif", "'a $b.tif'")],
)
def test_names_as_they_are_typed(name, shown):
    assert typed(name) == shown


@pytest.mark.parametrize("kept", ["12 min 30 s", "1 h 5 min", "40 units", "L* 62", "12 L*",
                                  "65 %", "84.7 x 127.0 mm", "2 stops", "14 mm"])
def test_a_number_is_never_broken_from_its_unit(kept):
    for length in range(60, 90):
        text = labelled("note", f"{'x' * length} {kept} and so on")
        assert kept in text


def test_an_apostrophe_opens_no_quotation():
    text = labelled("note", "the strip's readings are many, and " * 4 + "the halves' too")
    assert max(map(len, text.splitlines())) <= WIDTH

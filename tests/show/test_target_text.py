"""What `target` says: whole reports as golden files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import chart
from reports import check_report
from tonewright.files.targets import DrawnTarget, TargetFiles
from tonewright.show.target_text import target_text
from tonewright.target.layout import LayoutSettings, even_levels, make_target

FILES = TargetFiles(Path("T.tif"), Path("T.target.json"))
PLAIN = make_target(even_levels(), LayoutSettings("cotton, kallitype", repeats=2))


@pytest.mark.parametrize(("name", "target"), [
    ("target.txt", PLAIN),
    ("target_through.txt", replace(PLAIN, through="kallitype", ink_colour="255,120,0",
                                   mirrored=False)),
    ("target_inks.txt", chart.chart_target()),
])
def test_golden_reports(name, target):
    check_report(name, target_text(DrawnTarget(target, FILES)))

"""The cautions stand where someone is told to coat or expose, once, and nowhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tonewright.show.cautions import with_cautions

GOLDEN = Path(__file__).parent / "golden"
REPORTS = [p.name for p in sorted(GOLDEN.glob("*.txt"))
           if re.search("^Next:? ", p.read_text(encoding="utf-8"), re.M)
           and p.name != "check_causes.txt"]  # parts of reports
TO_EXPOSE = re.compile(
    r"(?<!would )\b[Pp]rint (an?|another|one|it(?! without)|this|the (target|(same )?chart"
    r"|negative)|for|longer)\b|\b(coat|expose)\b")


@pytest.mark.parametrize("name", REPORTS)
def test_reports_carry_them_where_something_is_to_be_exposed(name):
    report = (GOLDEN / name).read_text(encoding="utf-8")
    told = TO_EXPOSE.search(" ".join(report.partition("Safety:")[0].split()))
    assert report.count("Safety:") == (told is not None), told


def test_reports_of_both_kinds_were_looked_at():
    safety = [("Safety:" in (GOLDEN / name).read_text(encoding="utf-8")) for name in REPORTS]
    assert sum(safety) >= 10 and len(safety) - sum(safety) >= 10


def test_they_name_what_hurts_and_what_helps():
    said = with_cautions(["done"])
    for word in ("UV", "eyes and skin", "gloves", "ventilate", "safety data sheet", "trained",
                 "local rules"):
        assert word in said

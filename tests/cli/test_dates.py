"""The day of a print, wherever a setup says it: as 2026-03-31, not before 1839, and not one
still to come."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from commands import said
from tonewright.cli import main
from tonewright.files.curves import SetupFiles
from tonewright.files.documents import read_process
from tonewright.record.setup import Setup

CURVES = Path(__file__).parents[2] / "curves"
STRIP = ("strip", "kallitype-strip.csv", "--tablet", "31", "-o", "new.process.json")
CALLS = {
    "strip": STRIP,
    "fit": ("fit", "kallitype-target.csv", "-o", "new.curve.json"),
    "refine": ("refine", "kallitype.curve.json", "kallitype-target.csv", "-o", "new.curve.json"),
    "renew": ("renew", "kallitype.curve.json", "--printing-time", "9min", "-o", "new.curve.json"),
}


def call(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def bench(tmp_path, monkeypatch):
    for file in CURVES.iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("command", CALLS)
@pytest.mark.parametrize(("date", "rule"), [
    ("31.12.2025", "A date is a year, a month and a day, as 2026-03-31"),
    ("tomorrow", "A date is a year, a month and a day, as 2026-03-31"),
    ("2999-01-01", "A print has been made before it is measured"),
    ("0226-03-31", "No print is older than 1839"), ("1838-12-31", "No print is older than 1839"),
])
def test_a_date_that_is_none_is_refused(bench, command, date, rule):
    Path("setup.toml").write_text(f'date = "{date}"\n', encoding="utf-8")
    for beside in (("--date", date), ("--setup", "setup.toml")):
        told = said(call, *CALLS[command], *beside)
        assert date in told and rule in told and "(--date 2026-03-31)" in told


def test_a_date_typed_wins_over_the_file_s_and_is_kept(bench):
    Path("setup.toml").write_text('date = "spring"\n', encoding="utf-8")
    done = call(*STRIP, "--setup", "setup.toml", "--date", "2025-12-31")
    assert done.exit_code == 0, done.output
    assert read_process("new.process.json").setup.date == "2025-12-31"
    assert SetupFiles(Setup(date=" 2025-12-31 ")).read().date == "2025-12-31"


def test_a_document_of_an_odd_date_still_opens(bench):
    process = Path("kallitype.process.json").read_text(encoding="utf-8")
    day = read_process("kallitype.process.json").setup.date
    Path("odd.process.json").write_text(process.replace(f'"{day}"', '"spring"'), encoding="utf-8")
    assert read_process("odd.process.json").setup.date == "spring"

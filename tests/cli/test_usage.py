"""What was typed wrongly is said in one line, in the program's own words."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

import commands
from tonewright.cli import main

CURVES = Path(__file__).parents[2] / "curves"

CLICK = ("Usage:", "Try '", "Error:", "Invalid value", "Missing", "No such", "valid integer",
         "requires an argument", "unexpected", "parameter")


@pytest.mark.parametrize(("call", "said"), [
    ("strip --merged 2.5",
     "strip: --merged is '2.5'. It is a whole number. See tonewright strip --help."),
    ("strip --paper-density 0,0,8",
     "strip: --paper-density is '0,0,8'. It is a number, with a decimal point if need be. See"),
    ("strip --halves 3", "strip: --halves is '3'. It is 2, film/bare, bare/film, 1, film or bare."),
    ("negative a --curve c -o o --seed -1",
     "negative: --seed is '-1'. It is a whole number from 0 to 4294967295."),
    ("rehearse -o x --seed much", "rehearse: --seed is 'much'. It is a whole number from 0 on."),
    ("target", "target: -o or --output is missing: the negative to print, T.tif;"),
    ("export a", "export: --as is missing: what the curve is handed over as; it is curve-csv,"
                 " response-csv, table, points, lut, icc-output, icc-link, readings or aim. Add it;"
                 " see tonewright export --help."),
    ("export", "no CURVE is named. Write tonewright export CURVE, with options."),
    ("negative", "negative: no IMAGE is named."),
    ("check c.curve.json", "check: no READINGS are named. Write tonewright check CURVE READINGS"),
    ("export a b --as curve-csv",
     "export: one argument too many: b. A name with spaces stands in quotes"),
    ("fit --plott x", "fit: there is no option --plott. The nearest is --plot."),
    ("check c --known A1=1", "--known. It is an option of tonewright read. See"),
    ("negative a --crops 3", "negative: there is no option --crops. See tonewright negative"),
    ("fit --tablet 31 a", "no option --tablet. It is an option of tonewright strip. See"),
    ("fit --sheet x", "fit: there is no option --sheet. See tonewright fit --help."),
    ("strip -x", "strip: there is no option -x. See tonewright strip --help."),
    ("strip --merged", "strip: --merged has no value. By eye: steps 1 to K"),
    ("strip --blank --tablet 31", "strip: --blank has no value. Write a table of the tablet"),
    ("strip --flip=3", "strip: --flip is given a value. It is given alone."),
    ("negative a --marks=3", "negative: --marks is given a value. It is given alone."),
    ("--nope", ": there is no option --nope. See tonewright --help."),
    ("--version=3", ": --version is given a value. It is given alone."),
    ("stripp", ": there is no command stripp. The commands are strip, target,"),
    ("stripp", "Write strip if that is meant, or see tonewright --help."),
    ("zzzz", "rehearse. See tonewright --help."),
])
def test_a_wrong_call_is_one_plain_line(call, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, call.split())
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.startswith("tonewright")
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert not [word for word in CLICK if word in done.stderr]
    assert list(tmp_path.iterdir()) == []


def test_a_value_of_several_lines_or_with_quotes_stays_one_line():
    for value in ("a\nb", "it's", '"', "x is not y", ""):
        done = CliRunner().invoke(main, ["strip", "--merged", value])
        assert done.exit_code == 2
        assert done.stderr.count("\n") == 1
        assert "It is a whole number" in done.stderr


def test_help_wins_over_what_is_missing():
    for words in (["export", "--help"], ["target", "-h"], ["--help", "stripp"]):
        done = CliRunner().invoke(main, words)
        assert done.exit_code == 0
        assert "Usage:" in done.stdout


def test_a_wrong_call_of_a_real_process_loads_nothing_heavy():
    code = ("import sys\nfrom tonewright.cli import main\ntry:\n    main()\nexcept SystemExit as"
            " stop:\n    print(stop.code, sorted({m.split('.')[0] for m in sys.modules}))\n")
    done = subprocess.run([sys.executable, "-c", code, "target"], capture_output=True, text=True,
                          timeout=60, check=True, env=os.environ)
    assert done.stdout.startswith("2 ")
    assert "'click'" in done.stdout
    assert "'numpy'" not in done.stdout
    assert done.stderr.startswith("tonewright target: -o or --output is missing: ")


@pytest.mark.parametrize(("call", "said"), [
    ("fit kallitype.process.json -o x.curve.json", "kallitype.process.json is a strip's process"),
    ("check kallitype.curve.json kallitype.curve.json", "is a correction curve. Measurements are"),
    ("strip kallitype.curve.json --tablet 31 --time 9min", "Name the table of readings itself."),
    ("read kallitype-target.csv --target kallitype.curve.json -o x.csv",
     "A target is needed (NAME.target.json, written with the target)."),
])
def test_a_document_of_the_wrong_step_is_called_what_it_is(call, said, tmp_path, monkeypatch):
    for path in CURVES.iterdir():
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    assert said in commands.said(lambda *words: CliRunner().invoke(main, words), *call.split())

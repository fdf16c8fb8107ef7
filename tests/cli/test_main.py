"""The command line as a whole: help, wrong words, one message and exit 2."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tonewright import __version__
from tonewright.cli import COMMANDS, main


def run(*arguments):
    return CliRunner().invoke(main, arguments)


@pytest.mark.parametrize("word", ["--help", "-h"])
def test_help_names_every_command_and_where_to_start(word):
    done = run(word)
    assert done.exit_code == 0
    for name, what in COMMANDS.items():
        assert f"  {name} " in done.output
        assert "".join(what.split()) in "".join(done.output.split())  # however it is wrapped
    assert "tonewright rehearse -o rehearsal" in done.output


def test_help_says_one_plain_line_for_each_command_in_the_order_of_the_job():
    lines = run("--help").output.split("Commands:\n")[1].splitlines()
    job = ["strip", "target", "scanner", "read", "inks", "fit", "proof", "negative", "worksheet",
           "check", "refine", "renew", "drift", "shelf", "compare", "report", "export",
           "bench", "rehearse"]
    assert [line.split()[0] for line in lines] == list(COMMANDS) == [
        name for name in job if name in COMMANDS]
    assert "a time needs no print" in COMMANDS["renew"]


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "bench"])
def test_every_command_can_print_one_object(name):
    assert "--json" in run(name, "--help").output


def test_no_command_at_all_shows_the_help():
    assert "Commands:" in run().output


def test_version():
    done = run("--version")
    assert done.exit_code == 0
    assert __version__ in done.output


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_help(name):
    done = run(name, "--help")
    assert done.exit_code == 0, done.output
    assert "Usage: main " + name in done.output
    assert "--help" in done.output


@pytest.mark.parametrize(
    "arguments", [["fitt"], ["--nope"], ["fit", "--nope"], ["export"], ["renew"], ["negative"]]
)
def test_wrong_words_are_exit_2_without_traceback(arguments):
    done = run(*arguments)
    assert done.exit_code == 2
    assert "Traceback" not in done.output
    assert done.stderr.startswith("tonewright")
    assert done.stderr.count("\n") == 1
    assert "--help" in done.stderr
    assert done.stdout == ""


def shell(*arguments, cwd, **environment):
    return subprocess.run(
        [sys.executable, "-c", "from tonewright.cli import main; main()", *arguments],
        capture_output=True, cwd=cwd, timeout=60, check=False, env={**os.environ, **environment},
    )  # fmt: skip


def test_a_real_process_says_one_thing_on_stderr(tmp_path):
    done = shell("fit", "none.csv", "-o", "x.curve.json", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == b""
    said = done.stderr.decode()
    assert said.startswith("tonewright fit: there is no file none.csv.")
    assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_console_without_the_signs_does_not_crash(tmp_path):
    """An old code page gets a substitute for ±, → and the like."""
    rows = "\n".join(f"{i / 20},{1.6 - 1.5 * i / 20 + 0.01 * (-1) ** i}" for i in range(21))
    (tmp_path / "a.csv").write_text("level,density\n" + rows, encoding="utf-8")
    done = shell("fit", "a.csv", "-o", "x.curve.json", "--paper", "Bütten → rauh",
                 cwd=tmp_path, PYTHONIOENCODING="ascii", PYTHONUTF8="0")  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert b"Curve x" in done.stdout
    assert "Bütten → rauh" in (tmp_path / "x.curve.json").read_text(encoding="utf-8")


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_a_file_name_that_is_no_text_does_not_crash(tmp_path):
    """On some systems a name may be any bytes."""
    name = os.fsencode(tmp_path) + b"/m\xe9sures.csv"
    rows = "\n".join(f"{i / 20},{1.6 - 1.5 * i / 20}" for i in range(21))
    try:
        with open(name, "w", encoding="utf-8") as stream:  # noqa: PTH123
            stream.write("level,density\n" + rows)
    except OSError:
        pytest.skip("this disk takes no such names")
    done = shell("fit", os.fsdecode(name), "-o", "x.curve.json", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    again = shell("fit", "--rebuild", "x.curve.json", cwd=tmp_path)
    assert b"Traceback" not in again.stderr
    assert again.returncode in (0, 1)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_nowhere_to_speak_is_one_message():
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "tonewright", "strip", "--tablet", "31", "--time", "10min",
             "--merged", "2"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "the disk is full" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["fit", "--help"],
                                       ["fit", "missing.csv", "-o", "x.curve.json"]])
def test_nowhere_to_say_anything(tmp_path, arguments):
    """Output and messages both go to a full device: the status says it."""
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        command = [sys.executable, "-m", "tonewright", *arguments]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path)
        assert done.returncode == 2 and "Traceback" not in done.stderr
        assert len(done.stderr.splitlines()) == 1
        assert subprocess.run(command, stdout=full, stderr=full, cwd=tmp_path).returncode == 2

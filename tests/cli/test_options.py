"""What several commands check before any work."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from commands import refused
from tonewright.cli import main
from tonewright.errors import OptionError
from tonewright.files.safe import check_outputs


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rows = [f"{i / 20},{1.6 - 1.5 * i / 20}" for i in range(21)]
    Path("a.csv").write_text("level,density\n" + "\n".join(rows), encoding="utf-8")
    steps = [f"{k},{max(1.6 - 0.06 * k, 0.08):.2f}" for k in range(1, 32)]
    Path("s.csv").write_text("step,density\n" + "\n".join(steps), encoding="utf-8")


def run(*arguments):
    return CliRunner().invoke(main, arguments)


@pytest.mark.parametrize(("name", "better"), [
    ("q.txt", "q.png"), ("q", "q.png"), ("q.svg", "q.png"), ("q.jpg", "q.png"), ("q.pdf", "q.png"),
    (".png", ".png.png"), ("q.png.txt", "q.png.png"),
])
def test_a_picture_is_called_what_it_is(name, better):
    with pytest.raises(OptionError, match=f"the picture is {name}. A picture is written as a PNG."
                                          f" Call it {better}."):
        check_outputs(Path("o.curve.json"), Path(name), [], force=True)


@pytest.mark.parametrize("name", ["q.png", "q.PNG", "a.b.png"])
def test_a_picture_may_be_a_png(name):
    check_outputs(Path("o.curve.json"), Path(name), [], force=False)


@pytest.mark.parametrize("call", [
    "fit a.csv -o o.curve.json", "strip s.csv --tablet 31 --time 10min -o o.process.json",
    "strip s.csv --tablet 31 --time 10min",
])
def test_every_command_that_draws_refuses_another_ending_before_any_work(call):
    Path("old.txt").write_text("mine", encoding="utf-8")
    for name, force in (("q.txt", ()), ("old.txt", ()), ("old.txt", ("--force",))):
        message = refused(run, *call.split(), "--plot", name, *force)
        assert f"the picture is {name}" in message


@pytest.mark.parametrize(("name", "better"), [
    ("k.curve.json", "k.process.json"), ("a.b.target.json", "a.b.process.json"),
    ("k", "k.process.json")])
def test_a_document_is_not_called_what_another_is(name, better):
    with pytest.raises(OptionError, match=f"the output is {name}.* Call it {better}\\.$"):
        check_outputs(Path(name), None, [], False, ".process.json")


@pytest.mark.parametrize("name", ["k.json", "k.process.json", "2026.05.json"])
def test_names_that_a_document_may_have(name):
    check_outputs(Path(name), None, [], False, ".process.json")


def test_one_file_for_two_things():
    with pytest.raises(OptionError, match=r"the output and the picture are both to go to o\.png"):
        check_outputs(Path("o.png"), Path("o.png"), [], force=False)


def test_what_is_read_is_never_written_over_whatever_it_is():
    message = refused(run, "strip", "s.csv", "--tablet", "31", "--time", "10min", "-o", "s.csv",
                      "--force")
    assert "the output s.csv is also what is being read. What is read is never written" in message
    assert "curve" not in message

"""``tonewright bench``: how it begins and ends."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from commands import refused
from tonewright.cli import main
from windows import needs_bench


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert "there is no folder" in refused(lambda: CliRunner().invoke(
        main, ["bench", str(tmp_path / "none"), "--no-browser"]))


def test_without_the_extra_it_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import importlib.util

    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    done = CliRunner().invoke(main, ["bench", str(tmp_path), "--no-browser"])
    assert done.exit_code == 2
    assert 'pip install "tonewright[bench]"' in done.output


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    needs_bench()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = CliRunner().invoke(main, ["bench", str(tmp_path), "--no-browser", "--port",
                                         str(taken.getsockname()[1])])
    assert done.exit_code == 2
    assert "cannot be opened" in done.output
    assert "--port 0" in done.output


@pytest.mark.skipif(os.name != "posix", reason="ended by a signal")
def test_the_address_comes_first_and_nothing_is_left(tmp_path: Path) -> None:
    needs_bench()
    began = time.monotonic()
    with subprocess.Popen(
        [sys.executable, "-m", "tonewright", "bench", "--port", "0", "--no-browser"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as bench, ExitStack() as whatever_fails:
        whatever_fails.callback(bench.kill)  # which would be waited for without end
        assert bench.stdout is not None
        first = bench.stdout.readline()
        assert first.startswith("http://127.0.0.1:")
        assert "/?token=" in first
        assert time.monotonic() - began < 30.0
        children = _children(bench.pid)
        bench.send_signal(2)
        said, complaints = bench.communicate(timeout=30)
    assert (bench.returncode, complaints) == (0, "")
    assert said.endswith("The bench is closed.\n")
    assert not [*tmp_path.iterdir()], "nothing is left in the folder"
    time.sleep(0.5)
    assert not [child for child in children if _runs(child)]


def _children(process: int) -> list[int]:
    task = Path(f"/proc/{process}/task/{process}/children")
    return [int(n) for n in task.read_text(encoding="ascii").split()] if task.exists() else []


def _runs(process: int) -> Any:
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2]
    except FileNotFoundError:
        return False
    return state.split()[0] != "Z"

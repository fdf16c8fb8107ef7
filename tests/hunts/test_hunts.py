"""A small round of the hunt; the long one is run by hand, see run.py."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.skipif(sys.platform == "win32", reason="time is bounded by an alarm")
def test_harmed_files_are_refused_in_one_sentence_or_do_no_harm():
    done = subprocess.run(
        [sys.executable, str(HERE / "hunt.py"), "150", "1"], capture_output=True, text=True,
        timeout=300)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["faults"] == []
    assert found["files"] == 150 and found["accepted"] > 10 and found["refused"] > 50


def test_killed_commands_leave_nothing_half():
    path = os.pathsep.join([str(HERE), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-c", "from kills import kills; print(kills(2, 1))"],
        capture_output=True, text=True, timeout=300, env={**os.environ, "PYTHONPATH": path})
    assert done.stdout == "[]\n", done.stdout + done.stderr

"""Folders that may not be searched: one message with the name, and nothing written.

Run as root, the child gives up what lets root read everything (capabilities(7): CAP_DAC_OVERRIDE,
CAP_DAC_READ_SEARCH), so that it is refused as anybody is.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile

CURVES = Path(__file__).parents[2] / "curves"
CURVE = str(CURVES / "kallitype.curve.json")
AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0
pytestmark = pytest.mark.skipif(
    sys.platform == "win32" or (AS_ROOT and sys.platform != "linux"),
    reason="permissions do not hold for this user")
_DROP, _CAPABILITIES = 24, (1, 2)  # PR_CAPBSET_DROP; see linux/prctl.h and linux/capability.h


def _as_anybody() -> None:
    """Between fork and exec; a failure is raised in the parent."""
    for capability in _CAPABILITIES:
        if ctypes.CDLL(None).prctl(_DROP, capability, 0, 0, 0):
            raise OSError("the child keeps root's right to read everything")


CALLS = [
    ("strip", "locked/kallitype-strip.csv", "--tablet", "31", "--time", "9min", "-o",
     "x.process.json"),
    ("strip", str(CURVES / "kallitype-strip.csv"), "--tablet", "31", "-o", "locked/x.process.json"),
    ("fit", "locked/kallitype-target.csv", "-o", "x.curve.json"),
    ("fit", str(CURVES / "kallitype-target.csv"), "--setup", "locked/s.toml", "-o", "x.curve.json"),
    ("negative", "a.tif", "--curve", "locked/kallitype.curve.json", "-o", "n.tif"),
    ("negative", "locked/a.tif", "--curve", CURVE, "-o", "n.tif"),
    ("negative", "a.tif", "--curve", CURVE, "-o", "locked/n.tif"),
    ("negative", "a.tif", "--curve", CURVE, "-o", "locked"),
    ("shelf", "locked"), ("shelf", "locked/inner"), ("shelf", "."), ("drift", "locked"),
]
TYPED = """
import json, os, sys
from click.testing import CliRunner
from tonewright.cli import main
for call in json.loads(sys.argv[1]):
    done = CliRunner().invoke(main, call)
    print(json.dumps([done.exit_code, done.stdout, done.stderr, sorted(os.listdir())]))
"""


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    """Status, output, messages and what is there after each call, beside a folder with good files
    that nobody may look into."""
    here = tmp_path_factory.mktemp("permissions")
    inside = here / "locked"
    shutil.copytree(CURVES, inside)
    tifffile.imwrite(here / "a.tif", np.zeros((40, 50), np.uint16), photometric="minisblack",
                     resolution=(100, 100))
    inside.chmod(0)
    done = subprocess.run(
        [sys.executable, "-c", TYPED, json.dumps(CALLS)], cwd=here, capture_output=True,
        encoding="utf-8", timeout=120, preexec_fn=_as_anybody if AS_ROOT else None)
    inside.chmod(0o700)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.parametrize("number", range(len(CALLS)), ids=[" ".join(c[:2]) for c in CALLS])
def test_what_may_not_be_looked_into_is_named(answers, number):
    status, _, said, there = answers[number]
    assert status == 2, answers[number]
    assert "Traceback" not in said and said.count("\n") == 1
    assert "locked" in said
    assert "Permission denied" in said or "not allowed" in said
    assert there == ["a.tif", "locked"]

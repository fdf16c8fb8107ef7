"""Folders that may not be searched: one message with the name, and nothing written.

Run as root, the child gives up what lets root read everything (capabilities(7): CAP_DAC_OVERRIDE,
CAP_DAC_READ_SEARCH), so that it is refused as anybody is.
"""

from __future__ import annotations

import ctypes
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


@pytest.fixture
def locked(tmp_path):
    """A folder with good files that nobody may look into, beside a picture."""
    inside = tmp_path / "locked"
    shutil.copytree(CURVES, inside)
    tifffile.imwrite(tmp_path / "a.tif", np.zeros((40, 50), np.uint16), photometric="minisblack",
                     resolution=(100, 100))
    inside.chmod(0)
    yield tmp_path
    inside.chmod(0o700)


@pytest.mark.parametrize("call", [
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
], ids=lambda call: " ".join(call[:2]))
def test_what_may_not_be_looked_into_is_named(locked, call):
    before = sorted(locked.iterdir())
    done = subprocess.run(
        [sys.executable, "-m", "tonewright", *call], cwd=locked, capture_output=True, text=True,
        encoding="utf-8", timeout=120, preexec_fn=_as_anybody if AS_ROOT else None)
    assert done.returncode == 2, done.stdout
    assert "Traceback" not in done.stderr and done.stderr.count("\n") == 1
    assert "locked" in done.stderr
    assert "Permission denied" in done.stderr or "not allowed" in done.stderr
    assert sorted(locked.iterdir()) == before

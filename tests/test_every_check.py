"""In continuous integration no check against another library is left out."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import tonewright

TESTS = Path(__file__).parent


@pytest.mark.parametrize(("every", "outcome"), [("", "1 skipped"), ("1", "1 failed")])
def test_a_missing_library_fails_there_and_is_skipped_elsewhere(tmp_path, every, outcome):
    path = tmp_path / "test_other.py"
    path.write_text("import pytest\n\ndef test_other():\n"
                    "    pytest.importorskip('a_library_that_is_not_there')\n", encoding="utf-8")
    found = os.pathsep.join([str(TESTS), str(Path(tonewright.__file__).parents[1])])
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "conftest", "-p", "no:cacheprovider", str(path)],
        capture_output=True, text=True, cwd=tmp_path,
        env={**os.environ, "TONEWRIGHT_EVERY_CHECK": every, "PYTHONPATH": found})
    assert outcome in done.stdout, done.stdout + done.stderr

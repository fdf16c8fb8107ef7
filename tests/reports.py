"""Whole reports, kept as golden files and compared exactly.

    TONEWRIGHT_RENEW_GOLDEN=1 python -m pytest tests/show
"""

from __future__ import annotations

import os
from pathlib import Path

from tonewright.show.words import WIDTH

GOLDEN = Path(__file__).parent / "show" / "golden"


def check_report(name: str, text: str) -> None:
    """The report is the one in the golden file, and no line of it is too long."""
    path = GOLDEN / name
    if os.environ.get("TONEWRIGHT_RENEW_GOLDEN"):
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    assert text + "\n" == path.read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= WIDTH

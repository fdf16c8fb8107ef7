"""What a page says holds nothing that is typed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tonewright.show.advice import Advice, untyped


def test_what_stands_in_brackets_and_is_typed_is_left_out() -> None:
    assert untyped("Leave it out (--leave-out B3).") == "Leave it out."
    assert untyped("print a strip (tonewright strip): it shows (well) what changed") == \
        "print a strip: it shows (well) what changed"


def test_the_command_line_says_words_and_command() -> None:
    assert Advice("measure it", "tonewright fit A.csv").typed() == \
        "measure it, and type  tonewright fit A.csv"
    assert Advice("measure it").typed() == "measure it"


@pytest.mark.parametrize("path", sorted((Path(__file__).parent / "golden").glob("*findings*.txt")),
                         ids=lambda path: path.stem)
def test_every_finding_can_be_said_without_what_is_typed(path: Path) -> None:
    """The files hold one sentence for each finding of an area, wrapped."""
    said = untyped(" ".join(path.read_text(encoding="utf-8").split()))
    typed = re.findall(r".{30}(?:--[a-z]|\btonewright [a-z]).{10}", said)
    assert not typed

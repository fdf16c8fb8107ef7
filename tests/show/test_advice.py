"""What a page says holds nothing that is typed."""

from __future__ import annotations

from tonewright.show.advice import Advice, untyped


def test_what_stands_in_brackets_and_is_typed_is_left_out() -> None:
    assert untyped("Leave it out (--leave-out B3).") == "Leave it out."
    assert untyped("print a strip (tonewright strip): it shows (well) what changed") == \
        "print a strip: it shows (well) what changed"


def test_the_command_line_says_words_and_command() -> None:
    assert Advice("measure it", "tonewright fit A.csv").typed() == \
        "measure it, and type  tonewright fit A.csv"
    assert Advice("measure it").typed() == "measure it"

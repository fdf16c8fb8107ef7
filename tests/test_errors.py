"""What errors are made of."""

from __future__ import annotations

import pytest

from tonewright.errors import OptionError, counted


@pytest.mark.parametrize(("count", "thing", "words"), [
    (1, "patch", "1 patch"), (2, "patch", "2 patches"), (0, "step", "0 steps"),
    (1, "level", "1 level"), (31, "level", "31 levels"), (5, "box", "5 boxes"),
])
def test_things_are_counted(count, thing, words):
    assert counted(count, thing) == words


def test_three_parts_make_one_line_of_sentences():
    error = OptionError("row 7: level is 1.3", "a level lies between 0 and 1.", "  mend it ")
    assert str(error) == "row 7: level is 1.3. A level lies between 0 and 1. Mend it."
    assert str(OptionError("x", "", "tonewright strip helps")) == "x. tonewright strip helps."

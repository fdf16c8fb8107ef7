"""Coated area and sensitiser, by hand."""

from __future__ import annotations

import pytest

from tonewright.errors import OptionError
from tonewright.negative.coating import Coating


def test_the_amount_goes_with_the_coated_area():
    """200 x 250 mm and 10 mm all round are 220 x 270 = 59 400 mm²; 3 ml coat 60 000 mm²."""
    coating = Coating(10.0, 3.0, (200.0, 300.0))
    assert coating.coated_mm((200.0, 250.0)) == (220.0, 270.0)
    assert coating.ml_of((200.0, 250.0)) == pytest.approx(3.0 * 59_400 / 60_000)


def test_no_amount_is_invented():
    assert Coating(5.0).ml_of((200.0, 250.0)) is None


@pytest.mark.parametrize("wrong", [
    (0.0, 3.0, None), (0.0, None, (200.0, 250.0)), (0.0, 0.0, (200.0, 250.0)),
    (0.0, -1.0, (200.0, 250.0)), (0.0, float("nan"), (200.0, 250.0)),
    (0.0, float("inf"), (200.0, 250.0)), (0.0, 3.0, (0.0, 250.0)), (-1.0, None, None),
    (float("nan"), None, None), (0.0, 3.0, (float("nan"), 250.0)),
])  # fmt: skip
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(OptionError):
        Coating(*wrong)

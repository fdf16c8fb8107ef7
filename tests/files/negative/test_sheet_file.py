"""The file that remembers a sheet."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tonewright.errors import TonewrightError
from tonewright.files.negative.sheet_file import SheetChoices, read_sheet, write_sheet
from tonewright.negative.border import FrameSettings

ALL = SheetChoices(14.5, "opaque", True, False, True, Fraction(720))


@pytest.mark.parametrize("choices", [ALL, SheetChoices(), SheetChoices(ppi=Fraction(1441, 4))])
def test_what_is_written_is_read(tmp_path, choices):
    write_sheet(tmp_path / "s.toml", choices)
    assert read_sheet(tmp_path / "s.toml") == choices


def test_what_is_typed_wins():
    typed = SheetChoices(border="clear", marks=False)
    assert typed.over(ALL) == SheetChoices(14.5, "clear", False, False, True, Fraction(720))
    assert SheetChoices().frame() == FrameSettings()
    assert not FrameSettings().wanted and FrameSettings(marks=True).margin == 14


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("margin = 14", "length in quotes"), ('margin = "wide"', "margin in s.toml.*200mm"),
        ('border = "black"', "clear or opaque"), ("marks = 1", "true or false"),
        ("ppi = true", "a number"), ("ppi = 1", "10 to 10000"), ("colour = 3", "entry colour"),
        ("margin = ", "not a layout"), ("[marks]", "true or false"), ("\udcff", "not a layout"),
    ],
)  # fmt: skip
def test_bad_files(tmp_path, text, words):
    (tmp_path / "s.toml").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(TonewrightError, match=words):
        read_sheet(tmp_path / "s.toml")

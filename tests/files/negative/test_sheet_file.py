"""The file that remembers a sheet."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tonewright.errors import OptionError, TonewrightError
from tonewright.files.negative.settings import NegativeSettings, read_sheet, sheet_text
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish

ALL = SheetSettings(14.5, "opaque", True, False, True)


def settings(sheet, ppi=None):
    return NegativeSettings(sheet=sheet, size=SizeWish(ppi=ppi))


@pytest.mark.parametrize("chosen", [
    settings(ALL, Fraction(720)), settings(SheetSettings()), settings(ALL, Fraction(1441, 4)),
])  # fmt: skip
def test_what_is_written_is_read(tmp_path, chosen):
    (tmp_path / "s.toml").write_text(sheet_text(chosen), encoding="utf-8")
    assert read_sheet(tmp_path / "s.toml") == chosen


def test_what_was_said_wins(tmp_path):
    (tmp_path / "s.toml").write_text(sheet_text(settings(ALL, Fraction(720))), encoding="utf-8")
    said = settings(SheetSettings(border="clear", marks=False), Fraction(360))
    found = read_sheet(tmp_path / "s.toml", said)
    assert found == settings(SheetSettings(14.5, "clear", False, False, True), Fraction(360))
    assert SheetSettings(0.0).over(SheetSettings(14.0, "opaque")) == SheetSettings(0.0)


def test_a_border_named_alone_gets_the_usual_margin():
    assert SheetSettings().margin == 0
    assert SheetSettings(border="opaque").margin == SheetSettings(marks=True).margin == 14
    with pytest.raises(OptionError) as raised:
        SheetSettings(0.0, "opaque").check()
    assert raised.value.code == "margin_too_narrow"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("margin = 14", "length in quotes"), ('margin = "wide"', "margin in s.toml.*200mm"),
        ('border = "black"', "clear or opaque"), ("marks = 1", "true or false"),
        ("ppi = true", "a number"), ("ppi = 1", "10 to 10000"), ("colour = 3", "entry colour"),
        ("margin = ", "not a sheet file"), ("[marks]", "true or false"),
        ("\udcff", "not a sheet file"),
    ],
)  # fmt: skip
def test_bad_files(tmp_path, text, words):
    (tmp_path / "s.toml").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(TonewrightError, match=words):
        read_sheet(tmp_path / "s.toml")

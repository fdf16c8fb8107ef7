"""Latin, Greek and Cyrillic letters are drawn; what the font lacks is never a box."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from tonewright.files.lettering import missing, printable, text_mask


@pytest.mark.parametrize(
    ("text", "shown", "lacking"),
    [
        ("portrait 12 x 30 mm · … – ß ø Łódź", "portrait 12 x 30 mm · … – ß ø Łódź", ""),
        ("\u00c4rger, pin\u0303a, Ελλάδα, Ж", "Ärger, piña, Ελλάδα, Ж", ""),
        ("写真 写 ok?", "?? ? ok?", "写真"),
        ("שלום", "????", "שלום"),
        ("a\x1b\n\u202e\ud800b", "ab", ""),
    ],
)
def test_what_is_drawn_and_what_the_font_lacks(text, shown, lacking):
    assert printable(text) == shown
    assert missing(text) == lacking


def test_a_mask_is_as_high_as_asked_and_holds_accents_and_descenders():
    mask = text_mask("Ägypten, Ǻ", 40)
    assert mask.dtype == np.uint8 and len(mask) == 40 and mask.max() == 255
    assert mask[0].max() == mask[-1].max() == 0
    assert not np.array_equal(mask, text_mask("Agypten, Ǻ", 40))


def test_the_font_is_found_and_its_package_not_loaded():
    program = ("import sys; from tonewright.files.lettering import text_mask;"
               " text_mask('Ж', 20); assert 'matplotlib' not in sys.modules")
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0

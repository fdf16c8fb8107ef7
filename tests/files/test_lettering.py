"""Letters that the font lacks never print as boxes."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.files.lettering import printable, text_mask


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("portrait 12 x 30 mm · …", "portrait 12 x 30 mm · …"),
        ("\u00c4rger, pi\u00f1a, pin\u0303a", "Arger, pina, pina"),
        ("\u041f\u043e\u0440\u0442\u0440\u0435\u0442 \u5199\u771f", "??????? ??"),
        ("\u216b", "XII"),
    ],
)
def test_what_the_font_lacks(text, shown):
    assert printable(text) == shown


def test_a_mask_is_as_high_as_asked_and_shows_something():
    mask = text_mask("\u00c4gypten", 40)
    assert mask.dtype == np.uint8
    assert len(mask) == 40
    assert mask.max() == 255
    assert np.array_equal(mask, text_mask("Agypten", 40))

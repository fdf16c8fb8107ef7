"""Text as a mask of pixels, in an open font of Latin, Greek and Cyrillic letters."""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import visible

_FONT = Path("mpl-data", "fonts", "ttf", "DejaVuSans.ttf")
"""In matplotlib, which is found for its font and not loaded."""


def text_mask(text: str, height: int) -> NDArray[np.uint8]:
    """A line of text, 0 (ground) to 255 (letter), shape (height, width of the text).

    ``height`` is that of the line in pixels, from the top of an accent to the foot of a g.
    Letters that the font does not have are written as `printable` says.
    """
    from PIL import Image, ImageDraw

    text = printable(visible(text))
    font = _font(max(round(height * 0.8), 4))
    left, _, right, _ = font.getbbox(text)
    width = max(int(right - min(left, 0)), 1)
    image = Image.new("L", (width, height))
    ImageDraw.Draw(image).text((-min(left, 0), height * 0.78), text, fill=255, font=font,
                               anchor="ls")
    return np.asarray(image)


def printable(text: str) -> str:
    """The text as it is drawn: a letter that the font does not have becomes a question mark, a
    control character is left out."""
    return "".join(_in_the_font(sign) for sign in unicodedata.normalize("NFC", text))


def missing(text: str) -> str:
    """The letters of a text that cannot be drawn, each once."""
    signs = dict.fromkeys(unicodedata.normalize("NFC", text))
    return "".join(s for s in signs if s.isprintable() and s != "?" and _in_the_font(s) == "?")


@lru_cache(maxsize=1024)
def _in_the_font(sign: str) -> str:
    if not sign.isprintable():
        return ""
    if sign.isascii():
        return sign
    # letters that join, or run from right to left, would be drawn one by one and in wrong order
    drawn = unicodedata.bidirectional(sign) not in ("R", "AL", "NSM") and _has(sign)
    return sign if drawn else "?"


def _has(sign: str) -> bool:
    """Whether the font draws anything else for a sign than for one that does not exist."""
    drawn, lacking = (_font(24).getmask(c) for c in (sign, "\U0010ffff"))
    return bool(drawn.size != lacking.size or bytes(drawn) != bytes(lacking))


@cache
def _font_file() -> Path:
    found = find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations, "matplotlib is a dependency"
    return Path(found.submodule_search_locations[0]) / _FONT


@lru_cache(maxsize=8)
def _font(size: int) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(_font_file(), size, layout_engine=ImageFont.Layout.BASIC)

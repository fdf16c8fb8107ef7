"""Text as a mask of pixels, in the open font that comes with Pillow."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import visible


def text_mask(text: str, height: int) -> NDArray[np.uint8]:
    """A line of text, 0 (ground) to 255 (letter), shape (height, width of the text).

    ``height`` is that of the line in pixels, from the top of an accent to the foot of a g.
    Letters that the font does not have are written as `printable` says.
    """
    from PIL import Image, ImageDraw

    text = printable(visible(text))
    font = _font(max(round(height * 0.92), 4))
    left, _, right, _ = font.getbbox(text)
    width = max(int(right - min(left, 0)), 1)
    image = Image.new("L", (width, height))
    ImageDraw.Draw(image).text((-min(left, 0), height * 0.78), text, fill=255, font=font,
                               anchor="ls")
    return np.asarray(image)


def printable(text: str) -> str:
    """The text in letters that the font has: an accent it lacks is left out, a letter of another
    alphabet becomes a question mark."""
    return "".join(_in_the_font(sign) for sign in unicodedata.normalize("NFC", text))


@lru_cache(maxsize=1024)
def _in_the_font(sign: str) -> str:
    if sign.isascii() or _has(sign):
        return sign
    base = "".join(c for c in unicodedata.normalize("NFKD", sign) if not unicodedata.combining(c))
    return base if base and all(c.isascii() or _has(c) for c in base) else "?"


@lru_cache(maxsize=1024)
def _has(sign: str) -> bool:
    """Whether the font draws anything else for a sign than for one that does not exist."""
    drawn, missing = (_font(24).getmask(c) for c in (sign, "\U0010ffff"))
    return bool(drawn.size != missing.size or bytes(drawn) != bytes(missing))


@lru_cache(maxsize=8)
def _font(size: int) -> Any:
    from PIL import ImageFont

    return ImageFont.load_default(size)

"""How an ink level is stored: in 16 or 8 bits, in gray or in a colour of ink.

A code is a 16-bit number, 65535 for clear film and 0 for the heaviest ink (`scales`).  In 8 bits
255 is clear film; what lies between two 8-bit steps is dithered by a threshold tile, so that the
ink on a small area keeps its amount.  In colour the heaviest ink is a
colour of the printer's, clear film is white, and levels lie on the straight line between them.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.record.setup import Colour, ink_colour_text, parse_colour

_TILE = 64
_STEP = 257
"""16-bit codes in a step of 8 bits."""


@dataclass(frozen=True)
class Ink:
    """How levels become pixels."""

    depth: Literal[8, 16] = 16
    colour: Colour | None = None
    """Red, green, blue (0 to 255) of the heaviest ink; None: gray."""
    seed: int = 1
    """Of the threshold tile for 8 bits."""

    @property
    def samples(self) -> int:
        """Values of a pixel."""
        return 1 if self.colour is None else 3


def agreed_colour(asked: str | None, remembered: str | None, curve: str) -> Colour | None:
    """The ink colour that negative and curve share.

    ``asked`` is as typed, ``R,G,B``; None: what the curve, of this name, remembers.  ``remembered``
    is the ``ink_colour`` of its setup; None: its target was printed in gray.

    Raises `OptionError`: they differ, or one is no colour.
    """
    own = None if remembered is None else parse_colour(remembered)
    if asked is None or parse_colour(asked) == own:
        return own
    made = "gray" if own is None else f"the ink colour {ink_colour_text(own)}"
    raise OptionError(
        f"the ink colour is {asked} and the curve {curve} was made from a target in {made}",
        "a level of ink means something only in the colour that the target was printed in",
        "use the curve's colour, or print a target in that one and fit a curve from it",
        code="ink_colour_differs", colour=asked,
    )  # fmt: skip


class Inker:
    """Turns bands of codes into the pixels of a file."""

    def __init__(self, ink: Ink) -> None:
        """Make the tables; the first threshold tile of a seed takes a moment."""
        self._ink = ink
        self._tables = _tables(ink)
        self._tile = _thresholds(ink.seed) if ink.depth == 8 else None

    def __call__(self, first: int, codes: NDArray[np.uint16]) -> NDArray[Any]:
        """Pixels of a band of codes, uint16, shape (rows, width), which is not changed: uint8 or
        uint16, contiguous, shape (rows, width), or (rows, width, 3) in colour.

        ``first`` is the band's first row in the file, which says where in the threshold tile it
        lies.
        """
        if self._ink.colour is None:
            return codes if self._tile is None else self._to_8_bits(codes, first)
        made = np.empty((*codes.shape, 3), np.uint16 if self._tile is None else np.uint8)
        for channel, table in enumerate(self._tables):
            values = np.take(table, codes, mode="clip")
            # one tile, turned for each channel: their grains do not fall together
            made[..., channel] = (
                values if self._tile is None else self._to_8_bits(values, first, channel)
            )
        return made

    def _to_8_bits(
        self, codes: NDArray[np.uint16], first: int, turn: int = 0
    ) -> NDArray[np.uint8]:
        assert self._tile is not None
        rows, width = codes.shape
        tile = np.rot90(self._tile, turn)
        tile = np.roll(tile, -first % _TILE, axis=0)
        wide = np.tile(tile, (1, -(-width // _TILE)))[:, :width]
        made = np.empty(codes.shape, np.uint8)
        for top in range(0, rows, _TILE):
            block = codes[top : top + _TILE]
            whole = block // _STEP
            rest = block - whole * np.uint16(_STEP)
            made[top : top + _TILE] = whole + (rest > wide[: len(block)])
        return made


def _thresholds(seed: int) -> NDArray[np.uint16]:
    """0 to 256, evenly: a rest r of 257 lies above r / 257 of them."""
    from tonewright.numeric.bluenoise import blue_noise

    rank = blue_noise(_TILE, seed).astype(np.float64)
    return np.floor((rank + 0.5) * (_STEP / rank.size)).astype(np.uint16)


def _tables(ink: Ink) -> list[NDArray[np.uint16]]:
    """16-bit values of red, green and blue for each code."""
    if ink.colour is None:
        return []
    level = scales.code_to_level(np.arange(scales.FULL_CODE + 1))
    return [scales.channel_value(level, value) for value in ink.colour]


def distinct_tones(table: NDArray[np.uint16], depth: int) -> int:
    """How many different ink levels a table of codes (rising or falling) has at a depth, before
    any dither."""
    codes = table if depth == 16 else np.floor(table / _STEP + 0.5)
    return 1 + int(np.count_nonzero(codes[1:] != codes[:-1]))

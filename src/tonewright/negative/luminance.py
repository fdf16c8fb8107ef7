"""The code of a negative for a luminance, rounded once.

A luminance is a sum over channels or a mean over pixels and can be any number, so the table here
has no entry for each: it is entered with the leading bits of a floating-point number.  Such steps
grow with the number, nearly as those of lightness do with luminance.
"""

from __future__ import annotations

import math
import threading

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.negative.tones import BLOCK, LevelCurve, code_table, room
from tonewright.scales import Array

Luminance = NDArray[np.float32]

_FIRST = 2.0**-7
"""Where luminance 0 lies; 1 lies at 1.  About where lightness begins to bend: below it a step of
luminance is always as many codes."""
_FRACTION_BITS = 23  # of a 32-bit floating-point number, IEEE 754
_FINEST = 20
"""Bits of them in the index: a table of 15 MB, for a curve a hundred times as steep as a straight
one."""
_STEP = 0.5
"""Codes from one entry to the next."""
_CHUNK = 1 << 15


class LuminanceCodes:
    """The code of the negative for each luminance.

    It is what rounding once at the end would give, or the one beside it where that lies within
    a quarter of a code of the middle between both.
    """

    codes: NDArray[np.uint16]
    """All of them from black to white."""

    def __init__(self, curve: LevelCurve) -> None:
        """Make the table.

        Raises `DocumentError`: the curve answers with something that is no ink level.
        """
        bits = _bits_for(curve)
        self._shift = np.uint32(_FRACTION_BITS - bits)
        self._base = np.uint32(_index(_FIRST) >> int(self._shift))
        count = (_index(1.0) >> int(self._shift)) - int(self._base) + 1
        self.codes = np.empty(count, np.uint16)
        for first in range(0, count, _CHUNK):
            part = self.codes[first : first + _CHUNK]
            luminance = self._middles(first, len(part))
            if first == 0:
                luminance[0] = 0.0
            luminance[max(count - 2 - first, 0) :] = 1.0  # what is a rounding below white is white
            lightness = scales.luminance_to_lightness(100.0 * luminance)
            part[...] = code_table(lightness, curve)

    def _middles(self, first: int, count: int) -> Array:
        """Luminance in the middle of some entries."""
        edges = (np.arange(first, first + count + 1, dtype=np.uint32) + self._base) << self._shift
        places = edges.view(np.float32).astype(np.float64)
        middles = 0.5 * (places[1:] + places[:-1])
        return np.asarray(((middles - _FIRST) / (1.0 - _FIRST)).clip(0.0, 1.0))

    def __call__(self, luminance: Luminance) -> NDArray[np.uint16]:
        """The codes of a piece of a picture, uint16.

        ``luminance`` is float32, 0 and more (1 is white, and more is white too), any shape,
        contiguous.
        """
        made = np.empty(luminance.shape, np.uint16)
        self.write(luminance.reshape(-1), made.reshape(-1))
        return made

    def write(self, luminance: Luminance, out: NDArray[np.uint16]) -> None:
        """The same written to ``out``; both of shape (n,)."""
        for first in range(0, luminance.size, BLOCK):
            part = luminance[first : first + BLOCK]
            place = room("place", part.size, np.float32)
            np.multiply(part, np.float32(1.0 - _FIRST), out=place)
            place += np.float32(_FIRST)
            leading = place.view(np.uint32)
            leading >>= self._shift
            index = room("index", part.size, np.intp)
            np.subtract(leading, self._base, out=index)
            # mode="clip" writes straight into `out`
            self.codes.take(index, None, out[first : first + BLOCK], "clip")


def _index(value: float) -> int:
    return int(np.float32(value).view(np.uint32))


def _bits_for(curve: LevelCurve) -> int:
    """How many bits keep the curve's steps between two entries below `_STEP`."""
    lightness = np.linspace(0.0, 100.0, 1 << 14)
    place = _FIRST + (1.0 - _FIRST) * scales.lightness_to_luminance(lightness) / 100.0
    codes = scales.FULL_CODE * np.abs(np.diff(curve.level_at(lightness)))
    # the numbers between two powers of two are cut into equal steps
    width = np.exp2(np.floor(np.log2(place[:-1])))
    steepest = float(np.max(codes / np.diff(place) * width))
    if not steepest > 0.0:
        return 1
    return min(max(math.ceil(math.log2(steepest / _STEP)), 1), _FINEST)


_LOCK = threading.Lock()
_KEPT: list[tuple[LevelCurve, LuminanceCodes]] = []


def luminance_codes(curve: LevelCurve) -> LuminanceCodes:
    """The table of a curve, kept for the next image with the same one; errors as the class."""
    with _LOCK:
        if not (_KEPT and _KEPT[0][0] is curve):
            _KEPT[:] = [(curve, LuminanceCodes(curve))]
        return _KEPT[0][1]

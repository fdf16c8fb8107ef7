"""What image values mean, and the code of a negative for each.

What an image value means is a table of image lightness, one entry for each value from black to
white.  A curve turns lightness into ink level, `scales` turns level into code, and what remains
for a pixel is one look into a table of codes.
"""

from __future__ import annotations

import math
import threading
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import DocumentError, OptionError
from tonewright.scales import Array

ASSUMED_ENCODING = "gamma:2.2"
"""What values are taken for when neither the image nor the user says."""

T = TypeVar("T", np.uint16, np.float32)

_BLOCK = 1 << 16  # pixels mapped at once: their indices stay in the processor's cache


class LevelCurve(Protocol):
    """What a negative needs of a correction curve."""

    @property
    def name(self) -> str:
        """What it is called in messages."""

    def level_at(self, image_lightness: Array) -> Array:
        """Ink level (0 to 1) for image lightness (0 to 100), any shape."""


def encoding_lightness(encoding: str, size: int) -> Array:
    """Image lightness (0 to 100) of every value from black to white.

    Parameters
    ----------
    encoding:
        ``lightness``: values are proportional to CIE L*; ``linear``: to luminance; ``srgb``: the
        sRGB transfer function (IEC 61966-2-1, 5.2); ``gamma:2.2``: luminance is the value to that
        power (0.5 to 4).
    size:
        Number of values: 256 or 65536.

    Returns
    -------
    Shape (size,).

    Raises
    ------
    OptionError
        Not one of these encodings.
    """
    value = np.linspace(0.0, 1.0, size)
    name = encoding.strip().lower()
    if name == "lightness":
        return 100.0 * value
    if name == "linear":
        return scales.luminance_to_lightness(100.0 * value)
    if name == "srgb":
        low, high = value / 12.92, np.power((value + 0.055) / 1.055, 2.4)
        return scales.luminance_to_lightness(100.0 * np.where(value <= 0.04045, low, high))
    return scales.luminance_to_lightness(100.0 * np.power(value, _gamma(encoding)))


def _gamma(encoding: str) -> float:
    kind, _, number = encoding.strip().lower().partition(":")
    try:
        gamma = float(number) if kind == "gamma" else math.nan
    except ValueError:
        gamma = math.nan
    if not 0.5 <= gamma <= 4.0:
        raise OptionError(
            f"the encoding is {encoding!r}",
            "it is lightness, srgb, linear or gamma: with a number from 0.5 to 4, as in gamma:2.2",
            "take the one your editor saved the image in",
        )
    return gamma


def code_table(lightness: Array, curve: LevelCurve) -> NDArray[np.uint16]:
    """The code of the negative for every image value.

    Parameters
    ----------
    lightness:
        Image lightness (0 to 100) of every value from black to white, shape (n,).
    curve:
        The correction curve.

    Returns
    -------
    Codes, shape (n,): 65535 is clear film, 0 the heaviest ink.  Image black asks for little ink,
    so the table starts near 65535 and falls.

    Raises
    ------
    DocumentError
        The curve answers with something that is no ink level.
    """
    level = np.asarray(curve.level_at(lightness), dtype=np.float64)
    if level.shape != lightness.shape or not np.all((level >= 0.0) & (level <= 1.0)):
        raise DocumentError(
            f"the curve {curve.name} asks for an ink level outside 0 to 1",
            "an ink level lies between 0 (clear film) and 1 (heaviest ink)",
            "fit the curve again from its readings",
        )
    return scales.level_to_code(level)


def apply_band(
    values: NDArray[Any],
    table: NDArray[T],
    *,
    mirror: bool,
    upside_down: bool = False,
    out: NDArray[T] | None = None,
) -> NDArray[T]:
    """What a table says of a band of rows: the codes of a negative, for example.

    Parameters
    ----------
    values:
        uint8 or uint16, shape (rows, width).
    table:
        One entry for each value: shape (256,) or (65536,).
    mirror:
        Swap left and right, so that the printed side of the film can lie on the coating.
    upside_down:
        Swap top and bottom.
    out:
        Where to put the result, of the table's type, shape (rows, width), contiguous; made if
        not given.  It may be ``values`` itself unless ``upside_down``.
    """
    rows, width = values.shape
    result = np.empty((rows, width), table.dtype) if out is None else out
    step = max(1, _BLOCK // width)
    index = _index(min(step, rows) * width).reshape(-1, width)
    source = values[::-1] if upside_down else values
    for first in range(0, rows, step):
        block = source[first : first + step]
        part = index[: len(block)]
        np.copyto(part, block[:, ::-1] if mirror else block)
        # mode="clip" writes straight into `out`, and no value lies outside the table anyway.
        np.take(table, part, out=result[first : first + step], mode="clip")
    return result


_LOCAL = threading.local()


def _index(size: int) -> NDArray[np.intp]:
    """Room for indices, kept for the next band of this thread: fresh memory costs time."""
    room: NDArray[np.intp] | None = getattr(_LOCAL, "room", None)
    if room is None or room.size < size:
        room = _LOCAL.room = np.empty(max(size, _BLOCK), np.intp)
    return room[:size]


def lightness_index(luminance: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Lightness in 65535ths of L* 100, rounded, of relative luminance (0 to 1), any shape.

    `scales.luminance_to_lightness` in single precision, for many pixels: exact to one step.
    """
    steps = scales.FULL_CODE / 100.0
    cubic = np.cbrt(luminance)
    cubic *= np.float32(116.0 * steps)
    cubic += np.float32(0.5 - 16.0 * steps)
    linear = luminance * np.float32(steps * 100.0 * (29.0 / 3.0) ** 3 / 100.0) + np.float32(0.5)
    dark = luminance <= np.float32((6.0 / 29.0) ** 3)
    return np.where(dark, linear, cubic).astype(np.uint16)

"""What image values mean, and the code of a negative for each.

What an image value means is a table of image lightness, one entry for each value from black to
white.  A curve turns lightness into ink level, `scales` turns level into code, and what remains
for a pixel is one look into a table of codes.
"""

from __future__ import annotations

import math
import threading
from typing import Any, Protocol, TypeVar, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import DocumentError, OptionError
from tonewright.scales import Array

ASSUMED_ENCODING = "gamma:2.2"
"""What values are taken for when neither the image nor the user says."""

T = TypeVar("T", np.uint16, np.float32)

BLOCK = 1 << 16
"""Pixels mapped at once: their indices stay in the processor's cache."""


class LevelCurve(Protocol):
    """What a negative needs of a correction curve."""

    @property
    def name(self) -> str:
        """What it is called in messages."""

    def level_at(self, image_lightness: Array) -> Array:
        """Ink level (0 to 1) for image lightness (0 to 100), any shape."""


@runtime_checkable
class AimingCurve(LevelCurve, Protocol):
    """A correction curve that also knows what it aims at."""

    def print_lightness_at(self, image_lightness: Array) -> Array:
        """Print lightness (L*) aimed at for image lightness (0 to 100), any shape."""


def print_aims(curve: LevelCurve, image_lightness: Array) -> Array | None:
    """Print lightness (L*) that a curve aims at, shape as ``image_lightness``; None: not known."""
    if not isinstance(curve, AimingCurve):
        return None
    return np.asarray(curve.print_lightness_at(image_lightness), dtype=np.float64)


def encoding_lightness(encoding: str, size: int) -> Array:
    """Image lightness (0 to 100) of every value from black to white, shape (size,): 256 or 65536
    values.

    In the encoding ``lightness`` values are proportional to CIE L*; in ``linear`` to luminance;
    ``srgb`` is the sRGB transfer function (IEC 61966-2-1, 5.2); in ``gamma:2.2`` luminance is the
    value to that power (0.5 to 4).

    Raises `OptionError`: not one of these encodings.
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
    """The code of the negative for every image value, shape (n,): 65535 is clear film, 0 the
    heaviest ink.

    ``lightness`` is that (0 to 100) of every value from black to white, shape (n,).  Image black
    asks for little ink, so the table starts near 65535 and falls.

    Raises `DocumentError`: the curve answers with something that is no ink level.
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

    ``values`` are uint8 or uint16, shape (rows, width); ``table`` has one entry for each value,
    shape (256,) or (65536,).  ``mirror`` swaps left and right, so that the printed side of the film
    can lie on the coating; ``upside_down`` top and bottom.

    ``out`` takes the result: of the table's type, shape (rows, width), contiguous; it may be
    ``values`` itself unless ``upside_down``.
    """
    rows, width = values.shape
    result = np.empty((rows, width), table.dtype) if out is None else out
    step = max(1, BLOCK // width)
    index = room("index", min(step, rows) * width, np.intp).reshape(-1, width)
    source = values[:: -1 if upside_down else 1, :: -1 if mirror else 1]
    # Few and plain calls: while one thread is in Python the others wait
    take = table.take
    for first in range(0, rows, step):
        end = min(first + step, rows)
        part = index[: end - first]
        part[...] = source[first:end]
        # mode="clip" writes straight into `out`, and no value lies outside the table anyway.
        take(part, None, result[first:end], "clip")
    return result


_LOCAL = threading.local()
Values = TypeVar("Values", np.float32, np.intp, np.uint8)


def room(name: str, size: int, kind: type[Values]) -> NDArray[Values]:
    """Room for intermediate values, shape (size,), kept for the next time that this thread asks
    for it by that name: fresh memory costs time."""
    kept: NDArray[Values] | None = getattr(_LOCAL, name, None)
    if kept is None or kept.size < size:
        kept = np.empty(max(size, BLOCK), kind)
        setattr(_LOCAL, name, kept)
    return kept[:size]


def flipped(band: NDArray[Any], *, mirror: bool, upside_down: bool) -> NDArray[Any]:
    """A band of rows, shape (rows, width), left and right or top and bottom swapped; contiguous."""
    return np.ascontiguousarray(band[:: -1 if upside_down else 1, :: -1 if mirror else 1])

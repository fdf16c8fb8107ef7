"""One value from several: luminance from red, green and blue; transparency laid on white."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.frozen import dataclass
from tonewright.negative.luminance import Luminance, LuminanceCodes
from tonewright.negative.tones import BLOCK, encoding_lightness, room
from tonewright.scales import Array

SRGB_WEIGHTS = (0.22248840, 0.71690369, 0.06060791)
"""What red, green and blue of IEC 61966-2-1 add to luminance, seen from D50 (Bradford), as the
usual sRGB profile has them: an image without that profile comes out as with it."""

COLOUR_STEP = 0.02
"""Channels further apart than this share of full scale are colour."""


ToLuminance = Callable[[NDArray[Any]], Luminance]
"""Finds the relative luminance, 0 and more, white 1 (or what the profile makes of white), of pixels
of red, green and blue: uint8 or uint16, shape (rows, width, 3).

It is float32, shape (rows, width), and may be overwritten when this thread calls again."""


@dataclass(frozen=True, eq=False)
class Luminances:
    """What each value of each channel adds to relative luminance.

    Three tables of shape (n,), float32.  This is exact for every profile of three tone curves and
    a matrix.
    """

    red: Luminance
    green: Luminance
    blue: Luminance
    below_zero: bool
    """Whether some colours have none: those are 0."""

    def __call__(self, pixels: NDArray[Any]) -> Luminance:
        """As `ToLuminance` says."""
        shape = pixels.shape[:2]
        size = shape[0] * shape[1]
        index = room("index", size, np.intp).reshape(shape)
        total = room("total", size, np.float32).reshape(shape)
        more = room("more", size, np.float32).reshape(shape)
        index[...] = pixels[..., 0]
        self.red.take(index, None, total, "clip")  # "clip" writes straight into `total`
        index[...] = pixels[..., 1]
        self.green.take(index, None, more, "clip")
        total += more
        index[...] = pixels[..., 2]
        self.blue.take(index, None, more, "clip")
        total += more
        if self.below_zero:
            np.maximum(total, np.float32(0.0), out=total)
        return total


def luminances_of(channels: Array) -> Luminances:
    """From relative luminance of each value of each channel, shape (3, n)."""
    red, green, blue = channels.astype(np.float32)
    # the three together are white exactly where they should be
    blue[-1] = np.float32(channels[:, -1].sum()) - (red[-1] + green[-1])
    return Luminances(red, green, blue, float(channels.min(axis=1).sum()) < 0.0)


def encoded_luminances(encoding: str, size: int) -> Array:
    """What channels of an encoding (`tones.encoding_lightness`) with the primaries of sRGB add to
    relative luminance, shape (3, size).

    Raises `OptionError`: not one of the encodings.
    """
    luminance = scales.lightness_to_luminance(encoding_lightness(encoding, size)) / 100.0
    return np.outer(SRGB_WEIGHTS, luminance)


def pixel_codes(
    pixels: NDArray[Any], to_luminance: ToLuminance, codes: LuminanceCodes
) -> NDArray[np.uint16]:
    """Codes of pixels of red, green and blue: uint8 or uint16, shape (rows, width, 3)."""
    rows, width, _ = pixels.shape
    made = np.empty((rows, width), np.uint16)
    step = max(1, BLOCK // width)
    for first in range(0, rows, step):
        luminance = to_luminance(pixels[first : first + step])
        codes.write(luminance.reshape(-1), made[first : first + step].reshape(-1))
    return made


def all_luminances(pixels: NDArray[Any], to_luminance: ToLuminance) -> Luminance:
    """Relative luminance (0 to 1) of pixels, uint8 or uint16, shape (rows, width, 3)."""
    rows, width, _ = pixels.shape
    made = np.empty((rows, width), np.float32)
    step = max(1, BLOCK // width)
    for first in range(0, rows, step):
        np.clip(to_luminance(pixels[first : first + step]), 0.0, 1.0,
                out=made[first : first + step])  # fmt: skip
    return made


def coloured_share(pixels: NDArray[Any]) -> float:
    """Which share of pixels, shape (rows, width, 3 or more), is coloured and not gray."""
    red, green, blue = (pixels[::4, ::4, channel] for channel in range(3))
    most = np.maximum(np.maximum(red, green), blue)
    least = np.minimum(np.minimum(red, green), blue)
    return float(np.mean(most - least > int(COLOUR_STEP * np.iinfo(pixels.dtype).max)))


def on_white(
    values: NDArray[Any], alpha: NDArray[Any], *, premultiplied: bool
) -> NDArray[np.uint16 | np.uint8]:
    """Lay what is transparent on white, in the image's own values, as editors do.

    ``values`` are uint8 or uint16, full scale white, shape (rows, width) or (rows, width,
    channels), perhaps multiplied by ``alpha`` already (``premultiplied``); ``alpha`` is of the same
    type, full scale opaque, shape (rows, width).
    """
    full = int(np.iinfo(values.dtype).max)
    cover = (alpha if values.ndim == 2 else alpha[..., None]).astype(np.uint32)
    if premultiplied:
        laid = np.minimum(values + (full - cover), full)
    else:
        laid = full - ((full - values.astype(np.uint32)) * cover + full // 2) // full
    return np.asarray(laid.astype(values.dtype))

"""One gray value from several: lightness from red, green and blue; transparency laid on white."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.negative.tones import encoding_lightness
from tonewright.scales import Array

LUMINANCE_FULL = 1 << 20
"""White, in the whole numbers of `Luminances`: a step in the blacks is 0.001 L*."""

SRGB_WEIGHTS = (0.22248840, 0.71690369, 0.06060791)
"""What red, green and blue of IEC 61966-2-1 add to luminance, seen from D50 (Bradford), as the
usual sRGB profile has them: an image without that profile comes out as with it."""

COLOUR_STEP = 0.02
"""Channels further apart than this share of full scale are colour."""


@dataclass(frozen=True, eq=False)
class Luminances:
    """What each value of each channel adds to luminance.

    Three tables of shape (n,), uint32, `LUMINANCE_FULL` for white in all.  This is exact for
    every profile of three tone curves and a matrix.
    """

    red: NDArray[np.uint32]
    green: NDArray[np.uint32]
    blue: NDArray[np.uint32]

    def __call__(self, pixels: NDArray[Any]) -> NDArray[np.uint16]:
        """Lightness of pixels, as `lightness_of` gives it.

        Parameters
        ----------
        pixels:
            uint8 or uint16, shape (rows, width, 3 or more): red, green, blue first.

        Returns
        -------
        uint16, shape (rows, width): 65535 is L* 100, in proportion.
        """
        total = np.take(self.red, pixels[..., 0], mode="clip")
        total += np.take(self.green, pixels[..., 1], mode="clip")
        total += np.take(self.blue, pixels[..., 2], mode="clip")
        return np.take(_lightness_table(), total, mode="clip")


_TABLE: list[NDArray[np.uint16]] = []


def _lightness_table() -> NDArray[np.uint16]:
    """Lightness in 65535ths of every luminance, made once."""
    if not _TABLE:
        luminance = np.arange(LUMINANCE_FULL + 1) * (100.0 / LUMINANCE_FULL)
        lightness = scales.luminance_to_lightness(luminance)
        _TABLE.append(np.floor(lightness * (scales.FULL_CODE / 100.0) + 0.5).astype(np.uint16))
    return _TABLE[0]


def luminances_of(channels: Array) -> Luminances:
    """From shares of luminance, shape (3, n), that reach 1 together, to whole numbers."""
    # cumulative rounding, so that the three together are white exactly where they should be
    top = channels[:, -1] * LUMINANCE_FULL
    scaled = np.maximum(np.rint(channels * LUMINANCE_FULL), 0.0)
    scaled[1, -1] += round(float(top.sum())) - float(scaled[:, -1].sum())
    red, green, blue = scaled.astype(np.uint32)
    return Luminances(red, green, blue)


def encoded_luminances(encoding: str, size: int) -> Luminances:
    """Channels of an encoding (`tones.encoding_lightness`) with the primaries of sRGB.

    Raises
    ------
    OptionError
        Not one of the encodings.
    """
    luminance = scales.lightness_to_luminance(encoding_lightness(encoding, size)) / 100.0
    return luminances_of(np.outer(SRGB_WEIGHTS, luminance))


def coloured_share(pixels: NDArray[Any]) -> float:
    """Which share of pixels, shape (rows, width, 3 or more), is coloured and not gray."""
    few = pixels[::4, ::4, :3]
    step = int(COLOUR_STEP * np.iinfo(pixels.dtype).max)
    return float(np.mean(few.max(axis=-1) - few.min(axis=-1) > step))


def on_white(
    values: NDArray[Any], alpha: NDArray[Any], *, premultiplied: bool
) -> NDArray[np.uint16 | np.uint8]:
    """Lay what is transparent on white, in the image's own values, as editors do.

    Parameters
    ----------
    values:
        uint8 or uint16, full scale white, shape (rows, width) or (rows, width, channels).
    alpha:
        The same type, full scale opaque, shape (rows, width).
    premultiplied:
        Whether ``values`` are multiplied by ``alpha`` already.
    """
    full = int(np.iinfo(values.dtype).max)
    cover = (alpha if values.ndim == 2 else alpha[..., None]).astype(np.uint32)
    if premultiplied:
        laid = np.minimum(values + (full - cover), full)
    else:
        laid = full - ((full - values.astype(np.uint32)) * cover + full // 2) // full
    return np.asarray(laid.astype(values.dtype))

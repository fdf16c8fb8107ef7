"""Changing the number of pixels, in luminance, a band at a time.

Light adds up in proportion to luminance, so that is what is averaged.  The filters are Pillow's
that are nowhere negative, so that no edge gets a rim that the picture has not: Hamming where pixels
become fewer, bilinear where they become more.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster.bands import Job, Window
from tonewright.files.raster.page import Band
from tonewright.frozen import dataclass

Luminance = NDArray[np.float32]
_BAND_BYTES = 3 << 20
_REACH = 1.0
"""Of both filters, in pixels of the smaller picture."""


@dataclass(frozen=True)
class Sizes:
    """Pixels before and after."""

    width: int
    height: int
    new_width: int
    new_height: int


def narrowed(band: Luminance, sizes: Sizes) -> Luminance:
    """Rows with the new number of columns, where that is smaller: little must be kept of them."""
    if sizes.new_width >= sizes.width:
        return band
    return _resized(band, (sizes.new_width, len(band)), shrinks=True)


def resampled_jobs(
    bands: Iterator[Luminance], sizes: Sizes, finish: Callable[[Luminance], Band]
) -> Iterator[Job]:
    """Jobs for the resampled image, from the top down.

    ``bands`` are luminance (float32, 0 to 1), `narrowed`, from the top down; ``finish`` says what
    becomes of a band of resampled luminance, in the same job.
    """
    scale = sizes.height / sizes.new_height
    reach = _REACH * max(scale, 1.0) + 2.0
    rows = max(1, _BAND_BYTES // (4 * max(sizes.width, sizes.new_width)))
    step = max(1, math.ceil(rows / max(scale, 1.0)))
    window = Window(bands)
    for first in range(0, sizes.new_height, step):
        end = min(first + step, sizes.new_height)
        low = max(0, math.floor(first * scale - reach))
        high = min(sizes.height, math.ceil(end * scale + reach))
        part = window.rows(low, high)
        span = (first * scale - low, min(end * scale - low, len(part)))
        yield Job(end - first, partial(_work, part, sizes, end - first, span, finish))


def _work(
    part: Luminance, sizes: Sizes, rows: int, span: tuple[float, float],
    finish: Callable[[Luminance], Band],
) -> Band:
    """``rows`` rows made of what ``span`` of ``part`` holds."""
    width = part.shape[1]
    made = _resized(part, (width, rows), (0.0, span[0], float(width), span[1]),
                    shrinks=sizes.new_height < sizes.height)
    if width != sizes.new_width:
        made = _resized(made, (sizes.new_width, rows), shrinks=False)
    return finish(np.clip(made, 0.0, 1.0, out=made))


def _resized(
    part: Luminance, size: tuple[int, int], box: tuple[float, float, float, float] | None = None,
    *, shrinks: bool,
) -> Luminance:
    from PIL import Image

    kind = Image.Resampling.HAMMING if shrinks else Image.Resampling.BILINEAR
    part = np.ascontiguousarray(part)
    source: Any = Image.frombuffer("F", part.shape[::-1], part.data, "raw", "F", 0, 1)
    made: Luminance = np.array(source.resize(size, kind, box=box), dtype=np.float32)
    return made

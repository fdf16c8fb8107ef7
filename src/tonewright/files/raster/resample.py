"""Changing the number of pixels, in luminance, a band at a time.

Light adds up in proportion to luminance, so that is what is averaged.  The filters are Pillow's:
Lanczos where pixels become fewer, bicubic where they become more (it rings less around edges).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster.bands import Job
from tonewright.files.raster.page import Band

Luminance = NDArray[np.float32]
_BAND_BYTES = 3 << 20
_REACH = 3.0
"""Of the wider filter, in pixels."""


@dataclass(frozen=True)
class Sizes:
    """Pixels before and after."""

    width: int
    height: int
    new_width: int
    new_height: int


def resampled_jobs(
    bands: Iterator[Luminance], sizes: Sizes, finish: Callable[[Luminance], Band]
) -> Iterator[Job]:
    """Jobs for the resampled image, from the top down.

    Parameters
    ----------
    bands:
        Luminance (float32, 0 to 1), shape (rows, width), from the top down.
    sizes:
        Before and after.
    finish:
        What becomes of a band of resampled luminance (0 to 1), in the same job.
    """
    scale = sizes.height / sizes.new_height
    reach = _REACH * max(scale, 1.0) + 2.0
    rows = max(1, _BAND_BYTES // (4 * max(sizes.width, sizes.new_width)))
    step = max(1, math.ceil(rows / max(scale, 1.0)))
    window = _Window(bands)
    for first in range(0, sizes.new_height, step):
        end = min(first + step, sizes.new_height)
        low = max(0, math.floor(first * scale - reach))
        high = min(sizes.height, math.ceil(end * scale + reach))
        part = window.rows(low, high)
        box = (0.0, first * scale - low, float(sizes.width), min(end * scale - low, len(part)))
        yield Job(end - first, _work(part, (sizes.new_width, end - first), box, scale, finish))


def _work(
    part: Luminance, size: tuple[int, int], box: tuple[float, float, float, float],
    scale: float, finish: Callable[[Luminance], Band],
) -> Callable[[], Band]:
    def work() -> Band:
        from PIL import Image

        kind = Image.Resampling.LANCZOS if scale > 1.0 else Image.Resampling.BICUBIC
        source: Any = Image.frombuffer("F", part.shape[::-1], part.data, "raw", "F", 0, 1)
        made: Luminance = np.array(source.resize(size, kind, box=box), dtype=np.float32)
        return finish(np.clip(made, 0.0, 1.0, out=made))

    return work


class _Window:
    """The rows that are needed now, from bands that come one after another."""

    def __init__(self, bands: Iterator[Luminance]) -> None:
        self._bands, self._held, self._top, self._bottom = bands, deque[Luminance](), 0, 0

    def rows(self, low: int, high: int) -> Luminance:
        """Rows ``low`` to ``high``; neither ever goes back."""
        while self._bottom < high:
            band = next(self._bands)
            self._held.append(band)
            self._bottom += len(band)
        while self._top + len(self._held[0]) <= low:
            self._top += len(self._held.popleft())
        rows = np.concatenate(self._held)
        return rows[low - self._top : high - self._top]

"""A tile of thresholds whose patterns hold no coarse structure (blue noise).

Void and cluster: R. A. Ulichney, "The void-and-cluster method for dither array generation",
Proc. SPIE 1913 (1993).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_SIGMA = 1.5
"""Of the Gaussian that measures crowding, in pixels, as Ulichney found best."""
_START = 0.1
"""Share of points that the starting pattern has."""


@lru_cache(maxsize=4)
def blue_noise(side: int, seed: int) -> NDArray[np.uint16]:
    """Ranks 0 to side² − 1, each once, shape (side, side); it tiles without a seam.

    The lowest n ranks are n points spread evenly and without order, for every n.  The same seed
    gives the same tile.  ``side`` is even, 8 to 256.
    """
    kernel = _kernel(side)
    points = np.zeros(side * side, dtype=bool)
    rng = np.random.default_rng(seed)
    points[rng.choice(points.size, max(2, int(_START * points.size)), replace=False)] = True
    crowd = _Crowd(points, kernel)
    crowd.settle()
    rank = np.zeros(points.size, dtype=np.uint16)
    rest = _Crowd(crowd.points.copy(), kernel)
    count = int(points.sum())
    for place in range(count - 1, -1, -1):  # the tightest go first, so they rank last
        rank[rest.take_tightest()] = place
    for place in range(count, points.size):
        rank[crowd.fill_largest_void()] = place
    return rank.reshape(side, side)


def _kernel(side: int) -> NDArray[np.float64]:
    away = np.minimum(np.arange(side), side - np.arange(side)).astype(np.float64)
    row = np.exp(-(away**2) / (2.0 * _SIGMA**2))
    return np.outer(row, row)


class _Crowd:
    """Points on a tile and how crowded each place is."""

    def __init__(self, points: NDArray[np.bool_], kernel: NDArray[np.float64]) -> None:
        side = len(kernel)
        self.points, self._side = points, side
        # the kernel around any place is a window of the kernel laid out four times
        self._wide = np.tile(kernel, (2, 2))
        spread = np.fft.rfft2(points.reshape(side, side)) * np.fft.rfft2(kernel)
        self._energy = np.fft.irfft2(spread, s=(side, side)).reshape(-1)

    def _change(self, place: int, sign: float) -> None:
        row, column = divmod(place, self._side)
        up, left = self._side - row, self._side - column
        window = self._wide[up : up + self._side, left : left + self._side]
        energy = self._energy.reshape(self._side, self._side)
        energy += sign * window
        self.points[place] = sign > 0

    def take_tightest(self) -> int:
        place = int(np.argmax(np.where(self.points, self._energy, -np.inf)))
        self._change(place, -1.0)
        return place

    def fill_largest_void(self) -> int:
        place = int(np.argmin(np.where(self.points, np.inf, self._energy)))
        self._change(place, 1.0)
        return place

    def settle(self) -> None:
        """Move the tightest point into the largest void until it is the same place."""
        for _ in range(4 * self.points.size):
            taken = self.take_tightest()
            if self.fill_largest_void() == taken:
                return

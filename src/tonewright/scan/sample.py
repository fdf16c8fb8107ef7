"""What the scan shows inside each patch: robust values of small squares of its inner part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.scan.rectify import Placement
from tonewright.scan.scanner import CLIPPED_BLACK, CLIPPED_WHITE
from tonewright.target.document import Patch

INNER = 0.64
"""Share of a patch's sides that is sampled: its edges are blurred by film, lamp and scanner."""
BLOCKS = 6
"""A patch is looked at in 6 x 6 squares, so that a scratch or a stain shows as some of them."""
MOST_CLIPPED = 0.02
"""Share of the pixels of a patch or step that may be clipped before its density is only a bound."""
_MOST_PIXELS = 14_000
"""Of a patch that are looked at: more would not make it surer."""
_LEAST_PIXELS = 4 * BLOCKS**2


@dataclass(frozen=True, eq=False)
class Sample:
    """One patch as scanned; codes are 0 (black) to 1."""

    blocks: Array
    """Midmean code of each square, shape (BLOCKS * BLOCKS,), row by row; NaN without pixels."""
    clipped_white: float
    clipped_black: float
    """Shares of the pixels, 0 to 1."""
    pixels: int

    @property
    def clipped(self) -> float:
        """Share of the pixels at either end."""
        return self.clipped_white + self.clipped_black

    @property
    def code(self) -> float:
        """The middle of the patch: mean of the middle half of the squares (the midmean)."""
        return midmean(self.blocks)


def midmean(values: Array) -> float:
    """Mean of the middle half of some values, NaN left aside; gross errors do not move it."""
    ordered = np.sort(values[np.isfinite(values)])
    cut = ordered.size // 4
    return float(np.mean(ordered[cut : ordered.size - cut])) if ordered.size else float("nan")


def sample_patch(
    pixels: NDArray[np.float32], placement: Placement, patch: Patch
) -> Sample | None:
    """The inner part of a patch, as the scan (0 to 1, shape (rows, columns)) shows it; None if
    fewer than four pixels fall to a square: the scan is too coarse for this patch.

    Pixels are taken as they are, by where their centres lie on the print; nothing is resampled.
    """
    wide, high = INNER * patch.width_mm, INNER * patch.height_mm
    x = patch.x_mm + 0.5 * (1.0 - INNER) * patch.width_mm
    y = patch.y_mm + 0.5 * (1.0 - INNER) * patch.height_mm
    quad = placement.to_scan([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]])
    low = np.maximum(np.floor(quad.min(axis=0)).astype(int), 0)
    top = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 1, pixels.shape[::-1])
    if np.any(top - low < 2):
        return None
    area = float(np.prod(top - low))
    step = max(int(np.sqrt(area / _MOST_PIXELS)), 1)
    columns, rows = np.arange(low[0], top[0], step), np.arange(low[1], top[1], step)
    grid = np.stack(np.broadcast_arrays(columns[None, :], rows[:, None]), axis=-1)
    place = placement.to_print(grid)
    across, down = (place[..., 0] - x) / wide * BLOCKS, (place[..., 1] - y) / high * BLOCKS
    inside = (across >= 0.0) & (across < BLOCKS) & (down >= 0.0) & (down < BLOCKS)
    if inside.sum() < _LEAST_PIXELS:
        return None
    square = across[inside].astype(np.int64) + BLOCKS * down[inside].astype(np.int64)
    values = pixels[low[1] : top[1] : step, low[0] : top[0] : step][inside].astype(np.float64)
    return Sample(_midmeans(values, square), float(np.mean(values >= CLIPPED_WHITE)),
                  float(np.mean(values <= CLIPPED_BLACK)), values.size)


def _midmeans(values: Array, square: NDArray[np.int64]) -> Array:
    """Midmean of each square.

    The mean of the middle half, because a median of 8-bit codes would be one of few values.
    """
    order = np.argsort(values)
    order = order[np.argsort(square[order].astype(np.uint16), kind="stable")]
    total = np.concatenate([[0.0], np.cumsum(values[order])])
    count = np.bincount(square, minlength=BLOCKS**2)
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    cut = count // 4
    low, high = start + cut, start + count - cut
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, (total[high] - total[low]) / (high - low), np.nan)

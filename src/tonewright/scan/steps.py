"""Reading a row of equal steps from a scan: a gray scale, or a printed step tablet."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.numeric.robust import rank_correlation, robust_spread
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan.find_steps import FoundRow, find_row
from tonewright.scan.image import Scan
from tonewright.scan.rectify import apply, four_points, through_four, turns
from tonewright.scan.scanner import CLIPPED_BLACK, CLIPPED_WHITE

INNER = 0.6
"""Share of a step's width and height that is sampled, around its middle."""
_MOST_POINTS = 120
_BLOCKS = 4


@dataclass(frozen=True, eq=False)
class StepRow:
    """A row of steps as sampled, step 1 first."""

    code: Array
    """0 to 1, shape (halves, count); halves from top to bottom, step 1 at the left."""
    code_sd: Array
    """How well each is known, shape (halves, count)."""
    clipped: Array
    """Share of pixels at the ends of the scan's range, shape (halves, count)."""
    corners: Array
    """Pixels (column, row), clockwise from the top left of step 1, shape (4, 2)."""
    split: float
    """Where the second half begins, as a share of the height; 1 without halves."""
    automatic: bool
    """Found, not given by hand."""
    findings: tuple[Finding, ...] = ()

    @property
    def dark_first(self) -> bool:
        """True if step 1 is at the dark end."""
        code = self.code.mean(axis=0)
        return rank_correlation(code, np.arange(code.size)) > 0.0

    @property
    def film_half(self) -> int | None:
        """Which half lay under the film: the lighter one; None for one half or no difference."""
        if len(self.code) < 2:
            return None
        rise = self.code[0] - self.code[1]
        error = np.hypot(self.code_sd[0], self.code_sd[1])
        seen = rise[np.abs(rise) > 3.0 * error]
        if seen.size < 3 or abs(float(np.median(seen))) < 1e-3:
            return None
        return 0 if float(np.median(seen)) > 0.0 else 1

    def centres(self, half: int = 0) -> Array:
        """Pixels (column, row) of each step's middle, shape (count, 2)."""
        ends = (0.0, self.split) if half == 0 else (self.split, 1.0)
        down, along = sum(ends) / 2.0, (np.arange(self.code.shape[1]) + 0.5) / self.code.shape[1]
        left = (1.0 - down) * self.corners[0] + down * self.corners[3]
        right = (1.0 - down) * self.corners[1] + down * self.corners[2]
        return np.asarray(left + along[:, None] * (right - left))

    def turned(self) -> StepRow:
        """The same row read from its other end (the scan turned by half)."""
        code, code_sd, clipped = (a[::-1, ::-1] for a in (self.code, self.code_sd, self.clipped))
        split = 1.0 - self.split if len(self.code) > 1 else self.split
        return replace(self, code=code, code_sd=code_sd, clipped=clipped, split=split,
                       corners=np.roll(self.corners, 2, axis=0))


def read_step_row(
    scan: Scan, count: int, corners: ArrayLike | None = None, halves: Literal[1, 2] = 1, *,
    dark_first: bool | None = None,
) -> StepRow:
    """Sample every step of a row of ``count`` steps.

    ``corners`` are pixels (column, row), clockwise from the top left, step 1 at the left edge,
    shape (4, 2); None: the row is looked for.  With 2 ``halves`` the row has two side by side along
    it, such as film-covered and bare.  ``dark_first`` says which end step 1 must be: a row that was
    found is turned so, one given by hand is refused if it lies the other way; None: as it lies,
    from left to right in the scan.

    Raises `ReadingsError`: no such row is found; several places fit; the row lies the other way.
    `OptionError`: corners that are no quadrangle inside the scan; an impossible count.
    """
    if count < 3 or count > 200:
        raise OptionError(f"a row of {counted(count, 'step')}", "a row has 3 to 200 steps",
                          "check the number of steps")
    if corners is None:
        return sample_row(scan, find_row(scan.pixels, count, scan.name), count, halves, dark_first)
    row = _sample(scan, _checked_corners(corners, scan), count, halves)
    if dark_first is None or row.dark_first == dark_first:
        return row
    end, other = ("dark", "light") if dark_first else ("light", "dark")
    turned = ",".join(f"{v:g}" for v in np.roll(row.corners, 2, axis=0).ravel())
    raise ReadingsError(
        f"with these corners, the row in {scan.name} begins at its {other} end",
        f"step 1 is at the {end} end", "read it from the other end", code="row_turned",
        corners=turned)


def sample_row(
    scan: Scan, found: FoundRow, count: int, halves: Literal[1, 2] = 1,
    dark_first: bool | None = None,
) -> StepRow:
    """Sample every step of a row that was found; arguments and errors as `read_step_row`."""
    row = replace(_sample(scan, found.corners, count, halves), automatic=True,
                  findings=found.findings)
    return row if dark_first is None or row.dark_first == dark_first else row.turned()


def _checked_corners(corners: ArrayLike, scan: Scan) -> Array:
    place = four_points(corners, "row_corners")
    rows, columns = scan.pixels.shape
    given = "the corners " + ",".join(f"{v:g}" for v in place.ravel())
    if place.min() < -1 or place[:, 0].max() > columns or place[:, 1].max() > rows:
        raise OptionError(given, f"they lie in the scan, which has {columns} x {rows} pixels",
                          "read them off in the scan as it is, not in a smaller copy")
    if not np.all(turns(place) > 0.0):
        raise OptionError(
            given, "they go clockwise around the row: top left, top right, bottom right, bottom"
            " left, step 1 at the left edge", "put them in that order", code="row_corners")
    return place


def _sample(scan: Scan, place: Array, count: int, halves: int) -> StepRow:
    """Sample the inner part of each step between the corners."""
    unit = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    matrix = through_four(unit, place)
    long = float(np.linalg.norm(place[1] - place[0]) + np.linalg.norm(place[2] - place[3])) / 2
    high = float(np.linalg.norm(place[3] - place[0]) + np.linalg.norm(place[2] - place[1])) / 2
    if long / count < 4.0 or high / halves < 6.0:
        raise ReadingsError(
            f"a step of the row is {long / count:.0f} x {high / halves:.0f} pixels in {scan.name}",
            "a step needs at least 4 x 6 pixels", "scan at a higher resolution")
    split = _split(scan, matrix, count, high) if halves == 2 else 1.0
    bounds = [(0.0, split), (split, 1.0)][:halves]
    margin = (1.0 - INNER) / 2.0
    table = np.empty((3, halves, count))
    for half, (top, bottom) in enumerate(bounds):
        tall = bottom - top
        ys = _between(top + margin * tall, bottom - margin * tall, INNER * tall * high)
        for step in range(count):
            xs = _between((step + margin) / count, (step + 1 - margin) / count,
                          INNER * long / count)
            table[:, half, step] = _robust(_nearest(scan.pixels, matrix, xs, ys))
    code, code_sd, clipped = table
    return StepRow(code, code_sd, clipped, place, split, automatic=False)


def _between(low: float, high: float, pixels: float) -> Array:
    """Places at which to sample a stretch, about one a pixel."""
    count = int(np.clip(round(pixels), 3, _MOST_POINTS))
    return low + (high - low) * (np.arange(count) + 0.5) / count


def _nearest(pixels: NDArray[np.float32], matrix: Array, xs: Array, ys: Array) -> Array:
    """Codes at a grid of places (0 to 1 along and across the row), shape (ys, xs)."""
    grid = np.stack(np.broadcast_arrays(xs[None, :], ys[:, None]), axis=-1)
    at = np.rint(apply(matrix, grid)).astype(np.int64)
    column = np.clip(at[..., 0], 0, pixels.shape[1] - 1)
    row = np.clip(at[..., 1], 0, pixels.shape[0] - 1)
    return np.asarray(pixels[row, column], dtype=np.float64)


def _robust(codes: Array) -> tuple[float, float, float]:
    """Mean without dust and stains' edges, its deviation, the clipped share.

    The deviation comes from the means of 4 x 4 blocks, so that grain wider than a pixel and slow
    drifts count as what they are.
    """
    middle = float(np.median(codes))
    spread = max(robust_spread(codes - middle), 1e-5)
    kept = np.abs(codes - middle) <= 3.5 * spread
    mean = float(codes[kept].mean())
    blocks = [part[good].mean()
              for band, keep in zip(np.array_split(codes, _BLOCKS), np.array_split(kept, _BLOCKS),
                                    strict=True)
              for part, good in zip(np.array_split(band, _BLOCKS, axis=1),
                                    np.array_split(keep, _BLOCKS, axis=1), strict=True)
              if good.any()]
    error = float(np.std(blocks, ddof=1) / np.sqrt(len(blocks))) if len(blocks) > 1 else spread
    error = max(error, spread / float(np.sqrt(kept.sum())), 1e-5)
    clipped = float(np.mean((codes <= CLIPPED_BLACK) | (codes >= CLIPPED_WHITE)))
    return mean, error, clipped


def _split(scan: Scan, matrix: Array, count: int, high: float) -> float:
    """Where along the height the film ends: the sharpest change, or the middle if none is seen."""
    ys = _between(0.05, 0.95, 0.9 * high)
    profile = np.array([np.median(_nearest(
        scan.pixels, matrix, _between((k + 0.25) / count, (k + 0.75) / count, 20.0), ys), axis=1)
        for k in range(count)])
    best, where = 0.0, 0.5
    for i in range(int(0.25 * ys.size), int(0.75 * ys.size)):
        gap = profile[:, :i].mean(axis=1) - profile[:, i:].mean(axis=1)
        # the usual gain of cutting in two (as in a regression tree), robust over the steps
        gain = float(np.mean(np.sort(gap**2)[: max(3, count * 9 // 10)])) * i * (ys.size - i)
        if gain > best:
            best, where = gain, float(0.5 * (ys[i - 1] + ys[i]))
    noise = float(np.median(np.abs(np.diff(profile, axis=1)))) * 1.05
    halfway = best / (ys.size / 2) ** 2
    return where if halfway > max((0.5 * noise) ** 2, 1e-6) else 0.5

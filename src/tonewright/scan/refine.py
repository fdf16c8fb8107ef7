"""From a rough placement to an exact one: every mark and dot is looked for where it should lie."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.scan.rectify import Placement, fit_homography, sample_at, through_four
from tonewright.target.document import Dot, Mark, Target
from tonewright.target.draw import HOLE
from tonewright.target.pen import SPOT_RADIUS, spots

CLEAR = 0.6
"""Correlation from which a mark or a dot of the border counts as found."""


@dataclass(frozen=True, eq=False)
class Refined:
    """A placement fitted to what was found."""

    placement: Placement
    error_px: float
    """Root mean square distance from the fit; NaN if there is nothing left over to tell."""
    likeness: Array
    """Of the four marks and then the dots with what they should look like, -1 to 1."""
    alike: Array
    """Of the dots: how much liker the layout's kind (hollow or solid) than the other."""
    settled: bool
    """False: too little was found to improve on the first placement."""


def refine(
    small: NDArray[np.float32], target: Target, first: Placement, light: bool, *, by_hand: bool
) -> Refined:
    """Look for every mark and dot near its place, and fit the placement to all of them.

    ``small`` is the scan made small, 0 to 1, shape (rows, columns), ``first`` a placement in it
    that is right to a few mm (``by_hand``) or better; ``light``: marks are light on dark.
    """
    points = np.vstack([target.mark_centres, target.dot_centres])
    placement, settled, error = first, False, float("nan")
    likeness, alike = np.zeros(len(points)), np.zeros(len(target.dots))
    reaches = (4.0, 2.0, 1.0, 0.6) if by_hand else (2.0, 1.0, 0.6)
    for reach in reaches:
        shifts, likeness, alike = _search(small, target, placement, light, reach)
        clear = likeness >= CLEAR
        if not target.dots and clear.all():  # four marks, and nothing left over to judge them by
            seen = placement.to_scan(points + shifts)
            placement, settled = Placement(through_four(points, seen)), True
        if clear.sum() < 8:
            continue
        places = placement.to_scan(points[clear] + shifts[clear])
        matrix, away, used = fit_homography(points[clear], places, placement.matrix)
        placement, settled = Placement(matrix), True
        error = float(np.sqrt(np.mean(away[used] ** 2)))
    return Refined(placement, error, likeness, alike, settled)


def marks_likeness(
    small: NDArray[np.float32], target: Target, placement: Placement, light: bool
) -> float:
    """Mean correlation (-1 to 1) of what lies where the four marks should with the marks."""
    finder = _Finder(small, placement, 1.0, light)
    return float(np.mean([finder.match(mark)[1] for mark in target.marks]))


def _search(
    small: NDArray[np.float32], target: Target, placement: Placement, light: bool, reach: float
) -> tuple[Array, Array, Array]:
    """Where each mark and dot lies, mm from its place; its likeness; what the dots look like."""
    finder = _Finder(small, placement, reach, light)
    shifts, likeness, alike = [], [], []
    for mark in target.marks:
        shift, like = finder.match(mark)
        shifts.append(shift)
        likeness.append(like[0])
    for dot in target.dots:
        shift, like = finder.match(dot)
        shifts.append(shift)
        likeness.append(max(like))
        alike.append(like[0] - like[1])
    return np.array(shifts), np.array(likeness), np.array(alike)


_HALF = 11
"""Half the width of a view, in samples; its disc has the radius 8."""
_RADIUS = 8.0


def _views(shape: Mark | Dot) -> list[Array]:
    """What a shape looks like; for a dot also what one of the other kind does."""
    if isinstance(shape, Mark):
        return [_view(tuple((*spot, SPOT_RADIUS) for spot in spots(int(shape.name))))]
    return [_view(((0.0, 0.0, HOLE),) if hollow else ())
            for hollow in (shape.hollow, not shape.hollow)]


@cache
def _view(holes: tuple[tuple[float, float, float], ...]) -> Array:
    """A disc in its own radii with holes (x, y, radius), light 1, dark 0, NaN where it does not
    matter."""
    side = np.arange(-_HALF, _HALF + 1) / _RADIUS
    x, y = np.meshgrid(side, side)
    away = np.hypot(x, y)
    view = _soft(1.0 - away)
    for left, top, radius in holes:
        view = view - _soft(radius - np.hypot(x - left, y - top))
    return np.asarray(np.where(away > 1.35, np.nan, view))


def _soft(inside: Array) -> Array:
    """1 inside, 0 outside, with an edge about a sample wide as a scan has."""
    return np.asarray(np.clip(0.5 + inside * _RADIUS / 1.5, 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class _Finder:
    """Looks for small shapes near where they should be."""

    small: NDArray[np.float32]
    placement: Placement
    reach: float
    """mm."""
    light: bool

    def match(self, shape: Mark | Dot) -> tuple[Array, list[float]]:
        """The shift in mm at which the likest of its `_views` is seen; likeness of each."""
        views = _views(shape)
        step = 0.5 * shape.size_mm / _RADIUS
        most = max(int(np.ceil(self.reach / step)), 2)
        side = np.arange(-_HALF - most, _HALF + most + 1) * step
        x, y = np.meshgrid(shape.x_mm + side, shape.y_mm + side)
        seen = sample_at(self.small, self.placement.to_scan(np.stack([x, y], axis=-1)))
        matters = np.isfinite(views[0])
        sign = 1.0 if self.light else -1.0
        patterns = [np.where(matters, sign * (v - v[matters].mean()), 0.0) for v in views]
        patterns = [pattern / np.linalg.norm(pattern) for pattern in patterns]
        norm, *scores = _likenesses(seen - seen.mean(), matters, patterns)
        best: tuple[float, Array] = (-2.0, np.zeros(2))
        likeness = []
        for score in scores:
            top, place = _peak(np.where(norm > 1e-4 * np.count_nonzero(matters), score, 0.0))
            likeness.append(top)
            if top > best[0]:
                best = (top, (place - most) * step)
        return best[1], likeness


def _likenesses(seen: Array, matters: NDArray[np.bool_], patterns: list[Array]) -> list[Array]:
    """How much what lies under a pattern varies, and its correlation with each, at every place
    where all of the pattern lies on the array.

    Sums of products come from spectra, which is faster than adding them up.  ``patterns`` have
    mean 0 and size 1, and are 0 where it does not ``matter``.
    """
    size = [-(-side // 8) * 8 for side in seen.shape]  # quickly transformed
    over = np.conj(np.fft.rfft2(np.stack([matters, *patterns]), size))
    light, squares = np.fft.rfft2(np.stack([seen, seen**2]), size)
    products = np.concatenate([(squares * over[0])[None], light * over])
    places = (slice(side - part + 1) for side, part in zip(seen.shape, matters.shape, strict=True))
    power, total, *likeness = np.fft.irfft2(products, size)[:, *places]
    norm = np.sqrt(np.maximum(power - total**2 / np.count_nonzero(matters), 0.0))
    return [norm, *(found / np.maximum(norm, 1e-9) for found in likeness)]


def _peak(score: Array) -> tuple[float, Array]:
    """Height and place (x, y) of the highest point, between samples by a parabola."""
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    place = []
    for line, at in ((score[row, :], int(column)), (score[:, column], int(row))):
        shift = 0.0
        if 0 < at < line.size - 1:
            before, here, after = line[at - 1 : at + 2]
            bend = before - 2.0 * here + after
            shift = 0.5 * (before - after) / bend if bend < -1e-12 else 0.0
        place.append(at + float(np.clip(shift, -0.5, 0.5)))
    return float(score[row, column]), np.array(place)

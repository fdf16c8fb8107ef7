"""Finding the four marks of a target in a scan: any turn, mirrored or not, light or dark.

A mark is a light disc with one to four dark spots.  Wherever a threshold leaves a solid ellipse of
likely size, its inside is compared with the four patterns at every turn.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.scan.rectify import sample_at
from tonewright.target.pen import SPOT_RADIUS, spots

LIKENESS = 0.72
"""Correlation with its pattern from which a shape counts as a mark; 1 is a perfect one."""
_AHEAD = 0.06
"""By how much the best pattern must beat the next."""
_SMALLEST, _LARGEST = 9.0, 0.2
"""Diameter: pixels, and share of the scan's shorter side."""
_FEW = 16
"""Shapes that are judged at once, in the processor's cache."""
_RADII = (np.arange(22) + 0.5) / 22 * 1.3
_ANGLES = np.arange(72) * (2.0 * np.pi / 72)
_WEIGHT = (_RADII / _RADII.sum())[:, None] / _ANGLES.size


@dataclass(frozen=True)
class FoundMark:
    """A shape that looks like a mark; pixels of the image it was found in."""

    number: int
    """1 to 4: its spots."""
    x: float
    y: float
    radius: float
    likeness: float
    light: bool
    """Light on dark, as on a print; False: dark on light."""


def find_marks(pixels: NDArray[np.float32]) -> list[FoundMark]:
    """Everything that looks like a mark, the likest first.

    ``pixels``: 0 (black) to 1, shape (rows, columns); a mark should be 12 pixels wide or more.
    """
    from scipy.ndimage import gaussian_filter

    smooth = gaussian_filter(pixels, 0.8)
    low, high = np.percentile(smooth[::3, ::3], [1.0, 99.0])
    found: list[FoundMark] = []
    if high - low < 0.02:
        return found
    for shares in _THRESHOLDS:
        for light in (True, False):
            for share in shares:
                level = low + share * (high - low)
                mask = smooth > level if light else smooth <= level
                found += _marks_in(smooth, mask, light, found)
                if whole_sets(found):
                    return _without_doubles(found)
    return _without_doubles(found)


# Within one mark the light is nearly even, so that one of them parts it cleanly whatever the
# shading of the whole; the later ones are only tried if the first leave a mark unfound.
_THRESHOLDS = ((0.36, 0.2, 0.52), (0.06, 0.12, 0.28, 0.44, 0.6, 0.7, 0.8))


def whole_sets(found: list[FoundMark]) -> bool:
    """True if all four marks are there, alike in size and lightness, and beyond doubt."""
    for light in (True, False):
        best = [max((m for m in found if m.light == light and m.number == number
                     and m.likeness > 0.9), key=lambda m: m.radius, default=None)
                for number in range(1, 5)]
        radii = [m.radius for m in best if m is not None]
        if len(radii) == 4 and max(radii) < 1.7 * min(radii):
            return True
    return False


def _marks_in(
    pixels: NDArray[np.float32], mask: NDArray[np.bool_], light: bool, known: list[FoundMark]
) -> list[FoundMark]:
    """Marks among the solid shapes of a mask, but for those already known for sure."""
    sure = [m for m in known if m.light == light and m.likeness > 0.9]
    shapes = [shape for shape in _solid_shapes(mask)
              if all(abs(shape.x - m.x) + abs(shape.y - m.y) >= 0.5 * m.radius for m in sure)]
    return [mark for some in range(0, len(shapes), _FEW)
            for mark in _judged(pixels, shapes[some : some + _FEW], light)]


@dataclass(frozen=True)
class _Shape:
    """A solid ellipse: its centre, and what takes the unit circle to it, shape (2, 2)."""

    x: float
    y: float
    axes: Array


def _solid_shapes(mask: NDArray[np.bool_]) -> Iterator[_Shape]:
    """Connected parts of a mask that are ellipses once their holes are filled."""
    from scipy.ndimage import binary_fill_holes, find_objects, label

    largest = (_LARGEST * min(mask.shape)) ** 2
    part, _ = label(mask)
    for number, box in enumerate(find_objects(part), 1):
        height, width = (side.stop - side.start for side in box)
        if not (min(height, width) >= _SMALLEST and height * width <= largest
                and 0.5 * width <= height <= 2.0 * width):
            continue
        solid = part[box] == number
        if not 0.45 * height * width <= np.count_nonzero(solid) <= 0.9 * height * width:
            continue
        shape = _ellipse(binary_fill_holes(solid))
        if shape is not None:
            down, across = box
            yield _Shape(shape.x + across.start, shape.y + down.start, shape.axes)


def _ellipse(full: NDArray[np.bool_]) -> _Shape | None:
    """The ellipse with the same moments as a solid shape, or None if it is no ellipse.

    A solid ellipse has the area 4 pi sqrt(det C) with C the covariance of its points, and its
    half axes are twice the square roots of C's eigenvalues.
    """
    y, x = np.nonzero(full)
    places = np.array([x, y], dtype=np.float64)
    centre = places.mean(axis=1)
    places -= centre[:, None]
    spread = places @ places.T / x.size + np.eye(2) / 12.0  # a pixel is a square
    values, vectors = np.linalg.eigh(spread)
    if values[0] <= 0.0 or values[1] > 4.0 * values[0]:
        return None
    fullness = x.size / (4.0 * np.pi * np.sqrt(values[0] * values[1]))
    if not 0.93 <= fullness <= 1.04:
        return None
    return _Shape(float(centre[0]), float(centre[1]), 2.0 * vectors * np.sqrt(values))


def _judged(pixels: NDArray[np.float32], shapes: list[_Shape], light: bool) -> list[FoundMark]:
    """The marks among some shapes."""
    circle = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=-1)
    axes = np.stack([shape.axes.T for shape in shapes])
    middle = np.array([[shape.x, shape.y] for shape in shapes])
    seen = sample_at(pixels, middle[:, None, None]
                     + (_RADII[:, None, None] * circle) @ axes[:, None])
    found = []
    for shape, likeness in zip(shapes, pattern_likeness(seen if light else -seen), strict=True):
        best, second = np.argsort(likeness)[::-1][:2]
        if likeness[best] >= LIKENESS and likeness[best] - likeness[second] >= _AHEAD:
            radius = float(np.sqrt(abs(np.linalg.det(shape.axes))))
            found.append(FoundMark(int(best) + 1, shape.x, shape.y, radius, float(likeness[best]),
                                   light))
    return found


def pattern_likeness(seen: Array) -> Array:
    """Correlation (-1 to 1) of polar views with each of the four patterns, at the best turn, shape
    (n, 4).

    ``seen``: light, shape (n, radii, angles) as `_RADII` and `_ANGLES`; a ring counts by its area.
    """
    weight, both = _WEIGHT, (-2, -1)
    view = seen - np.sum(weight * seen, axis=both, keepdims=True)
    size = np.sqrt(np.sum(weight * view**2, axis=both))[:, None]
    # correlation over all turns at once (Fourier shift theorem)
    product = np.sum(np.fft.rfft(view)[:, None] * _patterns(), axis=-2)
    like = np.fft.irfft(product, _ANGLES.size).max(axis=-1)
    return np.where(size < 1e-6, 0.0, like / np.maximum(size, 1e-6))


@lru_cache(maxsize=1)
def _patterns() -> NDArray[np.complex128]:
    """The four marks as polar views of mean 0 and size 1, weighted, as conjugate transforms, shape
    (4, radii, frequencies)."""
    weight = _WEIGHT
    x, y = _RADII[:, None] * np.cos(_ANGLES), _RADII[:, None] * np.sin(_ANGLES)
    patterns = []
    for number in range(1, 5):
        view = np.broadcast_to((_RADII <= 1.0)[:, None], x.shape).astype(np.float64)
        for spot_x, spot_y in spots(number):
            view[np.hypot(x - spot_x, y - spot_y) <= SPOT_RADIUS] = 0.0
        view -= np.sum(weight * view)
        view /= np.sqrt(np.sum(weight * view**2))
        patterns.append(np.conj(np.fft.rfft(weight * view, axis=1)))
    return np.stack(patterns)


def _without_doubles(found: list[FoundMark]) -> list[FoundMark]:
    """The likest of those found at one place by several thresholds."""
    kept: list[FoundMark] = []
    for mark in sorted(found, key=lambda m: -m.likeness):
        if all((mark.x - k.x) ** 2 + (mark.y - k.y) ** 2 > max(mark.radius, k.radius) ** 2
               for k in kept):
            kept.append(mark)
    return kept

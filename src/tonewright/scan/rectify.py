"""Between millimetres on the print and pixels of a scan: plane perspective.

A homography is a matrix of shape (3, 3) with h[2, 2] = 1 that takes (x, y, 1) in millimetres to
(u w, v w, w) in pixels; pixel (0, 0) has its centre at (0, 0).  Hartley and Zisserman, Multiple
View Geometry, chapters 2 and 4.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.scales import Array


@dataclass(frozen=True, eq=False)
class Placement:
    """How the print lies in the scan."""

    matrix: Array
    """mm on the print to pixels of the scan, shape (3, 3)."""

    def to_scan(self, points_mm: ArrayLike) -> Array:
        """Pixels (column, row) of points (x, y) in mm, shape (..., 2)."""
        return apply(self.matrix, points_mm)

    def to_print(self, points_px: ArrayLike) -> Array:
        """mm (x, y) of points (column, row) in pixels, shape (..., 2)."""
        return apply(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), points_px)

    def scaled(self, factor: float) -> Placement:
        """The placement in a scan of which each block of factor x factor pixels became one."""
        return Placement(shrink_matrix(factor) @ self.matrix)

    def unscaled(self, factor: float) -> Placement:
        """The reverse of `scaled`."""
        return Placement(np.linalg.inv(shrink_matrix(factor)) @ self.matrix)

    def jacobian(self, point_mm: ArrayLike) -> Array:
        """Pixels per mm around a point, shape (2, 2): rows column and row, columns x and y."""
        x, y = np.asarray(point_mm, dtype=np.float64)
        u, v, w = self.matrix @ np.array([x, y, 1.0])
        top, last = self.matrix[:2, :2], self.matrix[2, :2]
        return np.asarray(top / w - np.outer([u, v], last) / w**2)

    def per_mm(self, point_mm: ArrayLike) -> float:
        """Pixels per mm around a point, the mean of all directions."""
        return float(abs(np.linalg.det(self.jacobian(point_mm))) ** 0.5)

    def turn(self, centre_mm: ArrayLike) -> tuple[float, bool]:
        """(degrees, mirrored): the scan shows the print swapped left to right if mirrored, and
        then turned clockwise by so many degrees (-180 to 180)."""
        slope = self.jacobian(centre_mm)
        mirrored = bool(np.linalg.det(slope) < 0.0)
        if mirrored:
            slope = slope * np.array([-1.0, 1.0])
        angle = np.arctan2(slope[1, 0] - slope[0, 1], slope[0, 0] + slope[1, 1])
        return float(np.degrees(angle)), mirrored


def shrink_matrix(factor: float) -> Array:
    """From pixels of a scan to pixels of its block means; block centres lie between pixels."""
    shift = (1.0 / factor - 1.0) / 2.0
    return np.array([[1.0 / factor, 0.0, shift], [0.0, 1.0 / factor, shift], [0.0, 0.0, 1.0]])


def apply(matrix: Array, points: ArrayLike) -> Array:
    """Points (..., 2) through a homography."""
    at = np.asarray(points, dtype=np.float64)
    x, y = at[..., 0], at[..., 1]
    u, v, w = (row[0] * x + row[1] * y + row[2] for row in matrix)
    with np.errstate(divide="ignore", invalid="ignore"):  # points on the horizon: not finite
        return np.stack([u / w, v / w], axis=-1)


def parse_corners(text: str | None, code: str = "corners") -> Array | None:
    """Four points as they are typed, eight numbers with commas between; shape (4, 2).  None where
    none are.

    Raises `OptionError`, with its ``code``, for anything else.
    """
    if text is None:
        return None
    try:
        return four_points([float(part) for part in text.replace(";", ",").split(",")], code)
    except ValueError:
        raise OptionError(f"the corners are {text!r:.80}", _EIGHT, _READ_OFF,
                          code=code) from None


_EIGHT = "four corners are eight numbers, x then y of each: pixels"
_READ_OFF = "read them off in your image editor"


def four_points(points: ArrayLike, code: str) -> Array:
    """Eight numbers as four points, shape (4, 2); `OptionError`, with its ``code``, for others."""
    place = np.asarray(points, dtype=np.float64)
    if place.size != 8 or not np.all(np.isfinite(place)):
        raise OptionError(f"the corners are {','.join(f'{v:g}' for v in place.ravel())}", _EIGHT,
                          _READ_OFF, code=code)
    return place.reshape(4, 2)


def turns(quads: Array) -> Array:
    """Sine of the turn at each corner of quadrilaterals, shape (..., 4, 2); above 0: clockwise."""
    side = np.roll(quads, -1, axis=-2) - quads
    after = np.roll(side, -1, axis=-2)
    cross = side[..., 0] * after[..., 1] - side[..., 1] * after[..., 0]
    size = np.linalg.norm(side, axis=-1) * np.linalg.norm(after, axis=-1)
    return np.asarray(cross / np.maximum(size, 1e-9))


def from_step_one(points: ArrayLike) -> tuple[float, ...]:
    """Corners of a row of steps as they are wanted of who gives them by hand, eight numbers.

    ``points`` are the two beside step 1 and the two at the other end, each two in any order, shape
    (4, 2), pixels (column, row).  Points that are the corners of no quadrilateral stay as they are.
    """
    near, other, far, last = np.asarray(points, dtype=np.float64).reshape(4, 2)
    ways = np.array([(a, *ends, b) for a, b in ((near, other), (other, near))
                     for ends in ((far, last), (last, far))])
    clockwise = np.flatnonzero(np.all(turns(ways) > 0.0, axis=-1))
    return tuple(map(float, ways[clockwise[0] if clockwise.size else 0].ravel()))


def through_four(points: Array, images: Array) -> Array:
    """Homographies, shape (..., 3, 3), from four points in mm, shape (4, 2), to pixels, shape (...,
    4, 2).

    Raises `numpy.linalg.LinAlgError` if three of the four lie on a line.
    """
    places = np.asarray(images, dtype=np.float64)
    x, y = np.broadcast_to(points[:, 0], places.shape[:-1]), np.broadcast_to(
        points[:, 1], places.shape[:-1])
    rows = np.empty((*places.shape[:-2], 8, 8))
    one, none = np.ones_like(x), np.zeros_like(x)
    u, v = places[..., 0], places[..., 1]
    rows[..., 0::2, :] = np.stack([x, y, one, none, none, none, -u * x, -u * y], axis=-1)
    rows[..., 1::2, :] = np.stack([none, none, none, x, y, one, -v * x, -v * y], axis=-1)
    right = np.empty((*places.shape[:-2], 8))
    right[..., 0::2], right[..., 1::2] = u, v
    solved = np.linalg.solve(rows, right[..., None])[..., 0]
    last = np.ones((*solved.shape[:-1], 1))
    return np.asarray(np.concatenate([solved, last], axis=-1).reshape(*solved.shape[:-1], 3, 3))


def fit_homography(
    points: Array, images: Array, start: Array
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """The homography nearest to many correspondences, gross errors left out.

    Least squares of the distances in the image by Gauss and Newton, from a ``start`` close by,
    shape (3, 3); points further off than 4 robust standard deviations are left out and the rest
    fitted again.  ``points`` in mm and their ``images`` in pixels have the shape (n, 2), n at least
    4.

    Returned are the homography; the distance of each point in pixels, shape (n,); and which were
    used, shape (n,).
    """
    used = np.ones(len(points), dtype=np.bool_)
    matrix = start / start[2, 2]
    away = np.zeros(len(points))
    for _ in range(4):
        matrix = _least_squares(points[used], images[used], matrix)
        away = np.linalg.norm(apply(matrix, points) - images, axis=1)
        # distances in the plane: their median is 1.18 of the spread in one direction
        limit = max(4.0 * float(np.median(away[used])) / 1.18, 0.5)
        kept = away <= limit
        if kept.sum() < 6 or np.array_equal(kept, used):
            break
        used = kept
    return matrix, away, used


def _least_squares(points: Array, images: Array, start: Array) -> Array:
    # centred and of size 1: the normal equations stay well conditioned
    before, after = _normaliser(points), _normaliser(images)
    p, q = apply(before, points), apply(after, images)
    h = after @ start @ np.linalg.inv(before)
    h = h / h[2, 2]
    for _ in range(10):
        wide = np.column_stack([p, np.ones(len(p))]) @ h.T
        w = wide[:, 2]
        u, v = wide[:, 0] / w, wide[:, 1] / w
        base = np.column_stack([p, np.ones(len(p))]) / w[:, None]
        none = np.zeros_like(base)
        slope = np.vstack([
            np.hstack([base, none, -u[:, None] * base[:, :2]]),
            np.hstack([none, base, -v[:, None] * base[:, :2]]),
        ])
        off = np.concatenate([q[:, 0] - u, q[:, 1] - v])
        step = np.linalg.lstsq(slope, off, rcond=1e-10)[0]
        h = h + np.append(step, 0.0).reshape(3, 3)
        if float(np.max(np.abs(step))) < 1e-10:
            break
    h = np.linalg.inv(after) @ h @ before
    return np.asarray(h / h[2, 2])


def _normaliser(points: Array) -> Array:
    middle = points.mean(axis=0)
    size = max(float(np.sqrt(np.mean((points - middle) ** 2))), 1e-12)
    return np.array([[1 / size, 0.0, -middle[0] / size], [0.0, 1 / size, -middle[1] / size],
                     [0.0, 0.0, 1.0]])


_FEW_ROWS = 16


def shrink(pixels: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Means of blocks of factor x factor pixels; what does not fill a block is cut off."""
    if factor == 1:
        return pixels
    rows, columns = pixels.shape[0] // factor, pixels.shape[1] // factor
    out = np.empty((rows, columns), dtype=np.float32)
    for top in range(0, rows, _FEW_ROWS):  # in the processor's cache, without a copy of the scan
        block = pixels[top * factor : (top + _FEW_ROWS) * factor, : columns * factor]
        block = block[: len(block) // factor * factor]
        sums = block.reshape(-1, factor, columns * factor).sum(axis=1)
        part = out[top : top + _FEW_ROWS]
        part[...] = sums[:, ::factor]
        for j in range(1, factor):
            part += sums[:, j::factor]
        part /= factor * factor
    return out


def sample_at(pixels: NDArray[np.float32], points: Array) -> Array:
    """Values between pixels (linear) at points (column, row), shape (..., 2); edges go on."""
    from scipy.ndimage import map_coordinates

    at = np.where(np.isfinite(points), points, -1e6)
    where = np.moveaxis(at[..., ::-1], -1, 0)
    return np.asarray(map_coordinates(pixels, where, output=np.float64, order=1, mode="nearest"))

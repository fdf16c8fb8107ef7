"""Finding how a target's print lies in a scan: from marks or corners to an exact placement."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import ImageError, OptionError
from tonewright.frozen import dataclass
from tonewright.measured.columns import some
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan.findings import CornersUnchecked, MarkLost, ScanInverted, ScanMirrored
from tonewright.scan.marks import FoundMark, find_marks
from tonewright.scan.rectify import Placement, four_points, shrink, through_four, turns
from tonewright.scan.refine import CLEAR, Refined, marks_likeness, refine
from tonewright.target.document import Target

WORK_PIXELS = 1800
"""The longer side of the small image in which marks and dots are found."""
_LEAST_SEEN = 0.5
"""Share of the border dots that must be found, or it is another sheet."""
_LEAST_ALIKE = 0.75
"""Share of the dots, hollow or solid, that must be as the layout says."""
_LEAST_MARKS = 0.75
"""Mean correlation of the four marks with their patterns, where there are no dots to tell."""
_LONGEST = 1.04
"""A scan makes neither side of a print so much longer than the other."""
_STRONGEST = 0.5
"""Largest change of size across the sheet by perspective; a flatbed makes next to none."""

_SCAN_AGAIN = (
    "scan the whole print flat on the glass, with all four corner marks in the picture, at 300"
    " pixels to the inch, or give the centres of the marks by hand"
)
_RIGHT_TARGET = "a scan must be read with the target that was printed"
_LOOK = "look at the line of text on the print, and use the .target.json of that target"


@dataclass(frozen=True, eq=False)
class Located:
    """How the print lies in the scan, and how well that is known."""

    placement: Placement
    light: bool
    """Marks light on dark, as on a print; False: an inverted scan, the film itself, or, without
    dots, a sheet drawn dark on light."""
    rotation_degrees: float
    """Clockwise, after the mirroring, -180 to 180."""
    mirrored: bool
    """The scan shows the print swapped left to right."""
    mark_error_px: float | None
    """Root mean square distance of marks and dots from where they belong, pixels of the scan;
    None if too few were found to tell."""
    marks_found: tuple[str, ...]
    dots_found: int
    by_hand: bool
    findings: tuple[Finding, ...]


def locate(
    pixels: NDArray[np.float32], target: Target, corners: ArrayLike | None = None
) -> Located:
    """Find the print of a target in a scan, 0 to 1, shape (rows, columns).

    ``corners`` are pixels (column, row) of the centres of the marks with 1, 2, 3 and 4 spots, shape
    (4, 2); None: they are searched for.

    Raises `ImageError`: too few marks; marks of another target; a scan that cuts the print.
    `OptionError`: corners that are not four corners.
    """
    factor = max(1, round(max(pixels.shape) / WORK_PIXELS))
    small = shrink(pixels, factor)
    if corners is not None:
        first = _from_corners(small, target, _check_corners(corners), factor)
    else:
        first = _from_marks(small, target, find_marks(small))
    by_hand = corners is not None
    refined = refine(small, target, first.placement, first.light, by_hand=by_hand)
    _check_right_target(target, refined, by_hand=by_hand)
    placement = refined.placement.unscaled(factor)
    _check_inside(target, placement, pixels.shape)
    angle, mirrored = placement.turn((target.width_mm / 2, target.height_mm / 2))
    error = refined.error_px * factor if np.isfinite(refined.error_px) else None
    found: list[Finding] = [ScanMirrored()] if mirrored else []
    if not first.light and target.dots:  # without dots the sheet may be drawn either way
        found.insert(0, ScanInverted())
    if len(first.marks) == 3:
        found.append(MarkLost(next(int(m.name) for m in target.marks if m.name not in first.marks)))
    if by_hand and not refined.settled:
        found.append(CornersUnchecked())
    return Located(placement, first.light, angle, mirrored, error, first.marks,
                   int(np.sum(refined.likeness[4:] >= CLEAR)), by_hand, tuple(found))


@dataclass(frozen=True, eq=False)
class _First:
    """A rough placement in the small image, and how well it suits what is seen there."""

    score: float
    placement: Placement
    light: bool
    marks: tuple[str, ...] = ()


# From marks


def _from_marks(small: NDArray[np.float32], target: Target, found: list[FoundMark]) -> _First:
    """The likeliest placement by marks: four, or three and the dots."""
    best: _First | None = None
    field = {light: _DotField(small, light) for light in (True, False)}
    for marks in _combinations(found, target):
        light = marks[0].light
        if len(marks) < 4 and not target.dots:
            break
        try:
            if len(marks) < 4:
                placement, score = _three(target, marks, field[light])
            else:
                seen = np.array([[m.x, m.y] for m in marks])
                placement = Placement(through_four(target.mark_centres, seen))
                score = _score(small, target, placement, field[light])
        except np.linalg.LinAlgError:
            continue
        # four marks before three
        one = _First(score + 0.1 * len(marks), placement, light,
                     tuple(str(m.number) for m in marks))
        best = one if best is None or one.score > best.score else best
        if target.dots and score > 0.6:
            break
    if best is None or best.score < (0.55 if target.dots else _LEAST_MARKS + 0.4):
        raise _too_few(found, small, target)
    return best


def _score(
    small: NDArray[np.float32], target: Target, placement: Placement, field: _DotField
) -> float:
    """How well a placement suits the border dots or, for a target without, the marks: 0 to 1."""
    if not target.dots:
        return marks_likeness(small, target, placement, field.light)
    return float(field.scores(target, placement.matrix[None])[0])


def _combinations(found: list[FoundMark], target: Target) -> Iterator[tuple[FoundMark, ...]]:
    """Sets of four marks, then of three, that could be one sheet's; the likest first."""
    for light in (True, False):
        by_number = [[m for m in found if m.light == light and m.number == n][:6]
                     for n in range(1, 5)]
        for many in (4, 3):
            sets = []
            for chosen in product(*[[*group, None] for group in by_number]):
                marks = tuple(m for m in chosen if m is not None)
                if len(marks) == many and _could_be(marks, target):
                    sets.append(marks)
            sets.sort(key=lambda s: -sum(m.likeness * m.radius**0.5 for m in s))
            yield from sets[:8]


def _could_be(marks: tuple[FoundMark, ...], target: Target) -> bool:
    """Alike in size, and as far apart as their size says, give or take perspective."""
    radii = [m.radius for m in marks]
    if max(radii) > 1.8 * min(radii):
        return False
    per_mm = float(np.mean(radii)) / (0.5 * target.marks[0].size_mm)
    centres = target.mark_centres
    for i, a in enumerate(marks):
        for b in marks[i + 1 :]:
            there = float(np.hypot(a.x - b.x, a.y - b.y))
            here = per_mm * float(np.linalg.norm(centres[a.number - 1] - centres[b.number - 1]))
            if not 0.6 * here <= there <= 1.65 * here:
                return False
    return True


def _three(
    target: Target, marks: tuple[FoundMark, ...], field: _DotField
) -> tuple[Placement, float]:
    """Three marks and the border dots: the fourth mark is where the dots agree best."""
    numbers = [m.number - 1 for m in marks]
    lost = next(i for i in range(4) if i not in numbers)
    centres = target.mark_centres
    places = np.zeros((4, 2))
    places[numbers] = [[m.x, m.y] for m in marks]
    # without perspective the fourth corner completes the parallelogram
    opposite, left, right = (lost + 2) % 4, (lost + 1) % 4, (lost + 3) % 4
    guess = places[left] + places[right] - places[opposite]
    per_mm = float(np.mean([m.radius for m in marks])) / (0.5 * target.marks[0].size_mm)
    reach, step = 0.3 * float(np.linalg.norm(centres[0] - centres[2])) * per_mm, 1.2 * per_mm
    best, best_score = places, -1.0
    for _ in range(2):
        shift = np.arange(-reach, reach + step / 2, step)
        tried = np.broadcast_to(places, (shift.size**2, 4, 2)).copy()
        tried[:, lost] = guess + np.stack(np.meshgrid(shift, shift), axis=-1).reshape(-1, 2)
        tried = tried[_convex(tried)]
        if len(tried) == 0:
            break
        scores = field.scores(target, through_four(centres, tried))
        top = int(np.argmax(scores))
        best, best_score, guess = tried[top], float(scores[top]), tried[top, lost]
        reach, step = 1.5 * step, 0.2 * step
    return Placement(through_four(centres, best)), best_score


def _convex(quads: Array) -> NDArray[np.bool_]:
    """Which quadrilaterals, shape (n, 4, 2), are convex with no corner nearly flat."""
    bend = turns(quads)
    return np.asarray(np.all(bend > 0.2, axis=1) | np.all(bend < -0.2, axis=1))


class _DotField:
    """How dot-like the small image is around each pixel, 0 to 1."""

    def __init__(self, small: NDArray[np.float32], light: bool) -> None:
        self.small, self.light = small, light
        self.made: dict[int, NDArray[np.float32]] = {}

    def at_size(self, dot_px: float) -> NDArray[np.float32]:
        """The field for dots of this diameter: inside lighter than around; `coarser`."""
        from scipy.ndimage import gaussian_filter

        size = max(round(dot_px), 3)
        if size not in self.made:
            factor = self.coarser(dot_px)
            small = shrink(self.small, factor)
            field = gaussian_filter(small, 0.35 * size / factor)
            field -= gaussian_filter(small, 0.9 * size / factor)
            if not self.light:
                np.negative(field, out=field)
            field /= max(float(np.percentile(field, 99.5)), 1e-6)
            self.made[size] = np.clip(field, 0.0, 1.0, out=field)
        return self.made[size]

    @staticmethod
    def coarser(dot_px: float) -> int:
        """How many pixels wide a pixel of the field is: a dot is at least 5 wide in it."""
        return max(round(dot_px) // 5, 1)

    def scores(self, target: Target, matrices: Array) -> Array:
        """Mean of the field at the border dots under each homography, shape (n,)."""
        dots = target.dot_centres
        middle = Placement(matrices[len(matrices) // 2])
        per_mm = middle.per_mm((target.width_mm / 2, target.height_mm / 2))
        dot_px = per_mm * target.dots[0].size_mm
        field, factor = self.at_size(dot_px), self.coarser(dot_px)
        wide = np.einsum("nij,mj->nmi", matrices, np.column_stack([dots, np.ones(len(dots))]))
        with np.errstate(divide="ignore", invalid="ignore"):
            at = wide[..., :2] / wide[..., 2:]
        at = np.where(np.isfinite(at), at, -1e6)
        at = np.floor((at + 0.5) / factor)  # a pixel's centre has a whole number
        column, row = (np.clip(at[..., i], -1, 1e6).astype(np.int64) for i in (0, 1))
        inside = (wide[..., 2] > 0) == (wide[:, :1, 2] > 0)
        inside &= (column >= 0) & (row >= 0)
        inside &= (column < field.shape[1]) & (row < field.shape[0])
        value = field[np.where(inside, row, 0), np.where(inside, column, 0)]
        return np.asarray(np.where(inside, value, 0.0).mean(axis=1), dtype=np.float64)


def _too_few(
    found: list[FoundMark], small: NDArray[np.float32], target: Target
) -> ImageError:
    if float(np.ptp(np.percentile(small[::3, ::3], [1.0, 99.0]))) < 0.05:
        return ImageError(
            "the scan is nearly one even tone", "a target shows light marks on a dark ground",
            "check that this is the scan of the target, and that the scanner's exposure is right")
    seen = _likely(found)
    if len(seen) == 0:
        return ImageError(
            "none of the four corner marks was found in the scan",
            "a target is read from a flatbed scan of its print, marks and all; a photograph of it,"
            " a crop or another picture will not do", _SCAN_AGAIN, code="mark_corners")
    if len(seen) == 4:
        return ImageError(
            "the four corner marks are there, but "
            + ("the border between them is not that" if target.dots else "do not lie like those")
            + f" of {_which(target)}", _RIGHT_TARGET, _LOOK)
    names = ", ".join(map(str, seen))
    return ImageError(
        f"of the four corner marks only {'those' if len(seen) > 1 else 'the one'} with {names}"
        f" spot{'s' if seen != [1] else ''} could be found; the others are cut off, covered or"
        " torn",
        "four marks are needed" + (", or three and the dotted border" if target.dots else ""),
        _SCAN_AGAIN, code="mark_corners")


def _likely(found: list[FoundMark]) -> list[int]:
    """Numbers of the marks that were surely found; a border dot can pass for a small mark 1."""
    sure = [m for m in found if m.likeness > 0.85]
    sizes = [m.radius for m in sure if m.number > 1] or [m.radius for m in sure]
    if not sizes or (len(sizes) > 2 and all(m.number == 1 for m in sure)):
        return []
    usual = float(np.median(sizes))
    return sorted({m.number for m in sure if 0.6 * usual < m.radius < 1.7 * usual})


def _which(target: Target) -> str:
    return f"target {target.name!r} (seed {target.seed}, {target.date or 'no date'})"


# By hand


def _from_corners(
    small: NDArray[np.float32], target: Target, corners: Array, factor: int
) -> _First:
    """The placement that four corners give, shape (4, 2).

    They are the centres of the marks; if the dots agree far better when they are taken for the
    corners of the whole sheet, they are.
    """
    places = (corners + 0.5) / factor - 0.5
    marks, sheet = (Placement(through_four(centres, places))
                    for centres in (target.mark_centres, target.corners))
    return max((_First(_score(small, target, placement, field) + ahead, placement, field.light)
                for field in (_DotField(small, True), _DotField(small, False))
                for placement, ahead in ((marks, 0.1), (sheet, 0.0))),
               key=lambda one: one.score + (0.1 if one.light else 0.0))


def _check_corners(corners: ArrayLike) -> Array:
    """Four corners, pixels, shape (4, 2)."""
    places = four_points(corners, "mark_corners")
    if not _convex(places[None])[0] or np.min(np.ptp(places, axis=0)) < 20.0:
        raise OptionError(
            f"the corners {','.join(f'{c:g}' for c in places.ravel())} do not go round a sheet",
            "they are the centres of the marks with 1, 2, 3 and 4 spots, in that order",
            "read them off in your image editor", code="mark_corners")
    return places


# Checks


def _check_right_target(target: Target, refined: Refined, *, by_hand: bool) -> None:
    """Raise `ImageError` if the border is not that of this target."""
    likeness = refined.likeness[4:]
    seen = likeness >= CLEAR
    clear = seen & (np.abs(refined.alike) > 0.1)
    wrong = clear & (refined.alike < 0.0)
    where = _which(target)
    if clear.sum() >= 10 and wrong.sum() > (1.0 - _LEAST_ALIKE) * clear.sum():
        raise ImageError(
            f"the scan shows another target: {wrong.sum()} of the {clear.sum()} border dots that"
            f" can be told apart are not those of {where}", _RIGHT_TARGET, _LOOK)
    if by_hand and not refined.settled:
        return
    if not target.dots:
        _check_shape(target, refined.placement)
    if seen.sum() < _LEAST_SEEN * len(target.dots):
        raise ImageError(
            f"only {seen.sum()} of {len(target.dots)} dots of the border lie where {where} has"
            " them",
            "the print and the document must belong together, and the border must be in the scan",
            f"{_LOOK}; if it is the right one, scan it again whole and flat, or give the centres of"
            " the marks by hand", code="mark_corners")


def _check_shape(target: Target, placement: Placement) -> None:
    """Raise `ImageError` if the marks lie on a sheet of another shape, where no dots can tell."""
    slope = placement.jacobian((target.width_mm / 2, target.height_mm / 2))
    longer, shorter = np.linalg.svd(slope, compute_uv=False)
    if longer > _LONGEST * shorter:
        raise ImageError(
            f"the corner marks lie on a sheet {longer / shorter - 1.0:.0%} longer one way than that"
            f" of {_which(target)}", _RIGHT_TARGET, _LOOK)


def _check_inside(target: Target, placement: Placement, shape: tuple[int, ...]) -> None:
    """Raise `ImageError` for a scan that cuts patches, or is seen too much from the side."""
    per_mm = [placement.per_mm(corner) for corner in target.corners]
    if min(per_mm) < _STRONGEST * max(per_mm):
        raise ImageError(
            f"one edge of the print is {max(per_mm) / min(per_mm):.1f} times as large as the other",
            "densities are read from a flatbed scan, not from a photograph taken at a slant",
            "scan the print flat on the glass")
    cut = []
    for patch in target.patches:
        x, y, w, h = patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm
        quad = placement.to_scan([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
        if np.min(quad) < -0.5 or np.any(quad > np.array([shape[1], shape[0]]) - 0.5):
            cut.append(patch.name)
    if cut:
        raise ImageError(
            f"the scan is cropped: {some(cut, 8)} {'lies' if len(cut) == 1 else 'lie'}"
            " outside it",
            "the whole print belongs in the scan",
            "scan it again with a wider frame")

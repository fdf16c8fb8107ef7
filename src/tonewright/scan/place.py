"""Finding how a target's print lies in a scan: from marks or corners to an exact placement."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError, OptionError, counted
from tonewright.scales import Array
from tonewright.scan.marks import FoundMark, find_marks
from tonewright.scan.rectify import Placement, shrink, through_four
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
"""Largest change of scale across the sheet by perspective; a flatbed makes next to none."""

INVERTED = (
    "what should be light is dark in the scan, so it was taken for an inverted one and its values"
    " were turned round; if the film itself was scanned, none of these densities hold: scan the"
    " print"
)
_SCAN_AGAIN = (
    "scan the whole print flat on the glass, with all four corner marks in the picture, at 300"
    " pixels to the inch, or give the marks' centres by hand with --corners"
    " x1,y1,x2,y2,x3,y3,x4,y4 (pixels; marks with 1, 2, 3 and 4 spots)"
)
_LOOK = "look at the line of text on the print, and name that target's .target.json"


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
    warnings: tuple[str, ...]


def locate(
    pixels: NDArray[np.float32], target: Target, corners: Sequence[float] | None = None
) -> Located:
    """Find the print of a target in a scan.

    Parameters
    ----------
    pixels:
        0 to 1, shape (rows, columns).
    corners:
        Eight numbers, pixels: the centres of the marks with 1, 2, 3 and 4 spots; None: they are
        searched for.

    Raises
    ------
    ImageError
        Too few marks; marks of another target; a scan that cuts the print.
    OptionError
        Corners that are not four corners.
    """
    factor = max(1, round(max(pixels.shape) / WORK_PIXELS))
    small = shrink(pixels, factor)
    if corners is not None:
        first, light = _from_corners(small, target, corners, factor)
        names: tuple[str, ...] = ()
    else:
        first, light, names = _from_marks(small, target, find_marks(small))
    refined = refine(small, target, first, light, by_hand=corners is not None)
    _check_right_target(target, refined, by_hand=corners is not None)
    placement = refined.placement.unscaled(factor)
    _check_inside(target, placement, pixels.shape)
    angle, mirrored = placement.turn((target.width_mm / 2, target.height_mm / 2))
    error = refined.error_px * factor if np.isfinite(refined.error_px) else None
    return Located(
        placement, light, angle, mirrored, error, names,
        int(np.sum(refined.likeness[4:] >= CLEAR)), corners is not None,
        tuple(_warnings(target, refined, light, mirrored, names, by_hand=corners is not None)),
    )  # fmt: skip


# From marks


def _from_marks(
    small: NDArray[np.float32], target: Target, found: list[FoundMark]
) -> tuple[Placement, bool, tuple[str, ...]]:
    """The likeliest placement; whether marks are light; names of the marks it rests on."""
    if not target.dots:
        return _from_marks_alone(small, target, found)
    best: tuple[float, Placement, bool, tuple[str, ...]] | None = None
    fields = {light: _DotField(small, light) for light in (True, False)
              if any(m.light == light for m in found)}
    for marks in _combinations(found, target):
        field = fields[marks[0].light]
        try:
            if len(marks) == 4:
                placement = _four(target, marks)
                score = field.score(target, placement)
            else:
                placement, score = _three(target, marks, field)
        except np.linalg.LinAlgError:
            continue
        sure = score > 0.6
        score += 0.1 * len(marks)  # four marks before three
        if best is None or score > best[0]:
            best = (score, placement, marks[0].light, tuple(str(m.number) for m in marks))
        if sure:
            break
    if best is None or best[0] < 0.3 + 0.25:
        raise _too_few(found, small, target)
    return best[1], best[2], best[3]


def _from_marks_alone(
    small: NDArray[np.float32], target: Target, found: list[FoundMark]
) -> tuple[Placement, bool, tuple[str, ...]]:
    """The same for a target without dots, such as the tone scale beside a picture."""
    best: tuple[float, Placement, bool] | None = None
    for marks in _combinations(found, target):
        if len(marks) < 4:
            break
        try:
            placement = _four(target, marks)
        except np.linalg.LinAlgError:
            continue
        score = marks_likeness(small, target, placement, marks[0].light)
        if best is None or score > best[0]:
            best = (score, placement, marks[0].light)
    if best is None or best[0] < _LEAST_MARKS:
        raise _too_few(found, small, target)
    return best[1], best[2], ("1", "2", "3", "4")


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


def _four(target: Target, marks: tuple[FoundMark, ...]) -> Placement:
    return Placement(through_four(target.mark_centres, np.array([[m.x, m.y] for m in marks])))


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
    side = np.roll(quads, -1, axis=1) - quads
    after = np.roll(side, -1, axis=1)
    cross = side[..., 0] * after[..., 1] - side[..., 1] * after[..., 0]
    size = np.linalg.norm(side, axis=2) * np.linalg.norm(after, axis=2)
    bend = cross / np.maximum(size, 1e-9)
    return np.asarray(np.all(bend > 0.2, axis=1) | np.all(bend < -0.2, axis=1))


class _DotField:
    """How dot-like the small image is around each pixel, 0 to 1."""

    def __init__(self, small: NDArray[np.float32], light: bool) -> None:
        self.small, self.sign = small, 1.0 if light else -1.0
        self.made: dict[int, NDArray[np.float32]] = {}

    def at_size(self, dot_px: float) -> NDArray[np.float32]:
        """The field for dots of this diameter: inside lighter than around."""
        from scipy.ndimage import gaussian_filter

        size = max(round(dot_px), 3)
        if size not in self.made:
            inner = gaussian_filter(self.small, 0.35 * size)
            outer = gaussian_filter(self.small, 0.9 * size)
            field = self.sign * (inner - outer)
            top = float(np.percentile(field, 99.5))
            self.made[size] = np.clip(field / max(top, 1e-6), 0.0, 1.0).astype(np.float32)
        return self.made[size]

    def scores(self, target: Target, matrices: Array) -> Array:
        """Mean of the field at the border dots under each homography, shape (n,)."""
        dots = target.dot_centres
        middle = Placement(matrices[len(matrices) // 2])
        scale = abs(np.linalg.det(middle.jacobian((target.width_mm / 2, target.height_mm / 2))))
        field = self.at_size(float(np.sqrt(scale)) * target.dots[0].size_mm)
        wide = np.einsum("nij,mj->nmi", matrices, np.column_stack([dots, np.ones(len(dots))]))
        with np.errstate(divide="ignore", invalid="ignore"):
            at = wide[..., :2] / wide[..., 2:]
        at = np.where(np.isfinite(at), at, -1e6)
        column, row = (np.clip(np.rint(at[..., i]), -1, 1e6).astype(np.int64) for i in (0, 1))
        inside = (wide[..., 2] > 0) == (wide[:, :1, 2] > 0)
        inside &= (column >= 0) & (row >= 0)
        inside &= (column < field.shape[1]) & (row < field.shape[0])
        value = field[np.where(inside, row, 0), np.where(inside, column, 0)]
        return np.asarray(np.where(inside, value, 0.0).mean(axis=1), dtype=np.float64)

    def score(self, target: Target, placement: Placement) -> float:
        """The same for one placement."""
        return float(self.scores(target, placement.matrix[None])[0])


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
            " a crop or another picture will not do", _SCAN_AGAIN)
    if len(seen) == 4:
        return ImageError(
            "the four corner marks are there, but "
            + ("the border between them is not that" if target.dots else "do not lie like those")
            + f" of {_which(target)}",
            "a scan is read with the document of the very target that was printed", _LOOK)
    names = ", ".join(map(str, seen))
    return ImageError(
        f"of the four corner marks only {'those' if len(seen) > 1 else 'the one'} with {names}"
        f" spot{'s' if seen != [1] else ''} could be found; the others are cut off, covered or"
        " torn",
        "four marks are needed" + (", or three and the dotted border" if target.dots else ""),
        _SCAN_AGAIN)


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
    small: NDArray[np.float32], target: Target, corners: Sequence[float], factor: int
) -> tuple[Placement, bool]:
    """The placement that four corners give, and whether its marks are light.

    They are the centres of the marks; if the dots agree far better when they are taken for the
    corners of the whole sheet, they are.
    """
    places = _check_corners(corners)
    small_places = (places + 0.5) / factor - 0.5
    sheet = np.array([[0.0, 0.0], [target.width_mm, 0.0], [target.width_mm, target.height_mm],
                      [0.0, target.height_mm]])
    best: tuple[float, Placement, bool] | None = None
    for light in (True, False):
        field = _DotField(small, light) if target.dots else None
        for centres, ahead in ((target.mark_centres, 0.1), (sheet, 0.0)):
            placement = Placement(through_four(centres, small_places))
            score = marks_likeness(small, target, placement, light) if field is None \
                else field.score(target, placement)
            score += ahead + (0.1 if light else 0.0)
            if best is None or score > best[0]:
                best = (score, placement, light)
    assert best is not None
    return best[1], best[2]


def _check_corners(corners: Sequence[float]) -> Array:
    """Four corners, pixels, shape (4, 2)."""
    way_out = ("give eight numbers, x then y, of the marks with 1, 2, 3 and 4 spots, as an image"
               " editor shows them: --corners 210,190,2300,200,2290,3100,205,3090")
    if len(corners) != 8 or not np.all(np.isfinite(corners)):
        raise OptionError(f"--corners has {counted(len(corners), 'number')}",
                          "four corners are eight numbers", way_out)
    places = np.asarray(corners, dtype=np.float64).reshape(4, 2)
    if not _convex(places[None])[0] or np.min(np.ptp(places, axis=0)) < 20.0:
        raise OptionError(
            "--corners " + ",".join(f"{c:g}" for c in corners) + " does not go round a sheet",
            "the four corners come in the order of their spots, round the sheet", way_out)
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
            f"the scan shows another target: of {clear.sum()} dots in the border that can be told"
            f" apart, {wrong.sum()} are not as {where} has them",
            "a scan is read with the document of the very target that was printed", _LOOK)
    if by_hand and not refined.settled:
        return
    if not target.dots:
        _check_shape(target, refined.placement)
    if seen.sum() < _LEAST_SEEN * len(target.dots):
        raise ImageError(
            f"only {seen.sum()} of {len(target.dots)} dots of the border lie where {where} has"
            " them",
            "the print and the document must belong together, and the border must be in the scan",
            "look at the line of text on the print and name that target's .target.json; if it is"
            " the right one, scan it again whole and flat, or give --corners")


def _check_shape(target: Target, placement: Placement) -> None:
    """Raise `ImageError` if the marks lie on a sheet of another shape, where no dots can tell."""
    slope = placement.jacobian((target.width_mm / 2, target.height_mm / 2))
    longer, shorter = np.linalg.svd(slope, compute_uv=False)
    if longer > _LONGEST * shorter:
        raise ImageError(
            f"the corner marks lie on a sheet {longer / shorter - 1.0:.0%} longer one way than that"
            f" of {_which(target)}",
            "a scan is read with the document of the very print that was scanned", _LOOK)


def _check_inside(target: Target, placement: Placement, shape: tuple[int, ...]) -> None:
    """Raise `ImageError` for a scan that cuts patches, or is seen too much from the side."""
    sheet = np.array([[0.0, 0.0], [target.width_mm, 0.0], [target.width_mm, target.height_mm],
                      [0.0, target.height_mm]])
    scale = [abs(np.linalg.det(placement.jacobian(corner))) ** 0.5 for corner in sheet]
    if min(scale) < _STRONGEST * max(scale):
        raise ImageError(
            f"one edge of the print is {max(scale) / min(scale):.1f} times as large as the other",
            "densities are read from a flatbed scan, not from a photograph taken at a slant",
            "scan the print flat on the glass")
    cut = []
    for patch in target.patches:
        x, y, w, h = patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm
        quad = placement.to_scan([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
        if np.min(quad) < -0.5 or np.any(quad > np.array([shape[1], shape[0]]) - 0.5):
            cut.append(patch.name)
    if cut:
        listed = ", ".join(cut[:8]) + (f" and {len(cut) - 8} more" if len(cut) > 8 else "")
        raise ImageError(
            f"the scan is cropped: {listed} {'lies' if len(cut) == 1 else 'lie'} outside it",
            "the whole print belongs in the scan",
            "scan it again with a wider frame")


def _warnings(
    target: Target, refined: Refined, light: bool, mirrored: bool, names: tuple[str, ...], *,
    by_hand: bool,
) -> Iterator[str]:
    if not light and target.dots:  # without dots the sheet may be drawn either way
        yield INVERTED
    if mirrored:
        yield ("the scan shows the print mirrored; if the print itself reads mirrored, the film"
               " lay with its ink away from the coating, and fine detail suffers")
    if not by_hand and len(names) == 3:
        lost = next(m.name for m in target.marks if m.name not in names)
        yield f"the mark with {lost} spot{'s' if lost != '1' else ''} is lost; the border dots" \
              " stand in for it"
    if by_hand and not refined.settled:
        yield ("too little of the border was found to check the corners given by hand: look at the"
               " overlay")

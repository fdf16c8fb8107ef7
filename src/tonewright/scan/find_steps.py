"""Finding a row of equal steps in a scan: evenly spaced edges that all go the same way.

The scan is made upright by the direction of its edges.  In every band of rows the edges become a
list; every pair of them proposes an even spacing, and the best is the one whose edges all step
the same way, with nothing between them.  The row ends where an edge steps back.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ReadingsError
from tonewright.frozen import dataclass
from tonewright.measured.findings import RowEndMerges
from tonewright.numeric.robust import robust_spread
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan.combs import (
    FEWEST_SEEN,
    SEEN,
    Comb,
    Edges,
    Lattice,
    best_comb,
    edges_of,
    evidence_on,
)
from tonewright.scan.rectify import apply, shrink, shrink_matrix

Plane = NDArray[np.float64]

LONGEST = 1600
"""Pixels of the longer side in which the row is looked for."""
_BANDS = 60
_LEAST_TOTAL = 4.5
_TRIED = 6
"""Spacings that are looked into, the best first."""
_WAY_OUT = "scan the row flat, with plain surroundings, or give its corners by hand"
_CHECK_COUNT = (
    "check the number of steps (or of densities in the list); if it is right, give the corners of"
    " the row by hand"
)


@dataclass(frozen=True, eq=False)
class FoundRow:
    """Where a row lies."""

    corners: Array
    """Pixels (column, row), clockwise from the top left as the row is read, shape (4, 2)."""
    findings: tuple[Finding, ...] = ()


def find_row(pixels: NDArray[np.float32], count: int, name: str = "the scan") -> FoundRow:
    """Look for a row of ``count`` equal steps at any turn; ``pixels`` are codes 0 to 1, shape
    (rows, columns).

    Raises `ReadingsError` if there is none, if its ends cannot be told, or if the edges show
    another number of steps.
    """
    factor = max(1, -(-max(pixels.shape) // LONGEST))
    small = shrink(pixels, factor).astype(np.float64)
    # roughly even steps for even steps of density, whatever the encoding
    tone = np.log10(np.clip(small, 0.0, 1.0) + 0.03)
    angle = _tilt(tone)
    found: list[tuple[Comb, int, Plane, Array]] = []
    for quarter in (0, 1):
        straight, matrix = _straightened(tone, angle + 90.0 * quarter)
        found += [(comb, row, straight, matrix) for comb, row in _combs(straight, count)]
    refusal = ReadingsError(
        f"no row of {count} equal steps was found in {name}",
        "a row shows as evenly spaced edges that all step the same way", _WAY_OUT,
        code="row_corners", seen=0)
    told = -1
    for comb, row, straight, matrix in _likeliest(found, count):
        extent = _extent(straight, row, comb, count)
        whole = _whole(straight, extent, comb, count)
        try:
            decided = _decided(whole, comb, count, name)
        except ReadingsError as error:
            low, high = whole.run
            if high - low > told:  # the refusal that knows most of the row
                refusal, told = error, high - low
            continue
        box = _outline(straight, extent, decided, count)
        to_scan = np.linalg.inv(shrink_matrix(float(factor))) @ matrix
        end = _merging_end(whole, decided, count)
        return FoundRow(_reading_order(apply(to_scan, box)),
                        () if end is None else (RowEndMerges(name, end, count),))
    raise refusal


def _likeliest(
    found: list[tuple[Comb, int, Plane, Array]], count: int
) -> list[tuple[Comb, int, Plane, Array]]:
    """The best spacings that differ, the best first."""
    ranked = sorted(found, key=lambda item: -item[0].total)
    chosen: list[tuple[Comb, int, Plane, Array]] = []
    for item in ranked:
        comb = item[0]
        enough = comb.total >= max(_LEAST_TOTAL, 0.2 * count, 0.6 * ranked[0][0].total)
        like = any(other.rising == comb.rising and plane is item[2]
                   and abs(other.lattice.pitch / comb.lattice.pitch - 1.0) < 0.02
                   for other, _, plane, _ in chosen)
        if enough and not like:
            chosen.append(item)
        if len(chosen) == _TRIED:
            break
    return chosen


def _reading_order(corners: Array) -> Array:
    """The same quadrangle, begun at the end that lies further left (further up if upright)."""
    along = corners[1] - corners[0]
    backwards = along[0] < 0.0 if abs(along[0]) >= abs(along[1]) else along[1] < 0.0
    return np.roll(corners, 2, axis=0) if backwards else corners


def _tilt(tone: Plane) -> float:
    """Degrees (-45 to 45) by which the edges of the scan are turned clockwise."""
    from scipy import ndimage

    across = ndimage.gaussian_filter(tone, 2.5, order=(0, 1))
    down = ndimage.gaussian_filter(tone, 2.5, order=(1, 0))
    size = np.hypot(across, down)
    noise = float(np.median(size))
    seen = size > max(4.0 * noise, 0.002)
    if seen.sum() < 50:
        return 0.0
    turn = np.degrees(np.arctan2(down[seen], across[seen])) % 90.0
    weight = np.minimum(size[seen], 0.03)  # a step counts no less than the edge of the sheet
    bins, _ = np.histogram(turn, bins=180, range=(0.0, 90.0), weights=weight)
    smooth = ndimage.gaussian_filter1d(bins, 3.0, mode="wrap")
    peak = (float(np.argmax(smooth)) + 0.5) * 0.5
    fine = max(1, max(tone.shape) // 500)
    for reach, step, factor in ((5.0, 0.5, 3 * fine), (0.4, 0.1, fine)):
        small = ndimage.zoom(ndimage.uniform_filter(tone, factor), 1.0 / factor, order=1)
        tried = peak + np.arange(-reach, reach + 0.5 * step, step)
        peak = float(tried[np.argmax([_sharpness(small, angle) for angle in tried])])
    return (peak + 45.0) % 90.0 - 45.0


def _sharpness(tone: Plane, degrees: float) -> float:
    """How much of a scan's edges adds up along its rows and columns, turned back by an angle."""
    straight, _ = _straightened(tone, degrees)
    return float(sum(np.mean(np.clip(np.diff(straight, axis=axis), -0.05, 0.05).mean(
        axis=1 - axis) ** 2) for axis in (0, 1)))


def _straightened(tone: Plane, degrees: float) -> tuple[Plane, Array]:
    """The scan turned back by so many degrees, and the matrix from its pixels to the scan's."""
    from scipy import ndimage

    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    rows, columns = tone.shape
    size = np.ceil(np.abs(turn.T) @ np.array([columns, rows])).astype(int)
    middle = (np.array([columns, rows]) - 1.0) / 2.0
    shift = middle - turn @ ((size - 1.0) / 2.0)
    matrix = np.block([[turn, shift[:, None]], [np.zeros((1, 2)), np.ones((1, 1))]])
    # scipy counts rows before columns
    straight = ndimage.affine_transform(tone, matrix[1::-1, 1::-1], matrix[1::-1, 2],
                                        tuple(size[::-1]), order=1, mode="nearest")
    return np.asarray(straight), matrix


def _band_edges(straight: Plane, top: int, bottom: int, rising: bool) -> Edges:
    """The upright edges of a band of rows, as if the row got lighter to the right."""
    edges = edges_of(np.median(straight[max(0, top) : bottom], axis=0))
    return edges if rising else edges.reversed()


def _combs(straight: Plane, count: int) -> list[tuple[Comb, int]]:
    """The best even spacing in each band of rows, with the middle of the band."""
    height = max(3, straight.shape[0] // _BANDS)
    found = []
    for top in range(0, straight.shape[0] - height, height):
        edges = _band_edges(straight, top, top + height, True)
        for rising in (True, False):
            comb = best_comb(edges if rising else edges.reversed(), count, rising)
            if comb is not None and comb.seen >= FEWEST_SEEN:
                found.append((comb, top + height // 2))
    return found


@dataclass(frozen=True, eq=False)
class _Whole:
    """What all bands of a row show together, by places of the lattice."""

    up: Array
    """Step towards lighter, 0 to 1, mean over the bands."""
    any_edge: Array
    """Step either way, 0 to 1, mean over the bands."""
    border: NDArray[np.bool_]
    """Cells that go on above and below the row: part of a border, not a step."""
    anchors: tuple[tuple[int, int], ...] = ()
    """Ends where an edge steps straight back, all along the height: (place, -1 left or 1 right)."""

    @property
    def run(self) -> tuple[int, int]:
        """First and last of the places that show an edge in line; a single gap is forgiven between
        two and more."""
        # sharpening leaves a small step up beside the edge that steps back at an end
        seen = np.flatnonzero((self.up > 0.5) & (self.any_edge < self.up + 0.05))
        parts = [p for p in np.split(seen, np.flatnonzero(np.diff(seen) > 1) + 1) if p.size > 1]
        lines: list[list[int]] = []
        for part in parts:
            if lines and part[0] - lines[-1][1] == 2:
                lines[-1][1] = int(part[-1])
            else:
                lines.append([int(part[0]), int(part[-1])])
        low, high = max(lines, key=lambda line: line[1] - line[0], default=[0, -1])
        while low < high and self.border[low]:
            low += 1
        while low < high and self.border[high - 1]:
            high -= 1
        return low, high


def _decided(whole: _Whole, comb: Comb, count: int, name: str) -> Comb:
    """Which cells of the lattice are the row, by all of its height.

    A ragged edge of the coating, or a stain, falls on the lattice in some bands by chance; the
    ends of the row do in all.
    """
    low, high = whole.run
    seen = high - low + 1
    firsts = {place if side < 0 else place - count: side for place, side in whole.anchors}
    fitting = {first for first in firsts if first <= low and high <= first + count}
    if not fitting and seen == count - 1:
        fitting = {low - 1}
    if len(fitting) > 1:  # the likelier holds less of what goes on above and below
        held = {first: int(whole.border[first : first + count].sum()) for first in fitting}
        fitting = {first for first in fitting if held[first] == min(held.values())}
    if len(fitting) > 1:  # black steps merge into a black border, whose edge may seem the row's
        light = 1 if comb.rising else -1
        fitting = {first for first in fitting if firsts[first] == light} or fitting
    _check_more(whole, fitting, count, name)
    if len(fitting) != 1 or seen < FEWEST_SEEN:
        raise _unclear(seen, count, bool(fitting), name)
    return replace(comb, first=fitting.pop())


def _merging_end(whole: _Whole, comb: Comb, count: int) -> Literal["light", "dark"] | None:
    """Which end steps on into its surroundings as from step to step, if one does."""
    low, high = whole.run
    if low != comb.first and high != comb.first + count:
        return None
    return "light" if (low == comb.first) != comb.rising else "dark"


def _unclear(seen: int, count: int, several: bool, name: str) -> ReadingsError:
    """The error for a row whose first step cannot be told."""
    if seen >= count:
        return ReadingsError(
            f"the row in {name} shows {seen} evenly spaced edges",
            f"a row of {count} steps has {count - 1} between them, and its two ends",
            _CHECK_COUNT, code="row_corners", seen=seen)
    why = "they fit in more than one way" if several else "neither end is clear"
    return ReadingsError(
        f"in {name}, {max(seen, 0)} of the {count - 1} edges between steps lie in line, and {why}",
        "where steps merge with each other or their surroundings, the first cannot be told",
        _WAY_OUT, code="row_corners", seen=max(seen, 0))


def _whole(straight: Plane, extent: tuple[int, int], comb: Comb, count: int) -> _Whole:
    """Edges on the lattice in bands from top to bottom, each with its own small shift."""
    top, bottom = extent
    bands = np.linspace(top, bottom, 9).round().astype(int)
    parts = []
    for a, b in pairwise(bands):
        if b - a >= 2:
            edges = _band_edges(straight, a, b, comb.rising)
            parts.append((edges, _settled(edges, comb, count)))
    shown = [evidence_on(edges, lattice) for edges, lattice in parts]
    if not shown:
        return _Whole(np.zeros(1), np.zeros(1), np.zeros(1, np.bool_))
    up = np.mean([e.up for e in shown], axis=0)
    down = np.mean([e.down for e in shown], axis=0)
    whole = _Whole(up, np.maximum(up, down), _borders(straight, extent, comb.lattice))
    ends = ((side, _straight_back(parts, whole.run, side)) for side in (-1, 1))
    # an end cell that goes on above and below is a border: the edge is the border's, not the row's
    return replace(whole, anchors=tuple(
        (k, side) for side, k in ends
        if k is not None and not whole.border[max(0, min(k if side < 0 else k - 1, up.size - 1))]))


def _borders(straight: Plane, extent: tuple[int, int], lattice: Lattice) -> NDArray[np.bool_]:
    """Which cells have the same tone just above and just below the row."""
    top, bottom = extent
    tall = bottom - top
    away, high = 4, max(2, min(6, tall // 8))  # close by: a thin border may have the lid behind it
    inside = slice(top + tall // 5, max(bottom - tall // 5, top + tall // 5 + 1))
    border = np.zeros(lattice.size, np.bool_)
    if top - away - high < 0 or bottom + away + high > straight.shape[0]:
        return border
    for k, left in enumerate(lattice.place):
        columns = slice(max(0, round(left + 0.25 * lattice.pitch)),
                        max(0, round(left + 0.75 * lattice.pitch)))
        cell = straight[inside, columns]
        if cell.size:
            middle = np.median(cell)
            above = np.median(straight[top - away - high : top - away, columns])
            below = np.median(straight[bottom + away : bottom + away + high, columns])
            border[k] = max(abs(above - middle), abs(below - middle)) < 0.02
    return border


def _straight_back(
    parts: list[tuple[Edges, Lattice]], run: tuple[int, int], side: int
) -> int | None:
    """Place of the first strong edge that steps back, past the run on one side; None if it is
    missing in some bands, not straight, or off the lattice."""
    found, bands = [], 0
    for edges, lattice in parts:
        where = (edges.place - lattice.start) / lattice.pitch
        inside = (where > run[0] - 0.5) & (where < run[1] + 0.5) & (edges.sign > SEEN)
        if not inside.any() or inside.sum() < 0.5 * (run[1] - run[0] + 1):
            continue  # a band beside the row
        bands += 1
        strong = edges.slope < -0.8 * float(np.median(edges.slope[inside]))
        past = where < run[0] - 0.5 if side < 0 else where > run[1] + 0.5
        back = where[strong & past & (edges.sign < -0.9)]
        found.append((back.max() if side < 0 else back.min()) if back.size else np.nan)
    known = np.array(found)[np.isfinite(found)]
    if known.size < max(3, 0.7 * bands):
        return None
    middle = float(np.median(known))
    straight = robust_spread(known - middle) < 0.1 and abs(middle - round(middle)) < 0.25
    return round(middle) if straight else None


def _check_more(whole: _Whole, fitting: set[int], count: int, name: str) -> None:
    """Refuse a row whose edges go on past its ends: it has more steps than were asked for."""
    low, high = whole.run
    steps = high - low + 2 if high - low > count else 0
    edge = np.pad(whole.any_edge, 1)
    for first in fitting:
        # where an end steps on like the rest, and one step on lies another edge, is a further step
        further = low == first and edge[first] > 0.4 and not whole.border[first - 1]
        last = first + count
        further |= bool(high == last and last + 2 < edge.size and edge[last + 2] > 0.4
                        and not whole.border[last])
        steps = max(steps, count + 1 if further else 0)
    if steps:
        raise ReadingsError(
            f"the row in {name} goes on past {count} steps: it shows at least {steps}",
            f"a row of {count} steps is looked for", _CHECK_COUNT, code="row_corners",
            seen=steps - 1)


def _outline(straight: Plane, extent: tuple[int, int], comb: Comb, count: int) -> Array:
    """Corners of the row in the straightened scan, (4, 2), its slant taken from top and bottom."""
    top, bottom = extent
    third = max(2, (bottom - top) // 3)
    parts = [_settled(_band_edges(straight, a, b, comb.rising), comb, count)
             for a, b in ((top, top + third), (bottom - third, bottom))]
    ends = np.array([[part.start + part.pitch * (comb.first + k) for k in (0, count)]
                     for part in parts])
    # the two thirds lie at 1/6 and 5/6 of the height; go on in straight lines to both edges
    ends = ends + np.array([[-0.25], [0.25]]) * (ends[1] - ends[0])
    high, low = top - 0.5, bottom - 0.5
    return np.array([[ends[0, 0], high], [ends[0, 1], high], [ends[1, 1], low], [ends[1, 0], low]])


def _settled(edges: Edges, comb: Comb, count: int) -> Lattice:
    """The lattice as it suits the edges of one part of the row best."""
    row = comb.first, comb.first + count
    return comb.lattice.fitted(edges.ups, row, 0.2, 0.03) or comb.lattice


def _extent(straight: Plane, row: int, comb: Comb, count: int) -> tuple[int, int]:
    """First row and the row after the last in which the same edges are seen."""
    from scipy import ndimage

    slope = ndimage.gaussian_filter(straight, (1.0, 1.3), order=(0, 1))
    slope = slope if comb.rising else -slope
    inner = comb.lattice.place[comb.first + 1 : comb.first + count]
    at = np.clip(np.rint(inner).astype(int), 1, straight.shape[1] - 2)
    near = slope[max(0, row - 2) : row + 3, at].mean(axis=0)
    # the usual strength of its edges; that of the row's own end is far greater
    usual = float(np.percentile(near[near > 0.0], 70)) if np.any(near > 0.0) else 1.0
    seen = (near > max(0.5 * usual, 1e-4)) & (near < 4.0 * usual)
    if not seen.any():
        return max(0, row - 2), row + 3
    slack = max(2, round(0.1 * comb.lattice.pitch))
    # leaning edges wander by some pixels over the height
    widest = ndimage.maximum_filter1d(slope, 2 * slack + 1, axis=1)[:, at[seen]]
    likeness = np.median(np.minimum(widest / near[seen], 1.0), axis=1)
    likeness = ndimage.median_filter(likeness, 5)
    reached = likeness > 0.35
    top = row
    while top > 0 and reached[max(0, top - 3) : top].any():
        top -= 1
    bottom = row + 1
    while bottom < len(reached) and reached[bottom : bottom + 3].any():
        bottom += 1
    return top, bottom

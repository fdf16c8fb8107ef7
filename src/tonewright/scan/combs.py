"""Evenly spaced edges along a line: where they lie, and where a row of equal steps begins.

A profile across a row of steps becomes a list of edges; every pair of near ones proposes an even
spacing.  On a lattice of that spacing, a row of ``count`` cells shows as edges that all step up
between its cells, level cells, and perhaps an edge that steps back at its ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array

FEWEST_SEEN = 4
"""Edges between steps that must show."""
SEEN = 0.3
"""Strength from which an edge counts as seen."""
_LEAST_PITCH = 5.0
_MOST_EDGES, _MOST_PROPOSALS = 120, 40


@dataclass(frozen=True, eq=False)
class Edges:
    """Upright edges in a band of rows; positive: lighter to the right."""

    strength: Array
    """-1 to 1 at every column, by the noise around it."""
    place: Array
    """Columns of the edges, between pixels, rising, shape (n,)."""
    sign: Array
    """Strength at those, shape (n,)."""
    slope: Array
    """Tone a pixel at those, signed, shape (n,)."""

    def reversed(self) -> Edges:
        """The same with lighter and darker exchanged."""
        return Edges(-self.strength, self.place, -self.sign, -self.slope)

    @property
    def ups(self) -> Array:
        """Places of the edges towards lighter."""
        return self.place[self.sign > 0.0]

    @property
    def size(self) -> int:
        return int(self.strength.size)


@dataclass(frozen=True)
class Lattice:
    """Even places along a profile: ``start + pitch * k`` for k from 0 to size - 1."""

    start: float
    pitch: float
    size: int

    @property
    def place(self) -> Array:
        return np.asarray(self.start + self.pitch * np.arange(self.size), dtype=np.float64)

    def fitted(
        self, ups: Array, numbers: tuple[int, int], near: float, change: float
    ) -> Lattice | None:
        """The lattice through those edges, shape (n,), that lie ``near`` (in pitches) its places.

        ``numbers`` are the first and last of the places that count.  None if fewer than three do,
        or if the pitch would change by more than this share.
        """
        start, pitch, found = _fitted(
            np.array([self.start]), np.array([self.pitch]), ups, numbers, near, change)
        return replace(self, start=float(start[0]), pitch=float(pitch[0])) if found[0] else None


def _fitted(
    start: Array, pitch: Array, ups: Array, numbers: tuple[int, int], near: float, change: float
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Start and pitch of many lattices, shape (m,), as `Lattice.fitted`, and which were found."""
    away = ups - start[:, None]
    number = np.round(away / pitch[:, None])
    used = np.abs(away - number * pitch[:, None]) < near * pitch[:, None]
    used &= (number >= numbers[0]) & (number <= numbers[1])
    many = used.sum(axis=1)
    share = used / np.maximum(many, 1)[:, None]
    # a straight line by least squares
    middle, level = (share * number).sum(axis=1), (share * away).sum(axis=1)
    off = number - middle[:, None]
    spread = (share * off**2).sum(axis=1)
    slope = (share * off * away).sum(axis=1) / np.where(spread > 0.0, spread, 1.0)
    found = (many >= 3) & (spread > 0.0) & (np.abs(slope / pitch - 1.0) <= change)
    return (np.where(found, start + level - slope * middle, start),
            np.where(found, slope, pitch), found)


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a profile shows on lattices; one entry for each of their places, shape (..., size)."""

    up: Array
    """Step towards lighter there, 0 to 1."""
    down: Array
    """Step towards darker there, 0 to 1."""
    between: Array
    """Edges in the cell that begins there."""

    def totals(self, count: int) -> Array:
        """How well a row of ``count`` cells beginning at each place is shown."""
        good = _sums(self.up - 1.5 * self.down)
        # paper grain alone makes about 0.4 in every cell
        bad = _sums(np.maximum(self.between - 0.4, 0.0))
        inner = good[..., count:-1] - good[..., 1:-count]
        # at its ends an edge that steps back shows where the row stops
        ends = self.down[..., :-count] + self.down[..., count:]
        return np.asarray(inner - (bad[..., count:-1] - bad[..., : -count - 1]) + 0.8 * ends)


def _sums(values: Array) -> Array:
    """Sums of the first 0, 1, 2, ... values along the last axis."""
    out = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=out[..., 1:])
    return out


@dataclass(frozen=True)
class Comb:
    """The best row in one profile."""

    total: float
    lattice: Lattice
    first: int
    """Which place of the lattice begins the row."""
    rising: bool
    """Lighter to the right."""
    seen: int


def edges_of(band: Array) -> Edges:
    """The edges of a profile of tones, shape (columns,)."""
    from scipy import ndimage

    slope = ndimage.gaussian_filter1d(band, 1.3, order=1)
    # blacks and paper grain are noisier: the noise around is told by the flatter places, which
    # are the insides of steps (35 of 100 normal numbers lie within 0.454 of their deviation)
    noise = ndimage.percentile_filter(np.abs(slope), 35, 61, mode="nearest") / 0.454
    strength = np.tanh(slope / np.maximum(4.5 * noise, 0.0025))
    size = np.abs(slope)
    peak = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])
    at = np.flatnonzero(peak & (np.abs(strength[1:-1]) > 0.35)) + 1
    left, middle, right = size[at - 1], size[at], size[at + 1]
    bend = left - 2.0 * middle + right
    shift = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, -1.0), 0.0)
    place = np.asarray(at + shift, dtype=np.float64)
    return Edges(strength, place, strength[at], slope[at])


def best_comb(edges: Edges, count: int, rising: bool) -> Comb | None:
    """The spacing under which most edges step up and none lies between; ``edges`` as if rising."""
    ups = edges.ups
    if ups.size < FEWEST_SEEN:
        return None
    start, pitch = _proposals(ups, edges.sign[edges.sign > 0.0], count, edges.size)
    fits = np.ones(start.size, dtype=np.bool_)
    for reach in (4, 12, 40):  # fitted to the edges around the proposed place
        better = _fitted(start, pitch, ups, (-reach, reach), 0.15, 0.1)
        fits &= better[2]
        start, pitch = np.where(fits, better[0], start), np.where(fits, better[1], pitch)
    start = start % pitch - pitch
    size = ((edges.size - start) / pitch).astype(int) + 2
    start, pitch, size = (a[size > count] for a in (start, pitch, size))
    if size.size == 0:
        return None
    evidence = _evidence(edges, start, pitch, int(size.max()))
    totals = evidence.totals(count)
    totals[np.arange(totals.shape[1]) >= (size - count)[:, None]] = -np.inf
    seen = evidence.up > 0.4
    run = np.all([seen[:, k : seen.shape[1] - FEWEST_SEEN + 1 + k] for k in range(FEWEST_SEEN)],
                 axis=0)
    totals[~run.any(axis=1)] = -np.inf  # every other place is empty: half a pitch
    best, first = divmod(int(np.argmax(totals)), totals.shape[1])
    if not np.isfinite(totals[best, first]):
        return None
    inner = evidence.up[best, first + 1 : first + count] > SEEN
    return Comb(float(totals[best, first]),
                Lattice(float(start[best]), float(pitch[best]), int(size[best])), first, rising,
                int(inner.sum()))


def _proposals(
    ups: Array, strength: Array, count: int, length: int
) -> tuple[Array, Array]:
    """Places and pitches, shape (m,), that pairs of near edges propose, the likeliest few."""
    strong = np.sort(np.argsort(-strength)[:_MOST_EDGES])
    ups = ups[strong]
    i, j = (a.ravel() for a in np.indices((ups.size, ups.size)))
    near = (j > i) & (j - i <= 3)
    gaps = (ups[j[near]] - ups[i[near]])[:, None] / np.array([1.0, 2.0, 3.0])
    pitch, place = gaps.ravel(), np.repeat(ups[i[near]], 3)
    fits = (pitch >= _LEAST_PITCH) & (pitch * count <= length)
    pitch, place = pitch[fits], place[fits]
    number = (ups[None, :] - place[:, None]) / pitch[:, None]
    within = np.abs(number) <= count
    hit = ((np.abs(number - np.round(number)) < 0.12) & within).sum(axis=1)
    # edges on the lattice, less those that would fall there by chance
    reach = within.sum(axis=1)
    score = hit - 0.24 * reach - 0.5 * (reach - hit)
    chosen: list[int] = []
    seen: set[tuple[int, int]] = set()
    for k in np.argsort(-score, kind="stable"):
        key = (round(60.0 * float(np.log(pitch[k]))), round(6.0 * (place[k] / pitch[k] % 1.0)) % 6)
        if key not in seen:
            seen.add(key)
            chosen.append(int(k))
        if len(chosen) == _MOST_PROPOSALS:
            break
    return place[chosen], pitch[chosen]


def evidence_on(edges: Edges, lattice: Lattice) -> Evidence:
    """What the edges (as if rising) show on a lattice."""
    start, pitch = np.array([lattice.start]), np.array([lattice.pitch])
    found = _evidence(edges, start, pitch, lattice.size)
    return Evidence(found.up[0], found.down[0], found.between[0])


def _evidence(edges: Edges, start: Array, pitch: Array, size: int) -> Evidence:
    """The same on many lattices, shape (m,); beyond the profile there is nothing."""
    slack = np.maximum(np.rint(0.08 * pitch), 1.0)[:, None]
    place = start[:, None] + pitch[:, None] * np.arange(size)
    return Evidence(*_teeth(edges, place, slack[:, 0].astype(int)),
                    _between(edges, place, pitch[:, None], slack))


def _teeth(edges: Edges, place: Array, slack: NDArray[np.int_]) -> tuple[Array, Array]:
    """Strongest step up and step down within the slack of each place, 0 to 1."""
    from scipy import ndimage

    at = np.rint(place).astype(int)
    outside = (at < 0) | (at >= edges.size)
    at[outside] = 0
    up, down = np.empty(at.shape), np.empty(at.shape)
    for reach in np.unique(slack):
        rows, width = slack == reach, 2 * int(reach) + 1
        up[rows] = ndimage.maximum_filter1d(edges.strength, width, mode="nearest")[at[rows]]
        down[rows] = -ndimage.minimum_filter1d(edges.strength, width, mode="nearest")[at[rows]]
    for teeth in (up, down):
        np.maximum(teeth, 0.0, out=teeth)
        teeth[outside] = 0.0
    return up, down


def _between(edges: Edges, place: Array, pitch: Array, slack: Array) -> Array:
    """Strength of the edges inside each cell, away from its borders, shape as ``place``."""
    away = edges.place - place[:, :1]
    cell = np.floor(away / pitch).astype(int)
    part = away - cell * pitch
    inner = (part > slack + 1.5) & (part < pitch - slack - 1.5)
    cell = cell.clip(0, place.shape[1] - 1) + np.arange(len(place))[:, None] * place.shape[1]
    weight = np.broadcast_to(np.abs(edges.sign), cell.shape)
    peaked = np.bincount(cell[inner], weights=weight[inner], minlength=place.size)
    # a step is level in its middle; a slanting edge is not
    middle = np.rint(place + 0.5 * pitch).astype(int)
    tilted = np.where((middle >= 0) & (middle < edges.size),
                      np.abs(edges.strength[middle.clip(0, edges.size - 1)]), 0.0)
    return np.asarray(np.maximum(peaked.reshape(place.shape), tilted))

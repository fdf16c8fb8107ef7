"""Evenly spaced edges along a line: where they lie, and where a row of equal steps begins.

A profile across a row of steps becomes a list of edges; every pair of near ones proposes an even
spacing.  On a lattice of that spacing, a row of ``count`` cells shows as edges that all step up
between its cells, level cells, and perhaps an edge that steps back at its ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

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

    @property
    def slack(self) -> int:
        """Pixels that an edge may lie off its place."""
        return max(1, round(0.08 * self.pitch))

    def fitted(
        self, ups: Array, numbers: tuple[int, int], near: float, change: float
    ) -> Lattice | None:
        """The lattice through those edges, shape (n,), that lie ``near`` (in pitches) its places.

        ``numbers`` are the first and last of the places that count.  None if fewer than three do,
        or if the pitch would change by more than this share.
        """
        number = np.round((ups - self.start) / self.pitch)
        used = np.abs(ups - self.start - number * self.pitch) < near * self.pitch
        used &= (number >= numbers[0]) & (number <= numbers[1])
        if used.sum() < 3:
            return None
        slope, level = np.polyfit(number[used], ups[used], 1)
        if abs(slope / self.pitch - 1.0) > change:
            return None
        return replace(self, start=float(level), pitch=float(slope))


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a profile shows on a lattice; one entry for each of its places."""

    up: Array
    """Step towards lighter there, 0 to 1."""
    down: Array
    """Step towards darker there, 0 to 1."""
    between: Array
    """Edges in the cell that begins there."""

    def totals(self, count: int) -> Array:
        """How well a row of ``count`` cells beginning at each place is shown."""
        good = np.concatenate([[0.0], np.cumsum(self.up - 1.5 * self.down)])
        # paper grain alone makes about 0.4 in every cell
        bad = np.concatenate([[0.0], np.cumsum(np.maximum(self.between - 0.4, 0.0))])
        first = np.arange(self.up.size - count)
        inner = good[first + count] - good[first + 1]
        # at its ends an edge that steps back shows where the row stops
        ends = self.down[first] + self.down[first + count]
        return np.asarray(inner - (bad[first + count] - bad[first]) + 0.8 * ends)

    def seen(self, first: int, count: int) -> int:
        """How many of the inner edges of that row show."""
        return int(np.sum(self.up[first + 1 : first + count] > SEEN))


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
    best: Comb | None = None
    strength = edges.sign[edges.sign > 0.0]
    for place, pitch in _proposals(ups, strength, count, edges.size):
        comb = _judged(edges, place, pitch, count, rising)
        if comb is not None and (best is None or comb.total > best.total):
            best = comb
    return best


def _proposals(
    ups: Array, strength: Array, count: int, length: int
) -> list[tuple[float, float]]:
    """Even spacings (place, pitch) that pairs of near edges propose, the likeliest few."""
    strong = np.sort(np.argsort(-strength)[:_MOST_EDGES])
    ups = ups[strong]
    i, j = (a.ravel() for a in np.indices((ups.size, ups.size)))
    near = (j > i) & (j - i <= 3)
    gaps = (ups[j[near]] - ups[i[near]])[:, None] / np.array([1.0, 2.0, 3.0])
    pitch, place = gaps.ravel(), np.repeat(ups[i[near]], 3)
    fits = (pitch >= _LEAST_PITCH) & (pitch * count <= length)
    pitch, place = pitch[fits], place[fits]
    number = (ups[None, :] - place[:, None]) / pitch[:, None]
    hit = (np.abs(number - np.round(number)) < 0.12) & (np.abs(number) <= count)
    # edges on the lattice, less those that would fall there by chance
    reach = np.minimum(np.abs(number) <= count, 1).sum(axis=1)
    score = hit.sum(axis=1) - 0.24 * reach - 0.5 * (reach - hit.sum(axis=1))
    chosen: list[tuple[float, float]] = []
    seen: set[tuple[int, int]] = set()
    for k in np.argsort(-score, kind="stable"):
        key = (round(60.0 * float(np.log(pitch[k]))), round(6.0 * (place[k] / pitch[k] % 1.0)) % 6)
        if key not in seen:
            seen.add(key)
            chosen.append((float(place[k]), float(pitch[k])))
        if len(chosen) == _MOST_PROPOSALS:
            break
    return chosen


def _judged(
    edges: Edges, place: float, pitch: float, count: int, rising: bool
) -> Comb | None:
    """The best run of ``count`` cells on the lattice through ``place``; its spacing refined."""
    chain = Lattice(place, pitch, 0)
    for reach in (4, 12, 40):  # fitted to the edges around `place`
        better = chain.fitted(edges.ups, (-reach, reach), 0.15, 0.1)
        if better is None:
            break
        chain = better
    pitch = chain.pitch
    begin = chain.start % pitch - pitch
    lattice = Lattice(begin, pitch, int((edges.size - begin) / pitch) + 2)
    if lattice.size < count + 1:
        return None
    evidence = evidence_on(edges, lattice)
    if _longest_run(evidence.up > 0.4) < FEWEST_SEEN:  # every other place is empty: half a pitch
        return None
    totals = evidence.totals(count)
    first = int(np.argmax(totals))
    return Comb(float(totals[first]), lattice, first, rising, evidence.seen(first, count))


def _longest_run(seen: NDArray[np.bool_]) -> int:
    """Length of the longest stretch of True."""
    breaks = np.flatnonzero(~np.concatenate([[False], seen, [False]]))
    return int(np.max(np.diff(breaks))) - 1


def evidence_on(edges: Edges, lattice: Lattice) -> Evidence:
    """What the edges (as if rising) show on a lattice."""
    return Evidence(*_teeth(edges, lattice), _between(edges, lattice))


def _teeth(edges: Edges, lattice: Lattice) -> tuple[Array, Array]:
    """Strongest step up and step down near each place, 0 to 1."""
    from scipy import ndimage

    width = 2 * lattice.slack + 1
    highest = ndimage.maximum_filter1d(edges.strength, width, mode="nearest")
    lowest = ndimage.minimum_filter1d(edges.strength, width, mode="nearest")
    at = np.rint(lattice.place).astype(int)
    inside = (at >= 0) & (at < edges.size)
    at = np.clip(at, 0, edges.size - 1)
    return (np.where(inside, np.maximum(highest[at], 0.0), 0.0),
            np.where(inside, np.maximum(-lowest[at], 0.0), 0.0))


def _between(edges: Edges, lattice: Lattice) -> Array:
    """Strength of the edges inside each cell, away from its borders; one for each lattice point."""
    pitch, slack = lattice.pitch, lattice.slack
    cell = np.floor((edges.place - lattice.start) / pitch).astype(int)
    part = (edges.place - lattice.start) - cell * pitch
    inner = (part > slack + 1.5) & (part < pitch - slack - 1.5)
    peaked = np.bincount(cell[inner].clip(0, lattice.size - 1),
                         weights=np.abs(edges.sign[inner]), minlength=lattice.size)
    # a step is level in its middle; a slanting edge is not
    middle = np.rint(lattice.place + 0.5 * pitch).astype(int)
    tilted = np.where((middle >= 0) & (middle < edges.size),
                      np.abs(edges.strength[middle.clip(0, edges.size - 1)]), 0.0)
    return np.asarray(np.maximum(peaked, tilted))

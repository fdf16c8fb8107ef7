"""Corners: places near either end of a curve where its slope changes within a short way.

Each is a ramp, sharp or rounded, added to a smooth curve; its height is positive and normal about
0 beforehand.  Whether the data ask for one, and where, is weighed by the marginal likelihood, like
the amount of smoothing.
"""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array

Indices = NDArray[np.intp]

PLACES = np.arange(0.01, 0.98, 0.01)
"""Where a corner near the lower end may lie, 0 to 1; near the upper end mirrored."""
WIDTHS = (0.0, 0.04, 0.12)
"""Over how much of the whole, to either side, a corner may be rounded."""
SLOPE = 10.0
"""Usual change of slope at a corner, in units of the whole range over the whole length."""
BEFOREHAND = 0.5
"""How likely a corner is at either end before anything is measured."""
JUMP = 1e-4
"""How likely it is that a corner is the edge of a jump: a stain looks like one, too."""
MUCH_LESS = 0.5
"""Share of the noise's variance from which on it is worth a second look."""
WORTH_WEIGHING = 9.0
"""Of -2 log likelihood: what is worse than the best by more is left out."""
MOST, PAIRED, TRIED = 80, 40, 4
"""Candidates that are kept, corners of each end that are tried with those of the other, and of
these the ones that choose them."""


@dataclass(frozen=True, eq=False)
class Ramps:
    """Every possible corner: its ramp at the data (n, k) and on the grid (m, k), its place (k,),
    0 to 1; the first half near the lower end, the second near the upper.  Heights are positive:
    ramps are 0 away from their end, positive towards the lower, negative towards the upper."""

    data: Array
    grid: Array
    place: Array
    width: Array
    slope: Array
    """Usual change of slope, as `SLOPE`."""
    chance: Array
    """How likely each is to be the corner at its end, if there is one."""

    @property
    def half(self) -> int:
        """How many there are near either end."""
        return self.place.size // 2


def make_ramps(data: Array, grid: Array) -> Ramps:
    """Ramps at places of the data and of the grid, both 0 to 1.

    Corners may lie at the data too, where a jump from one point to the next has them: it is so
    steep that no other place will do.
    """
    points = np.unique(data)[1:-1]
    points = points if points.size < PLACES.size else points[:0]
    slope = np.full(PLACES.size * len(WIDTHS), SLOPE), np.full(points.size, points.size + 1.0)
    low, high = (np.concatenate([np.repeat(some, len(WIDTHS)), points])
                 for some in (PLACES, 1.0 - PLACES))
    place = np.concatenate([low, high])
    width = np.tile(np.concatenate([np.tile(WIDTHS, PLACES.size), np.zeros(points.size)]), 2)
    jump = JUMP if points.size else 0.0
    chance = (np.full(slope[0].size, (1.0 - jump) / slope[0].size),
              np.full(points.size, jump / max(points.size, 1)))
    upper = np.arange(place.size) >= low.size

    def at(where: Array) -> Array:
        beyond = np.where(upper, where[:, None] - place, place - where[:, None])
        # a parabola where it is rounded: 0 before, the plain ramp after it
        near = np.clip(0.5 + 0.5 * beyond / np.maximum(width, 1e-9), 0.0, 1.0)
        rise = np.where(beyond > width, beyond, width * near**2)
        return np.asarray(np.where(upper, -rise, rise))

    return Ramps(at(data), at(grid), place, width, np.tile(np.concatenate(slope), 2),
                 np.tile(np.concatenate(chance), 2))


@dataclass(frozen=True, eq=False)
class Smooth:
    """Fits without corners at amounts of smoothing (a,), increasing: the columns (n, p), values and
    weights (n,), penalty (p, p), and their penalised misfit and score, both (a,)."""

    columns: Array
    y: Array
    weight: Array
    penalty: Array
    amounts: Array
    misfit: Array
    score: Array

    @cached_property
    def gram(self) -> Array:
        """Of the columns, shape (p, p), with enough on its diagonal to have a root."""
        gram = self.columns.T @ (self.weight[:, None] * self.columns)
        return np.asarray(gram + 1e-9 * np.trace(gram) * np.eye(len(gram)) / len(gram))

    @cached_property
    def moment(self) -> Array:
        """Of the columns, shape (p,)."""
        return np.asarray(self.columns.T @ (self.weight * self.y))

    @cached_property
    def inverse(self) -> tuple[Array, Array]:
        """V (p, p) and d (a, p): the inverse of ``gram + amount * penalty`` is ``V / d @ V.T``."""
        first = float(self.amounts[0])
        half = np.linalg.inv(np.linalg.cholesky(self.gram + first * self.penalty))
        share, turned = np.linalg.eigh(half @ self.penalty @ half.T)
        return half.T @ turned, 1.0 + np.outer(self.amounts - first, np.maximum(share, 0.0))


@dataclass(frozen=True)
class Judge:
    """How a misfit becomes a score, as in the fit without corners."""

    free_dof: float
    prior_dof: float
    noise_floor: float

    def noise_squared(self, misfit: Array) -> Array:
        """Variance of the noise."""
        return np.maximum((misfit + self.prior_dof) / self.free_dof, self.noise_floor**2)

    def score(self, smooth: Smooth, gain: Array, log_det: Array, rarity: Array) -> Array:
        """-2 log likelihood, shape (a, …), of fits whose misfit is less by ``gain``."""
        across = (slice(None),) + (None,) * (gain.ndim - 1)
        left = np.maximum(smooth.misfit[across] - gain, 0.0)
        ratio = self.noise_squared(left) / self.noise_squared(smooth.misfit)[across]
        return np.asarray(smooth.score[across] + self.free_dof * np.log(ratio) + log_det + rarity)


class Candidate(NamedTuple):  # hundreds in a fit
    """A curve at one amount of smoothing, with no corner, one, or one near either end, fitted."""

    score: float
    coefficients: Array
    """Of the smooth curve, then heights of the corners."""
    precision: Array
    noise_squared: float
    columns: tuple[int, ...] = ()
    """Which of the ramps."""


def with_corners(ramps: Ramps, smooth: Smooth, judge: Judge) -> list[Candidate]:
    """The likeliest fits with one corner and with one near either end.

    Adding columns to a least squares fit changes misfit and determinant by what is left of the
    columns once the others are taken out (the Schur complement), so none is fitted anew to be
    weighed.
    """
    noise, found = np.inf, float(judge.noise_squared(smooth.misfit[np.argmin(smooth.score)]))
    candidates: list[Candidate] = []
    # how high corners usually are counts in units of the noise, which corners may bring down
    while found < MUCH_LESS * noise:
        noise = found
        candidates = _Search(ramps, smooth, judge, noise).find()
        found = min((c.noise_squared for c in candidates), default=noise)
    return candidates


class _Search:
    """All corners beside all amounts of smoothing."""

    def __init__(self, ramps: Ramps, smooth: Smooth, judge: Judge, noise: float) -> None:
        self.ramps, self.smooth, self.judge = ramps, smooth, judge
        self.ready = smooth.weight[:, None] * ramps.data
        self.wanted = self.ready.T @ smooth.y
        self.cross = smooth.columns.T @ self.ready
        columns, self.scaled = smooth.inverse
        self.turned = columns.T @ self.cross
        self.pull = self.wanted - (columns.T @ smooth.moment / self.scaled) @ self.turned
        span = max(float(np.ptp(smooth.y[smooth.weight > 0.0])), 1e-12)
        self.prior = noise / (ramps.slope * span) ** 2
        own = np.einsum("nk,nk->k", ramps.data, self.ready)
        self.left = np.maximum(own - (1.0 / self.scaled) @ self.turned**2, 0.0) + self.prior
        # heights of one sign
        self.rarity = 2.0 * np.log((1.0 - BEFOREHAND) / BEFOREHAND / 2.0 / ramps.chance)

    def find(self) -> list[Candidate]:
        singles = self._singles()
        low, high = self._promising(singles.min(axis=0))
        pairs = self._pairs(low, high)
        limit = WORTH_WEIGHING + min(float(each.min())
                                     for each in (self.smooth.score, singles, pairs))
        found: list[tuple[float, int, tuple[int, ...]]] = [
            (float(singles[i, j]), int(i), (int(j),))
            for i, j in zip(*np.nonzero(singles < limit), strict=True)]
        found += [(float(pairs[i, j, k]), int(i), (int(low[j]), int(high[k])))
                  for i, j, k in zip(*np.nonzero(pairs < limit), strict=True)]
        every: list[Candidate] = []
        for size, scores in ((1, singles), (2, pairs)):
            some = sorted(each for each in found if len(each[2]) == size)[:MOST // 2]
            if not some:
                continue
            # those that are kept stand for all of their kind
            of_all, of_some = (float(np.logaddexp.reduce(-0.5 * np.asarray(each), axis=None))
                               for each in (scores, [each[0] for each in some]))
            every += [one._replace(score=one.score - 2.0 * (of_all - of_some))
                      for one in self._fit(some)]
        return every

    def _promising(self, best: Array) -> tuple[Indices, Indices]:
        """Corners near the lower and the upper end that are worth trying together, by the scores of
        each alone: those that go best with the best ones at the other end."""
        every = np.split(np.arange(best.size), 2)
        first = int(np.argmin(best)) // self.ramps.half
        chosen = [end[np.argsort(best[end])[:PAIRED]] for end in every]
        for end in (1 - first, first, 1 - first):
            tried = [every[end] if end == i else chosen[i][:TRIED] for i in (0, 1)]
            scores = self._pairs(*tried).min(axis=(0, 2 - end))
            chosen[end] = every[end][np.argsort(scores)[:PAIRED]]
        return chosen[0], chosen[1]

    def _singles(self) -> Array:
        """Scores of one corner, shape (a, k)."""
        height = self.pull / self.left
        scores = self.judge.score(self.smooth, self.pull * height, np.log(self.left / self.prior),
                                  self.rarity)
        return np.where(height > 0.0, scores, np.inf)

    def _pairs(self, low: Indices, high: Indices) -> Array:
        """Scores of one corner near either end, shape (a, low, high)."""
        both = (self.ramps.data[:, low].T @ self.ready[:, high]
                - (self.turned[:, low].T / self.scaled[:, None, :]) @ self.turned[:, high])
        one, two = self.left[:, low, None], self.left[:, None, high]
        det = np.maximum(one * two - both**2, 1e-6 * one * two)
        near, far = self.pull[:, low, None], self.pull[:, None, high]
        first, second = (near * two - far * both) / det, (far * one - near * both) / det
        log_det = np.log(det / (self.prior[low, None] * self.prior[high]))
        scores = self.judge.score(self.smooth, near * first + far * second, log_det,
                                  self.rarity[low, None] + self.rarity[high])
        return np.where((first > 0.0) & (second > 0.0), scores, np.inf)

    def _fit(self, found: list[tuple[float, int, tuple[int, ...]]]) -> list[Candidate]:
        """Fits of as many corners each."""
        if not found:
            return []
        smooth, splines = self.smooth, len(self.smooth.gram)
        chosen = np.array([columns for _, _, columns in found])
        amount = np.array([which for _, which, _ in found])
        edge, ends = self.cross[:, chosen].transpose(1, 0, 2), np.arange(chosen.shape[1])
        precision = np.empty((len(found), *2 * (splines + ends.size,)))
        precision[:, :splines, :splines] = (
            smooth.gram + smooth.amounts[amount, None, None] * smooth.penalty)
        precision[:, :splines, splines:] = edge
        precision[:, splines:, :splines] = edge.transpose(0, 2, 1)
        precision[:, splines:, splines:] = (self.ramps.data.T[chosen]
                                            @ self.ready[:, chosen].transpose(1, 0, 2))
        precision[:, splines + ends, splines + ends] += self.prior[chosen]
        moment = np.hstack([np.tile(smooth.moment, (len(found), 1)), self.wanted[chosen]])
        coefficients = np.linalg.solve(precision, moment[:, :, None])[:, :, 0]
        gain = np.sum(self.pull[amount[:, None], chosen] * coefficients[:, splines:], axis=1)
        noise = self.judge.noise_squared(np.maximum(smooth.misfit[amount] - gain, 0.0))
        return [Candidate(score, own, weighed, variance, columns)
                for (score, _, columns), own, weighed, variance in zip(
                    found, coefficients, precision, noise.tolist(), strict=True)]

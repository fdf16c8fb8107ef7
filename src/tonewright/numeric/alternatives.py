"""What explains differences from what was expected: noise alone, or one of several alternatives.

Each alternative is a number of members, each with a prior weight: a shift of all values, or a
covariance on top of the expected one.  Their marginal likelihoods over that of noise alone are
Bayes factors (MacKay 2003, ch. 28).  Each factor is also the statistic of a test focussed on that
alternative.  The tests are taken together by the one that stands out most (Tippett's minimum p,
with a part of the level for each), and how often noise alone makes it stand out as much is drawn
from their joint distribution (Westfall & Young 1993): no alternative is drowned by another that is
thought more frequent, and one that hardly shows may speak sooner.
"""

from __future__ import annotations

import numpy as np

from tonewright.frozen import dataclass
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

DRAWS = 2000
LEVEL = 0.05
"""Of all tests together, roughly: where each one's statistic is set to 0."""


@dataclass(frozen=True, eq=False)
class Shifts:
    """Values that all move together: ``shifts`` (k, n) for the sizes ``size`` (k,), each with a
    prior ``weight`` (k,) that sums to 1."""

    size: Array
    shifts: Array
    weight: Array


@dataclass(frozen=True, eq=False)
class Scatters:
    """Values that scatter more: covariances (k, n, n) on top of the expected one."""

    size: Array
    covariances: Array
    weight: Array


Alternative = Shifts | Scatters


@dataclass(frozen=True, eq=False)
class Explained:
    """How well each alternative explains the differences."""

    log_factors: Array
    """Log Bayes factor of each over noise alone, shape (alternatives,)."""
    sizes: tuple[tuple[float, float], ...]
    """Posterior mean and standard deviation of the size of each."""
    probability: float
    """How often some test stands out as much by noise alone: the p-value of all together."""


@dataclass(frozen=True, eq=False)
class Noise:
    """Expected of the differences, shapes (n, n): what is known well, and what is known in form
    but in size only by ``dof`` degrees of freedom."""

    known: Array
    sized: Array
    dof: float

    @property
    def covariance(self) -> Array:
        """All together."""
        return self.known + self.sized

    def draw(self, count: int) -> Array:
        """Differences as noise alone makes them, shape (count, n)."""
        rng = np.random.default_rng(0)
        n = len(self.known)
        value, vector = np.linalg.eigh(self.sized)
        modes = vector * np.sqrt(np.maximum(value, 0.0))
        size = np.sqrt(self.dof / rng.chisquare(self.dof, count))
        return np.asarray(rng.standard_normal((count, n)) @ np.linalg.cholesky(self.known).T
                          + size[:, None] * (rng.standard_normal((count, n)) @ modes.T))


@one_blas_thread
def explain(
    differences: Array, noise: Noise, alternatives: list[Alternative], parts: list[float]
) -> Explained:
    """Compare alternatives for differences, shape (n,), with a part of the test's level for each
    (they sum to 1)."""
    members, factors = _weigh(np.vstack([differences, noise.draw(DRAWS)]), noise, alternatives)
    spoken = [np.quantile(drawn, 1.0 - LEVEL * part)
              for drawn, part in zip(factors[1:].T, parts, strict=True)]
    statistic = np.max(factors - spoken, axis=1)
    as_large = np.count_nonzero(statistic[1:] >= statistic[0])
    return Explained(factors[0], _sizes(members, alternatives),
                     float((1 + as_large) / (1 + DRAWS)))


@one_blas_thread
def explain_again(found: Explained, differences: Array, noise: Noise,
                  alternatives: list[Alternative]) -> Explained:
    """The same with other noise, for the same test."""
    members, factors = _weigh(differences[None], noise, alternatives)
    return Explained(factors[0], _sizes(members, alternatives), found.probability)


def _weigh(
    rows: Array, noise: Noise, alternatives: list[Alternative]
) -> tuple[list[Array], Array]:
    """Of each row of differences (m, n): log likelihood of every member of each alternative over
    noise alone, shapes (m, members), and their sums, shape (m, alternatives)."""
    root = np.asarray(np.linalg.cholesky(noise.covariance), dtype=np.float64)
    white = np.asarray(np.linalg.solve(root, rows.T).T, dtype=np.float64)
    members = [_log_ratios(white, root, a) + np.log(a.weight) for a in alternatives]
    return members, np.stack([_log_sum(m) for m in members], axis=1)


def _sizes(
    members: list[Array], alternatives: list[Alternative]
) -> tuple[tuple[float, float], ...]:
    return tuple(_moments(a.size, m[0]) for a, m in zip(alternatives, members, strict=True))


def _log_sum(logs: Array) -> Array:
    """Logarithm of the sum along the last axis of what these are the logarithms of."""
    top = logs.max(axis=-1, keepdims=True)
    return np.asarray(top[..., 0] + np.log(np.exp(logs - top).sum(axis=-1)))


def _log_ratios(white: Array, root: Array, alternative: Alternative) -> Array:
    """Log likelihood of each member over noise alone; rows (draws, n) to (draws, members)."""
    if isinstance(alternative, Shifts):
        moved = np.linalg.solve(root, alternative.shifts.T)
        return np.asarray(white @ moved - 0.5 * np.sum(moved**2, axis=0))
    columns = []
    for more in alternative.covariances:
        half = np.linalg.solve(root, more)
        value, vector = np.linalg.eigh(np.linalg.solve(root, half.T))
        value = np.maximum(value, 0.0)
        gain = 0.5 * (white @ vector) ** 2 @ (value / (1.0 + value))
        columns.append(gain - 0.5 * np.sum(np.log1p(value)))
    return np.stack(columns, axis=1)


def _moments(size: Array, log_weight: Array) -> tuple[float, float]:
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ size)
    return mean, float(np.sqrt(weight @ (size - mean) ** 2))

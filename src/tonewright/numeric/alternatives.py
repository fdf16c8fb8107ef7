"""What explains differences from what was expected: noise alone, or one of several alternatives.

Each alternative is a number of members, each with a prior weight: a shift of all values, or a
covariance on top of the expected one.  Their marginal likelihoods over that of noise alone are
Bayes factors (MacKay 2003, ch. 28); the factor of all alternatives together is also the statistic
of a test, whose distribution under noise alone is drawn.
"""

from __future__ import annotations

import numpy as np

from tonewright.frozen import dataclass
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

DRAWS = 2000
NOISE_WORTH = 60.0
"""Degrees of freedom with which the size of the noise is known: draws scatter so much more."""


@dataclass(frozen=True, eq=False)
class Shifts:
    """Values that all move together: ``shifts`` (k, n) for the sizes ``size`` (k,), each with a
    prior ``weight`` (k,) that sums to the prior of the alternative."""

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
    """Log Bayes factor of each over noise alone, prior weights included, shape (alternatives,)."""
    sizes: tuple[tuple[float, float], ...]
    """Posterior mean and standard deviation of the size of each."""
    probability: float
    """How often noise alone gives as large a factor for all together: the test's p-value."""


@one_blas_thread
def explain(differences: Array, covariance: Array, alternatives: list[Alternative]) -> Explained:
    """Compare alternatives for differences (n,) that are expected to have a covariance (n, n)."""
    root = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    found = np.linalg.solve(root, differences)
    rng = np.random.default_rng(0)
    drawn = rng.standard_normal((DRAWS, differences.size))
    drawn /= np.sqrt(rng.chisquare(NOISE_WORTH, DRAWS) / NOISE_WORTH)[:, None]
    white = np.asarray(np.vstack([found, drawn]), dtype=np.float64)
    members = [_log_ratios(white, root, a) + np.log(a.weight) for a in alternatives]
    factors = np.stack([np.logaddexp.reduce(m, axis=1) for m in members], axis=1)
    statistic = np.logaddexp.reduce(factors, axis=1)
    as_large = np.count_nonzero(statistic[1:] >= statistic[0])
    sizes = tuple(_moments(a.size, m[0]) for a, m in zip(alternatives, members, strict=True))
    return Explained(factors[0], sizes, float((1 + as_large) / (1 + DRAWS)))


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

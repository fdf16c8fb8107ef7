"""Two curves one behind the other, fitted together: ``y = f(shift - g(u))``.

``f`` is a falling or rising curve known from other data up to a few modes of uncertainty (there
may be several such curves, one for each set of points); ``g`` is smooth, starts at 0 and never
falls, and is shared by all.  Gauss-Newton steps on a penalised least squares; the smoothing of
``g`` is chosen by the Laplace approximation of the marginal likelihood (Wood 2011, JRSS-B 73:3).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.numeric.nonnegative import partly_nonnegative
from tonewright.numeric.splines import cubic_design
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

INTERVALS = 16
DEGREE = 3
ORDER = 3
MODES = 14
INNER = INTERVALS + DEGREE - 1
"""Steps of the inner curve's coefficients."""
_LOG_SMOOTHING = np.arange(-3.0, 7.5, 0.75)


@dataclass(frozen=True, eq=False)
class RiseModel:
    """A curve with what is not known of it: ``mean + modes @ z``, z standard normal.

    Shapes: nodes (m,), increasing; mean (m,); modes (m, k).
    """

    nodes: Array
    mean: Array
    modes: Array

    def value(self, x: Array, z: Array) -> Array:
        """The curve at ``x`` (n,) for mode amplitudes ``z`` (k,)."""
        return np.asarray(np.interp(x, self.nodes, self.mean + self.modes @ z))

    def mode_values(self, x: Array) -> Array:
        """Modes at ``x``, shape (n, k)."""
        return np.stack([np.interp(x, self.nodes, m) for m in self.modes.T], axis=1)

    def slope(self, x: Array, z: Array) -> Array:
        """Derivative at ``x``; 0 beyond the nodes."""
        steep = np.gradient(self.mean + self.modes @ z, self.nodes)
        return np.asarray(np.interp(x, self.nodes, steep, left=0.0, right=0.0))


@one_blas_thread
def model_from_sample(nodes: ArrayLike, curves: ArrayLike, weights: ArrayLike) -> RiseModel:
    """Mean and largest modes of weighted sample curves, shape (count, m)."""
    sample, share = np.asarray(curves), np.asarray(weights) / np.sum(weights)
    mean = share @ sample
    centred = np.sqrt(share)[:, None] * (sample - mean)
    # the largest alone are wanted, and have the same axes as the square, in a third of the time
    size, axes = (part[..., ::-1][..., :MODES] for part in np.linalg.eigh(centred.T @ centred))
    return RiseModel(np.asarray(nodes, dtype=np.float64), mean,
                     axes * np.sqrt(np.maximum(size, 0.0)))


@dataclass(frozen=True, eq=False)
class ChainData:
    """Points behind one of the outer curves.

    ``model``: which; ``shift``: where ``g = 0`` lies on it, known to ``shift_sd``; ``u`` (0 to
    1), ``y`` and ``sd`` of shape (n,).
    """

    model: int
    shift: float
    u: Array
    y: Array
    sd: Array
    shift_sd: float = 0.0


@dataclass(frozen=True, eq=False)
class ChainFit:
    """The fitted inner curve and outer amplitudes, and their joint covariance."""

    models: tuple[RiseModel, ...]
    unknowns: Array
    """Outer modes after one another, the shift of each set of points, the inner steps."""
    covariance: Array
    noise: float
    """Of a point, in units of the given ``sd``."""

    def inner(self, u: ArrayLike) -> tuple[Array, Array]:
        """``g`` and its standard deviation at ``u`` (0 to 1), shape (n,)."""
        rows = _inner_design(np.asarray(u, dtype=np.float64))
        block = self.covariance[-INNER:, -INNER:]
        return rows @ self.unknowns[-INNER:], np.sqrt(np.einsum("ij,jk,ik->i", rows, block, rows))

    def outer(self, model: int, shift: float, u: ArrayLike) -> tuple[Array, Array]:
        """``f(shift - g(u))`` for one outer curve and its covariance, shapes (n,) and (n, n)."""
        places = np.asarray(u, dtype=np.float64)
        value, rows, _ = _linearise(self.models, model, shift, places, self.unknowns)
        return value, rows @ self.covariance @ rows.T


def _inner_design(u: Array) -> Array:
    """Columns by which the coefficient steps make ``g``; ``g(0) = 0``."""
    return _designed(u.tobytes())


@lru_cache(maxsize=16)
def _designed(u: bytes) -> Array:
    """The same points are asked for at every step of a fit."""
    both = np.concatenate([[0.0], np.clip(np.frombuffer(u), 0.0, 1.0)])
    splines = cubic_design(both, INTERVALS)
    steps = splines @ np.tril(np.ones((splines.shape[1], splines.shape[1])))[:, 1:]
    found = np.asarray(steps[1:] - steps[0])
    found.flags.writeable = False
    return found


def _linearise(
    models: tuple[RiseModel, ...], model: int, shift: float, u: Array, unknowns: Array
) -> tuple[Array, Array, Array]:
    """Value, derivative with respect to all unknowns, and to the shift."""
    sizes = [m.modes.shape[1] for m in models]
    first = sum(sizes[:model])
    own = slice(first, first + sizes[model])
    design = _inner_design(u)
    x = shift - design @ unknowns[-INNER:]
    curve = models[model]
    slope = curve.slope(x, unknowns[own])
    rows = np.zeros((u.size, unknowns.size))
    rows[:, own] = curve.mode_values(x)
    rows[:, -INNER:] = -slope[:, None] * design
    return curve.value(x, unknowns[own]), rows, slope


@one_blas_thread
def fit_chain(data: list[ChainData], models: list[RiseModel], scale: float) -> ChainFit:
    """Fit the inner curve through all data at once.

    Parameters
    ----------
    data:
        One entry for each set of points; ``sd`` is their noise in units of ``y``.
    models:
        The outer curves.
    scale:
        Usual size of ``g(1)``: where the search starts.
    """
    problem = _Problem(data, tuple(models))
    start = np.zeros(problem.size)
    start[-INNER:] = scale / INTERVALS
    best: tuple[float, Array, float, float] | None = None
    for log_amount in _LOG_SMOOTHING[::-1]:
        start = problem.settle(start, 10.0**log_amount)
        score, noise2 = problem.score(start, 10.0**log_amount)
        if best is None or score < best[0]:
            best = (score, start, 10.0**log_amount, noise2)
    assert best is not None
    _, unknowns, amount, noise2 = best
    left, _ = problem.rows(unknowns, amount)
    precision = left.T @ left + 1e-9 * np.eye(unknowns.size)
    covariance = np.linalg.inv(precision) * max(noise2, 1.0)
    return ChainFit(tuple(models), unknowns, np.asarray(covariance, dtype=np.float64),
                    float(np.sqrt(noise2)))


class _Problem:
    """The penalised least squares of a chain."""

    def __init__(self, data: list[ChainData], models: tuple[RiseModel, ...]) -> None:
        self.data, self.models = data, models
        self.modes = sum(m.modes.shape[1] for m in models)
        self.size = self.modes + len(data) + INNER
        # differences of order ORDER of the coefficients are of order ORDER - 1 of their steps
        self.rough = np.zeros((INNER - ORDER + 1, self.size))
        self.rough[:, -INNER:] = np.diff(np.eye(INNER), ORDER - 1, axis=0)
        self.rough *= INTERVALS ** (ORDER - 0.5) / 50.0
        loose = np.array([1.0 / max(d.shift_sd, 1e-6) for d in data])
        self.known = np.diag(np.concatenate([np.ones(self.modes), loose, np.zeros(INNER)]))
        self.known = self.known[: self.modes + len(data)]

    def rows(self, unknowns: Array, amount: float) -> tuple[Array, Array]:
        """Derivative and residuals, each over its noise; what is known below the data."""
        left, right = [], []
        for place, d in enumerate(self.data, self.modes):
            value, slopes, to_shift = _linearise(
                self.models, d.model, d.shift + unknowns[place], d.u, unknowns)
            slopes[:, place] = to_shift
            left.append(slopes / d.sd[:, None])
            right.append((d.y - value) / d.sd)
        left += [self.known, np.sqrt(amount) * self.rough]
        right += [-self.known @ unknowns, -np.sqrt(amount) * (self.rough @ unknowns)]
        return np.concatenate(left), np.concatenate(right)

    def settle(self, beta: Array, amount: float) -> Array:
        """Damped Gauss-Newton steps with the inner steps kept non-negative."""
        left, right = self.rows(beta, amount)
        cost = float(np.sum(right**2))
        for _ in range(12):
            ridge = 1e-4 * np.eye(self.size)
            target = np.concatenate([right + left @ beta, ridge @ beta])
            wanted = partly_nonnegative(np.vstack([left, ridge]), target, self.size - INNER)
            step, part = wanted - beta, 1.0
            while part > 0.05:
                trial = beta + part * step
                after, rest = self.rows(trial, amount)
                new = float(np.sum(rest**2))
                if new <= cost:
                    break
                part /= 2.0
            else:
                break
            gain, beta, cost, left, right = cost - new, trial, new, after, rest
            if gain < 1e-4 * max(cost, 1.0):
                break
        return np.asarray(beta)

    def score(self, beta: Array, amount: float) -> tuple[float, float]:
        """-2 log marginal likelihood and the noise's variance in units of the given one."""
        left, right = self.rows(beta, amount)
        points = sum(d.u.size for d in self.data)
        rank = self.rough.shape[0]
        cost = float(right @ right)
        # the given noise counts as 20 readings' worth of knowledge
        noise2 = (cost + 20.0) / (points + 20.0)
        log_det = float(np.linalg.slogdet(left.T @ left + 1e-9 * np.eye(self.size))[1])
        score = (points + 20.0) * np.log(noise2) + log_det - rank * np.log(amount)
        return score, noise2

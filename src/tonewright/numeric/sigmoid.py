"""A curve that rises from one level to another, and what is not known of it.

Eight families of rising curves are fitted, each as it stands and with a smooth departure from
it (a Gaussian process, Rasmussen and Williams 2006, ch. 2.7), and averaged by how well they
explain the data (Laplace evidence, MacKay 2003, ch. 27).  So a curve of a known family is found
with few points, and one of none of them is still followed where points are.  What comes out are
curves drawn from the average: a sample of what the truth may be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular
from scipy.optimize import least_squares
from scipy.special import expit, ndtr

from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

DEPARTURES = (0.0, 0.015, 0.05)
"""Standard deviations of the departure at the steepest place, as parts of the curve's height.

Elsewhere it is as much smaller as the curve is less steep: a stretched x axis, more or less, so
that a level end stays level."""
REACH = 0.35
"""Distance along x over which a departure keeps its sign."""


@dataclass(frozen=True)
class Family:
    """A rising curve from 0 to 1 of a standard argument, and what is expected of its shape."""

    name: str
    rise: Callable[[Array, Array], Array]
    shape_mean: tuple[float, ...] = ()
    shape_sd: tuple[float, ...] = ()
    width: float = 0.25
    """Usual unit of the argument, in units of x."""
    share: float = 1.0
    """How much more or less likely than others before any data are seen."""


def _softplus(z: Array) -> Array:
    return np.logaddexp(0.0, z)


def _richards(z: Array, shape: Array) -> Array:
    """Richards 1959, J. Exp. Botany 10:290, in a form whose steepness hardly depends on it."""
    nu = np.exp(shape[0])
    return np.asarray(np.exp(-np.logaddexp(0.0, shape[0] - z) / nu))


def _straight(z: Array, shape: Array) -> Array:
    """A straight line with a rounded toe and a rounded shoulder."""
    toe, shoulder = np.exp(shape[0]), np.exp(shape[1])
    return np.asarray(toe * _softplus(z / toe) - shoulder * _softplus((z - 1.0) / shoulder))


def _two_layers(z: Array, shape: Array) -> Array:
    """A layer, and a slower and gentler one on top."""
    share = expit(shape[0])
    second = expit((z - np.exp(shape[1])) * np.exp(-shape[2]))
    return np.asarray(share * expit(z) + (1.0 - share) * second)


def _algebraic(z: Array, shape: Array) -> Array:
    """z / (1 + abs(z)**m)**(1/m): its ends are reached as a power, more slowly than all others."""
    m = np.exp(shape[0])
    size = np.maximum(np.abs(z), 1e-9)
    return np.asarray(0.5 + 0.5 * np.sign(z) * np.exp(-np.log1p(size**-m) / m))


FAMILIES = (
    Family("logistic", lambda z, _: np.asarray(expit(z))),
    Family("normal", lambda z, _: np.asarray(ndtr(z)), width=0.45),
    Family("early", lambda z, _: np.exp(-np.exp(-np.clip(z, -50.0, 50.0))), width=0.35),
    Family("late", lambda z, _: -np.expm1(-np.exp(np.clip(z, -50.0, 50.0))), width=0.35),
    Family("richards", _richards, (0.0,), (0.8,)),
    Family("straight", _straight, (-2.1, -2.1), (0.5, 0.5), width=1.2),
    Family("two layers", _two_layers, (1.2, 0.6, 0.5), (0.8, 0.5, 0.4), width=0.2,
           share=0.3),
    Family("algebraic", _algebraic, (0.9,), (0.4,), width=0.5, share=0.1),
)


@dataclass(frozen=True, eq=False)
class RiseData:
    """Points on a rising curve: ``x``, ``y`` and relative ``sd``, shape (n,), and the noise."""

    x: Array
    y: Array
    sd: Array
    top: tuple[float, float]
    """What its upper level is expected to be, and the standard deviation of that."""


@dataclass(frozen=True, eq=False)
class _Member:
    """One family with one departure, fitted."""

    family: Family
    log_evidence: float
    parameters: Array
    covariance: Array
    departure: float
    plain: Array
    """Parameters of the family as it stands; they say where it is steep."""

    def kernel(self, a: Array, b: Array) -> Array:
        """Covariance of the departure between places ``a`` and ``b``."""
        return _kernel(self.family, self.plain, a, b, self.departure)


@one_blas_thread
def sample_rises(
    x: ArrayLike, y: ArrayLike, sd: ArrayLike, nodes: ArrayLike, top: tuple[float, float],
    count: int = 800,
) -> Array:
    """Rising curves that may lie behind the points, each as likely as the other.

    Parameters
    ----------
    x, y, sd:
        Shape (n,), n of 6 at least; ``sd`` is the noise of each ``y`` in its own unit.
    nodes:
        Shape (m,), increasing: where the curves are wanted.
    top:
        Mean and standard deviation of what the upper level is expected to be, in the unit of
        ``y``; it matters where the points do not reach it.
    count:
        How many curves; the same call gives the same ones.

    Returns
    -------
    Shape (count, m), each row non-decreasing.
    """
    places, values, spread = (np.asarray(a, dtype=np.float64) for a in (x, y, sd))
    data = RiseData(places, values, spread, top)
    grid = np.asarray(nodes, dtype=np.float64)
    members: list[_Member] = []
    for family in FAMILIES:
        plain = _fit(data, family, 0.0, None)
        if plain is not None:
            members.append(plain)
            bent = (_fit(data, family, d, plain.parameters) for d in DEPARTURES if d)
            members += [m for m in bent if m is not None]
    evidence = np.array([m.log_evidence for m in members])
    share = np.exp(evidence - evidence.max())
    share /= share.sum()
    # whole numbers of curves for each member, without chance in how many
    wanted = np.diff(np.round(np.concatenate([[0.0], np.cumsum(share)]) * count)).astype(int)
    rng = np.random.default_rng(0)
    drawn = [_draw(data, m, grid, int(k), rng) for m, k in zip(members, wanted, strict=True) if k]
    return np.asarray(np.maximum.accumulate(np.concatenate(drawn), axis=1))


def _curve(family: Family, parameters: Array, x: Array) -> Array:
    floor, height, middle, log_width = parameters[:4]
    return np.asarray(
        floor + height * family.rise((x - middle) * np.exp(-log_width), parameters[4:]))


def _kernel(family: Family, plain: Array, a: Array, b: Array, size: float) -> Array:
    """Squared-exponential covariance, as large as the family is steep."""
    smooth = np.exp(-0.5 * ((a[:, None] - b[None, :]) / REACH) ** 2)
    return np.asarray(size**2 * _steepness(family, plain, a)[:, None] * smooth
                      * _steepness(family, plain, b)[None, :])


def _steepness(family: Family, parameters: Array, x: Array) -> Array:
    """Slope over the largest slope, 0 to 1."""
    step = 0.01 * np.exp(parameters[3])

    def slope(at: Array) -> Array:
        return _curve(family, parameters, at + step) - _curve(family, parameters, at - step)

    around = parameters[2] + np.exp(parameters[3]) * np.linspace(-5.0, 5.0, 201)
    largest = float(slope(around).max())
    return np.asarray(slope(x) / largest) if largest > 0.0 else np.zeros_like(x)


def _fit(
    data: RiseData, family: Family, departure: float, plain: Array | None
) -> _Member | None:
    """Most likely parameters and the evidence, by Laplace's approximation."""
    low, high = np.quantile(data.y, [0.02, 0.98])
    height = max(float(high - low), 1e-3)
    order = np.argsort(data.x)
    half_way = np.interp(0.5, np.maximum.accumulate((data.y[order] - low) / height),
                         data.x[order])
    expected = np.array([low, height, half_way, np.log(family.width), *family.shape_mean])
    loose = np.array([0.3 * height, max(height, data.top[1]), 3.0, 0.7, *family.shape_sd])
    covariance = np.diag(data.sd**2)
    if plain is not None:
        covariance += _kernel(family, plain, data.x, data.x, departure * height)
    try:
        root = cholesky(covariance, lower=True)
    except np.linalg.LinAlgError:  # noise too uneven for this departure: the others remain
        return None

    def misfit(parameters: Array) -> Array:
        residual = data.y - _curve(family, parameters, data.x)
        data_part = solve_triangular(root, residual, lower=True)
        top = (parameters[0] + parameters[1] - data.top[0]) / data.top[1]
        return np.concatenate([data_part, (parameters - expected) / loose, [top]])

    start = expected.copy() if plain is None else plain
    if plain is None and family.name == "straight":
        start[2] -= 0.5 * family.width
    span = np.array([2.0, 3.0, 4.0, 5.0, *np.full(len(family.shape_mean), 4.0)]) * loose
    try:
        found = least_squares(misfit, start, bounds=(expected - span, expected + span),
                              x_scale=loose, max_nfev=200)
        slopes = np.asarray(found.jac)
        factor = cho_factor(slopes.T @ slopes)
    except (np.linalg.LinAlgError, ValueError):
        return None
    inverse = cho_solve(factor, np.eye(expected.size))
    evidence = float(np.log(family.share)) - found.cost - float(np.sum(np.log(np.diag(root))))
    evidence -= float(np.sum(np.log(loose)))
    evidence -= float(np.sum(np.log(np.diag(factor[0]))))
    return _Member(family, evidence, np.asarray(found.x), inverse, departure * height,
                   np.asarray(found.x) if plain is None else plain)


def _draw(
    data: RiseData, member: _Member, grid: Array, count: int, rng: np.random.Generator
) -> Array:
    """Curves of one member: its parameters' spread, its departure, and what that leaves open."""
    root = np.linalg.cholesky(member.covariance + 1e-12 * np.eye(member.parameters.size))
    spread = rng.standard_normal((count, member.parameters.size)) @ root.T
    chosen = member.parameters + spread
    curves = np.stack([_curve(member.family, p, grid) for p in chosen])
    if member.departure == 0.0:
        return curves
    at_data = np.stack([_curve(member.family, p, data.x) for p in chosen])
    cross = member.kernel(grid, data.x)
    factor = cho_factor(np.diag(data.sd**2) + member.kernel(data.x, data.x))
    curves += (data.y - at_data) @ cho_solve(factor, cross.T)
    open_part = member.kernel(grid, grid) - cross @ cho_solve(factor, cross.T)
    value, vector = np.linalg.eigh(open_part)
    free = vector * np.sqrt(np.maximum(value, 0.0))
    return np.asarray(curves + rng.standard_normal((count, grid.size)) @ free.T)

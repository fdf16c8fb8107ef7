"""A curve that rises from one level to another, and what is not known of it.

Families of rising curves are fitted, each as it stands and with a smooth departure from
it (a Gaussian process, Rasmussen and Williams 2006, ch. 2.7), and averaged by how well they
explain the data (Laplace evidence, MacKay 2003, ch. 27).  So a curve of a known family is found
with few points, and one of none of them is still followed where points are.  What comes out are
curves drawn from the average: a sample of what the truth may be.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.numeric.least_squares import minimise
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

DEPARTURES = (0.0, 0.015, 0.05)
"""Standard deviations of the departure at the steepest place, as parts of the curve's height.

Elsewhere it is as much smaller as the curve is less steep: a stretched x axis, more or less, so
that a level end stays level."""
REACH, REACH_SHARE = 0.35, 0.5
"""Distance along x over which a departure keeps its sign; at most this share of the way from a
tenth to nine tenths of the rise, since a short rise has its bends in that."""
CORNER = 0.2
"""A curve has a corner where its slope goes from nine tenths to one tenth over no more of x."""


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
    ends: bool = False
    """It turns at 0 and at 1, over as much as the exponential of the first two of its shape."""


def _expit(z: Array) -> Array:
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * z))


_FAR, _FINE = 9.0, 6000
_NODES = np.linspace(-_FAR, _FAR, _FINE + 1)
_BELOW = np.array([0.5 * math.erfc(-node * math.sqrt(0.5)) for node in _NODES])
_SLOPE = np.exp(-0.5 * _NODES**2) / math.sqrt(2.0 * math.pi) * (2.0 * _FAR / _FINE)


def _normal(z: Array, _: Array) -> Array:
    """The normal distribution, to 1e-12: cubics between the values of a table."""
    at = np.clip((z + _FAR) * (_FINE / (2.0 * _FAR)), 0.0, _FINE - 1e-9)
    k = at.astype(np.intp)
    f = at - k
    rise = _BELOW[k + 1] - _BELOW[k]
    bend = (1.0 - f) * (_SLOPE[k] - rise) - f * (_SLOPE[k + 1] - rise)
    return np.asarray(_BELOW[k] + f * (rise + (1.0 - f) * bend))


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
    share = _expit(shape[0])
    second = _expit((z - np.exp(shape[1])) * np.exp(-shape[2]))
    return np.asarray(share * _expit(z) + (1.0 - share) * second)


def _hyperbola(z: Array) -> Array:
    return np.asarray(0.5 * (z + np.hypot(z, 1.0)))


def _turning(
    below: Callable[[Array], Array], above: Callable[[Array], Array]
) -> Callable[[Array, Array], Array]:
    """A line that sags or bulges, and turns level along these at its ends, as suddenly as it likes.

    Along a hyperbola an end lingers.  Points that stop soon after the bend cannot tell it from an
    end that is reached, nor does one end tell how the other turns: so each is likely beforehand."""
    def rise(z: Array, shape: Array) -> Array:
        toe, shoulder = np.exp(shape[0]), np.exp(shape[1])
        left = shoulder * above((1.0 - toe * below(z / toe)) / shoulder)
        risen = 1.0 - left / (shoulder * above(1.0 / shoulder))
        return np.asarray(risen + np.tanh(shape[2]) * risen * (1.0 - risen))
    return rise


_cornered = _turning(_softplus, _softplus)


def _algebraic(z: Array, shape: Array) -> Array:
    """z / (1 + abs(z)**m)**(1/m): its ends are reached as a power, more slowly than all others."""
    m = np.exp(shape[0])
    size = np.maximum(np.abs(z), 1e-9)
    return np.asarray(0.5 + 0.5 * np.sign(z) * np.exp(-np.log1p(size**-m) / m))


FAMILIES = (
    Family("logistic", lambda z, _: _expit(z)),
    Family("normal", _normal, width=0.45),
    Family("early", lambda z, _: np.exp(-np.exp(-np.clip(z, -50.0, 50.0))), width=0.35),
    Family("late", lambda z, _: -np.expm1(-np.exp(np.clip(z, -50.0, 50.0))), width=0.35),
    Family("richards", _richards, (0.0,), (0.8,)),
    Family("straight", _straight, (-2.1, -2.1), (0.5, 0.5), width=1.2, ends=True),
    Family("two layers", _two_layers, (1.2, 0.6, 0.5), (0.8, 0.5, 0.4), width=0.2,
           share=0.3),
    Family("algebraic", _algebraic, (0.9,), (0.4,), width=0.5, share=0.1),
    Family("corners", _cornered, (-4.4, -4.4, 0.0), (0.8, 0.8, 0.4), width=1.0, share=0.3,
           ends=True),
    Family("corner above", _cornered, (-1.6, -4.4, 0.0), (0.5, 0.8, 0.4), width=1.0, share=0.3,
           ends=True),
    Family("corner below", _cornered, (-4.4, -1.6, 0.0), (0.8, 0.5, 0.4), width=1.0, share=0.3,
           ends=True),
    Family("hyperbolic", _turning(_hyperbola, _hyperbola), (-2.0, -2.0, 0.0), (0.6, 0.6, 0.4),
           width=1.0, share=0.3, ends=True),
    Family("lingering above", _turning(_softplus, _hyperbola), (-2.0, -2.0, 0.0), (0.6, 0.6, 0.4),
           width=1.0, ends=True),
)


@dataclass(frozen=True, eq=False)
class RiseData:
    """Points on a rising curve: ``x``, ``y`` and relative ``sd``, shape (n,), and the noise."""

    x: Array
    y: Array
    sd: Array
    top: tuple[float, float]
    """What its upper level is expected to be, and the standard deviation of that."""

    @cached_property
    def rough(self) -> tuple[float, float, float]:
        """Lower level, height and middle as the points themselves show them."""
        low, height, (_, middle, _) = self._risen
        return low, height, middle

    @cached_property
    def reach(self) -> float:
        """Over which a departure keeps its sign."""
        start, _, end = self._risen[2]
        return min(REACH, REACH_SHARE * max(end - start, 0.1))

    @cached_property
    def _risen(self) -> tuple[float, float, tuple[float, float, float]]:
        """Lower level, height, and where a tenth, half and nine tenths of it are reached."""
        low, high = np.quantile(self.y, [0.02, 0.98])
        height = max(float(high - low), 1e-3)
        order = np.argsort(self.x)
        risen = np.maximum.accumulate((self.y[order] - low) / height)
        start, middle, end = np.interp([0.1, 0.5, 0.9], risen, self.x[order]).tolist()
        return float(low), height, (start, middle, end)


@dataclass(frozen=True, eq=False)
class Rises:
    """Curves that may lie behind the points, each as likely as the other."""

    curves: Array
    """Shape (count, m), each row non-decreasing."""
    lower_corner: Array
    """Where each curve leaves its lower level at a corner, shape (count,); NaN: at none."""
    upper_corner: Array
    """The same where it comes to its upper level."""


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

    def modes(self, x: Array, waves: Array) -> Array:
        """Shape (n, k): a departure is a sum of them, with standard normal amplitudes."""
        return self.departure * _steepness(self.family, self.plain, x)[:, None] * waves

    def corners(self, parameters: Array) -> tuple[Array, Array]:
        """Lower and upper corner of curves of these parameters, shape (count, p)."""
        if not self.family.ends:
            none = np.full(len(parameters), np.nan)
            return none, none
        middle, width = parameters[:, 2], np.exp(parameters[:, 3])
        turn = 2.0 * math.log(9.0) * width[:, None] * np.exp(parameters[:, 4:6])
        places = np.stack([middle, middle + width], axis=1)
        lower, upper = np.where(turn <= CORNER, places, np.nan).T
        return lower, upper


@one_blas_thread
def sample_rises(
    x: ArrayLike, y: ArrayLike, sd: ArrayLike, nodes: ArrayLike, top: tuple[float, float],
    count: int = 800,
) -> Rises:
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
    """
    places, values, spread = (np.asarray(a, dtype=np.float64) for a in (x, y, sd))
    data = RiseData(places, values, spread, top)
    grid = np.asarray(nodes, dtype=np.float64)
    waves = _waves(places, grid, data.reach)
    members: list[_Member] = []
    for family in FAMILIES:
        plain = _fit(data, family, 0.0, None, waves[0])
        if plain is not None:
            members.append(plain)
            bent = (_fit(data, family, d, plain.parameters, waves[0]) for d in DEPARTURES if d)
            members += [m for m in bent if m is not None]
    evidence = np.array([m.log_evidence for m in members])
    share = np.exp(evidence - evidence.max())
    share /= share.sum()
    # whole numbers of curves for each member, without chance in how many
    wanted = np.diff(np.round(np.concatenate([[0.0], np.cumsum(share)]) * count)).astype(int)
    rng = np.random.default_rng(0)
    drawn = [_draw(data, m, (grid, *waves), int(k), rng)
             for m, k in zip(members, wanted, strict=True) if k]
    return Rises(np.maximum.accumulate(np.concatenate([d.curves for d in drawn]), axis=1),
                 np.concatenate([d.lower_corner for d in drawn]),
                 np.concatenate([d.upper_corner for d in drawn]))


def _curve(family: Family, parameters: Array, x: Array) -> Array:
    """Curves of parameters of shape (p,) or (k, p), at places (n,): (n,) or (k, n)."""
    floor, height, middle, log_width, *shape = parameters.T[..., None]
    return np.asarray(
        floor + height * family.rise((x - middle) * np.exp(-log_width), np.array(shape)))


def _waves(data: Array, grid: Array, reach: float) -> tuple[Array, Array]:
    """Columns at data and grid whose sums with standard normal amplitudes have the
    squared-exponential covariance of that reach."""
    both = np.concatenate([data, grid])
    knots = np.arange(both.min() - reach, both.max() + 1.5 * reach, 0.5 * reach)

    def alike(a: Array) -> Array:
        return np.exp(-0.5 * ((a[:, None] - knots[None, :]) / reach) ** 2)

    size, axes = np.linalg.eigh(alike(knots))
    kept = size > 1e-10 * size[-1]
    root = axes[:, kept] / np.sqrt(size[kept])
    return alike(data) @ root, alike(grid) @ root


def _steepness(family: Family, parameters: Array, x: Array) -> Array:
    """Slope over the largest slope, 0 to 1."""
    step = 0.01 * np.exp(parameters[3])

    def slope(at: Array) -> Array:
        return _curve(family, parameters, at + step) - _curve(family, parameters, at - step)

    around = parameters[2] + np.exp(parameters[3]) * np.linspace(-5.0, 5.0, 201)
    largest = float(slope(around).max())
    return np.asarray(slope(x) / largest) if largest > 0.0 else np.zeros_like(x)


def _fit(
    data: RiseData, family: Family, departure: float, plain: Array | None, waves: Array
) -> _Member | None:
    """Most likely parameters and the evidence, by Laplace's approximation."""
    low, height, half_way = data.rough
    expected = np.array([low, height, half_way, np.log(family.width), *family.shape_mean])
    loose = np.array([0.3 * height, max(height, data.top[1]), 3.0, 0.7, *family.shape_sd])
    covariance = np.diag(data.sd**2)
    if plain is not None:
        modes = (departure * height) * _steepness(family, plain, data.x)[:, None] * waves
        covariance += modes @ modes.T
    try:
        root = np.linalg.cholesky(covariance)
        whiten = np.linalg.inv(root)
    except np.linalg.LinAlgError:  # noise too uneven for this departure: the others remain
        return None

    def misfit(parameters: Array) -> Array:
        residual = (data.y - _curve(family, parameters, data.x)) @ whiten.T
        top = (parameters[:, 0] + parameters[:, 1] - data.top[0]) / data.top[1]
        return np.hstack([residual, (parameters - expected) / loose, top[:, None]])

    start = expected.copy() if plain is None else plain
    if plain is None and family.ends:
        start[2] -= 0.5 * family.width
    span = np.array([2.0, 3.0, 4.0, 5.0, *np.full(len(family.shape_mean), 4.0)]) * loose
    try:
        best, slopes, cost = minimise(misfit, start, loose, (expected - span, expected + span))
        precision = np.linalg.cholesky(slopes.T @ slopes)
        inverse = np.linalg.inv(precision)
    except np.linalg.LinAlgError:
        return None
    evidence = math.log(family.share) - cost - float(np.sum(np.log(np.diag(root))))
    evidence -= float(np.sum(np.log(loose)))
    evidence -= float(np.sum(np.log(np.diag(precision))))
    return _Member(family, evidence, best, inverse.T @ inverse, departure * height,
                   best if plain is None else plain)


def _draw(
    data: RiseData, member: _Member, where: tuple[Array, Array, Array], count: int,
    rng: np.random.Generator,
) -> Rises:
    """Curves of one member: its parameters' spread, its departure, and what that leaves open."""
    root = np.linalg.cholesky(member.covariance + 1e-12 * np.eye(member.parameters.size))
    spread = rng.standard_normal((count, member.parameters.size)) @ root.T
    chosen = member.parameters + spread
    grid, data_waves, grid_waves = where
    curves = _curve(member.family, chosen, grid)
    if member.departure > 0.0:
        modes = member.modes(data.x, data_waves) / data.sd[:, None]
        left = (data.y - _curve(member.family, chosen, data.x)) / data.sd
        known = np.linalg.cholesky(np.eye(modes.shape[1]) + modes.T @ modes)
        # amplitudes: what the points say of them, and what they leave open
        inverse = np.linalg.inv(known)
        amplitudes = ((left @ modes) @ inverse.T
                      + rng.standard_normal((count, modes.shape[1]))) @ inverse
        curves += amplitudes @ member.modes(grid, grid_waves).T
    return Rises(curves, *member.corners(chosen))

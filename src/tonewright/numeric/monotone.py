"""A smooth non-decreasing curve through noisy points, with its band.

A penalised cubic B-spline (Eilers and Marx 1996, "Flexible smoothing with B-splines and
penalties", Statistical Science 11:89).  The amount of smoothing is chosen by restricted maximum
likelihood (Wood 2011, JRSS-B 73:3); the band is the Bayesian one of Wahba 1983 and Nychka 1988,
averaged over the amounts of smoothing that the data leave possible.  Coefficients that do not
decrease make a curve that does not decrease.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tonewright.numeric.splines import cubic_design
from tonewright.numeric.student import student_quantile
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

INTERVALS = 24
DEGREE = 3
CHOSEN_FROM_DATA = 1.05
"""How much wider a band must be because the pilot is drawn from the same points: without it the
95 % band holds the truth 93 to 95 times in 100 (measured in simulations)."""
_LOG_SMOOTHING = np.linspace(-5.0, 9.0, 57)
LEAST_SHARE = 1e-3
"""Less likely amounts of smoothing are left out of the average."""
_UNEVENNESS = (0.5, 1.0)
"""How strongly the penalty follows the pilot's own roughness: a plateau stays flat and a
corner stays a corner when the smoothing may differ along the curve."""


@dataclass(frozen=True)
class SmoothSettings:
    """How a curve is smoothed.

    order:
        The difference that is penalised: 3 leaves a parabola free, 2 a straight line.
    smoothing:
        Fixed amount, or None to choose it from the data.
    monotone:
        False leaves the curve free to fall, to see whether it wants to.
    noise_floor:
        Smallest noise (in units of ``sd``) the fit may find, so that data without any noise
        do not end in a division by zero.
    prior_dof:
        How many readings' worth of belief the given ``sd`` deserve as they stand; 0: only
        their ratios are used and their size comes from the data.
    bounds:
        What a monotone curve lies between; None: no bounds.
    """

    order: int = 3
    smoothing: float | None = None
    monotone: bool = True
    noise_floor: float = 1e-6
    prior_dof: float = 0.0
    bounds: tuple[float, float] | None = None


@dataclass(frozen=True)
class SmoothFit:
    """A fitted curve.

    ``grid``, ``value``, ``free`` and ``sd`` have the shape of the grid asked for; ``value`` is
    the monotone curve, ``free`` the curve without that constraint and ``sd`` its standard
    deviation.  ``fitted`` and ``leverage`` belong to the data points.  ``noise`` is in units of
    the given ``sd``; ``effective_dof`` counts the curve's own parameters, ``residual_dof`` what
    the data leave for the noise.
    """

    grid: Array
    value: Array
    free: Array
    sd: Array
    covariance: Array
    """Of ``free``, shape (grid, grid)."""
    fitted: Array
    leverage: Array
    noise: float
    effective_dof: float
    residual_dof: float
    score: float
    """-2 log restricted likelihood of the best amount of smoothing, for comparing fits of the
    same number of points."""

    def band(self, coverage: float = 0.95, extra_sd: ArrayLike = 0.0) -> tuple[Array, Array]:
        """Lower and upper edge, both non-decreasing, holding the curve with that probability.

        A non-decreasing curve inside the band also lies above every earlier lower edge and
        below every later upper edge, so both edges are made non-decreasing without loss.
        ``extra_sd`` (a number or the grid's shape) is added in squares.
        """
        factor = student_quantile(0.5 + coverage / 2.0, max(self.residual_dof, 1.0))
        half = factor * np.sqrt(self.sd**2 + np.asarray(extra_sd, dtype=np.float64) ** 2)
        low = np.minimum(np.maximum.accumulate(self.free - half), self.value)
        high = np.maximum(np.minimum.accumulate((self.free + half)[::-1])[::-1], self.value)
        return low, high


@dataclass(frozen=True)
class _Basis:
    """The spline basis and the penalty, on 0 to 1."""

    data: Array
    grid: Array
    difference: Array


@dataclass(frozen=True)
class _Candidate:
    """One amount of smoothing: its score, coefficients and covariance."""

    score: float
    coefficients: Array
    precision: Array
    noise_squared: float


@one_blas_thread
def fit_smooth(
    x: ArrayLike, y: ArrayLike, sd: ArrayLike, grid: ArrayLike,
    settings: SmoothSettings | None = None,
) -> SmoothFit:
    """Smooth curve through points whose standard deviations are known up to a common factor.

    Parameters
    ----------
    x, y, sd:
        Shape (n,).  ``sd`` above 0; infinity leaves a point out.  Any units.
    grid:
        Shape (m,), increasing: where the curve is wanted; its ends are the ends of the curve
        and every ``x`` must lie between them.

    Raises
    ------
    ValueError
        Fewer points than the penalty leaves free, or a value that is not a number.
    """
    settings = settings or SmoothSettings()
    places, values, spread, nodes = (np.asarray(a, dtype=np.float64) for a in (x, y, sd, grid))
    usable = np.isfinite(spread)
    if usable.sum() <= settings.order or not np.all(np.isfinite(values + places)):
        raise ValueError("too few points, or a point that is not a number")
    basis = _make_basis(places, nodes, settings.order)
    weight = np.where(usable, 1.0 / spread**2, 0.0)
    candidates = _candidates(basis, values, weight, settings)
    return _assemble(basis, nodes, candidates, weight, settings)


@one_blas_thread
def deleted_deviations(
    x: ArrayLike, y: ArrayLike, sd: ArrayLike, order: int = 3
) -> tuple[Array, float]:
    """How far each point lies from the curve through the others, in its standard deviations.

    The studentised deleted residual (Belsley, Kuh and Welsch 1980), with the amount of
    smoothing chosen anew without the point: a gross error would otherwise buy itself a rougher
    curve to hide in.  Needs no refit: without point i the penalised misfit falls by
    ``r_i**2 / (1 - h_i)`` and the log determinant by ``-log(1 - h_i)``.

    Parameters
    ----------
    x, y, sd:
        Shape (n,), n above ``order + 1``; as in `fit_smooth`.

    Returns
    -------
    The deviations, shape (n,), signed, and the degrees of freedom they were judged with.
    """
    places, values, spread = (np.asarray(a, dtype=np.float64) for a in (x, y, sd))
    basis = _make_basis(places, np.array([places.min(), places.max()]), order)
    weight = 1.0 / spread**2
    dof = values.size - 1 - order
    spectrum = _spectrum(basis, weight)
    amounts = spectrum.scale * 10.0 ** _LOG_SMOOTHING[::2]
    misfit, residual = spectrum.misfits(basis, values, weight, amounts)
    squared = weight * residual**2
    lever = np.clip(weight * (1.0 / spectrum.sizes(amounts)
                              @ (basis.data @ spectrum.axes).T ** 2), 0.0, 0.999)
    noise2 = np.maximum((misfit[:, None] - squared / (1.0 - lever)) / dof, 1e-12)
    rest = spectrum.log_det(amounts) - basis.difference.shape[0] * np.log(amounts)
    best = np.argmin(dof * np.log(noise2) + np.log1p(-lever) + rest[:, None], axis=0)
    each = np.arange(values.size)
    deviations = np.sqrt(weight) * residual / np.sqrt(noise2 * (1.0 - lever))
    spent = lever.sum(axis=1)[best]
    return deviations[best, each], max(values.size - 1 - float(np.median(spent)), 1.0)


@one_blas_thread
def judge_smooth(
    x: ArrayLike, y: ArrayLike, sd: ArrayLike, noise_floor: float
) -> tuple[float, float]:
    """``noise`` and ``score`` of `fit_smooth` on the points' own span, without the curve itself,
    in a twentieth of its time.

    ``x``, ``y``, ``sd`` of shape (n,); ``noise_floor`` as in `SmoothSettings`.
    """
    places, values, spread = (np.asarray(a, dtype=np.float64) for a in (x, y, sd))
    settings = SmoothSettings(noise_floor=noise_floor)
    basis = _make_basis(places, np.array([places.min(), places.max()]), settings.order)
    weight = 1.0 / spread**2
    noise2, score, pilot = _scores(basis, values, weight, settings)
    found = [(noise2, score)]
    found += [_scores(uneven, values, weight, settings)[:2] for uneven in _uneven(basis, pilot)]
    noise2, score = (np.concatenate(each) for each in zip(*found, strict=True))
    share = np.exp(-0.5 * (score - score.min()))
    share *= share / share.sum() > LEAST_SHARE
    return float(np.sqrt(share @ noise2 / share.sum())), float(score.min())


def _scores(
    basis: _Basis, y: Array, weight: Array, settings: SmoothSettings
) -> tuple[Array, Array, Array]:
    """Noise variance and -2 log restricted likelihood at each amount of smoothing, as in `_scan`,
    and the coefficients of the best."""
    spectrum = _spectrum(basis, weight)
    amounts = spectrum.scale * 10.0**_LOG_SMOOTHING
    misfit, _ = spectrum.misfits(basis, y, weight, amounts)
    dof = y.size - settings.order
    noise2 = np.maximum(misfit / dof, settings.noise_floor**2)
    rank = basis.difference.shape[0]
    log_det_penalty = float(np.linalg.slogdet(basis.difference @ basis.difference.T)[1])
    score = dof * np.log(noise2) + spectrum.log_det(amounts) - rank * np.log(amounts)
    best = amounts[[int(np.argmin(score))]]
    return noise2, score - log_det_penalty, spectrum.coefficients(basis, y, weight, best)[0]


@dataclass(frozen=True)
class _Spectrum:
    """Data and penalty diagonal at once (Demmler and Reinsch 1975), for all amounts together.

    The precision at an amount ``a`` is ``inv(axes).T @ diag(sizes(a)) @ inv(axes)``.
    """

    axes: Array
    share: Array
    pivot: float
    scale: float
    log_det_pivot: float

    def sizes(self, amounts: Array) -> Array:
        """Shape (amounts, coefficients)."""
        return np.maximum(1.0 + (amounts - self.pivot)[:, None] * self.share, 1e-14)

    def log_det(self, amounts: Array) -> Array:
        """Of the precision at each amount."""
        return np.asarray(self.log_det_pivot + np.sum(np.log(self.sizes(amounts)), axis=1))

    def coefficients(self, basis: _Basis, y: Array, weight: Array, amounts: Array) -> Array:
        """Shape (amounts, coefficients)."""
        moment = self.axes.T @ (basis.data.T @ (weight * y))
        return np.asarray((moment / self.sizes(amounts)) @ self.axes.T)

    def misfits(
        self, basis: _Basis, y: Array, weight: Array, amounts: Array
    ) -> tuple[Array, Array]:
        """Penalised misfit, shape (amounts,), and residuals, shape (amounts, n)."""
        found = self.coefficients(basis, y, weight, amounts)
        residual = y - found @ basis.data.T
        bends = np.sum((found @ basis.difference.T) ** 2, axis=1)
        return residual**2 @ weight + amounts * bends, residual


def _spectrum(basis: _Basis, weight: Array) -> _Spectrum:
    gram = basis.data.T @ (weight[:, None] * basis.data)
    penalty = basis.difference.T @ basis.difference
    scale = float(np.trace(gram)) / gram.shape[0]
    pivot = scale * 100.0
    precision, _ = _rooted((gram + pivot * penalty)[None], scale, np.array([pivot]))
    root = np.linalg.cholesky(precision[0])
    inverse = np.linalg.inv(root)
    share, axes = np.linalg.eigh(inverse @ penalty @ inverse.T)
    return _Spectrum(inverse.T @ axes, np.maximum(share, 0.0), pivot, scale,
                     2.0 * float(np.sum(np.log(np.diag(root)))))


def _make_basis(x: Array, grid: Array, order: int) -> _Basis:
    span = grid[-1] - grid[0]

    def design(at: Array) -> Array:
        return cubic_design(np.clip((at - grid[0]) / span, 0.0, 1.0), INTERVALS)

    difference = np.diff(np.eye(INTERVALS + DEGREE), order, axis=0)
    return _Basis(design(x), design(grid), difference)


def _candidates(
    basis: _Basis, y: Array, weight: Array, settings: SmoothSettings
) -> list[_Candidate]:
    """Every amount of smoothing worth weighing, even along the curve and following a pilot."""
    if settings.smoothing is not None:
        return _scan(basis, y, weight, settings, np.array([np.log10(settings.smoothing)]))
    even = _scan(basis, y, weight, settings, _LOG_SMOOTHING)
    pilot = min(even, key=lambda c: c.score)
    everything = list(even)
    for uneven in _uneven(basis, pilot.coefficients):
        everything += _scan(uneven, y, weight, settings, _LOG_SMOOTHING)
    return everything


def _uneven(basis: _Basis, pilot: Array) -> list[_Basis]:
    """Penalties that follow a pilot's own roughness."""
    rough = _local_mean((basis.difference @ pilot) ** 2)
    rough = rough + 0.3 * rough.mean() + 1e-12
    found = []
    for power in _UNEVENNESS:
        stiffness = rough**-power
        stiffness /= np.exp(np.mean(np.log(stiffness)))
        bent = np.sqrt(stiffness)[:, None] * basis.difference
        found.append(_Basis(basis.data, basis.grid, bent))
    return found


def _local_mean(values: Array, width: float = 2.0) -> Array:
    """Gaussian-weighted mean of the neighbours, ends renormalised."""
    place = np.arange(values.size)
    kernel = np.exp(-0.5 * ((place[:, None] - place[None, :]) / width) ** 2)
    return np.asarray(kernel @ values / kernel.sum(axis=1))


def _scan(
    basis: _Basis, y: Array, weight: Array, settings: SmoothSettings, log_amounts: Array
) -> list[_Candidate]:
    """Fit at each amount of smoothing; score is -2 log restricted likelihood (Wood 2011)."""
    size = basis.data.shape[1]
    rank = basis.difference.shape[0]
    penalty = basis.difference.T @ basis.difference
    log_det_penalty = float(np.linalg.slogdet(basis.difference @ basis.difference.T)[1])
    gram = basis.data.T @ (weight[:, None] * basis.data)
    moment = basis.data.T @ (weight * y)
    scale = float(np.trace(gram)) / size
    free_dof = np.count_nonzero(weight) - settings.order + settings.prior_dof
    amounts = np.array([scale * 10.0**log_amount for log_amount in log_amounts])
    precision = gram + amounts[:, None, None] * penalty
    precision, root = _rooted(precision, scale, amounts)
    columns = np.linalg.solve(precision, moment[:, None])
    misfit = np.sum(weight * (y - (basis.data @ columns)[:, :, 0]) ** 2, axis=1)
    misfit += amounts * np.sum((basis.difference @ columns)[:, :, 0] ** 2, axis=1)
    noise2 = np.maximum((misfit + settings.prior_dof) / free_dof, settings.noise_floor**2)
    score = free_dof * np.log(noise2) + 2.0 * np.sum(np.log(root), axis=1)
    score -= rank * np.log(amounts) + log_det_penalty
    return [_Candidate(*each) for each in zip(
        score.tolist(), columns[:, :, 0], precision, noise2.tolist(), strict=True)]


def _rooted(precision: Array, scale: float, amounts: Array) -> tuple[Array, Array]:
    """Matrices, shape (amounts, n, n), with enough on the diagonal to have a Cholesky root, and
    its own diagonal.

    Much smoothing beside weight that lies nearly all in one place leaves no root but for rounding:
    then the ridge grows with the amount.
    """
    eye = np.eye(precision.shape[-1])
    for share in (0.0, 1e-13, 1e-11, 1e-9, 1e-7):
        ridged = precision + (1e-10 * scale + share * amounts)[:, None, None] * eye
        with contextlib.suppress(np.linalg.LinAlgError):
            return ridged, np.diagonal(np.linalg.cholesky(ridged), axis1=1, axis2=2)
    raise ValueError("the points' weights are too unlike for one curve")


def _assemble(
    basis: _Basis, grid: Array, candidates: list[_Candidate], weight: Array,
    settings: SmoothSettings,
) -> SmoothFit:
    """Average over the candidates by their likelihood; the curve is the rising one nearest to
    that mean, in the metric of its own covariance."""
    best = min(candidates, key=lambda c: c.score)
    likelihood = np.exp(-0.5 * np.array([c.score - best.score for c in candidates]))
    likelihood /= likelihood.sum()
    kept = [(c, p) for c, p in zip(candidates, likelihood, strict=True) if p > LEAST_SHARE]
    total = sum(p for _, p in kept)
    mean = sum(p * c.coefficients for c, p in kept) / total
    spread = np.zeros((mean.size, mean.size))
    edf = noise2 = 0.0
    data_gram = basis.data.T @ (weight[:, None] * basis.data)
    for c, p in kept:
        inverse = np.linalg.inv(c.precision)
        shift = c.coefficients - mean
        spread += p / total * (c.noise_squared * inverse + np.outer(shift, shift))
        edf += p / total * float(np.sum(inverse * data_gram))
        noise2 += p / total * c.noise_squared
    if settings.smoothing is None:
        spread *= CHOSEN_FROM_DATA**2
    inverse = np.linalg.inv(best.precision)
    leverage = weight * np.einsum("ij,jk,ik->i", basis.data, inverse, basis.data)
    shape = nearest_rising(mean, _precision(spread), settings.bounds) if settings.monotone else mean
    covariance = basis.grid @ spread @ basis.grid.T
    value = basis.grid @ shape
    return SmoothFit(
        grid=grid, value=np.maximum.accumulate(value) if settings.monotone else value,
        free=basis.grid @ mean, sd=np.sqrt(np.maximum(np.diag(covariance), 0.0)),
        covariance=covariance, fitted=basis.data @ shape, leverage=np.clip(leverage, 0.0, 0.999),
        noise=float(np.sqrt(noise2)), effective_dof=edf,
        residual_dof=np.count_nonzero(weight) - edf + settings.prior_dof, score=best.score,
    )


def _precision(covariance: Array) -> Array:
    """The inverse of a covariance, with enough on its diagonal to have one."""
    ridge = 1e-10 * float(np.trace(covariance)) / covariance.shape[0]
    inverse = np.linalg.inv(covariance + ridge * np.eye(covariance.shape[0]))
    return np.asarray((inverse + inverse.T) / 2.0)


def nearest_rising(
    values: ArrayLike, precision: ArrayLike, bounds: tuple[float, float] | None = None
) -> Array:
    """The non-decreasing sequence nearest to ``values`` in the metric of ``precision``.

    A bounded least squares: a free start plus non-negative steps, the start written as a
    difference of two non-negative numbers so that every unknown has the same bound.  With the
    identity as metric this is isotonic regression (Barlow et al. 1972).

    Parameters
    ----------
    values, precision:
        Shapes (p,) and (p, p), the second positive definite.
    bounds:
        What every value lies between; None: no bounds.
    """
    from scipy.optimize import nnls  # costs half a second to load, and a strip needs none

    root = np.linalg.cholesky(np.asarray(precision, dtype=np.float64)).T
    steps = root @ np.tril(np.ones_like(root))
    answer, _ = nnls(np.hstack([steps, -steps[:, :1]]), root @ np.asarray(values),
                     maxiter=100 * root.shape[0])
    start = answer[0] - answer[-1]
    rising = np.asarray(start + np.concatenate([[0.0], np.cumsum(answer[1:-1])]))
    if bounds is None or (rising[0] >= bounds[0] and rising[-1] <= bounds[1]):
        return rising
    # from the lower bound up: the steps and what is left to the upper bound make their distance
    low, high = bounds
    goal = root @ (np.asarray(values) - low)
    weight = 1e3 * float(np.abs(steps).max())
    rows = np.block([[steps, np.zeros((root.shape[0], 1))],
                     [np.full((1, root.shape[0] + 1), weight)]])
    answer, _ = nnls(rows, np.append(goal, weight * (high - low)), maxiter=100 * root.shape[0])
    return np.asarray(np.clip(low + np.cumsum(answer[:-1]), low, high))

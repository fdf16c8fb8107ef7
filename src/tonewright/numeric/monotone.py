"""A smooth non-decreasing curve through noisy points, with its band.

A penalised cubic B-spline (Eilers and Marx 1996, "Flexible smoothing with B-splines and
penalties", Statistical Science 11:89).  The amount of smoothing is chosen by restricted maximum
likelihood (Wood 2011, JRSS-B 73:3); the band is the Bayesian one of Wahba 1983 and Nychka 1988,
averaged over the amounts of smoothing, and where asked for over the corners (`corners`), that the
data leave possible.  The curve is the non-decreasing one nearest to that average.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.numeric.corners import Candidate, Judge, Ramps, Smooth, make_ramps, with_corners
from tonewright.numeric.rising import rising_band, rising_curve
from tonewright.numeric.splines import cubic_design
from tonewright.numeric.student import student_quantile
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

INTERVALS = 24
DEGREE = 3
SHARP, PLAINLY = 0.05, 0.9
"""Corners that are rounded over less of the whole, and surer than this, are told of."""
CHOSEN_FROM_DATA = 1.05
"""How much wider a band must be because the pilot is drawn from the same points: without it the
95 % band holds the truth 93 to 95 times in 100 (measured in simulations)."""
CORNER_FROM_DATA = 0.1
"""How much wider still where there surely is a corner: no real one is quite a ramp."""
_LOG_SMOOTHING = np.linspace(-5.0, 9.0, 57)
_WITH_CORNERS = slice(16, None, 4)
"""The amounts that are tried with corners too: a curve with a corner is smooth elsewhere."""
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
    corners: bool = False
    """Whether the curve may bend sharply near either end; see `corners`."""


@dataclass(frozen=True)
class Corner:
    """Where a curve bends sharply."""

    place: float
    probability: float


@dataclass(frozen=True)
class SmoothFit:
    """A fitted curve.

    ``grid``, ``value``, ``free`` and ``sd`` have the shape of the grid asked for; ``value`` is
    the monotone curve, ``free`` the curve without that constraint and ``sd`` its standard
    deviation.  ``fitted`` and ``leverage`` belong to the data points.  ``noise`` is in units of
    the given ``sd``; ``residual_dof`` is what the data leave for it.
    """

    grid: Array
    value: Array
    free: Array
    sd: Array
    design: Array
    spread: Array
    """``free`` is ``design`` (grid, p) times coefficients of this covariance (p, p)."""
    fitted: Array
    leverage: Array
    noise: float
    residual_dof: float
    score: float
    """-2 log restricted likelihood of the best amount of smoothing, for comparing fits of the
    same number of points."""
    corners: tuple[Corner | None, Corner | None] = (None, None)
    """Near the lower and the upper end, where it is likely enough."""

    @cached_property
    def covariance(self) -> Array:
        """Of ``free``, shape (grid, grid)."""
        return np.asarray(self.design @ self.spread @ self.design.T)

    def band(self, coverage: float = 0.95, extra_sd: ArrayLike = 0.0) -> tuple[Array, Array]:
        """Lower and upper edge, both non-decreasing, holding the curve with that probability.

        ``extra_sd`` (a number or the grid's shape) is added in squares.
        """
        factor = student_quantile(0.5 + coverage / 2.0, max(self.residual_dof, 1.0))
        half = factor * np.sqrt(self.sd**2 + np.asarray(extra_sd, dtype=np.float64) ** 2)
        return rising_band(self.free - half, self.value, self.free + half)


@dataclass(frozen=True)
class _Basis:
    """The spline basis and the penalty, on 0 to 1, and the corners that may be added."""

    data: Array
    grid: Array
    difference: Array
    ramps: Ramps | None = None


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
    if settings.corners:
        basis = replace(basis, ramps=_ramps(*(
            ((a - nodes[0]) / (nodes[-1] - nodes[0])).tobytes() for a in (places, nodes))))
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


@lru_cache(maxsize=4)
def _ramps(data: bytes, grid: bytes) -> Ramps:
    """Ramps at the same places are wanted again and again."""
    return make_ramps(np.frombuffer(data), np.frombuffer(grid))


def _candidates(
    basis: _Basis, y: Array, weight: Array, settings: SmoothSettings
) -> list[Candidate]:
    """Every amount of smoothing worth weighing: even along the curve, with corners, and following a
    pilot."""
    if settings.smoothing is not None:
        return _scan(basis, y, weight, settings, np.array([np.log10(settings.smoothing)]))
    even = _scan(basis, y, weight, settings, _LOG_SMOOTHING)
    pilot = min(even, key=lambda c: c.score)
    everything = even + _with_corners(basis, y, weight, settings, even)
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
) -> list[Candidate]:
    """Fit at each amount of smoothing; score is -2 log restricted likelihood (Wood 2011)."""
    size = basis.data.shape[1]
    rank = basis.difference.shape[0]
    penalty = basis.difference.T @ basis.difference
    log_det_penalty = float(np.linalg.slogdet(basis.difference @ basis.difference.T)[1])
    gram = basis.data.T @ (weight[:, None] * basis.data)
    moment = basis.data.T @ (weight * y)
    scale = float(np.trace(gram)) / size
    judge = _judge(weight, settings)
    amounts = np.array([scale * 10.0**log_amount for log_amount in log_amounts])
    precision = gram + amounts[:, None, None] * penalty
    precision, root = _rooted(precision, scale, amounts)
    columns = np.linalg.solve(precision, moment[:, None])
    misfit = np.sum(weight * (y - (basis.data @ columns)[:, :, 0]) ** 2, axis=1)
    misfit += amounts * np.sum((basis.difference @ columns)[:, :, 0] ** 2, axis=1)
    noise2 = judge.noise_squared(misfit)
    score = judge.free_dof * np.log(noise2) + 2.0 * np.sum(np.log(root), axis=1)
    score -= rank * np.log(amounts) + log_det_penalty
    return [Candidate(*each) for each in zip(
        score.tolist(), columns[:, :, 0], precision, noise2.tolist(), strict=True)]


def _judge(weight: Array, settings: SmoothSettings) -> Judge:
    return Judge(np.count_nonzero(weight) - settings.order + settings.prior_dof,
                 settings.prior_dof, settings.noise_floor)


def _with_corners(
    basis: _Basis, y: Array, weight: Array, settings: SmoothSettings, even: list[Candidate]
) -> list[Candidate]:
    """Candidates with corners, from those without."""
    if basis.ramps is None:
        return []
    some, judge = even[_WITH_CORNERS], _judge(weight, settings)
    scale = float(np.sum(weight[:, None] * basis.data**2)) / basis.data.shape[1]
    smooth = Smooth(
        basis.data, y, weight, basis.difference.T @ basis.difference,
        scale * 10.0**_LOG_SMOOTHING[_WITH_CORNERS],
        np.array([c.noise_squared for c in some]) * judge.free_dof - judge.prior_dof,
        np.array([c.score for c in some]))
    return with_corners(basis.ramps, smooth, judge)


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


@dataclass(frozen=True)
class _Average:
    """Candidates averaged by their likelihood: all their columns at the data and on the grid, mean
    and covariance of the coefficients."""

    data: Array
    grid: Array
    mean: Array
    spread: Array
    noise_squared: float
    effective_dof: float


def _assemble(
    basis: _Basis, grid: Array, candidates: list[Candidate], weight: Array,
    settings: SmoothSettings,
) -> SmoothFit:
    """Average over the candidates; the curve is the rising one nearest to the average."""
    best = min(candidates, key=lambda c: c.score)
    likelihood = np.exp(-0.5 * np.array([c.score - best.score for c in candidates]))
    # there are so many corners that even the likeliest has a small share
    likely = likelihood > LEAST_SHARE * (likelihood.sum() if basis.ramps is None
                                         else likelihood.max())
    kept = [c for c, p in zip(candidates, likely, strict=True) if p]
    share = likelihood[likely] / likelihood[likely].sum()
    mixed = _average(basis, kept, share, weight)
    cornered = float(sum(p for c, p in zip(kept, share, strict=True) if c.columns))
    spread = mixed.spread * (1.0 if settings.smoothing is not None
                             else (CHOSEN_FROM_DATA + CORNER_FROM_DATA * cornered) ** 2)
    shape = (rising_curve(mixed.mean, spread, mixed.grid, settings.bounds) if settings.monotone
             else mixed.mean)
    value = mixed.grid @ shape
    own = np.hstack([basis.data, *_columns(basis.ramps, "data", best.columns)])
    leverage = weight * np.einsum("ij,ji->i", own, np.linalg.solve(best.precision, own.T))
    return SmoothFit(
        grid=grid, value=np.maximum.accumulate(value) if settings.monotone else value,
        free=mixed.grid @ mixed.mean, sd=np.sqrt(np.maximum(
            np.einsum("ij,ij->i", mixed.grid @ spread, mixed.grid), 0.0)),
        design=mixed.grid, spread=spread, fitted=mixed.data @ shape,
        leverage=np.clip(leverage, 0.0, 0.999), noise=float(np.sqrt(mixed.noise_squared)),
        score=best.score,
        residual_dof=np.count_nonzero(weight) - mixed.effective_dof + settings.prior_dof,
        corners=_likely_corners(basis.ramps, grid, kept, share),
    )


def _columns(
    ramps: Ramps | None, where: Literal["data", "grid"], chosen: Sequence[int]
) -> list[Array]:
    return [] if ramps is None or not chosen else [getattr(ramps, where)[:, list(chosen)]]


def _average(basis: _Basis, kept: list[Candidate], share: Array, weight: Array) -> _Average:
    used = sorted({k for c in kept for k in c.columns})
    splines = basis.data.shape[1]
    data = np.hstack([basis.data, *_columns(basis.ramps, "data", used)])
    wide = np.hstack([basis.grid, *_columns(basis.ramps, "grid", used)])
    place = {k: splines + i for i, k in enumerate(used)}
    at = [[*range(splines), *(place[k] for k in c.columns)] for c in kept]
    every = np.zeros((len(kept), data.shape[1]))
    for row, c, where in zip(every, kept, at, strict=True):
        row[where] = c.coefficients
    mean = share @ every
    spread = (every - mean).T @ (share[:, None] * (every - mean))
    gram = data.T @ (weight[:, None] * data)
    noise2, edf = np.array([c.noise_squared for c in kept]), 0.0
    for size in {len(where) for where in at}:
        some = [i for i, where in enumerate(at) if len(where) == size]
        inverses = np.linalg.inv(np.stack([kept[i].precision for i in some]))
        columns = np.array([at[i] for i in some])
        cells = columns[:, :, None], columns[:, None, :]
        np.add.at(spread, cells, (share * noise2)[some][:, None, None] * inverses)
        edf += float(share[some] @ np.sum(inverses * gram[cells], axis=(1, 2)))
    return _Average(data, wide, mean, spread, float(share @ noise2), edf)


def _likely_corners(
    ramps: Ramps | None, grid: Array, kept: list[Candidate], share: Array
) -> tuple[Corner | None, Corner | None]:
    """The corner near either end, where one is likely enough."""
    if ramps is None:
        return None, None
    ends: list[Corner | None] = []
    for upper in (False, True):
        found = [(ramps.place[k], p) for c, p in zip(kept, share, strict=True) for k in c.columns
                 if (k >= ramps.half) is upper and ramps.width[k] <= SHARP]
        likely = float(sum(p for _, p in found))
        place = float(sum(at * p for at, p in found)) / max(likely, 1e-12)
        ends.append(Corner(float(grid[0] + place * (grid[-1] - grid[0])), round(likely, 3))
                    if likely > PLAINLY else None)
    return ends[0], ends[1]

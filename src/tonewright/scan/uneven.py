"""Unevenness of lamp, coating and scanner across one print, from patches that should be equal.

Patches of the same ink level differ by noise and by where they lie.  Two smooth fields explain the
latter: one that adds to the density everywhere (the scanner's lamp), one that shifts the exposure
(lamp and coating of the print) and so acts in the middle tones alone.  Both are Gaussian random
fields whose size and smoothness are those that make the differences likeliest (restricted maximum
likelihood, Patterson and Thompson 1971; the prediction is Henderson's, 1975).  Where repeats say
nothing, the prediction is 0 and nothing is corrected.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.numeric.robust import expected_at, median_among_neighbours, robust_spread
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

_GAIN = 8.0
"""Twice the gain in log likelihood that a field must bring to be believed."""
_SIZES = (0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
"""Variances of a field tried, against that of the noise."""
_LENGTHS = (0.45, 0.8, 1.5)
"""Smoothness tried, against the diagonal of the sheet."""
_GROSS = 4.5
"""Standard deviations from its like beyond which a patch is set aside."""
_LEAST_OFF = 0.03
"""Density by which it must be off as well."""
_FIRST_LOOK, _FIRST_OFF = 6.0, 0.08
"""The same for the first look, which knows of no field yet."""
_STREAKS = (0.0, 3.0, 10.0, 30.0)
"""Variances tried of strokes too fine to be a field, in middle tones, against that of the noise."""
_LEAST = 6
"""Comparisons between like patches below which nothing is estimated."""


@dataclass(frozen=True, eq=False)
class Unevenness:
    """What place does to the patches of a sheet; arrays of shape (n,), densities."""

    shift: Array
    """Added to each patch by its place; subtract it."""
    shift_sd: Array
    """How well that is known."""
    scatter: Array
    """Of each patch against its like, unevenness aside: strokes of the brush move the middle tones
    most; 0: not known."""
    off: Array
    """How far each patch lies from what its like and its place say; NaN if it has no like."""
    gross: NDArray[np.bool_]
    """Further off than chance allows."""
    known: bool
    """True: some field was found; False: no correction."""

    @property
    def span(self) -> float:
        """Largest less smallest shift."""
        return float(np.ptp(self.shift)) if self.shift.size else 0.0


@dataclass(frozen=True, eq=False)
class _Problem:
    """The patches that have their like, as an array problem."""

    density: Array
    noise: Array
    """Relative variance of each patch's noise."""
    like: Array
    """One column for each group of like patches, 1 where a patch belongs to it."""
    distance: Array
    """Between patches, against the diagonal, squared."""
    midtone: Array
    """How much a shift of exposure moves each patch, 0 to 1."""


@one_blas_thread
def find_unevenness(
    level: Array, density: Array, density_sd: Array, centres: Array, sound: NDArray[np.bool_]
) -> Unevenness:
    """Estimate unevenness, as far as repeated ink levels, shape (n,), show it.

    ``density`` and ``density_sd`` are as scanned, and the scatter of each on its own, shape (n,),
    NaN where not known; ``centres`` the places of the patches, mm, shape (n, 2).  A patch that is
    not ``sound`` carries a scratch or a stain, and others are not judged by it.
    """
    n = level.size
    kept = np.isfinite(density) & sound
    gross = np.zeros(n, dtype=np.bool_)
    off = np.full(n, np.nan)
    nothing = Unevenness(np.zeros(n), np.zeros(n), np.zeros(n), off, gross, False)
    problem, used = _problem(level, density, density_sd, centres, kept)
    if problem is None:
        return nothing
    # stains go first, or they would hide a field, or bend it to explain them
    suspects = used[_suspects(problem, centres[used])]
    gross[_the_guilty(suspects, level, density, kept)] = True
    for _ in range(8):
        problem, used = _problem(level, density, density_sd, centres, kept & ~gross)
        if problem is None:
            return nothing
        fields = _likeliest(problem)
        solved = _solve(problem, fields)
        off[used] = solved.off
        size = np.abs(solved.off) / solved.off_sd
        # the worst of each round only: a stained patch makes its clean twin look bad as well
        bad = (size > _GROSS) & (np.abs(solved.off) > _LEAST_OFF)
        if not bad.any():
            break
        worst = used[bad & (size > 0.8 * size[bad].max())]
        gross[_the_guilty(worst, level, density, kept & ~gross)] = True
    assert problem is not None  # the loop ran at least once
    shift, shift_sd = _predict(problem, fields, solved, density, centres, centres[used])
    scatter, seen = np.zeros(n), np.isfinite(density)
    mid = _midtone(density[seen], density[seen])
    scatter[seen] = np.sqrt(solved.variance * (1.0 + fields.streaks * mid**2))
    apart = seen & (~sound | gross)
    off[apart] = _off_unused(level, density - shift, kept & ~gross, apart)
    far = np.abs(off) > np.maximum(_GROSS * scatter, _LEAST_OFF)
    gross = np.where(apart, far, gross)  # also: those set aside by a first look only
    return Unevenness(shift, shift_sd, scatter, off, gross,
                      fields.size_add + fields.size_exposure > 0.0)


def _problem(
    level: Array, density: Array, density_sd: Array, centres: Array, kept: NDArray[np.bool_]
) -> tuple[_Problem | None, NDArray[np.intp]]:
    """The patches with their like among those kept, or None if there are too few."""
    _, group, count = np.unique(np.round(level, 6)[kept], return_inverse=True,
                                     return_counts=True)
    used = np.flatnonzero(kept)[count[group] > 1]
    if used.size - np.sum(count > 1) < _LEAST:
        return None, used
    _, group = np.unique(group[count[group] > 1], return_inverse=True)
    like = np.zeros((used.size, group.max() + 1))
    like[np.arange(used.size), group] = 1.0
    # one patch's own scatter may be a stain's
    sd = median_among_neighbours(density_sd, density)[used]
    noise = np.clip(sd / np.median(sd), 0.6, 2.5) ** 2
    away = _apart(centres[used], centres[used], centres)
    means = (like @ (like.T @ density[used] / like.sum(axis=0)))
    return _Problem(density[used], noise, like, away, _midtone(means, density[kept])), used


def _midtone(density: Array, all_density: Array) -> Array:
    low, high = np.percentile(all_density, [1.0, 99.0])
    share = np.clip((density - low) / max(high - low, 1e-6), 0.0, 1.0)
    return np.asarray(4.0 * share * (1.0 - share))


def _apart(a: Array, b: Array, all_centres: Array) -> Array:
    diagonal = max(float(np.linalg.norm(np.ptp(all_centres, axis=0))), 1e-9)
    return np.asarray(np.sum((a[:, None] - b[None]) ** 2, axis=2) / diagonal**2)


@dataclass(frozen=True, order=True)
class _Fields:
    """Sizes (variance against noise) and smoothness of the two fields; 0: not there."""

    size_add: float
    size_exposure: float
    length: float
    streaks: float
    """Variance of strokes too fine to be a field, in middle tones."""

    def noise(self, noise: Array, mid: Array) -> Array:
        """Variance of each patch by itself."""
        return np.asarray(noise + self.streaks * mid**2)

    def covariance(self, distance: Array, mid_a: Array, mid_b: Array) -> Array:
        shape = np.exp(-0.5 * distance / self.length**2)
        return np.asarray(
            shape * (self.size_add + self.size_exposure * mid_a[:, None] * mid_b[None]))


def _likeliest(problem: _Problem) -> _Fields:
    """The simplest fields that the differences between like patches really ask for."""
    # what like patches have in common says nothing: only contrasts within groups remain
    q = np.linalg.qr(problem.like, mode="complete")[0][:, problem.like.shape[1]:]
    y = q.T @ problem.density
    noise = (q.T * problem.noise) @ q
    mid = problem.midtone
    grounds = np.stack([noise + streaks * ((q.T * mid**2) @ q) for streaks in _STREAKS])
    parts = {}
    for length in _LENGTHS:
        shape = np.exp(-0.5 * problem.distance / length**2)
        parts[length] = (q.T @ shape @ q, q.T @ (shape * np.outer(mid, mid)) @ q)
    best_fit, best = max((fit, _Fields(0.0, 0.0, 1.0, streaks))
                         for streaks, fit in zip(_STREAKS, _fits(grounds, y), strict=True))
    pairs = list(product((0.0, *_SIZES), repeat=2))
    for many in (1, 2):
        found_fit, found = best_fit, best
        for (length, (add, exposure)), (a, e) in product(parts.items(), pairs):
            if (a > 0.0) + (e > 0.0) != many:
                continue
            fits = _fits(grounds + a * add + e * exposure, y)
            for streaks, fit in zip(_STREAKS, fits, strict=True):
                if fit > found_fit:
                    found_fit, found = fit, _Fields(a, e, length, streaks)
        if found_fit - best_fit > _GAIN:
            best_fit, best = found_fit, found
    return best


def _fits(covariances: Array, y: Array) -> list[float]:
    """Twice the log likelihood of contrasts, shape (n,), their common variance at its best, under
    each of some covariances, shape (m, n, n)."""
    try:
        root = np.linalg.cholesky(covariances)
    except np.linalg.LinAlgError:
        if len(covariances) == 1:
            return [-np.inf]
        return [fit for one in covariances for fit in _fits(one[None], y)]
    scaled = np.linalg.solve(root, y[:, None])[..., 0]
    misfit = np.maximum(np.sum(scaled**2, axis=1) / y.size, 1e-12)
    sizes = np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)
    fits: list[float] = (-2.0 * sizes - y.size * np.log(misfit)).tolist()
    return fits


@dataclass(frozen=True, eq=False)
class _Solved:
    pull: Array
    """P y: what the fields are predicted from."""
    matrix: Array
    """P."""
    variance: float
    off: Array
    off_sd: Array
    """Each patch against all others (left out itself), and how far off it may be."""


def _solve(problem: _Problem, fields: _Fields) -> _Solved:
    mid = problem.midtone
    covariance = fields.covariance(problem.distance, mid, mid)
    covariance = covariance + np.diag(fields.noise(problem.noise, mid))
    inverse = np.linalg.inv(covariance)
    like = problem.like
    part = inverse @ like
    matrix = inverse - part @ np.linalg.solve(like.T @ part, part.T)
    pull = matrix @ problem.density
    own = np.maximum(np.diag(matrix), 1e-12)
    freedom = problem.density.size - like.shape[1]
    variance = float(problem.density @ pull) / freedom
    # the spread that single stains do not move; of few comparisons it is itself uncertain
    robust = float(np.median(np.abs(pull) / np.sqrt(own)) * 1.4826) ** 2
    spread = min(variance, robust * (1.0 + 4.0 / freedom))
    spread = max(spread, 1e-10)
    return _Solved(pull, np.asarray(matrix, dtype=np.float64), spread, pull / own,
                   np.sqrt(spread / own))


def _suspects(problem: _Problem, centres: Array) -> NDArray[np.bool_]:
    """Patches that differ grossly from their like, by a first look that stains cannot sway.

    Differences between like patches against a bowl across the sheet, fitted by least absolute
    deviations (weights 1/|r|, repeated), which a third of gross errors leaves where it is.
    """
    one, other = np.nonzero(np.triu(problem.like @ problem.like.T, k=1))
    x, y = ((centres - centres.mean(axis=0)) / np.maximum(centres.std(axis=0), 1e-9)).T
    mid = problem.midtone
    bowl = np.column_stack([x, y, x * x, y * y, x * y, mid * x, mid * y])
    slope, difference = bowl[one] - bowl[other], problem.density[one] - problem.density[other]
    weight = np.ones(one.size)
    residual = difference
    for _ in range(20 if one.size > 2 * bowl.shape[1] else 0):
        root = np.sqrt(weight)[:, None]
        found = np.linalg.lstsq(slope * root, difference * root[:, 0], rcond=1e-6)[0]
        residual = difference - slope @ found
        weight = 1.0 / np.maximum(np.abs(residual), 1e-3)
    limit = max(_FIRST_LOOK * robust_spread(residual), _FIRST_OFF)
    pairs, gross = np.zeros(mid.size), np.zeros(mid.size)
    for index in (one, other):
        np.add.at(pairs, index, 1.0)
        np.add.at(gross, index, np.abs(residual) > limit)
    return np.asarray(gross > 0.5 * pairs)


def _off_unused(
    level: Array, density: Array, kept: NDArray[np.bool_], wanted: NDArray[np.bool_]
) -> Array:
    """How far patches lie from the mean of the good ones like them; NaN without any."""
    off = []
    for i in np.flatnonzero(wanted):
        like = density[kept & (np.abs(level - level[i]) < 1e-6)]
        off.append(density[i] - like.mean() if like.size else np.nan)
    return np.array(off)


def _the_guilty(
    suspects: NDArray[np.intp], level: Array, density: Array, kept: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Of suspects of one level the one that least fits the levels beside it.

    Two patches that differ are equally far from each other; the tones above and below tell which
    of them is wrong.
    """
    guilty: list[np.intp] = []
    for one in np.unique(np.round(level[suspects], 6)):
        group = suspects[np.abs(level[suspects] - one) < 1e-6]
        others = kept & (np.abs(level - one) > 1e-6)
        expected = expected_at(float(one), level[others], density[others]) if others.any() else \
            float(density[group[0]])
        guilty.append(group[int(np.argmax(np.abs(density[group] - expected)))])
    return np.array(guilty, dtype=np.intp)


def _predict(
    problem: _Problem, fields: _Fields, solved: _Solved, density: Array, centres: Array,
    known_centres: Array,
) -> tuple[Array, Array]:
    """The fields at every patch, and how well they are known there."""
    if fields.size_add + fields.size_exposure == 0.0:
        return np.zeros(density.size), np.zeros(density.size)
    finite = np.isfinite(density)
    mid = np.zeros(density.size)
    mid[finite] = _midtone(density[finite], density[finite])
    here = fields.covariance(_apart(centres, known_centres, centres), mid, problem.midtone)
    shift = here @ solved.pull
    left = fields.covariance(_apart(centres, centres, centres), mid, mid)
    left = left - here @ solved.matrix @ here.T
    # What all patches have in common, in density or in exposure, cannot be told from the tones
    # themselves; a guess of it would bend the middle tones.  So the sheet's average stands.
    common = np.linalg.qr(np.column_stack([np.ones(mid.size), mid + 1e-9]))[0]
    rest = np.eye(mid.size) - common @ common.T
    doubt = np.einsum("ij,jk,ik->i", rest, left, rest)
    return rest @ shift, np.sqrt(np.maximum(doubt, 0.0) * solved.variance)

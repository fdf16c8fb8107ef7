"""Telling a gross error from noise, and a point that does not belong to the curve of the others."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tonewright.numeric.monotone import deleted_deviations
from tonewright.numeric.student import student_quantile
from tonewright.numeric.threads import one_blas_thread
from tonewright.scales import Array

KEEP, DROP = 2.8, 5.0
"""Residuals up to KEEP standard deviations count fully, from DROP on not at all."""
FALSE_ALARM = 0.02
"""How often points without any gross error may still get one of them called a stray."""
MOST = 8
"""At most one point in so many can be a stray."""
HIDDEN = 40
"""Strays that can hide one another: after so many that do not stand out none is looked for."""
FEWEST = 6
"""Different places that must be left."""


def robust_spread(residual: ArrayLike) -> float:
    """Standard deviation that a few gross errors cannot move: 1.4826 x median |r|.

    The factor makes it the standard deviation of a normal distribution (Hampel 1974).
    """
    return float(1.4826 * np.median(np.abs(np.asarray(residual, dtype=np.float64))))


def taper(standardised: ArrayLike) -> Array:
    """Weights 1 to 0 for residuals in standard deviations: full up to KEEP, none past DROP.

    A three-part redescending weight (Hampel 1974) with a smooth descent; shape kept.
    """
    size = np.abs(np.asarray(standardised, dtype=np.float64))
    part = np.clip((size - KEEP) / (DROP - KEEP), 0.0, 1.0)
    return np.asarray((1.0 - part**2) ** 2)


def deleted_residual(residual: ArrayLike, leverage: ArrayLike, spread: float) -> Array:
    """Residuals over the standard deviation they would have had they not been fitted.

    ``r / (s * sqrt(1 - h))`` (Belsley, Kuh and Welsch 1980), with a spread ``s`` that the
    point itself does not enter, such as `robust_spread`.  Shapes (n,).
    """
    lever = np.asarray(leverage, dtype=np.float64)
    return np.asarray(np.asarray(residual) / (spread * np.sqrt(1.0 - lever)))


def stray_limit(count: int, dof: float) -> float:
    """The deviation that the largest of ``count`` good points rarely passes (Bonferroni)."""
    return student_quantile(1.0 - FALSE_ALARM / (2.0 * count), max(dof, 1.0))


@one_blas_thread
def find_strays(x: ArrayLike, y: ArrayLike, sd: ArrayLike) -> dict[int, float]:
    """Index and deviation, in standard deviations of a point, of those that stand out.

    The worst is taken away again and again; all up to the last one that stood out are strays,
    since several of them hide each other (Rosner 1983, Technometrics 25:165).

    Parameters
    ----------
    x, y, sd:
        Shape (n,); of ``sd`` only the ratios count.
    """
    places, values, spread = (np.asarray(a, dtype=np.float64) for a in (x, y, sd))
    taken: list[tuple[int, float]] = []
    strays = 0
    rest = np.arange(places.size)
    most = places.size // MOST
    while len(taken) < min(most, strays + HIDDEN) and np.unique(places[rest]).size > FEWEST:
        deviations, dof = deleted_deviations(places[rest], values[rest], spread[rest])
        worst = int(np.argmax(np.abs(deviations)))
        taken.append((int(rest[worst]), float(deviations[worst])))
        if abs(deviations[worst]) > stray_limit(rest.size, dof):
            strays = len(taken)
        rest = np.delete(rest, worst)
    return dict(taken[:strays])


def rank_correlation(x: ArrayLike, y: ArrayLike) -> float:
    """How well two columns, shape (n,), rise together: -1 to 1; 0 where one does not change.

    Values that agree to 6 digits after the point have one rank, and the next the one after it.
    """
    a, b = (np.unique(np.asarray(v, dtype=np.float64).round(6), return_inverse=True)[1]
            for v in (x, y))
    return float(np.corrcoef(a, b)[0, 1]) if np.ptp(a) > 0 and np.ptp(b) > 0 else 0.0


def median_among_neighbours(values: Array, by: Array, reach: int = 6) -> Array:
    """Median of each value and of up to ``reach`` on either side of it, in the order of ``by``.

    Shapes (n,); NaN left aside.
    """
    order = np.argsort(by)
    usual = np.empty_like(values)
    for place, i in enumerate(order):
        usual[i] = np.nanmedian(values[order[max(place - reach, 0) : place + reach + 1]])
    return usual


def expected_at(x: float, xs: Array, ys: Array) -> float:
    """What the medians of equal ``xs``, joined by straight lines, say at ``x``; shapes (n,)."""
    steps, member = np.unique(np.round(xs, 6), return_inverse=True)
    return float(np.interp(x, steps, [np.median(ys[member == k]) for k in range(steps.size)]))

"""Points that do not belong to the smooth curve through the others."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from tonewright.numeric.monotone import deleted_deviations

FALSE_ALARM = 0.02
"""How often points without any gross error may still get one of them called a stray."""
MOST = 8
"""At most one point in so many can be a stray."""
FEWEST = 6
"""Different places that must be left."""


def stray_limit(count: int, dof: float) -> float:
    """The deviation that the largest of ``count`` good points rarely passes (Bonferroni)."""
    return float(stdtrit(max(dof, 1.0), 1.0 - FALSE_ALARM / (2.0 * count)))


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
    while len(taken) < places.size // MOST and np.unique(places[rest]).size > FEWEST:
        deviations, dof = deleted_deviations(places[rest], values[rest], spread[rest])
        worst = int(np.argmax(np.abs(deviations)))
        taken.append((int(rest[worst]), float(deviations[worst])))
        if abs(deviations[worst]) > stray_limit(rest.size, dof):
            strays = len(taken)
        rest = np.delete(rest, worst)
    return dict(taken[:strays])

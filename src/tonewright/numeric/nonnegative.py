"""Least squares with unknowns that may not be negative, without half a second of loading scipy.

Lawson and Hanson 1974, "Solving least squares problems", ch. 23 (algorithm NNLS).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tonewright.scales import Array

NOTHING = 1e-12
"""Share of the largest slope below which one counts as none."""


def nnls(matrix: Array, goal: Array) -> Array:
    """The ``x`` of no negative number for which ``|matrix @ x - goal|`` is least.

    Shapes (m, n) and (m,); the answer has shape (n,).
    """
    slopes = matrix.T @ goal
    least = NOTHING * max(float(np.abs(slopes).max(initial=0.0)), NOTHING)
    found, free = np.zeros(matrix.shape[1]), np.zeros(matrix.shape[1], dtype=np.bool_)
    for _ in range(3 * found.size):
        slopes = np.where(free, -np.inf, matrix.T @ (goal - matrix @ found))
        steepest = int(np.argmax(slopes))
        if slopes[steepest] <= least:
            break
        free[steepest] = True
        wanted = _least_squares(matrix, goal, free)
        while np.any(wanted[free] <= 0.0):  # go as far as none turns negative, and fix that one
            stops = free & (wanted <= 0.0)
            part = np.min(found[stops] / np.maximum(found[stops] - wanted[stops], 1e-300))
            found = found + part * (wanted - found)
            free &= ~stops | (found > NOTHING * found.max())
            found[~free] = 0.0
            wanted = _least_squares(matrix, goal, free)
        found = wanted
    return found


def partly_nonnegative(matrix: Array, goal: Array, signed: int) -> Array:
    """As `nnls`, but the first ``signed`` unknowns may have either sign."""
    either, rest = matrix[:, :signed], matrix[:, signed:]
    base, _ = np.linalg.qr(either)  # what the signed ones can make is taken out of the others
    others = nnls(rest - base @ (base.T @ rest), goal - base @ (base.T @ goal))
    own = np.linalg.lstsq(either, goal - rest @ others, rcond=None)[0]
    return np.concatenate([own, others])


def _least_squares(matrix: Array, goal: Array, free: NDArray[np.bool_]) -> Array:
    found = np.zeros(matrix.shape[1])
    found[free] = np.linalg.lstsq(matrix[:, free], goal, rcond=None)[0]
    return found

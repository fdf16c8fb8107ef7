"""Non-linear least squares with few unknowns, for functions that take many points at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tonewright.scales import Array

STEP = 1e-6
"""Of a derivative, in units of an unknown's scale."""
ENOUGH = 1e-7
"""A fall of the cost that is worth no further step, relative to 1 + cost."""
MOST = 100


def minimise(
    residuals: Callable[[Array], Array], start: Array, scale: Array, span: tuple[Array, Array]
) -> tuple[Array, Array, float]:
    """The unknowns with the smallest half sum of squares, by damped steps (Marquardt 1963).

    Parameters
    ----------
    residuals:
        From unknowns of shape (k, p) to residuals of shape (k, n).
    start, scale:
        Shape (p,): where to begin, and how far each unknown usually goes.
    span:
        Lowest and highest value of each, shape (p,).

    Returns
    -------
    Unknowns (p,), the residuals' slopes there (n, p) and the cost.  Raises `LinAlgError` where the
    residuals are no numbers.
    """
    at = np.clip(start, *span)
    rest = residuals(at[None])[0]
    cost, damping = 0.5 * float(rest @ rest), 1e-3
    for _ in range(MOST):
        slopes = _slopes(residuals, at, rest, scale)
        pull = slopes.T @ rest
        # what an end holds back stays there: the others must not wait for it
        free = ~(((at <= span[0]) & (pull > 0.0)) | ((at >= span[1]) & (pull < 0.0)))
        pull *= free
        bend = slopes.T @ slopes * np.outer(free, free)
        before = cost
        while damping < 1e12:
            move = np.linalg.solve(bend + damping * np.eye(at.size), -pull)
            trial = np.clip(at + scale * move, *span)
            found = residuals(trial[None])[0]
            new = 0.5 * float(found @ found)
            if new <= cost:
                at, rest, cost, damping = trial, found, new, max(damping / 10.0, 1e-9)
                break
            damping = max(damping * 10.0, 1e-3)
        if before - cost <= ENOUGH * (1.0 + cost):
            break
    return at, _slopes(residuals, at, rest, scale) / scale, cost


def _slopes(
    residuals: Callable[[Array], Array], at: Array, rest: Array, scale: Array
) -> Array:
    """By how much each residual changes in units of the scale, shape (n, p)."""
    moved = residuals(at + STEP * np.diag(scale))
    if not np.isfinite(moved).all():
        raise np.linalg.LinAlgError("residuals are no numbers")
    return np.asarray((moved - rest).T / STEP)

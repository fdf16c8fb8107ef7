"""The rising curve nearest to one that need not rise.

Least distance programming (Lawson and Hanson 1974, "Solving least squares problems", ch. 23).
"""

from __future__ import annotations

import numpy as np

from tonewright.numeric.nonnegative import nnls
from tonewright.scales import Array

STEPS = 128
"""At how many places a curve is kept from falling."""
NEGLIGIBLE = 1e-12
"""Variances are at least this share of the largest."""


def rising_curve(
    mean: Array, covariance: Array, design: Array, bounds: tuple[float, float] | None
) -> Array:
    """The coefficients nearest to ``mean`` whose curve never falls, nor leaves the bounds.

    With the identity as covariance and design this is isotonic regression (Barlow et al. 1972).

    Parameters
    ----------
    mean, covariance:
        Of the coefficients, shapes (p,) and (p, p): near means in the metric of its inverse.
    design:
        Shape (m, p): the curve is ``design @ coefficients``; its rows follow the curve.
    bounds:
        What the curve lies between; None: no bounds.
    """
    size, axes = np.linalg.eigh(covariance)
    root = axes * np.sqrt(np.maximum(size, NEGLIGIBLE * size[-1]))
    nodes = np.vstack([design[::max(design.shape[0] // STEPS, 1)], design[-1:]])
    return _nearest_above(mean, root, *_rules(nodes, bounds))


def rising_band(low: Array, curve: Array, high: Array) -> tuple[Array, Array]:
    """The edges of a band around a curve, made rising without loss, shape (m,) as all of them.

    A rising curve inside the band also lies above every earlier lower edge and below every later
    upper edge.  Neither edge crosses ``curve``, which rises.
    """
    return (np.minimum(np.maximum.accumulate(low), curve),
            np.maximum(np.minimum.accumulate(high[::-1])[::-1], curve))


def _rules(design: Array, bounds: tuple[float, float] | None) -> tuple[Array, Array]:
    """What holds of a rising curve: ``rows @ coefficients >= least``."""
    rows, least = np.diff(design, axis=0), np.zeros(design.shape[0] - 1)
    if bounds is not None:
        rows = np.vstack([rows, design[0], -design[-1]])
        least = np.concatenate([least, [bounds[0], -bounds[1]]])
    return rows, least


def _nearest_above(mean: Array, root: Array, rows: Array, least: Array) -> Array:
    """The point ``mean + root @ z`` with the shortest ``z`` for which ``rows @ point >= least``."""
    slack = least - rows @ mean
    if np.all(slack <= 0.0):
        return mean
    steep = rows @ root
    size = np.linalg.norm(steep, axis=1)
    distance = slack / np.where(size > 0.0, size, 1.0)
    unit = float(distance.max())  # so that the answer is about 1 away, whatever the scale
    matrix = np.vstack([(steep / np.where(size > 0.0, size, 1.0)[:, None]).T, distance / unit])
    goal = np.zeros(matrix.shape[0])
    goal[-1] = 1.0
    answer = nnls(matrix, goal)
    rest = goal - matrix @ answer
    if not rest[-1] > 1e-12:  # nothing satisfies all rules
        return mean
    return np.asarray(mean - root @ (unit * rest[:-1] / rest[-1]))

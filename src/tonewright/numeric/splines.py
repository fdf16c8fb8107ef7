"""Cubic B-splines with even knots, on 0 to 1."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tonewright.scales import Array


def cubic_design(places: ArrayLike, intervals: int) -> Array:
    """Every spline at places (0 to 1, shape (n,)), shape (n, intervals + 3).

    The four cubics of the uniform case written out (de Boor 1978, "A practical guide to splines").
    """
    at = np.asarray(places, dtype=np.float64) * intervals
    first = np.clip(np.floor(at).astype(np.intp), 0, intervals - 1)
    f = at - first
    parts = ((1.0 - f) ** 3, 3.0 * f**3 - 6.0 * f**2 + 4.0,
             -3.0 * f**3 + 3.0 * f**2 + 3.0 * f + 1.0, f**3)
    design = np.zeros((at.size, intervals + 3))
    for k, part in enumerate(parts):
        design[np.arange(at.size), first + k] = part / 6.0
    return design

"""Reading a non-decreasing curve backwards, its band included."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tonewright.scales import Array


def invert(x: ArrayLike, y: ArrayLike, wanted: ArrayLike) -> Array:
    """Where a non-decreasing curve takes the wanted values.

    Parameters
    ----------
    x, y:
        Shape (m,): ``x`` increasing, ``y`` non-decreasing; straight lines between the nodes.
    wanted:
        Any shape, in the units of ``y``; beyond the ends as at the end.

    Returns
    -------
    Places in the units of ``x``.  Where the curve is level, the middle of the level stretch.
    """
    return np.asarray((first_place(x, y, wanted) + _last_place(x, y, wanted)) / 2.0)


def first_place(x: ArrayLike, y: ArrayLike, wanted: ArrayLike) -> Array:
    """The same, but where the curve is level the place where it comes to that level."""
    nodes, values = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    want = np.clip(np.asarray(wanted, dtype=np.float64), values[0], values[-1])
    after = np.clip(np.searchsorted(values, want, side="left"), 1, nodes.size - 1)
    rise = values[after] - values[after - 1]
    part = (want - values[after - 1]) / np.where(rise > 0.0, rise, np.inf)
    return nodes[after - 1] + np.clip(part, 0.0, 1.0) * (nodes[after] - nodes[after - 1])


def first_places(x: ArrayLike, rows: ArrayLike, wanted: ArrayLike) -> Array:
    """The same for many curves at once: ``rows`` of shape (count, m), a value wanted of each,
    shape (count,)."""
    nodes, values = np.asarray(x, dtype=np.float64), np.asarray(rows, dtype=np.float64)
    want = np.clip(np.asarray(wanted, dtype=np.float64), values[:, 0], values[:, -1])
    after = np.clip(np.sum(values < want[:, None], axis=1), 1, nodes.size - 1)
    each = np.arange(len(values))
    before, rise = values[each, after - 1], values[each, after] - values[each, after - 1]
    part = np.clip((want - before) / np.where(rise > 0.0, rise, np.inf), 0.0, 1.0)
    return np.asarray(nodes[after - 1] + part * (nodes[after] - nodes[after - 1]))


def invert_band(
    x: ArrayLike, low: ArrayLike, high: ArrayLike, wanted: ArrayLike
) -> tuple[Array, Array]:
    """Smallest and largest place where the curve may take the wanted values.

    The band read sideways: a value can be reached from where the upper edge first touches it to
    where the lower edge last does.  Shapes and units as in `invert`; both edges non-decreasing.
    """
    return first_place(x, high, wanted), _last_place(x, low, wanted)


def _last_place(x: ArrayLike, y: ArrayLike, wanted: ArrayLike) -> Array:
    """As `first_place`, but where the curve leaves that level: the first place of it turned end for
    end."""
    nodes, values, want = (-np.asarray(a, dtype=np.float64) for a in (x, y, wanted))
    return -first_place(nodes[::-1], values[::-1], want)

"""Control charts: single values with limits from their own scatter, and their moving average.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals by the moving range) and
6.3.2.4 (exponentially weighted moving average, EWMA).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from tonewright.frozen import dataclass
from tonewright.numeric.student import student_quantile
from tonewright.scales import Array

RANGE_TO_SD = 1.128
"""d2: the mean range of two normal values, in standard deviations (e-Handbook 6.3.2.2)."""
WIDTH = 3.0
"""Limits in standard deviations, where the standard deviation is known well."""
WEIGHT = 0.3
"""Of the newest value in the moving average: 0.2 to 0.3 in the e-Handbook."""
RARELY = 0.00135
"""Share of normal values beyond `WIDTH` on either side."""
FREEDOM_OF_A_RANGE = 0.62
"""Degrees of freedom that each moving range adds, as a share of one (Palm & Wheeler 1990)."""
TRUST = 3.0
"""Degrees of freedom that a known error of measurement counts as."""
FEWEST, LEARNT, RECENT = 3, 12, 5
"""Values that the centre rests on, at least and at most, and the newest ones it never rests on:
so many may have drifted before they are called."""


def moving_range_sd(values: ArrayLike) -> float:
    """Standard deviation of two values or more, shape (n,), by the mean moving range / d2."""
    return float(np.mean(np.abs(np.diff(np.asarray(values, dtype=np.float64))))) / RANGE_TO_SD


def limits(centre: float, sd: float, width: float = WIDTH) -> tuple[float, float]:
    """So many standard deviations below and above a centre (e-Handbook 6.3.2)."""
    return centre - width * sd, centre + width * sd


def ewma(values: ArrayLike, start: float, weight: float = WEIGHT) -> Array:
    """The moving average after each value, shape (n,), from ``start`` before the first."""
    average, seen = start, []
    for value in np.asarray(values, dtype=np.float64).tolist():
        average = weight * value + (1.0 - weight) * average
        seen.append(average)
    return np.array(seen)


def ewma_spread(weight: float = WEIGHT, values: float = math.inf) -> float:
    """Standard deviation of the moving average of so many values of standard deviation 1."""
    return math.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2.0 * values)))


@dataclass(frozen=True)
class Level:
    """Where a series stands now, and how sure (standard deviation)."""

    value: float
    sd: float


@dataclass(frozen=True, eq=False)
class Chart:
    """Both charts of one series, as they stood after each value; all arrays of shape (n,).

    NaN where so few values came before that nothing can be said.
    """

    values: Array
    centre: Array
    low: Array
    high: Array
    """Limits of the single value."""
    average: Array
    average_low: Array
    average_high: Array
    out: int | None
    """The value at which the moving average left its limits for good; None: it has not."""
    since: int | None
    """The first value that most likely belongs to what is new."""
    growing: bool = False
    """It has moved away steadily since; False: at once."""

    @property
    def shift(self) -> Level | None:
        """From the centre to where it stands now; None within the limits."""
        if self.since is None:
            return None
        new = self.values[self.since:] - self.centre[-1]
        if self.growing:  # the straight line, at its end
            line = np.arange(1.0, new.size + 1.0)
            weights = line * (new.size / (line @ line))
        else:  # the newest values weigh most
            weights = (1.0 - WEIGHT) ** np.arange(new.size)[::-1]
            weights /= weights.sum()
        # a sixth of the width of the limits holds the scatter and how sure the centre is
        sd = float(self.high[-1] - self.low[-1]) / 2.0 / WIDTH
        return Level(float(weights @ new), sd * math.sqrt(float(weights @ weights)))

    @property
    def strays(self) -> tuple[int, ...]:
        """Values outside the limits of single values."""
        with np.errstate(invalid="ignore"):
            return tuple(np.flatnonzero((self.values < self.low) | (self.values > self.high))
                         .tolist())


def chart(
    values: ArrayLike, known_sd: ArrayLike | None = None, outside: float = RARELY,
    least_sd: float = 0.0,
) -> Chart:
    """Watch a series, shape (n,), value by value, each judged by those before it alone.

    The centre is the mean of the first `LEARNT` values or, where there are not so many yet, of
    all but the `RECENT` newest ones, `FEWEST` at least; the scatter comes from the moving ranges
    of all values but the newest.  ``known_sd`` (n,), what is known of the error of each value,
    counts as `TRUST` degrees of freedom more.  The limits are those of Student's t where the
    handbook has a known standard deviation, and wider by what the centre is unsure: few values do
    not raise an alarm.
    ``outside`` is the share of good moving averages beyond either limit, ``least_sd`` the scatter
    that rounding leaves of values that are alike.
    """
    x = np.asarray(values, dtype=np.float64)
    known = None if known_sd is None else np.asarray(known_sd, dtype=np.float64)
    rows = [_judge(x[:i], None if known is None else known[:i], outside, least_sd)
            for i in range(1, x.size + 1)]
    centre, low, high, average, least, most = np.array(rows).reshape(-1, 6).T
    with np.errstate(invalid="ignore"):
        # equal values differ from their own mean by rounding
        beyond = ((average < least) | (average > most)) & ~np.isclose(average, centre, 1e-9, 1e-12)
    out = None
    if x.size and beyond[-1]:
        inside = np.flatnonzero(~beyond)
        out = int(inside[-1]) + 1 if inside.size else 0
    since, growing = (None, False) if out is None else change(x - centre[-1], out)
    return Chart(x, centre, low, high, average, least, most, out, since, growing)


def _judge(
    x: Array, known: Array | None, outside: float, least_sd: float
) -> tuple[float, ...]:
    """Centre, limits of the last value, the moving average and its limits."""
    learnt = min(LEARNT, max(FEWEST, x.size - RECENT))
    if x.size <= learnt:
        return (np.nan,) * 6
    freedom = FREEDOM_OF_A_RANGE * (x.size - 2)
    variance = moving_range_sd(x[:-1]) ** 2
    if known is not None:
        measured = float(np.mean(known[:-1] ** 2))
        variance = (freedom * variance + TRUST * measured) / (freedom + TRUST)
        freedom += TRUST
    sd = max(math.sqrt(variance), least_sd)
    centre, after = float(np.mean(x[:learnt])), x.size - learnt
    # the average leaves the centre, and what that is unsure by, behind as values come in
    left = (1.0 - (1.0 - WEIGHT) ** after) / math.sqrt(learnt)
    single = limits(centre, sd * math.sqrt(1.0 + 1.0 / learnt),
                    student_quantile(1.0 - RARELY, freedom))
    mean = limits(centre, sd * math.hypot(ewma_spread(WEIGHT, after), left),
                  student_quantile(1.0 - outside, freedom))
    return centre, *single, float(ewma(x[learnt:], centre)[-1]), *mean


def change(beyond: Array, out: int) -> tuple[int, bool]:
    """When a series that was called out at the value ``out`` most likely left its centre, and
    whether it has been moving since (True) or moved at once.

    ``beyond`` is the values less the centre, shape (n,).  The likeliest start is that of the step,
    or of the straight line, that leaves the least squares (Samuel, Pignatiello & Calvin 1998;
    Perry, Pignatiello & Simpson 2006).
    """
    gains = []
    for first in range(out + 1):
        new = beyond[first:]
        line = np.arange(1.0, new.size + 1.0)
        gains.append((float(new.sum()) ** 2 / new.size, -first, False))
        gains.append((float(new @ line) ** 2 / float(line @ line), -first, True))
    _, first, growing = max(gains)
    return -first, growing

"""Which of a few patches count beside what is known without them, and how far they move a curve."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from tonewright.curve.responses import PrintResponse
from tonewright.numeric.rising import rising_band
from tonewright.numeric.student import WITHIN_95
from tonewright.scales import Array

STRAY, STRAY_DENSITY = 3.5, 0.06
"""From how many standard deviations, and how much density, on a patch is a slip or a stain."""
BETTER = 0.85
"""How likely a curve must be nearer to the truth than before, for each step that it goes."""
ALONG = 0.3
"""Ink level over which the error of a curve through a print or two keeps its sign: sheets differ
in speed, contrast and black."""


def few_strays(
    expected: Array, covariance: Array, density: Array, sd: Array
) -> dict[int, tuple[float, float]]:
    """Patches that fit neither what was known before nor the other patches.

    Each is compared with what is expected of it once all others are known (the deleted residual
    of a normal distribution), the worst is taken away, and so again.  Where more than a third of
    them stand out, they do not belong to what was known before, and none is a stray.

    Parameters
    ----------
    expected, covariance:
        Densities known before, shapes (n,) and (n, n).
    density, sd:
        Of the readings, shape (n,).

    Returns
    -------
    Index to (density off, the same in standard deviations).
    """
    spread = covariance + np.diag(sd**2)
    rest = np.arange(density.size)
    found: dict[int, tuple[float, float]] = {}
    while rest.size:
        inverse = np.linalg.inv(spread[np.ix_(rest, rest)])
        pull, stiff = inverse @ (density - expected)[rest], np.diag(inverse)
        deviations = pull / np.sqrt(stiff)
        worst = int(np.argmax(np.abs(deviations)))
        off = float(pull[worst] / stiff[worst])
        if abs(deviations[worst]) < STRAY or abs(off) < STRAY_DENSITY:
            break
        found[int(rest[worst])] = off, float(deviations[worst])
        rest = np.delete(rest, worst)
    return found if len(found) <= max(density.size // 3, 1) else {}


def follow(before: Array, after: PrintResponse, band: float = WITHIN_95) -> PrintResponse:
    """The response on the way from what was known before to what more readings make of it, as far
    as `part_to_follow` says; its band holds the truth about ``after``.

    ``before`` is in L*, shape (m,) as the columns of ``after``, whose band is so many (``band``)
    standard deviations wide to either side.
    """
    light, half = after.lightness, (after.lightness_high - after.lightness_low) / 2.0
    part = part_to_follow(after.level, before, light, half / band)
    middle = np.round(before + part * (light - before), 6)
    # what is left of the way is one more error
    left = WITHIN_95 * np.abs(light - middle)

    def moved(low: Array, high: Array) -> tuple[Array, Array]:
        below, above = (
            np.asarray(np.round(np.clip(edge, 0.0, 100.0), 6), dtype=np.float64) for edge in
            (middle - np.hypot(low - light, left), middle + np.hypot(high - light, left)))
        return rising_band(below, middle, above)

    return PrintResponse(after.level, middle, *moved(after.lightness_low, after.lightness_high),
                         *moved(after.reading_low, after.reading_high))


def part_to_follow(level: Array, before: Array, after: Array, sd: Array) -> float:
    """Which part of the way from one curve to the other to go, 0 to 1.

    Let the truth be normal about ``after``, and ``d`` be ``after - before``.  A curve that goes
    the part ``a`` of the way is nearer to the truth, in root mean square, with the probability
    ``Phi((1 - a / 2) |d|**2 / sd(d . truth))``: of two points the nearer is told by the plane
    half way between them.  The largest ``a`` that keeps this at `BETTER` is taken.

    Parameters
    ----------
    level, before, after, sd:
        Ink levels; lightness without and with the readings, rising, and the standard deviation
        of ``after``, all in L*, shape (n,).
    """
    # each tone of the picture counts alike, so a level counts by the tones it prints
    along = np.maximum(np.gradient(after), 0.0) * (after - before)
    gain = float(along @ (after - before))
    if gain <= 0.0:
        return 1.0
    near = np.exp(-0.5 * ((level[:, None] - level[None, :]) / ALONG) ** 2)
    spread = float(np.sqrt((along * sd) @ near @ (along * sd)))
    return float(np.clip(2.0 * (1.0 - NormalDist().inv_cdf(BETTER) * spread / gain), 0.0, 1.0))

"""How far a few patches may move a curve that is known without them.

Seven noisy readings tell much where a curve is in doubt and only blur it where it is already
good.  They move it as far as it most likely gets better by it, and no further.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from tonewright import scales
from tonewright.scales import Array

STRAY, STRAY_DENSITY = 3.5, 0.06
"""From how many standard deviations, and how much density, on a patch is a slip or a stain."""
BETTER = 0.85
"""How likely the moved curve must be nearer to the truth than the one without the patches."""


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


def part_to_follow(before: Array, after: Array, covariance: Array) -> float:
    """Which part of the way from one curve to the other to go, 0 to 1.

    Let the truth be normal about ``after``, and ``d`` be ``after - before``.  A curve that goes
    the part ``a`` of the way is nearer to the truth, in root mean square, with the probability
    ``Phi((1 - a / 2) |d|**2 / sd(d . truth))``: of two points the nearer is told by the plane
    half way between them.  The largest ``a`` that keeps this at `BETTER` is taken.

    Parameters
    ----------
    before, after:
        Print densities along the ink levels without and with the patches, shape (n,), falling.
    covariance:
        Of ``after``, in density, shape (n, n).
    """
    light = scales.density_to_lightness(np.minimum.accumulate(after))
    slope = scales.lightness_per_density(light)
    # each tone of the picture counts alike, so a level counts by the tones it prints
    weight = np.abs(np.gradient(light))
    along = weight * slope**2 * (after - before)
    gain = float(along @ (after - before))
    spread = float(np.sqrt(max(along @ covariance @ along, 0.0)))
    if gain <= 0.0:
        return 1.0
    return float(np.clip(2.0 * (1.0 - float(ndtri(BETTER)) * spread / gain), 0.0, 1.0))

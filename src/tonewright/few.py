"""How far a few patches may move a curve that is known without them.

Seven noisy readings tell much where a curve is in doubt and only blur it where it is already
good.  They move it as far as it most likely gets better by it, and no further.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from tonewright import scales
from tonewright.scales import Array

BETTER = 0.85
"""How likely the moved curve must be nearer to the truth than the one without the patches."""


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

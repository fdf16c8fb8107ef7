"""Which of a few patches count beside what is known without them."""

from __future__ import annotations

import numpy as np

from tonewright.scales import Array

STRAY, STRAY_DENSITY = 3.5, 0.06
"""From how many standard deviations, and how much density, on a patch is a slip or a stain."""


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

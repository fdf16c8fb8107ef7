"""How much sheets differ: the sheet, not the reading, is what is replicated."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tonewright.frozen import dataclass
from tonewright.numeric.monotone import SmoothFit
from tonewright.numeric.student import student_quantile
from tonewright.scales import Array

FEWEST_PATCHES = 6
"""That tell of a sheet."""
USUAL_SHEETS_LIGHTNESS, USUAL_SHEETS_WORTH = 0.8, 4.0
"""How much evenly coated sheets of one paper differ, L* (from memory, no source), and how many
sheets' worth of belief that gets: two sheets hardly tell it themselves."""


@dataclass(frozen=True, eq=False)
class SheetScatter:
    """How sheets differ: standard deviation in L* along the grid, and what it rests on."""

    sd: Array
    """As these sheets show it, L*."""
    sheets: int

    def expected(self, curve: SmoothFit) -> Array:
        """Standard deviation to expect of sheets, L*: what these show, and what is usual.

        The two are pooled by their degrees of freedom, and widened by Student's factor for them
        over the one that the band of the curve uses.
        """
        own, usual = self.sheets - 1.0, USUAL_SHEETS_WORTH
        pooled = np.sqrt((own * self.sd**2 + usual * USUAL_SHEETS_LIGHTNESS**2) / (own + usual))
        wide = band_width(self.sheets)
        narrow = student_quantile(0.975, max(curve.residual_dof, 1.0))
        return np.asarray(pooled * max(wide / narrow, 1.0))


def band_width(sheets: int) -> float:
    """Of a band that rests on how so many sheets differ, in standard deviations to either side."""
    return student_quantile(0.975, sheets - 1.0 + USUAL_SHEETS_WORTH)


def between_sheets(
    names: Sequence[str], level: Array, residual: Array, sd: Array, curve: SmoothFit
) -> SheetScatter | None:
    """Spread of whole sheets around their common curve, noise of reading taken off; None of one
    sheet.

    Each sheet's deviation is a cubic along the ink levels: sheets differ in speed, contrast
    and black, not patch by patch.

    Parameters
    ----------
    names:
        Which sheet each reading is of, shape (n,).
    level, residual, sd:
        Of the readings, shape (n,): ink level, distance from the curve in standard deviations,
        and the standard deviation in L*.
    """
    of = np.array(names)
    sheets = [n for n in np.unique(of) if np.count_nonzero(of == n) >= FEWEST_PATCHES]
    if len(sheets) < 2:
        return None
    total = np.zeros(curve.grid.size)
    noise = np.zeros_like(total)
    design = np.vander(curve.grid, 4)
    for name in sheets:
        here = of == name
        rows = np.vander(level[here], 4) / sd[here, None]
        inverse = np.linalg.pinv(rows.T @ rows)
        total += (design @ (inverse @ rows.T @ residual[here])) ** 2
        noise += np.einsum("ij,jk,ik->i", design, inverse, design)
    variance = np.maximum(total / (len(sheets) - 1) - noise / len(sheets), 0.0)
    return SheetScatter(np.sqrt(variance), len(sheets))

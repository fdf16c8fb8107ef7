"""What the densities of a print rest on, and what that is worth."""

from __future__ import annotations

from typing import Literal

import numpy as np

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.scan.flat import Flat
from tonewright.scan.scanner import ScannerResponse

Way = Literal["scanner", "gray_scale_beside", "known_patches", "profile"]
Lamp = Literal["plain_sheet", "plain_sheet_for_print", "known_patches", "not_evened"]

LAMP_SD: dict[Lamp, float] = {
    "plain_sheet": 0.003, "plain_sheet_for_print": 0.02, "known_patches": 0.01, "not_evened": 0.02}
"""Density by which the light of two places on the glass differs: lamps fall off by up to 15
percent (0.07) from the lightest place to the darkest."""


@dataclass(frozen=True)
class DensityBasis:
    """Where densities come from."""

    way: Way
    lamp: Lamp
    """What the unevenness of the lamp was judged by; of the print alone, if the response was learnt
    without the plain sheet."""
    sd_density: float
    """Standard deviation of the mean error of all patches: they are off together."""


def density_basis(
    response: ScannerResponse, flat: Flat | None, codes: Array, *, beside: bool, known: bool
) -> DensityBasis:
    """The basis of a print read by a response.

    Parameters
    ----------
    flat:
        Of the plain sheet that the print was read with.
    codes:
        Of the patches, shape (n,).
    beside:
        The response was learnt from a gray scale in the same scan.
    known:
        Patches of known density counted.
    """
    way: Way = "gray_scale_beside" if beside else \
        "scanner" if response.basis == "gray_scale" else response.basis
    lamp: Lamp = "known_patches" if known else "not_evened"
    if flat is not None:
        own_light = response.basis == "gray_scale" and response.flat is None and not known
        lamp = "plain_sheet_for_print" if own_light else "plain_sheet"
    own = float(np.median(response.density_of(codes)[1]))
    return DensityBasis(way, lamp, round(float(np.hypot(own, LAMP_SD[lamp])), 4))

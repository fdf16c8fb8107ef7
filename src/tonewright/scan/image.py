"""A scan as it came from the scanner, before anything is known about its tones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.scales import Array


@dataclass(frozen=True, eq=False)
class Scan:
    """One gray picture of what lay on the glass, upright as its file says."""

    pixels: NDArray[np.float32]
    """0 (black) to 1 (white) in the scan's own encoding, shape (rows, columns)."""
    bits: int
    """Bits of each value in the file, 8 or 16."""
    ppi: float | None
    """Pixels to the inch; None if the file does not say."""
    lightness: Array | None
    """CIE L* (0 to 100) of evenly spaced codes from 0 to 1, relative to the scanner's white, as
    an embedded profile says; None without one."""
    warnings: tuple[str, ...] = ()
    name: str = "the scan"
    """Its file, for messages."""
    sha256: str | None = None
    """Of that file, in hex; None: not asked for, or in no file."""

    def lightness_of(self, code: ArrayLike) -> Array | None:
        """L* of codes (0 to 1) by the embedded profile; None without one."""
        if self.lightness is None:
            return None
        nodes = np.linspace(0.0, 1.0, self.lightness.size)
        return np.asarray(np.interp(np.asarray(code, dtype=np.float64), nodes, self.lightness))

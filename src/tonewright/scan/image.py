"""A scan as it came from the scanner, before anything is known about its tones."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.record.findings import Finding
from tonewright.scales import Array


@dataclass(frozen=True)
class Taken:
    """How a scan was taken, as far as its file says."""

    mode: Literal["gray", "red", "green", "blue", "luminance"]
    """What its codes were made of: gray values, or what of RGB."""
    bits: int
    """Of each value in the file, 8 or 16."""
    profile: str | None
    """SHA-256 of the embedded ICC profile, in hex; None without one."""
    ppi: float | None
    device: str | None
    """Make, model and program."""


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
    findings: tuple[Finding, ...] = ()
    name: str = "the scan"
    """Its file, for messages."""
    sha256: str | None = None
    """Of that file, in hex; None: not asked for, or in no file."""
    taken: Taken | None = None
    """None: in no file."""


CLIPPED = "beyond its end values a scan shows nothing"
SCAN_PLAINLY = (
    "scan again as 16-bit gray, with automatic exposure, sharpening and contrast switched off, and"
    " without setting black and white points"
)

"""A scanner's response as a frozen document: what density a code stands for."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.columns import Source
from tonewright.measured.findings import ScanTakenOtherwise
from tonewright.record.codec import (
    COLUMNS,
    FALLING,
    NEVER_FALLING,
    UNORDERED,
    Document,
    Form,
    between,
)
from tonewright.record.findings import Finding
from tonewright.record.schema import ABOVE_ZERO
from tonewright.scales import Array
from tonewright.scan import findings as findings  # a response is read with those it may hold
from tonewright.scan.image import Scan, Taken

FORM = Form("tonewright-scanner", 2, "scanner response",
            "take an unedited copy, or make it again from the scan of the gray scale")
Basis = Literal["gray_scale", "known_patches", "profile"]

CLIPPED_BLACK, CLIPPED_WHITE = 2e-5, 0.9995
"""Codes at which a scan has reached its end: a 16-bit code of 1, and 255 of 256."""
_CODE = between(0.0, 1.0, "a code lies between 0 (black) and 1 (white)")


@dataclass(frozen=True)
class KnownStep:
    """One place of known density."""

    density: float
    code: float
    """0 to 1."""
    code_sd: float
    """How well the code is known."""
    used: bool = True
    """False: clipped, or so near it that it says nothing."""


@dataclass(frozen=True, eq=False)
class ScannerResponse(Document):
    """What density a code stands for.

    The nodes are spread from light to dark; between them lie straight lines.
    """

    form = FORM
    made_by: str
    name: str
    date: str
    basis: Basis
    flare: float
    """Share of the white's light that a perfect black seems to send back."""
    gamma: float
    """Power between the light and the code."""
    lightest_density: float
    darkest_density: float
    """The usable range."""
    rms_density: float | None
    """How far the known steps lie from the response; None without a gray scale."""
    code: Annotated[Array, FALLING, replace(_CODE, each=True)]
    """Codes of the nodes, 0 to 1, shape (n,)."""
    density: Annotated[Array, NEVER_FALLING]
    density_sd: Annotated[Array, UNORDERED, replace(ABOVE_ZERO, each=True)]
    known: Annotated[tuple[KnownStep, ...], COLUMNS]
    """The raw data."""
    sources: tuple[Source, ...] = ()
    taken: Taken | None = None
    """How the scan of the gray scale was taken; None without one."""
    flat: str | None = None
    """SHA-256 of the plain sheet's scan whose light was taken out; None without one."""
    findings: tuple[Finding, ...] = ()

    def density_of(self, code: ArrayLike) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Density of codes (0 to 1, any shape), its standard deviation, and whether it is known.

        The deviation is that of the response alone; the patch's own scatter comes on top (see
        `density_per_code`).  Outside the usable range the nearest end is continued, and the last
        array is False.
        """
        asked, nodes = np.asarray(code, dtype=np.float64), self.code[::-1]
        density = np.interp(asked, nodes, self.density[::-1])
        sd = np.interp(asked, nodes, self.density_sd[::-1])
        beyond = (asked < nodes[0]) | (asked > nodes[-1])
        inside = (density >= self.lightest_density) & (density <= self.darkest_density) & ~beyond
        inside &= (asked > CLIPPED_BLACK) & (asked < CLIPPED_WHITE)
        return density, sd, inside

    def density_per_code(self, code: ArrayLike) -> Array:
        """How much density one unit of code makes around these codes, positive."""
        nodes = self.code[::-1]
        middles = 0.5 * (nodes[1:] + nodes[:-1])
        steepness = -np.diff(self.density[::-1]) / np.diff(nodes)
        return np.asarray(np.interp(np.asarray(code, dtype=np.float64), middles, steepness))

    def shifted(self, density: float) -> ScannerResponse:
        """The same with one density added to all."""
        return replace(self, density=self.density + density,
                       lightest_density=self.lightest_density + density,
                       darkest_density=self.darkest_density + density)

    def check_taken(self, scan: Scan) -> tuple[Finding, ...]:
        """Whether a scan was taken as that of the gray scale was; what may differ is a finding.

        Raises `OptionError` where its codes mean something else: another mode, or, for RGB made
        gray by a profile, another profile.
        """
        before, now = self.taken, scan.taken
        if before is None or now is None:
            return ()
        if now.mode != before.mode or (now.mode == "luminance" and now.profile != before.profile):
            raise OptionError(
                f"{scan.name} is {_mode(now)}; the gray scale behind {self.name} was"
                f" {_mode(before)}",
                "a scanner response holds for scans taken as the gray scale was",
                "scan it again with the gray scale's settings, or calibrate the scanner again"
                " with these", code="scan_taken_otherwise")
        said = {"bits": (before.bits, now.bits), "resolution": (before.ppi, now.ppi),
                "profile": (before.profile, now.profile), "device": (before.device, now.device)}
        return tuple(
            ScanTakenOtherwise(scan.name, entry, _spelled(entry, old), _spelled(entry, new))
            for entry, (old, new) in said.items()
            if not _alike(old, new) and not (entry == "device" and None in (old, new)))


def _alike(old: float | str | None, new: float | str | None) -> bool:
    """Whether two entries say the same; PNG counts pixels by the metre, in whole numbers."""
    if isinstance(old, float) and isinstance(new, float):
        return abs(old - new) < 0.05
    return old == new


def mode_words(mode: str | None) -> str:
    """Gray or RGB, as a scan is called, for messages."""
    return {"gray": "gray", "luminance": "RGB"}.get(mode or "", f"the {mode} of RGB")


def _mode(taken: Taken) -> str:
    profile = f"with the profile {taken.profile[:8]}" if taken.profile else "without a profile"
    return mode_words(taken.mode) + (f" {profile}" if taken.mode == "luminance" else "")


def _spelled(entry: str, value: float | str | None) -> str:
    if value is None:
        return "none"
    return f"{value:g} ppi" if isinstance(value, float) else \
        str(value)[:8] if entry == "profile" else str(value)

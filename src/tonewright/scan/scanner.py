"""A scanner's response as a frozen document: what density a code stands for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import DocumentError
from tonewright.record.provenance import check_header
from tonewright.record.schema import (
    NUMBER,
    NUMBERS,
    TABLE,
    TEXT,
    TEXTS,
    TRUTH,
    Rule,
    check_entries,
    check_equal_lengths,
    check_names,
    one_of,
    or_none,
)
from tonewright.scales import Array

FORMAT, VERSION = "tonewright-scanner", 1
Basis = Literal["scale", "anchors", "profile"]

CLIPPED_BLACK, CLIPPED_WHITE = 2e-5, 0.9995
"""Codes at which a scan has reached its end: a 16-bit code of 1, and 255 of 256."""
_DAMAGED = "take an unedited copy, or make it again from the scan of the scale"


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


@dataclass(frozen=True)
class ScannerResponse:
    """What density a code stands for.

    The nodes are spread from light to dark; between them lie straight lines.
    """

    name: str
    date: str
    basis: Basis
    code: tuple[float, ...]
    """Falling, 0 to 1."""
    density: tuple[float, ...]
    """Non-decreasing."""
    density_sd: tuple[float, ...]
    lightest_density: float
    darkest_density: float
    """The usable range."""
    flare: float
    """Share of the white's light that a perfect black seems to send back."""
    gamma: float
    """Power between the light and the code."""
    rms_density: float | None
    """How far the known steps lie from the response; None without a scale."""
    steps: tuple[KnownStep, ...]
    """The raw data."""
    sources: tuple[str, ...] = ()
    """Files it was made from, each with its SHA-256 where known."""
    notes: tuple[str, ...] = ()
    made_by: str = ""

    def density_of(self, code: ArrayLike) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Density of codes (0 to 1, any shape), its standard deviation, and whether it is known.

        The deviation is that of the response alone; the patch's own scatter comes on top (see
        `density_per_code`).  Outside the usable range the nearest end is continued, and the last
        array is False.
        """
        asked = np.asarray(code, dtype=np.float64)
        nodes = np.array(self.code[::-1])
        density = np.interp(asked, nodes, self.density[::-1])
        sd = np.interp(asked, nodes, self.density_sd[::-1])
        beyond = (asked < nodes[0]) | (asked > nodes[-1])
        inside = (density >= self.lightest_density) & (density <= self.darkest_density) & ~beyond
        inside &= (asked > CLIPPED_BLACK) & (asked < CLIPPED_WHITE)
        return density, sd, inside

    def density_per_code(self, code: ArrayLike) -> Array:
        """How much density one unit of code makes around these codes, positive."""
        nodes = np.array(self.code[::-1])
        middles = 0.5 * (nodes[1:] + nodes[:-1])
        steepness = -np.diff(np.array(self.density[::-1])) / np.diff(nodes)
        return np.asarray(np.interp(np.asarray(code, dtype=np.float64), middles, steepness))

    def to_dict(self) -> dict[str, Any]:
        """The document: plain numbers and texts."""
        return {
            "format": FORMAT, "version": VERSION, "made_by": self.made_by, "name": self.name,
            "date": self.date, "basis": self.basis, "flare": self.flare, "gamma": self.gamma,
            "lightest_density": self.lightest_density, "darkest_density": self.darkest_density,
            "rms_density": self.rms_density,
            "known": {
                "density": [s.density for s in self.steps], "code": [s.code for s in self.steps],
                "code_sd": [s.code_sd for s in self.steps], "used": [s.used for s in self.steps],
            },
            "response": {"code": list(self.code), "density": list(self.density),
                         "density_sd": list(self.density_sd)},
            "sources": list(self.sources), "notes": list(self.notes),
        }  # fmt: skip


def response_from_dict(data: Any) -> ScannerResponse:
    """Check a document and rebuild the response, equal to the one that was written.

    Raises `DocumentError`: another format or version; anything missing or impossible.
    """
    check_header(data, FORMAT, VERSION, "scanner response")
    check_entries(data, _ENTRIES, "the scanner response", _DAMAGED)
    known = _columns(data, "known", _KNOWN)
    response = _columns(data, "response", dict.fromkeys(("code", "density", "density_sd"), NUMBERS))
    code, density, sd = (
        np.array(response[n], dtype=np.float64) for n in ("code", "density", "density_sd"))
    if code.size < 2 or np.any(np.diff(code) >= 0.0) or code[-1] < 0.0 or code[0] > 1.0:
        raise _wrong("the codes of the response do not fall from 1 towards 0",
                     "each is smaller than the one before")
    if np.any(np.diff(density) < 0.0) or np.any(sd <= 0.0):
        raise _wrong("the densities of the response fall, or are certain beyond doubt",
                     "they rise, and each has a deviation above 0")
    rms = data.get("rms_density")
    rows = zip(*(known[n] for n in _KNOWN), strict=True)
    return ScannerResponse(
        name=data["name"], date=data["date"], basis=data["basis"],
        code=tuple(code.tolist()), density=tuple(density.tolist()), density_sd=tuple(sd.tolist()),
        lightest_density=float(data["lightest_density"]),
        darkest_density=float(data["darkest_density"]),
        flare=float(data["flare"]), gamma=float(data["gamma"]),
        rms_density=None if rms is None else float(rms),
        steps=tuple(KnownStep(float(d), float(c), float(s), u) for d, c, s, u in rows),
        sources=tuple(data["sources"]), notes=tuple(data["notes"]), made_by=data["made_by"])


_ENTRIES = {
    "name": TEXT, "date": TEXT, "made_by": TEXT, "basis": one_of("scale", "anchors", "profile"),
    "flare": NUMBER, "gamma": NUMBER, "lightest_density": NUMBER, "darkest_density": NUMBER,
    "rms_density": or_none(NUMBER), "known": TABLE, "response": TABLE, "sources": TEXTS,
    "notes": TEXTS,
}
_KNOWN = {"density": NUMBERS, "code": NUMBERS, "code_sd": NUMBERS,
          "used": Rule(TRUTH.fits, "each is true or false", each=True)}


def _wrong(given: str, rule: str) -> DocumentError:
    return DocumentError(f"in the scanner document, {given}", rule, _DAMAGED)


def _columns(data: dict[str, Any], name: str, rules: dict[str, Rule]) -> dict[str, list[Any]]:
    what = f"in the scanner document, the table {name}"
    table = check_names(data[name], rules, what, _DAMAGED)
    check_entries(table, rules, what, _DAMAGED)
    check_equal_lengths(table, what, _DAMAGED)
    return table

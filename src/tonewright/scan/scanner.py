"""A scanner's response as a frozen document: what density a code stands for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import DocumentError
from tonewright.provenance import check_header
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
    texts = [_text(data, name) for name in ("name", "date", "made_by")]
    if data.get("basis") not in ("scale", "anchors", "profile"):
        raise _wrong(f"basis is {data.get('basis')!r:.40}", "it is scale, anchors or profile")
    known = _lists(data, "known", ("density", "code", "code_sd", "used"))
    response = _lists(data, "response", ("code", "density", "density_sd"))
    code, density, sd = (
        np.array(response[n], dtype=np.float64) for n in ("code", "density", "density_sd"))
    if code.size < 2 or np.any(np.diff(code) >= 0.0) or code[-1] < 0.0 or code[0] > 1.0:
        raise _wrong("the codes of the response do not fall from 1 towards 0",
                     "each is smaller than the one before")
    if np.any(np.diff(density) < 0.0) or np.any(sd <= 0.0):
        raise _wrong("the densities of the response fall, or are certain beyond doubt",
                     "they rise, and each has a deviation above 0")
    rms = data.get("rms_density")
    rows = zip(*(known[n] for n in ("density", "code", "code_sd", "used")), strict=True)
    return ScannerResponse(
        name=texts[0], date=texts[1], basis=data["basis"],
        code=tuple(code.tolist()), density=tuple(density.tolist()), density_sd=tuple(sd.tolist()),
        lightest_density=_number(data, "lightest_density"),
        darkest_density=_number(data, "darkest_density"),
        flare=_number(data, "flare"), gamma=_number(data, "gamma"),
        rms_density=None if rms is None else _number(data, "rms_density"),
        steps=tuple(KnownStep(float(d), float(c), float(s), bool(u)) for d, c, s, u in rows),
        sources=tuple(_texts(data, "sources")), notes=tuple(_texts(data, "notes")),
        made_by=texts[2])


def _wrong(given: str, rule: str) -> DocumentError:
    return DocumentError(f"in the scanner document, {given}", rule, _DAMAGED)


def _text(data: dict[str, Any], name: str) -> str:
    if not isinstance(data.get(name), str):
        raise _wrong(f"{name} is {data.get(name)!r:.40}", "it is a text")
    return str(data[name])


def _texts(data: dict[str, Any], name: str) -> list[str]:
    value = data.get(name)
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise _wrong(f"{name} is {value!r:.40}", "it is a list of texts")
    return value


def _number(data: dict[str, Any], name: str) -> float:
    value = data.get(name)
    if not _is_number(value):
        raise _wrong(f"{name} is {value!r:.40}", "it is a number")
    return float(cast(float, value))


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_truth(value: Any) -> bool:
    return isinstance(value, bool)


def _lists(data: dict[str, Any], name: str, columns: tuple[str, ...]) -> dict[str, list[Any]]:
    table = data.get(name)
    if not isinstance(table, dict) or set(table) != set(columns):
        raise _wrong(f"the table {name} is missing or has other columns",
                     f"its columns are {', '.join(columns)}")
    for column, values in table.items():
        fits = _is_truth if column == "used" else _is_number
        if not (isinstance(values, list) and all(map(fits, values))):
            raise _wrong(f"{name}, {column} holds something else",
                         f"it is a list of {'true and false' if fits is _is_truth else 'numbers'}")
    if len({len(v) for v in table.values()}) != 1:
        raise _wrong(f"the columns of {name} are of unequal length", "they are equally long")
    return table

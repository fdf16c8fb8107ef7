"""The light of a flatbed across its glass, from the scan of a plain white sheet."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tonewright.errors import ImageError, OptionError
from tonewright.frozen import dataclass
from tonewright.measured.findings import GrayScaleInOtherLight, LampTakenOut
from tonewright.numeric.robust import robust_spread
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan.image import CLIPPED, SCAN_PLAINLY, Scan
from tonewright.scan.scanner import CLIPPED_WHITE, ScannerResponse, mode_words

_BLOCKS = 32
"""Squares to a side whose middles are looked at: dust and texture are finer."""
_DEGREE = 4
"""Of the polynomial through them: lamps fall off smoothly."""
_PLAIN = 0.02
"""How far 19 of 20 squares of a plain sheet lie from it at most, logarithm of the code."""
_DARKEST = 0.4
"""Code below which a sheet is no white one."""
_SAME_SIZE = 0.01


@dataclass(frozen=True, eq=False)
class Flat:
    """The code of a plain white sheet all over the glass."""

    name: str
    sha256: str
    size: tuple[int, int]
    """Pixels across and down."""
    ppi: float | None
    mode: str | None
    """As `Taken.mode`; None: not known."""
    coefficients: Array
    """Of the polynomial in x and y (-1 to 1 across and down), logarithm of code over its median."""
    code: float
    """Its median."""

    def light(self, scan: Scan, places: ArrayLike, response: ScannerResponse) -> Array:
        """Light at places of a scan, as a share of its median over the glass.

        ``places`` are pixels (column, row), shape (..., 2).  The code is carried into light by the
        response's own slope near white, as a power: exact for a power, and within 0.0003 in
        density for sRGB at 15 percent less light.
        """
        size = np.array([scan.pixels.shape[1], scan.pixels.shape[0]], dtype=np.float64)
        log_code = _terms(2.0 * np.asarray(places, dtype=np.float64) / size - 1.0) \
            @ self.coefficients
        nearest = min(self.code, float(response.code[0]))
        power = float(response.density_per_code(nearest)) * nearest * np.log(10.0)
        return np.asarray(np.exp(power * log_code))

    def check_fits(self, scan: Scan) -> None:
        """Raise `OptionError` if a scan does not show the same part of the glass."""
        if None not in (self.mode, _mode(scan)) and self.mode != _mode(scan):
            raise OptionError(
                f"the plain sheet's scan {self.name} is {mode_words(self.mode)}, {scan.name}"
                f" {mode_words(_mode(scan))}",
                "both are scanned with the same settings", "scan the plain sheet again")
        theirs = scan.pixels.shape[::-1]
        unit, mine_per, their_per = "pixels", 1.0, 1.0
        if self.ppi and scan.ppi:
            unit, mine_per, their_per = "inches", self.ppi, scan.ppi
        mine, other = [v / mine_per for v in self.size], [v / their_per for v in theirs]
        if any(abs(a / b - 1.0) > _SAME_SIZE for a, b in zip(mine, other, strict=True)):
            raise OptionError(
                f"the plain sheet's scan {self.name} is {mine[0]:.4g} x {mine[1]:.4g} {unit},"
                f" {scan.name} {other[0]:.4g} x {other[1]:.4g}",
                "both show the same part of the glass, scanned with the same settings",
                "scan both over the whole glass, uncropped")


def flat_of(scan: Scan) -> Flat:
    """The light of the glass from the scan of a plain white sheet that covers it.

    Dust, scratches and the sheet's texture do not count: a smooth surface is laid through the
    medians of squares, and squares far from it are left aside.

    Raises `ImageError`: the scan is clipped to white, dark, or shows more than a plain sheet.
    """
    rows, columns = (np.array_split(np.arange(n), _BLOCKS) for n in scan.pixels.shape)
    middle = np.array([[np.median(scan.pixels[r[0]:r[-1] + 1, c[0]:c[-1] + 1]) for c in columns]
                       for r in rows], dtype=np.float64)
    if float(np.quantile(middle, 0.95)) >= CLIPPED_WHITE:
        raise ImageError(f"the plain sheet's scan {scan.name} is clipped to white", CLIPPED,
                         SCAN_PLAINLY)
    if float(np.median(middle)) < _DARKEST:
        raise ImageError(
            f"the plain sheet's scan {scan.name} has a middle code of {np.median(middle):.2f}",
            "a plain sheet is white all over", "scan a clean white sheet that covers the glass")
    centre = (np.arange(_BLOCKS) + 0.5) / _BLOCKS * 2.0 - 1.0
    places = np.stack(np.meshgrid(centre, centre), axis=-1)
    code = float(np.median(middle))
    coefficients, scatter = _robust_surface(places, np.log(np.maximum(middle, 1e-6) / code))
    if scatter > _PLAIN:
        raise ImageError(
            f"the plain sheet's scan {scan.name} is off an even light by up to {scatter:.1%}",
            "it shows one plain white sheet, without an edge or anything on it",
            "scan a clean white sheet that covers the glass")
    down, across = scan.pixels.shape
    return Flat(scan.name, scan.sha256 or "", (across, down), scan.ppi, _mode(scan), coefficients,
                code)


def in_even_light(density: Array, light: Array | None, flare: float) -> Array:
    """Densities as they would be read where the light is 1, from where it is ``light``; None: the
    same densities.

    Stray light, ``flare`` as a share of white's, comes from the same lamp.
    """
    if light is None:
        return density
    seen = (10.0**-density + flare) / light - flare
    return np.asarray(-np.log10(np.maximum(seen, 1e-6)))


def light_at(
    scan: Scan, places: ArrayLike, response: ScannerResponse, flat: Flat | None
) -> tuple[Array | None, tuple[Finding, ...]]:
    """Light at places of a scan, see `Flat.light`, and what is to be said of it; None without a
    flat."""
    if flat is None:
        return None, ()
    flat.check_fits(scan)
    light = flat.light(scan, places, response)
    found: list[Finding] = [LampTakenOut(scan.name, _span(light))]
    if response.basis == "gray_scale" and response.flat is None:
        corners = np.array([[x, y] for x in (0.0, 1.0) for y in (0.0, 1.0)])
        everywhere = flat.light(scan, corners * scan.pixels.shape[::-1], response)
        found.append(GrayScaleInOtherLight(scan.name, _span(np.append(everywhere, 1.0))))
    return light, tuple(found)


def _mode(scan: Scan) -> str | None:
    return None if scan.taken is None else scan.taken.mode


def _span(light: Array) -> float:
    return round(float(np.log10(light.max() / light.min())), 4)


def _terms(places: Array) -> Array:
    """Powers of x and y up to the degree, shape (..., terms)."""
    x, y = places[..., 0], places[..., 1]
    return np.stack([x**i * y**j for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)],
                    axis=-1)


def _robust_surface(places: Array, values: Array) -> tuple[Array, float]:
    """Coefficients by Tukey's biweight, and how far 19 of 20 values lie at most."""
    terms, flat = _terms(places).reshape(values.size, -1), values.ravel()
    weight = np.ones(flat.size)
    for _ in range(12):
        root = np.sqrt(weight)
        coefficients = np.linalg.lstsq(terms * root[:, None], flat * root, rcond=None)[0]
        off = flat - terms @ coefficients
        spread = max(robust_spread(off), 1e-6)
        weight = np.clip(1.0 - (off / (4.7 * spread)) ** 2, 0.0, None) ** 2
    return coefficients.astype(np.float64), float(np.quantile(np.abs(off), 0.95))

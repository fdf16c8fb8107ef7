"""Every export read back by another reader, and held against the codes of the negative."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.curve.document import Curve
from tonewright.curve.export import DECIMALS, Dialect, joined, print_lightness_of, print_tables
from tonewright.errors import FileError
from tonewright.files.export.text import CLF_NAMESPACE, measured_patches
from tonewright.files.raster import icc
from tonewright.files.raster.icc_write import device_link
from tonewright.files.tables import read_table
from tonewright.frozen import dataclass
from tonewright.measured.columns import numbers
from tonewright.measured.readings import ReadingOptions, readings_from_table
from tonewright.scales import FULL_CODE, Array, density_to_lightness, luminance_to_lightness

MOST_CODES, MOST_LIGHTNESS, MOST_SHOWN = 1.0, 0.05, 0.25
"""That an export may be off by: codes of 65535, or L* of the print where its form has fewer bits;
and L* where a print is shown, which no eye sees.
"""
_SIX_PLACES = 0.6e-6
_SHORT_CUTS, _PERCEPTUAL, _RELATIVE = 0, 0, 1
"""littleCMS: no flags, as most programs call it; INTENT_PERCEPTUAL and _RELATIVE_COLORIMETRIC."""


@dataclass(frozen=True)
class Proof:
    """What another reader found in a file."""

    reader: str
    """Who read it."""
    values: int
    """How many values were compared."""
    codes_off: float | None = None
    """Largest difference from the negative's codes (0 to 65535); None: it holds no codes."""
    lightness_off: float | None = None
    """The same in L* of the print."""
    joined_off: tuple[tuple[str, float], ...] = ()
    """Of points: L* of the print that the joined curve is off, by how they are joined."""
    shortcut_off: float | None = None
    """Of a profile: L* of the print where littleCMS takes its usual short cuts."""
    shown_off: float | None = None
    """Of an output profile: L* of the print by the tables that no negative goes through."""
    table_off: float | None = None
    """Of a link: L* of the print by the table for programs that read no floats."""

    def check(self, path: Path, most_codes: float = MOST_CODES,
              most_lightness: float = MOST_LIGHTNESS) -> Proof:
        """Itself; `FileError` if the file is not what it should be."""
        codes, light = self.codes_off, self.lightness_off
        good = (codes is not None and codes <= most_codes) or (
            light is not None and light <= most_lightness)
        if (not good or (self.shown_off or 0.0) > MOST_SHOWN
                or (self.table_off or 0.0) > MOST_LIGHTNESS):
            raise FileError(
                f"the file {path} was not written: {self.reader} reads other tones from it"
                + ("" if light is None else f", by up to {light:.2f} L*"),
                "an export gives the codes of the negative", "take another form, such as the"
                " look-up table of every value")
        return self


def _against(curve: Curve, reader: str, wanted: NDArray[Any], found: NDArray[Any]) -> Proof:
    """The proof of codes that were found."""
    off = np.abs(found.astype(np.float64) - wanted.astype(np.float64))
    light = np.abs(print_lightness_of(curve, found) - print_lightness_of(curve, wanted))
    return Proof(reader, int(off.size), float(off.max()), float(light.max()))


def prove_columns(path: Path, columns: dict[str, Array], dialect: Dialect) -> Proof:
    """A curve or a response: every number, to the six places it is written with."""
    found = _numbers(_rows(path, dialect), dialect)
    wanted = np.stack(list(columns.values()), axis=1)
    off = float(np.abs(found - wanted).max()) if found.shape == wanted.shape else np.inf
    same = off <= _SIX_PLACES  # no measure of tones: the columns differ in what they are
    return Proof("a reader of plain text", len(found), None, 0.0 if same else None).check(path)


def prove_table(path: Path, curve: Curve, codes: NDArray[np.uint16], dialect: Dialect) -> Proof:
    """A table of codes: the last column, as text."""
    rows = _rows(path, dialect)
    picture, found = (np.array([int(row[at]) for row in rows[1:]]) for at in (0, -1))
    wanted = codes[picture] if np.array_equal(picture, np.arange(codes.size)) else np.zeros(1)
    return _against(curve, "a reader of plain text", wanted, found).check(path)


def prove_points(path: Path, curve: Curve, codes: NDArray[np.uint16], dialect: Dialect) -> Proof:
    """Points: each is the curve's code rounded to 8 bits; how far off the joined curve is, is
    told."""
    rows = _rows(path, dialect)
    cells = _numbers(rows, dialect)
    found = {"picture": cells[:, 0], "negative": cells[:, 1]}
    wanted = codes[found["picture"].astype(int)]
    proof = _against(curve, "a reader of plain text", wanted, 257.0 * found["negative"])
    goal = print_lightness_of(curve, codes)
    drawn = tuple((how, float(np.abs(print_lightness_of(curve, made) - goal).max()))
                  for how, made in joined(found).items())
    half_a_step = 257.0 / 2.0 + 0.5
    return replace(proof, joined_off=drawn).check(path, half_a_step)


def _rows(path: Path, dialect: Dialect) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream, delimiter=dialect.between))


def _numbers(rows: list[list[str]], dialect: Dialect) -> Array:
    """All but the header."""
    sign = DECIMALS[dialect.decimal]
    return np.array([[float(cell.replace(sign, ".")) for cell in row] for row in rows[1:]])


def prove_clf(path: Path, curve: Curve, codes: NDArray[np.uint16]) -> Proof:
    """A look-up table: the numbers in the one Array of the XML."""
    from xml.etree import ElementTree

    array = ElementTree.parse(path).find(f".//{{{CLF_NAMESPACE}}}Array")
    found = np.array((array.text or "" if array is not None else "").split(), dtype=np.float64)
    wanted = codes if found.size == codes.size else np.zeros(1)
    return _against(curve, "an XML reader", wanted, found).check(path)


def prove_readings(path: Path, curve: Curve) -> Proof:
    """CGATS readings: levels and densities, as `fit` takes them."""
    first, patches = measured_patches(curve)
    found = readings_from_table(
        read_table(path), ReadingOptions(relative_to_paper=first.relative_to_paper))
    level, density = (np.array([getattr(p.reading, name) for p in patches])
                      for name in ("level", "density"))
    same = found.scale == first.scale and found.level.shape == level.shape and np.allclose(
        found.level, level, rtol=0.0, atol=1e-6)
    off = np.abs(found.lightness - density_to_lightness(density)).max() if same else np.inf
    return Proof("the reader of measurements", len(patches), None, float(off)).check(path)


def prove_aim(path: Path, curve: Curve) -> Proof:
    """CGATS text of an aim: print tone and ink at each image tone."""
    table = read_table(path)
    image, printed, level = (numbers(table, table.columns.index(name)) for name in (
        "IMAGE_LIGHTNESS", "PRINT_LIGHTNESS", "LEVEL"))
    wanted, found = curve.code_at(image), np.round(FULL_CODE * (1.0 - level))
    off = float(np.abs(printed - curve.print_lightness_at(image)).max())
    proof = _against(curve, "the reader of measurements", wanted, found)
    return replace(proof, lightness_off=max(off, proof.lightness_off or 0.0)).check(
        path, most_codes=-1.0)


def prove_link(path: Path, curve: Curve, codes: NDArray[np.uint16]) -> Proof:
    """A device link, by littleCMS: from all 65536 values to codes, by way of a link that changes
    nothing, since that library wants two profiles; and the same by its table alone."""
    straight = device_link(np.arange(FULL_CODE + 1.0), "the same", "values")
    data = path.read_bytes()
    proof = _with_short_cut(path, curve, codes, partial(_transformed, data, straight))
    table = _transformed(data.replace(b"D2B0", b"none", 1), straight, icc.EXACT)
    return replace(proof, table_off=_against(curve, "", codes, table).lightness_off).check(
        path, most_lightness=-1.0)


def prove_output(path: Path, curve: Curve, codes: NDArray[np.uint16], encoding: str) -> Proof:
    """An output profile, by littleCMS: a picture in an encoding is converted to it (perceptual),
    and inverted; and what it says of the print (colorimetric) is held against the curve's own."""
    data, picture = path.read_bytes(), icc.encoding_profile(encoding)

    def go(flags: int) -> NDArray[Any]:
        return FULL_CODE - _transformed(picture, data, flags).astype(np.int64)

    proof = _with_short_cut(path, curve, codes, go)
    return replace(proof, shown_off=max(_other_tables(data, curve))).check(path)


def _other_tables(profile: bytes, curve: Curve) -> Iterator[float]:
    """How far the tables of an output profile that no negative goes through are off, L* of the
    print: back from ink to the picture, from ink to the print, and to the ink of a print's tone."""
    even = np.linspace(0.0, 1.0, FULL_CODE + 1)
    tables = print_tables(curve, 100.0 * even, even)
    ramp = np.arange(FULL_CODE + 1, dtype=np.uint16)[None]
    luminance = (icc.every_pixel(ramp, profile, "gray", intent)[0].astype(np.float64)
                 for intent in (_PERCEPTUAL, _RELATIVE))
    picture, shown = (luminance_to_lightness(100.0 * light) for light in luminance)
    yield float(np.abs(curve.print_lightness_at(picture)
                       - curve.print_lightness_at(tables.image_of_level)).max())
    yield float(np.abs(shown - tables.print_of_level).max())
    ink = _transformed(icc.lightness_profile(), profile, icc.EXACT, _RELATIVE)
    light = (print_lightness_of(curve, FULL_CODE - values.astype(np.float64))
             for values in (ink, FULL_CODE * tables.level_of_print))
    yield float(np.abs(np.subtract(*light)).max())


def _with_short_cut(
    path: Path, curve: Curve, codes: NDArray[np.uint16], go: Callable[[int], NDArray[Any]]
) -> Proof:
    proof = _against(curve, "littleCMS", codes, go(icc.EXACT))
    quick = _against(curve, "", codes, go(_SHORT_CUTS)).lightness_off
    return replace(proof, shortcut_off=quick).check(path)


def _transformed(
    profile: bytes, then: bytes, flags: int, intent: int = _PERCEPTUAL
) -> NDArray[Any]:
    """All 16-bit gray values through two profiles, shape (65536,)."""
    import imagecodecs

    ramp = np.arange(FULL_CODE + 1, dtype=np.uint16)[None]
    made: NDArray[Any] = imagecodecs.cms_transform(
        ramp, profile, then, colorspace="gray", outcolorspace="gray", outdtype="uint16",
        intent=intent, flags=flags)
    return made.reshape(-1)

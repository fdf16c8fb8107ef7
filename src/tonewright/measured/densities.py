"""How dark the patches of a table are, whatever was measured."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import ReadingsError, short
from tonewright.frozen import dataclass
from tonewright.measured.columns import (
    VALUE_NAMES,
    WAVELENGTH,
    Kind,
    Table,
    Weighting,
    check_columns,
    find,
    key,
    numbers,
    without_rows,
)
from tonewright.measured.findings import OtherViewing, ValuesLeftAside
from tonewright.record.findings import Finding
from tonewright.scales import Array

MOST_HUNDRED = 150.0
"""Even brightened paper reflects less than this percent at any wavelength."""
_COMPANIONS = ("lab_a", "lab_b", "xyz_x", "xyz_z")
_WEIGHTED_FOR = re.compile(r"\b(ILLUMINANT|OBSERVER)\W+(\w+)", re.IGNORECASE)


@dataclass(frozen=True)
class Measured:
    """The value column of a table as densities."""

    density: Array
    """On `scale`, shape (n,); not yet checked against what a print can have."""
    scale: Weighting
    kind: Kind
    label: str
    """Name of the column, as the file spells it, or ``the spectrum``."""
    value: Array
    """The numbers of that column; for a spectrum the luminance factor, 0 to 100."""
    findings: tuple[Finding, ...] = ()


def blank_rows(table: Table, scale: Weighting | None = None) -> NDArray[np.bool_]:
    """The rows in which nothing was measured: the cell of `measured` is empty, shape (n,).

    Raises as `measured`; `ReadingsError` if there is no other row.
    """
    _, kind, there, waves = _value_columns(table, scale)
    places = [i for _, i in waves] if kind == "spectrum" else [there[kind]]
    blank = np.array([not any(row[i] for i in places) for row in table.rows], dtype=bool)
    if blank.all():
        raise ReadingsError(
            f"no {short(table.columns[places[0]])} is filled in yet in {table.source.name}",
            "readings are what was measured on the print", "measure the print and type the"
            f" {'densities' if kind == 'density' else 'values'} into the table")
    for index in (i for i in there.values() if i not in places):
        otherwise = blank & [bool(row[index]) for row in table.rows]
        table.refuse(otherwise, index, f"other rows have a {table.columns[places[0]]}, and one"
                     " measurement holds one kind of value",
                     "measure all patches alike, or empty both cells of a patch that does not"
                     " count")
    return blank


def filled_rows(table: Table, scale: Weighting | None = None) -> Table:
    """The table without its blank rows, which are noted; raises as `blank_rows`."""
    return without_rows(table, blank_rows(table, scale))


def measured(table: Table, scale: Weighting | None = None) -> Measured:
    """The value column as densities of one weighting.

    With `scale` None: lightness or luminance if the file has them or a spectrum (true CIE L*),
    density otherwise.  Lightness goes before luminance, which is coarser in the blacks as
    files round it.

    Raises `ReadingsError`: no value column, none for this weighting, cells that are not numbers,
    lightness or luminance that counts from 0 to 1 or is not above 0.
    """
    chosen, kind, there, waves = _value_columns(table, scale)
    for name in _COMPANIONS:
        if (index := find(table, name)) is not None:
            numbers(table, index)
    findings = _left_aside(table, there, kind)
    if kind == "spectrum":
        density, value = _of_spectra(table, waves, chosen)
        return Measured(density, chosen, kind, "the spectrum", value, findings)
    index = there[kind]
    density = value = numbers(table, index)
    if kind != "density":
        _check_hundred(table, index, value)
        findings += _other_viewing(table)
        convert = scales.lightness_to_density if kind == "lightness" else \
            scales.luminance_to_density
        with np.errstate(divide="ignore"):  # too small for log10: an endless density, refused later
            density = convert(value)
    return Measured(density, chosen, kind, table.columns[index], value, findings)


def tints(table: Table) -> Array | None:
    """CIE L*, a*, b* (D50) of each row, shape (n, 3), from Lab or XYZ columns or spectra; None
    where there are none, or where they hold what no print has.

    Expects the table that `measured` took, whose cells are numbers.
    """
    lightness, luminance = VALUE_NAMES["lightness"], VALUE_NAMES["luminance"]
    for names, convert in (((lightness, ("lab_a",), ("lab_b",)), np.asarray),
                           ((("xyz_x",), luminance, ("xyz_z",)), scales.xyz_to_lab)):
        there = [i for name in names if (i := find(table, *name)) is not None]
        if len(there) == 3:
            lab = convert(np.stack([numbers(table, i) for i in there], axis=1))
            break
    else:
        if not (waves := _waves(table)):
            return None
        try:
            lab = scales.xyz_to_lab(scales.xyz_of_spectrum(*_spectra(table, waves)))
        except ReadingsError:  # beside a column that was read instead, they may be anything
            return None
    good = (np.abs(lab[:, 1:]) <= 150.0).all() and (np.abs(lab[:, 0] - 50.0) <= 55.0).all()
    return lab if good else None


def _value_columns(
    table: Table, scale: Weighting | None
) -> tuple[Weighting, Kind, dict[Kind, int], list[tuple[float, int]]]:
    """Weighting and kind to use, the columns of each kind, and (wavelength in nm, column)."""
    check_columns(table)
    there: dict[Kind, int] = {kind: index for kind, names in VALUE_NAMES.items()
                              if (index := find(table, *names)) is not None}
    waves = _waves(table)
    chosen, kind = _choose(table, [*there, *(["spectrum"] if waves else [])], scale)  # type: ignore[list-item]
    return chosen, kind, there, waves


def _waves(table: Table) -> list[tuple[float, int]]:
    """Wavelength (nm) and column of each value of a spectrum, by rising wavelength."""
    return sorted((float(m[1] or m[2]), i) for i, column in enumerate(table.columns)
                  if (m := WAVELENGTH.fullmatch(key(column))))


_KINDS: dict[Weighting, tuple[Kind, ...]] = {
    "luminance": ("lightness", "luminance", "spectrum"),
    "visual-density": ("density", "spectrum"),
}


def _choose(table: Table, there: list[Kind], scale: Weighting | None) -> tuple[Weighting, Kind]:
    for candidate in _KINDS if scale is None else (scale,):
        for kind in _KINDS[candidate]:
            if kind in there:
                return candidate, kind
    if not there:
        raise ReadingsError(
            f"the file {table.source.name} has the columns {table.named}; none of them"
            " says how dark each patch is",
            "a patch is measured as density (or D_VIS), lightness (LAB_L), luminance (XYZ_Y, 0"
            " to 100) or a spectrum (SPECTRAL_400 ...)",
            "rename the column that does to one of these")
    raise ReadingsError(
        f"the file {table.source.name} has no column that gives {scale}",
        "density and D_VIS are visual-density; lightness, LAB_L, luminance and XYZ_Y are"
        " luminance; a spectrum gives both; on a coloured print one cannot be turned into the"
        " other", "take the weighting that the file has, or export it with the other column",
        code="weighting_missing")


def _left_aside(table: Table, there: dict[Kind, int], used: Kind) -> tuple[Finding, ...]:
    """The value columns that were not used, if there are any."""
    others = tuple(table.columns[i] for kind, i in there.items() if kind != used)
    other: Weighting | None = "luminance" if used == "density" else \
        "visual-density" if "density" in there else None
    label = "" if used == "spectrum" else table.columns[there[used]]
    return (ValuesLeftAside(table.source.name, label, others, other),) if others else ()


def _other_viewing(table: Table) -> tuple[Finding, ...]:
    """Whether a CGATS keyword says that Lab or XYZ are not for D50 and 2 degrees."""
    if table.source.kind != "cgats":
        return ()
    said = [m for line in table.source.comments for m in _WEIGHTED_FOR.finditer(line)]
    lights = tuple(m[2] for m in said if m[1].upper() == "ILLUMINANT" and m[2].upper() != "D50")
    ten = any(m[1].upper() == "OBSERVER" and m[2] == "10" for m in said)
    return (OtherViewing(table.source.name, lights, ten),) if lights or ten else ()


def _check_hundred(table: Table, index: int, value: Array) -> None:
    """Lightness and luminance count from 0 to 100 and are above 0, or have no density."""
    table.refuse(value > MOST_HUNDRED, index,
                 "lightness and luminance count from 0 to 100, the perfect white",
                 "correct the row")
    if 0.0 < value.max() <= 1.1:
        raise ReadingsError(
            f"in {table.source.name}: no value of {table.columns[index]} is above {value.max():g}",
            "lightness and luminance count from 0 to 100, and a print has some white in it",
            "if luminance counts from 0 to 1 here, multiply it by 100; if these are densities,"
            " name the column density")
    table.refuse(value <= 0.0, index,
                 "no print is that black: 0 would be an endless density, so the instrument was at"
                 " the end of its range or rounded",
                 "write the smallest value the instrument can show, or remove the row")


def _of_spectra(
    table: Table, waves: Sequence[tuple[float, int]], scale: Weighting
) -> tuple[Array, Array]:
    """Densities and luminance factors (0 to 100) of spectra, as `_waves` finds them."""
    wavelengths, fraction = _spectra(table, waves)
    with np.errstate(divide="ignore", invalid="ignore"):  # a mean of 0 is refused below
        if scale == "luminance":
            luminance = scales.luminance_of_spectrum(wavelengths, fraction)
            density = scales.luminance_to_density(luminance)
        else:
            density = scales.visual_density_of_spectrum(wavelengths, fraction)
            luminance = scales.density_to_luminance(density)
    black = np.flatnonzero(~np.isfinite(density))
    if black.size:
        raise ReadingsError(
            f"{table.where(int(black[0]))}: the spectrum reflects nothing or less than nothing",
            "the mean reflectance of a patch is above 0", "measure the patch again, or remove the"
            " row")
    return density, luminance


def _spectra(table: Table, waves: Sequence[tuple[float, int]]) -> tuple[Array, Array]:
    """Wavelengths (nm), shape (m,), and reflectance (0 to 1), shape (n, m)."""
    reflectance = np.stack([numbers(table, index) for _, index in waves], axis=1)
    wild = (reflectance > MOST_HUNDRED) | (reflectance < -5.0)
    if wild.any():
        row, at = np.argwhere(wild)[0]
        raise table.fault(int(row), waves[int(at)][1],
                          "reflectance counts from 0 to 1 or from 0 to 100",
                          "correct the row, or measure the patch again")
    highest = float(reflectance.max())
    # A print has some white in it: at least a tenth is reflected somewhere, and never 150 %.
    if 1.5 < highest < 5.0:
        raise ReadingsError(
            f"in {table.source.name}: the highest reflectance in the spectra is {highest:g}",
            "reflectance counts from 0 to 1 or from 0 to 100, and this could be neither",
            "check the spectra; multiply them by 100 if they count from 0 to 1")
    fraction = reflectance if highest <= 1.5 else reflectance / 100.0
    return np.array([wave for wave, _ in waves]), fraction

"""A gray scale that lies beside the print in the same scan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.scales import Array
from tonewright.scan.combs import FEWEST_SEEN
from tonewright.scan.find_steps import LONGEST, FoundRow, find_row
from tonewright.scan.flat import Flat
from tonewright.scan.image import Scan
from tonewright.scan.place import Located
from tonewright.scan.rectify import apply, shrink, shrink_matrix
from tonewright.scan.response import check_listed, response_of_row
from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow, read_step_row, sample_row
from tonewright.target.document import Target

_EDGE_MM = 1.0
"""Around the film that is taken for part of the print."""
_LEAST_MM = 5.0
"""Height of the lowest gray scale that is looked for."""
_WAY_OUT = (
    "check that the list has one density for each step; lay the gray scale 1 cm from the print,"
    " all of it in the scan, and scan again; or say where its corners are, or scan it by itself and"
    " calibrate the scanner with that"
)


def read_beside(
    scan: Scan, target: Target, located: Located, density: Array, flat: Flat | None = None,
    corners: ArrayLike | None = None,
) -> tuple[StepRow, ScannerResponse]:
    """Find a gray scale at one of the four sides of a print, and learn the scanner from it.

    Nothing inside the outline of the print, where it is ``located``, is taken for a step.
    ``density`` are the known densities of the steps in their order, shape (n,); for ``flat`` see
    `response_of_row`; ``corners`` of the gray scale are as in `read_step_row`, None: it is looked
    for.

    Raises `ReadingsError`: densities that no gray scale has, or that neither rise nor fall from
    step to step; no such row beside the print, or one that the densities do not suit.
    `OptionError`: corners that are no quadrangle inside the scan.
    """
    check_listed(density)
    if not located.light:  # codes are those of the print, as everywhere
        scan = replace(scan, pixels=1.0 - scan.pixels, lightness=None)
    dark_first, refusals = bool(density[0] > density[-1]), []
    if corners is not None:
        try:
            row = read_step_row(scan, density.size, corners, dark_first=dark_first)
            return row, response_of_row(row, density, scan, "", flat)
        except (ReadingsError, OptionError) as error:
            raise _said_of_beside(error) from error
    for beside, to_scan in _sides(scan.pixels, target, located):
        try:
            found = find_row(beside, density.size, scan.name)
            row = sample_row(scan, FoundRow(apply(to_scan, found.corners), found.findings),
                             density.size, dark_first=dark_first)
            return row, response_of_row(row, density, scan, "", flat)
        except ReadingsError as error:
            refusals.append(error)
    raise _refusal(refusals, density.size, scan.name)


def _sides(
    pixels: NDArray[np.float32], target: Target, located: Located
) -> Iterator[tuple[NDArray[np.float32], Array]]:
    """What lies at each side of the print, the largest part first, the print itself blotted out;
    and the matrix from its pixels to the scan's."""
    width, height = target.width_mm, target.height_mm
    sheet = located.placement.to_scan(target.corners)
    (_, left, right, _), (_, top, bottom, _) = np.sort(np.rint(sheet.T).astype(int), axis=1)
    rows, columns = pixels.shape
    parts = [(slice(0, rows), slice(0, max(left, 0))),
             (slice(0, rows), slice(max(right, 0), columns)),
             (slice(0, max(top, 0)), slice(0, columns)),
             (slice(max(bottom, 0), rows), slice(0, columns))]
    per_mm = located.placement.per_mm((width / 2, height / 2))
    for part in sorted(parts, key=lambda p: -pixels[p].size):
        if min(pixels[part].shape) < _LEAST_MM * per_mm:
            continue
        factor = max(1, -(-max(pixels[part].shape) // LONGEST))
        small = shrink(pixels[part], factor).copy()
        shift = np.array([[1.0, 0, part[1].start], [0, 1.0, part[0].start], [0, 0, 1.0]])
        to_scan = shift @ np.linalg.inv(shrink_matrix(factor))
        grid = np.stack(np.meshgrid(*map(np.arange, small.shape[::-1])), axis=-1)
        x, y = np.moveaxis(located.placement.to_print(apply(to_scan, grid)), -1, 0)
        print_ = (np.maximum(-x, x - width) < _EDGE_MM) & (np.maximum(-y, y - height) < _EDGE_MM)
        if not print_.all():
            small[print_] = np.median(small[~print_])
            yield small, to_scan


def _refusal(refusals: list[ReadingsError], count: int, name: str) -> ReadingsError:
    """One message: of the side that shows most of a row."""
    best = max(refusals, key=lambda error: _seen(error, count), default=None)
    if best is None or _seen(best, count) < FEWEST_SEEN:
        return ReadingsError(
            f"no gray scale of {counted(count, 'step')} was found beside the print in {name}",
            "it shows as a row of equal steps outside the print", _WAY_OUT,
            code="gray_scale_beside")
    return ReadingsError(f"the gray scale beside the print: {best.given}", best.rule, _WAY_OUT,
                         code="gray_scale_beside")


def _said_of_beside(error: ReadingsError | OptionError) -> ReadingsError | OptionError:
    """The same, of corners beside the print and not of its marks."""
    codes = {"row_corners": "gray_scale_corners", "row_turned": "gray_scale_turned"}
    return type(error)(f"the gray scale beside the print: {error.given}", error.rule,
                       error.way_out, code=codes.get(error.code or "", error.code),
                       **error.values)


def _seen(error: ReadingsError, count: int) -> int:
    """Edges of a row that a refusal knows of; where all were seen, the densities do not fit."""
    seen = error.values.get("seen", count)
    assert isinstance(seen, int)
    return seen

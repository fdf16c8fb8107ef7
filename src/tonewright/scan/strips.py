"""The steps of a printed tablet as read from a scan, as a table that `strip` takes."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import ReadingsError, runs
from tonewright.frozen import dataclass
from tonewright.measured import findings
from tonewright.measured.columns import Source, Table
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan.flat import Flat, in_even_light, light_at
from tonewright.scan.image import CLIPPED, SCAN_PLAINLY, Scan
from tonewright.scan.response import response_from_profile
from tonewright.scan.sample import MOST_CLIPPED
from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow, read_step_row

Through = Literal["film", "bare"]
Halves = Literal["2", "film/bare", "bare/film", "1", "film", "bare"]
_OUT_OF_LINE, _MOST_STAINED = 0.05, 3
"""Density by which a step must be denser than one before it to look stained; with more such steps
it is no stain: some processes get lighter again where they are overexposed."""


@dataclass(frozen=True)
class StripScan:
    """What a scanned strip does not say of itself."""

    response: ScannerResponse | None = None
    """None: the embedded profile alone."""
    corners: ArrayLike | None = None
    """Pixels (column, row), clockwise from the top left of step 1, shape (4, 2); None: look."""
    halves: Halves = "2"
    """``2``: two halves along the row, of which the lighter lay under the film; ``film/bare``:
    the upper one did, seen with step 1 at the left; ``1`` or ``film``: all of it; ``bare``: none
    of it."""
    flat: Flat | None = None
    """Of a plain white sheet: the lamp's unevenness."""


def read_strip_scan(scan: Scan, count: int, how: StripScan | None = None) -> Table:
    """The densities of a scanned strip of ``count`` steps: ``step, density, density_sd, through``,
    one row a step and half.  Step 1, the darkest, is found by itself.

    Raises `ReadingsError`: no such row; clipped steps, or darker than the response reaches; halves
    that do not differ. `OptionError`: neither a scanner response nor a profile; impossible corners.
    """
    how = how or StripScan()
    response = how.response or response_from_profile(scan)
    halves: Literal[1, 2] = 1 if how.halves in ("1", "film", "bare") else 2
    row = read_step_row(scan, count, how.corners, halves, dark_first=True)
    _check_clipped(row, scan.name)
    through = _through(row, how.halves, scan.name)
    seen, response_sd, inside = response.density_of(row.code)
    places = np.stack([row.centres(half) for half in range(len(row.code))])
    light, lit = light_at(scan, places, response, how.flat)
    density = in_even_light(seen, light, response.flare)
    _check_black(density, inside, response, scan.name)
    # rounding to whole codes leaves a twelfth of a code squared, less where noise blurs it
    grain = 1.0 / ((1 << scan.bits) - 1) / np.sqrt(12.0 * 16.0)
    own = np.hypot(row.code_sd, grain) * response.density_per_code(row.code)
    sd = np.clip(np.hypot(own, response_sd), 1e-4, 0.5)
    rows = tuple((str(k + 1), f"{density[half, k]:.4f}", f"{sd[half, k]:.4f}", word)
                 for half, word in enumerate(through) for k in range(count))
    found = (*scan.findings, *row.findings, *response.check_taken(scan), *lit,
             *_outside(response, inside, through, scan.name),
             findings.DensitiesByProfile(scan.name) if response.basis == "profile"
             else findings.DensitiesByResponse(scan.name, response.name),
             *_stains(density, through, scan.name))
    source = Source(scan.name, "scan", scan.sha256 or "")
    return Table(("step", "density", "density_sd", "through"), rows, source,
                 tuple(range(1, count + 1)) * len(through), found)


def _check_clipped(row: StepRow, name: str) -> None:
    """Steps at the end of the scan's range have no density."""
    white = (row.clipped > MOST_CLIPPED) & (row.code > 0.5)
    black = (row.clipped > MOST_CLIPPED) & ~white
    for clipped, end in ((white, "white"), (black, "black")):
        steps = np.flatnonzero(clipped.any(axis=0)) + 1
        if steps.size:
            raise ReadingsError(f"in {name}, {_runs(steps)} clipped to {end}", CLIPPED,
                                SCAN_PLAINLY)


def _through(row: StepRow, halves: Halves, name: str) -> tuple[Through, ...]:
    said: dict[Halves, tuple[Through, ...]] = {
        "1": ("film",), "film": ("film",), "bare": ("bare",), "film/bare": ("film", "bare"),
        "bare/film": ("bare", "film")}
    if halves in said:
        return said[halves]
    film = row.film_half
    if film is None:
        raise ReadingsError(
            f"the two halves of the strip in {name} do not differ",
            "the half that lay under the film prints lighter",
            "say which it is, seen with step 1 at the left, or that all of the strip lay under the"
            " film or none of it", code="halves_unclear")
    return said["film/bare" if film == 0 else "bare/film"]


def _outside(
    response: ScannerResponse, inside: NDArray[np.bool_], through: tuple[Through, ...], name: str
) -> list[Finding]:
    span = response.lightest_density, response.darkest_density
    return [findings.StepsOutsideResponse(name, word, tuple(out.tolist()), *span)
            for word, within in zip(through, inside, strict=True)
            if (out := np.flatnonzero(~within) + 1).size]


def _stains(density: Array, through: tuple[Through, ...], name: str) -> list[Finding]:
    """Steps that break the fall of density from step to step."""
    return [findings.StepsOutOfLine(name, word, tuple(odd.tolist()))
            for word, half in zip(through, density, strict=True)
            if 0 < (odd := _out_of_line(half)).size <= _MOST_STAINED]


def _out_of_line(density: Array) -> NDArray[np.int64]:
    """Numbers of the fewest steps without which density falls but for noise, shape (n,)."""
    left = list(range(density.size))
    out: list[int] = []
    while True:
        value = density[left]
        rises = np.triu(value[None, :] - value[:, None] > _OUT_OF_LINE, 1)
        wrong = rises.sum(axis=0) + rises.sum(axis=1)
        if not wrong.any():
            return np.sort(np.array(out, dtype=np.int64)) + 1
        # of two that break the fall with each other alone, the one further off its neighbours
        away = np.abs(value - _middle_of_neighbours(value))
        worst = int(np.lexsort((away, wrong))[-1])
        out.append(left.pop(worst))


def _middle_of_neighbours(value: Array) -> Array:
    """Mean of the step before and the step after, the nearest two at an end, shape (n,)."""
    wide = np.concatenate([[value[1]], value, [value[-2]]])
    return np.asarray((wide[:-2] + wide[2:]) / 2.0)


def _check_black(
    density: Array, inside: NDArray[np.bool_], response: ScannerResponse, name: str
) -> None:
    """The printing time hangs on the blacks: a response that ends before them misleads."""
    beyond = ~inside & (density > response.darkest_density - 0.02)
    steps = np.flatnonzero(beyond.any(axis=0)) + 1
    if steps.size:
        raise ReadingsError(
            f"in {name}, {_runs(steps)} darker than the scanner response reaches (density"
            f" {response.darkest_density:.2f})",
            "the printing time is found from the blacks, so those must be known",
            "make a response from a gray scale with darker steps, or measure the strip with an"
            " instrument")


def _runs(steps: NDArray[np.intp]) -> str:
    """``steps 1 to 4 and 30 are`` for 1, 2, 3, 4, 30."""
    said = runs(steps.tolist())
    return f"step {said} is" if steps.size == 1 else f"steps {said} are"

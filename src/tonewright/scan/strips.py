"""The steps of a printed tablet as read from a scan, as a table that `strip` takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import OptionError, ReadingsError
from tonewright.measured.columns import Source, Table
from tonewright.scales import Array
from tonewright.scan.image import Scan
from tonewright.scan.response import response_from_profile
from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow, read_step_row

Halves = Literal["2", "film/bare", "bare/film", "1", "film", "bare"]
HALVES: tuple[Halves, ...] = ("2", "film/bare", "bare/film", "1", "film", "bare")
_OUT_OF_LINE, _MOST_STAINED = 0.05, 3
"""Density by which a step must be denser than one before it to look stained; with more such steps
it is no stain: some processes get lighter again where they are overexposed."""
MOST_CLIPPED = 0.02
"""Share of a step's pixels that may be clipped before its density is not known."""


@dataclass(frozen=True)
class StripScan:
    """What a scanned strip does not say of itself."""

    response: ScannerResponse | None = None
    """None: the embedded profile alone."""
    corners: Array | None = None
    """Pixels (column, row), clockwise from the top left of step 1, shape (4, 2); None: look."""
    halves: Halves = "2"
    """``2``: two halves along the row, of which the lighter lay under the film; ``film/bare``:
    the upper one did, seen with step 1 at the left; ``1`` or ``film``: all of it; ``bare``: none
    of it."""


@dataclass(frozen=True, eq=False)
class StripReading:
    """A strip as read."""

    row: StepRow
    through: tuple[str, ...]
    """film or bare, one for each half from top to bottom."""
    table: Table
    """``step, density, density_sd, through``, one row a step and half; its notes say what a
    reader should know."""


def read_strip_scan(
    scan: Scan, count: int, sha256: str, how: StripScan | None = None
) -> StripReading:
    """The densities of a scanned strip of ``count`` steps; step 1, the darkest, is found by itself.

    Raises
    ------
    ReadingsError
        No such row; clipped steps, or darker than the response reaches; halves that do not differ.
    OptionError
        Neither a scanner response nor a profile; impossible corners.
    """
    how = how or StripScan()
    response = how.response or _profile_response(scan)
    halves: Literal[1, 2] = 1 if how.halves in ("1", "film", "bare") else 2
    row = read_step_row(scan, count, how.corners, halves, dark_first=True)
    _check_clipped(row, scan.name)
    through = _through(row, how.halves, scan.name)
    density, response_sd, inside = response.density_of(row.code)
    _check_black(row, density, inside, response, scan.name)
    # rounding to whole codes leaves a twelfth of a code squared, less where noise blurs it
    grain = 1.0 / ((1 << scan.bits) - 1) / np.sqrt(12.0 * 16.0)
    own = np.hypot(row.code_sd, grain) * response.density_per_code(row.code)
    sd = np.clip(np.hypot(own, response_sd), 1e-4, 0.5)
    rows, lines = [], []
    for half, word in enumerate(through):
        for k in range(count):
            rows.append((str(k + 1), f"{density[half, k]:.4f}", f"{sd[half, k]:.4f}", word))
            lines.append(k + 1)
    notes = (*(f"{scan.name}: {w}" for w in (*scan.warnings, *row.warnings)),
             *_notes(response, inside, through, scan.name),
             *_stain_notes(density, through, scan.name))
    source = Source(scan.name, "scan", sha256, (_origin(response),))
    table = Table(("step", "density", "density_sd", "through"), tuple(rows), source, tuple(lines),
                  notes)
    return StripReading(row, through, table)


def _profile_response(scan: Scan) -> ScannerResponse:
    if scan.lightness is None:
        raise OptionError(
            f"{scan.name} carries no ICC profile, and no scanner response is given",
            "a scan is not density until it is compared with something known",
            "scan a gray scale of known densities, make its response with `tonewright scanner`,"
            " and add --scanner NAME.scanner.json")
    return response_from_profile(scan)


def _check_clipped(row: StepRow, name: str) -> None:
    """Steps at the end of the scan's range have no density."""
    white = (row.clipped > MOST_CLIPPED) & (row.code > 0.5)
    black = (row.clipped > MOST_CLIPPED) & ~white
    for clipped, end in ((white, "white"), (black, "black")):
        steps = np.flatnonzero(clipped.any(axis=0)) + 1
        if steps.size:
            listed = ", ".join(map(str, steps[:8])) + (" …" if steps[8:].size else "")
            raise ReadingsError(
                f"step {listed} of {name} is clipped to {end}",
                "beyond its end values a scan shows nothing",
                "scan again with automatic exposure, sharpening and contrast switched off, without"
                " setting black and white points")


def _through(row: StepRow, halves: Halves, name: str) -> tuple[str, ...]:
    if halves in ("1", "film"):
        return ("film",)
    if halves == "bare":
        return ("bare",)
    if halves != "2":
        return tuple(halves.split("/"))
    film = row.film_half
    if film is None:
        raise ReadingsError(
            f"the two halves of the strip in {name} do not differ",
            "the half that lay under the film prints lighter",
            "say which it is, seen with step 1 at the left, with --halves film/bare or"
            " --halves bare/film; for a strip that is all under the film --halves 1, for one all"
            " bare --halves bare")
    return ("film", "bare") if film == 0 else ("bare", "film")


def _notes(
    response: ScannerResponse, inside: NDArray[np.bool_], through: tuple[str, ...], name: str
) -> list[str]:
    notes = []
    for half, word in enumerate(through):
        out = np.flatnonzero(~inside[half]).astype(np.int64) + 1
        if out.size:
            notes.append(
                f"{name}, {word}: {_runs(out)} outside the densities that the scanner's response"
                f" covers ({_range(response)}), so their densities are estimates")
    if response.basis == "profile":
        notes.append(
            f"{name}: densities rest on the embedded profile alone, and may be off by 0.1 and"
            " more in the blacks; a scanned gray scale (`tonewright scanner`) is much surer")
    return notes


def _stain_notes(density: Array, through: tuple[str, ...], name: str) -> list[str]:
    """Steps that break the fall of density from step to step."""
    notes = []
    for half, word in enumerate(through):
        odd = _out_of_line(density[half])
        if 0 < odd.size <= _MOST_STAINED:
            skip = " ".join(f"--skip {k}" for k in odd)
            notes.append(f"{name}, {word}: {_runs(odd)} out of line with the neighbours, as under a"
                         f" stain or a scratch; look at the strip, and if so add {skip}")
    return notes


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
    row: StepRow, density: Array, inside: NDArray[np.bool_], response: ScannerResponse, name: str
) -> None:
    """The printing time hangs on the blacks: a response that ends before them misleads."""
    beyond = ~inside & (density > response.darkest_density - 0.02)
    steps = np.flatnonzero(beyond.any(axis=0)).astype(np.int64) + 1
    if steps.size:
        raise ReadingsError(
            f"in {name}, {_runs(steps)} darker than the scanner's response reaches"
            f" ({_range(response)})",
            "the printing time is found from the blacks, so those must be known",
            "make a response from a gray scale with darker steps (`tonewright scanner`), or"
            " measure the strip with an instrument")


def _range(response: ScannerResponse) -> str:
    return f"{max(response.lightest_density, 0.0):.2f} to {response.darkest_density:.2f}"


def _runs(steps: NDArray[np.int64]) -> str:
    """``steps 1 to 4, 30 are`` for 1, 2, 3, 4, 30."""
    parts = np.split(steps, np.flatnonzero(np.diff(steps) > 1) + 1)
    said = ", ".join(f"{p[0]}" if p.size == 1 else f"{p[0]} to {p[-1]}" for p in parts)
    return f"step {said} is" if steps.size == 1 else f"steps {said} are"


def _origin(response: ScannerResponse) -> str:
    if response.basis == "profile":
        return "scanned; densities by the embedded profile"
    return f"scanned; densities by the scanner response {response.name}".rstrip()

"""Readings of a target, from a scan or an instrument, as a CSV file that `fit` takes as it is."""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright.files.safe import whole_file, write_text
from tonewright.measured.columns import COLOUR_NAMES
from tonewright.measured.readings import Readings
from tonewright.record.provenance import made_by
from tonewright.scales import density_to_lightness
from tonewright.scan.read import ScanReading
from tonewright.target.document import Target

Path = str | os.PathLike[str]


def write_readings(
    path: Path, reading: ScanReading, notes: tuple[str, ...] = (), *, force: bool = False,
    overlay: tuple[Path, NDArray[np.float32]] | None = None, print_name: str | None = None,
) -> None:
    """Write ``patch, level, density, density_sd, doubt`` and what belongs to them.

    Of a target in coloured ink, or a chart of inks, ``red, green, blue`` follow the level.

    ``notes`` become comments at the top.  Patches that could not be read are left out, with a
    comment.  ``overlay`` names a PNG and gives the scan (0 to 1, shape (rows, columns)) to be
    drawn into it; then both files are written or neither.  ``print_name`` tells this sheet from
    others of the same target.  Raises `FileError` if one exists without ``force``, or cannot be
    written.
    """
    with contextlib.ExitStack() as both:
        table = both.enter_context(whole_file(path, force=force))
        table.write_text(readings_csv(reading, notes, print_name), encoding="utf-8", newline="\n")
        if overlay is not None:
            from tonewright.files.scan.overlay import overlay_png

            picture = both.enter_context(whole_file(overlay[0], force=force))
            picture.write_bytes(overlay_png(overlay[1], reading))


def write_list_reading(
    path: Path, readings: Readings, target: Target, notes: Sequence[str] = (), *,
    force: bool = False, print_name: str | None = None,
) -> None:
    """Write an instrument's readings of a target in the same form, with comments at the top.

    Raises `FileError` as `write_readings`.
    """
    write_text(path, list_csv(readings, target, notes, print_name), force=force)


def list_csv(
    readings: Readings, target: Target, notes: Sequence[str] = (), print_name: str | None = None
) -> str:
    """The text of that file; lightness stands beside density where lightness was measured."""
    measured = readings.scale == "luminance" and not readings.relative_to_paper
    sources = ", ".join(s.name for s in readings.sources)
    notes = [f"{_target_line(target)}, measured ({sources}), by {made_by()}", *notes]
    if readings.relative_to_paper:
        notes.append("densities count from the bare paper: add --relative-to-paper to fit")
    sheets = print_name is not None or any(r.print_name for r in readings.patches)
    rows = []
    for r in readings.patches:
        light = [f"{float(density_to_lightness(r.density)):.3f}"] if measured else []
        sd = "" if r.density_sd is None else f"{r.density_sd:.4f}"
        rows.append([r.patch, f"{r.level:.6g}", *_ink_cells(target, r.patch), f"{r.density:.4f}",
                     sd, *light,
                     *_aim_cell(target, r.patch),
                     *([print_name or r.print_name or ""] if sheets else [])])
    return _csv(notes, ["patch", "level", *_ink_head(target), "density", "density_sd",
                        *(["lightness"] if measured else []), *_aim_head(target),
                        *(["print"] if sheets else [])], rows)


def readings_csv(
    reading: ScanReading, notes: tuple[str, ...] = (), print_name: str | None = None
) -> str:
    """The text of a scan's readings."""
    target, sheet = reading.target, [] if print_name is None else [print_name]
    rows = [
        [read.patch.name, f"{read.patch.level:.6g}", *_ink_cells(target, read.patch.name),
         f"{read.density:.4f}", f"{read.density_sd:.4f}",
         *_aim_cell(target, read.patch.name), *sheet, "; ".join(read.doubts)]
        for read in reading.patches
        if read.density is not None and read.density_sd is not None]
    return _csv((*_head(reading), *notes, *reading.warnings),
                ["patch", "level", *_ink_head(target), "density", "density_sd", *_aim_head(target),
                 *(["print"] if sheet else []), "doubt"], rows)


def _csv(notes: Sequence[str], head: list[str], rows: list[list[str]]) -> str:
    stream = io.StringIO()
    for note in notes:
        stream.write("# " + " ".join(note.split()) + "\n")
    csv.writer(stream, lineterminator="\n").writerows([head, *rows])
    return stream.getvalue()


def _ink_head(target: Target) -> list[str]:
    return list(COLOUR_NAMES) if target.in_colour else []


def _ink_cells(target: Target, name: str) -> list[str]:
    """Red, green and blue of a patch's ink; clear film on a chart of inks is white."""
    if not target.in_colour:
        return []
    patch = target.patch(name)
    colour = None if patch is None else target.colour_of(patch)
    return [str(value) for value in colour or (255, 255, 255)]


def _aim_head(target: Target) -> list[str]:
    return ["aim_lightness"] if any(p.aim_lightness is not None for p in target.patches) else []


def _aim_cell(target: Target, name: str) -> list[str]:
    patch = target.patch(name)
    aim = None if patch is None else patch.aim_lightness
    return ["" if aim is None else f"{aim:.3f}"] if _aim_head(target) else []


def _target_line(target: Target) -> str:
    through = f", through the curve {target.through}" if target.through else ""
    return f"target {target.name}, {target.date or 'no date'}, seed {target.seed}{through}"


def _head(reading: ScanReading) -> tuple[str, ...]:
    uneven = reading.unevenness
    evened = (f"unevenness across the sheet of up to {uneven.span:.3f} was taken out"
              if uneven.known else "no unevenness was taken out")
    return (
        f"{_target_line(reading.target)}, read from a scan by {made_by()}",
        f"densities by {_basis(reading)}; {evened}",
    )


def _basis(reading: ScanReading) -> str:
    response = reading.response
    return {"scale": f"the scanner response {response.name}".rstrip(),
            "anchors": "known patches", "profile": "the embedded profile alone"}[response.basis]

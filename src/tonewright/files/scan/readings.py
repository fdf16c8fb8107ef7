"""Readings of a target, from a scan or an instrument, as a CSV file that `fit` takes as it is."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import visible
from tonewright.files.blank import aim_column, csv_text, patch_columns
from tonewright.files.safe import write_together
from tonewright.files.scan.overlay import overlay_png
from tonewright.measured.readings import Readings
from tonewright.record.codec import encode
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.scales import density_to_lightness
from tonewright.scan.read import ScanReading
from tonewright.target.document import Target

Path = str | os.PathLike[str]
Columns = Mapping[str, Sequence[str]]


def write_readings(
    path: Path, reading: ScanReading, comments: Sequence[str] = (), *, force: bool = False,
    overlay: tuple[Path, NDArray[np.float32]] | None = None, print_name: str | None = None,
) -> None:
    """Write ``patch, level, density, density_sd, doubt`` and what belongs to them.

    Of a target in coloured ink, or a chart of inks, ``red, green, blue`` follow the level.  In the
    column ``doubt`` are the codes of what may be wrong with a patch.

    ``comments`` are put at the top, as are the findings.  Patches that could not be read are left
    out.  ``overlay`` names a PNG and gives the scan (0 to 1, shape (rows, columns)) to be drawn
    into it; then both files are written or neither.  ``print_name`` tells this sheet from others
    of the same target.  Raises `FileError` if one exists without ``force``, or cannot be written.
    """
    picture, scan = overlay or (None, None)
    write_together([(path, readings_csv(reading, comments, print_name)),
                    (picture, None if scan is None else overlay_png(scan, reading))], force=force)


def readings_csv(
    reading: ScanReading, comments: Sequence[str] = (), print_name: str | None = None
) -> str:
    """The text of a scan's readings."""
    target, response, uneven = reading.target, reading.response, reading.unevenness
    read = [p for p in reading.patches if p.density is not None and p.density_sd is not None]
    names = [p.patch.name for p in read]
    return _csv(
        (f"{_target_line(target)}, read from a scan by {made_by()}",
         "densities by: " + f"{reading.basis.way.replace('_', ' ')} {response.name}".rstrip(),
         f"unevenness taken out: {uneven.span:.3f}" if uneven.known else
         "unevenness taken out: none", *comments),
        reading.findings, {
            **patch_columns(target, names),
            "density": [f"{p.density:.4f}" for p in read],
            "density_sd": [f"{p.density_sd:.4f}" for p in read],
            **aim_column(target, names),
            **({} if print_name is None else {"print": [print_name] * len(read)}),
            "doubt": [" ".join(d.code for d in p.doubts) for p in read]})


def list_csv(
    readings: Readings, target: Target, comments: Sequence[str] = (),
    print_name: str | None = None,
) -> str:
    """The text of an instrument's readings of a target in the same form; lightness is beside
    density where lightness was measured, and a* and b* where colour was."""
    patches, names = readings.patches, [r.patch for r in readings.patches]
    measured = readings.scale == "luminance" and not readings.relative_to_paper
    tints = readings.tints or () if measured else ()
    sheets = [print_name or r.print_name or "" for r in patches]
    return _csv(
        (f"{_target_line(target)}, measured ({', '.join(s.name for s in readings.sources)}), by"
         f" {made_by()}", *comments,
         *(["densities: relative to the bare paper"] if readings.relative_to_paper else [])),
        readings.findings, {
            **patch_columns(target, names),
            "density": [f"{r.density:.4f}" for r in patches],
            "density_sd": ["" if r.density_sd is None else f"{r.density_sd:.4f}" for r in patches],
            **({"lightness": [f"{v:.3f}" for v in density_to_lightness(readings.density)]}
               if measured else {}),
            **({"lab_a": [f"{t.a:.3f}" for t in tints], "lab_b": [f"{t.b:.3f}" for t in tints]}
               if len(tints) == len(patches) else {}),
            **aim_column(target, names), **({"print": sheets} if any(sheets) else {})})


def _csv(comments: Sequence[str], findings: Sequence[Finding], columns: Columns) -> str:
    found = [f"finding: {json.dumps(encode(f), ensure_ascii=False)}" for f in findings]
    lines = ["# " + visible(" ".join(line.split())) + "\n" for line in (*comments, *found)]
    return "".join([*lines, csv_text(columns)])


def _target_line(target: Target) -> str:
    through = f", through the curve {target.through}" if target.through else ""
    return f"target {target.name}, {target.date or 'no date'}, seed {target.seed}{through}"

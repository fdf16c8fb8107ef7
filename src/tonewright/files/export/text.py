"""Exports that are text: a look-up table in the Common LUT Format, measurements as CGATS."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__, scales
from tonewright.curve.document import Curve
from tonewright.curve.export import curve_rows
from tonewright.errors import OptionError, visible
from tonewright.frozen import dataclass
from tonewright.measured.columns import COLOUR_NAMES
from tonewright.measured.readings import Reading, Readings
from tonewright.scales import Array

CLF_NAMESPACE = "urn:AMPAS:CLF:v3.0"
_A_LINE = 16
_AIMS = 101
_STANDARD = {"SAMPLE_ID", "SAMPLE_NAME", "D_VIS", "LAB_L"}
"""Field names of CGATS.17; any other is declared."""


def clf_text(curve: Curve, codes: NDArray[np.uint16], encoding: str) -> str:
    """A 1D look-up table from gray values to codes of the negative, one for each of 65536 values.

    The Common LUT Format of the Academy and the ASC, specification S-2014-006 (version 3): a
    ProcessList with one LUT1D node, 16-bit whole numbers in and out.  The identifier is made from
    the codes, so that the same curve gives the same bytes.
    """
    mark = hashlib.sha256(codes.tobytes()).hexdigest()[:32]
    rows = [" ".join(map(str, codes[i : i + _A_LINE].tolist()))
            for i in range(0, codes.size, _A_LINE)]
    name = escape(visible(curve.name), {'"': "&quot;"})
    about = escape(f"From gray values of a picture in {encoding} to codes of the negative; {_ENDS}."
                   f" Made by tonewright {__version__}.")
    return "\n".join([
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<ProcessList xmlns="{CLF_NAMESPACE}" id="{mark}" name="{name}" compCLFversion="3">',
        f"  <Description>{about}</Description>",
        f"  <InputDescriptor>picture, {escape(encoding)}</InputDescriptor>",
        "  <OutputDescriptor>negative, not mirrored</OutputDescriptor>",
        '  <LUT1D id="codes" inBitDepth="16i" outBitDepth="16i" interpolation="linear">',
        f'    <Array dim="{codes.size} 1">', *rows, "    </Array>", "  </LUT1D>",
        "</ProcessList>", ""])


_ENDS = "65535 is clear film, 0 the heaviest ink; mirror the picture for printing"


@dataclass(frozen=True)
class MeasuredPatch:
    """A patch behind a curve, and the print that it was on."""

    reading: Reading
    process: str = ""
    time: str = ""
    """What it was printed on and for, where the curve knows."""


def measured_patches(curve: Curve) -> tuple[Readings, list[MeasuredPatch]]:
    """The readings that a curve rests on: its own or, of a derived one, those of every print.

    Returns the first of them, which says how all were measured, and all patches.

    Raises `OptionError`: they were weighted in two ways.
    """
    if curve.readings is not None:
        return curve.readings, [MeasuredPatch(p) for p in curve.readings.patches]
    recipe = curve.recipe
    assert recipe is not None  # `decode_curve` holds that
    if len(scales_ := {p.readings.scale for p in recipe.prints}) > 1:
        raise OptionError(f"the curve {curve.name} rests on {' and '.join(sorted(scales_))}",
                          "one list has one weighting of the spectrum",
                          "hand over the curves that it was derived from")
    return recipe.prints[0].readings, [
        MeasuredPatch(patch, recipe.processes[p.process].name, recipe.spoken_print_time(p))
        for p in recipe.prints for patch in p.readings.patches]


def readings_text(curve: Curve) -> str:
    """The readings that a curve rests on as CGATS.17 / ISO 28178 text: ``LEVEL`` (0 to 1) and
    ``D_VIS``, or ``LAB_L`` where luminance was measured.  Raises as `measured_patches`."""
    first, patches = measured_patches(curve)
    readings = [p.reading for p in patches]
    density = np.array([r.density for r in readings])
    more = {"PRINT": [r.print_name or "" for r in readings],
            "PROCESS": [p.process for p in patches], "PRINTED_FOR": [p.time for p in patches],
            **{name.upper(): [part] * len(patches) for name, part in zip(
                COLOUR_NAMES, (first.ink_colour or ",,").split(","), strict=True)}}
    zero = "the bare paper" if first.relative_to_paper else "the perfect white"
    return _cgats(curve, f"readings of the curve, counted from {zero}; LEVEL 0 is clear film, 1 the"
                  " heaviest ink", {
        "SAMPLE_ID": [str(i) for i in range(1, len(patches) + 1)],
        "SAMPLE_NAME": [r.patch for r in readings],
        "LEVEL": [f"{r.level:.6g}" for r in readings],
        **({"D_VIS": [f"{v:.6f}" for v in density]} if first.scale == "visual-density" else
           {"LAB_L": [f"{v:.6f}" for v in scales.density_to_lightness(density)]}),
        **{name: cells for name, cells in more.items() if any(cells)}})


def aim_text(curve: Curve) -> str:
    """What a curve aims at as CGATS.17 / ISO 28178 text: image tone, print tone and ink at even
    steps."""
    rows = curve_rows(curve, _AIMS)
    density = scales.lightness_to_density(np.maximum(rows["print_lightness"], 1e-3))

    def column(values: Array, places: int) -> list[str]:
        return [f"{v:.{places}f}" for v in values]

    return _cgats(curve, "aim of the curve; IMAGE_LIGHTNESS and PRINT_LIGHTNESS are CIE L*, LEVEL"
                  " is ink from 0 (clear film) to 1", {
        "SAMPLE_ID": [str(i) for i in range(1, _AIMS + 1)],
        "IMAGE_LIGHTNESS": column(rows["image_lightness"], 6),
        "PRINT_LIGHTNESS": column(rows["print_lightness"], 6),
        "LEVEL": column(rows["level"], 9), "DENSITY": column(density, 6)})  # fmt: skip


def _cgats(curve: Curve, about: str, fields: dict[str, Sequence[str]]) -> str:
    """CGATS.17 / ISO 28178: keywords, names of fields, rows.  Without a date, so that the same
    curve gives the same bytes."""
    rows = [" ".join(map(_cell, row)) for row in zip(*fields.values(), strict=True)]
    return "\n".join([
        "CGATS.17", f'ORIGINATOR "tonewright {__version__}"',
        f"DESCRIPTOR {_cell(f'{curve.name}: {about}')}",
        *(f'KEYWORD "{name}"' for name in fields if name not in _STANDARD),
        f"NUMBER_OF_FIELDS {len(fields)}", "BEGIN_DATA_FORMAT", " ".join(fields),
        "END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA", ""])


def _cell(text: str) -> str:
    """A cell, in quotes unless it is a number or a plain word."""
    plain = text.replace(".", "").replace("-", "").replace("_", "")
    if plain.isascii() and plain.isalnum():
        return text
    return '"' + visible(text).replace('"', '""') + '"'

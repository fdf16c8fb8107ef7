"""Targets on disk: the document ``NAME.target.json`` and the negative ``NAME.tif``."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

from tonewright import __version__
from tonewright.errors import OptionError
from tonewright.files.documents import naming, read_json, to_text
from tonewright.files.lettering import text_mask
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.tiff_writer import Form, Picture
from tonewright.files.safe import refuse_existing, whole_file
from tonewright.files.tables import read_table
from tonewright.target.document import Target, target_from_dict
from tonewright.target.draw import draw, size_px
from tonewright.target.layout import Tone


def read_target(path: str | os.PathLike[str]) -> Target:
    """Read and check a ``*.target.json``.

    Raises
    ------
    FileError, DocumentError
        It cannot be read, is cut short, is no target, or does not hold together.
    """
    data = read_json(path, "target")
    with naming(path):
        return target_from_dict(data)


def target_paths(output: Path) -> tuple[Path, Path]:
    """The negative and the document that belong to ``-o T.tif``: T.tif and T.target.json.

    Raises `OptionError` if the name is not that of a TIFF.
    """
    if output.suffix.lower() not in (".tif", ".tiff") or not output.stem:
        raise OptionError(f"the output is {output}", "a target is drawn as a TIFF file",
                          f"call it {output.with_suffix('.tif')}" if output.stem else
                          "give it a name, as -o target.tif")
    return output, output.with_name(f"{output.stem}.target.json")


def write_target(
    output: str | os.PathLike[str], target: Target, *, force: bool = False
) -> tuple[Path, Path]:
    """Draw the negative and write its document; both or neither.

    The negative is a 16-bit TIFF, gray (BlackIsZero) or, in coloured ink, RGB without a profile,
    uncompressed, drawn in bands so that memory does not grow with the sheet.  The same target
    gives the same bytes.

    Returns
    -------
    The two paths, as `target_paths`.

    Raises
    ------
    FileError, OptionError
        One of them exists without ``force``, or cannot be written.
    """
    picture, document = target_paths(Path(output))
    for path in (picture, document):
        refuse_existing(path, force)
    text = to_text(target.to_dict())
    with (
        whole_file(document, force=force) as document_temp,
        whole_file(picture, force=force) as picture_temp,
    ):
        document_temp.write_text(text, encoding="utf-8", newline="\n")
        _draw(picture_temp, target)
    return picture, document


def _draw(path: Path, target: Target) -> None:
    ppi = Fraction(target.ppi).limit_denominator(10000)
    exact = (ppi.numerator, ppi.denominator)
    side = "mirrored" if target.mirrored else "not mirrored"
    words = (f"Target {target.name}, seed {target.seed}, by tonewright {__version__}; {side};"
             " 65535 is clear film")
    if target.ink_colour is not None:
        words += f", {target.ink_colour} (red, green, blue) is level 1"
    form = Form(samples=3 if target.in_colour else 1)
    with path.open("wb") as stream:
        stream.write(Picture(*size_px(target), Resolution(exact, exact, 2), words, form).header())
        for band in draw(target, text_mask):
            stream.write(band.data)


def read_levels(path: str | os.PathLike[str]) -> tuple[Tone, ...]:
    """Ink levels from a table with a column ``level`` (0 to 1) or ``ink_percent``, rising.

    Raises
    ------
    FileError, ReadingsError
        It cannot be read, or holds something else.
    """
    from tonewright.measured import columns

    levels = columns.levels(read_table(Path(path)))
    return tuple(Tone(float(u)) for u in sorted(levels.round(6)))

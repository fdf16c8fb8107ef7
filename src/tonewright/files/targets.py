"""Targets on disk: the negative ``NAME.tif``, the document ``NAME.target.json`` and ``NAME.csv``, a
table to fill in."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from tonewright import __version__
from tonewright.errors import OptionError
from tonewright.files.blank import layout_and_table
from tonewright.files.documents import open_document, read_curve
from tonewright.files.lettering import missing, text_mask
from tonewright.files.negative.again import TARGET, scale_document, scale_table
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.tiff_writer import Form, Picture
from tonewright.files.safe import alone_in, one_call, refuse_ending, refuse_existing, whole_file
from tonewright.files.tables import read_table
from tonewright.frozen import dataclass
from tonewright.inks.chart import USUAL_LEVELS, chart_tones, colours_from_table, usual_colours
from tonewright.measured import ink
from tonewright.measured.columns import COLOUR_NAMES
from tonewright.negative.findings import LettersNotDrawn
from tonewright.negative.ink import agreed_colour
from tonewright.record.findings import Finding
from tonewright.record.setup import Colour, ink_colour_text
from tonewright.target import layout
from tonewright.target.document import Target
from tonewright.target.draw import draw, size_px
from tonewright.target.layout import LayoutSettings, Tone, even_aims, even_levels, levels_for


class TargetFiles(NamedTuple):
    """What a target is on disk."""

    picture: Path
    """The negative to print."""
    document: Path
    """What the print is read with."""
    table: Path
    """A table of its patches to fill in, for who measures by hand."""


@dataclass(frozen=True)
class ChartRequest:
    """The colours of a chart of inks, and the levels that each is printed at."""

    colours: tuple[Colour, ...] = ()
    """Empty: those of the file, or the usual ones."""
    file: Path | None = None
    """A table with the columns red, green, blue."""
    levels: tuple[float, ...] = USUAL_LEVELS

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` otherwise."""
        if self.colours and self.file is not None:
            raise OptionError("colours are named one by one and in a file",
                              "the colours come from one place", "leave one out",
                              code="chart_colours")

    def tones(self) -> tuple[Tone, ...]:
        """What the chart prints; raises as `read_table`, `colours_from_table`, `chart_tones`."""
        colours = self.colours or usual_colours()
        if self.file is not None:
            colours = colours_from_table(read_table(self.file, holds=(COLOUR_NAMES,)))
        return chart_tones(colours, self.levels)


@dataclass(frozen=True)
class TargetRequest:
    """What a target prints: even levels of ink, or one of the others."""

    levels: int | None = None
    """How many; None: `layout.USUAL_LEVELS`."""
    levels_file: Path | None = None
    """A table with the levels."""
    levels_for: Path | None = None
    """A curve: levels where it is least sure, in its ink."""
    through: Path | None = None
    """A curve: even steps of tone through it, in its ink."""
    chart: ChartRequest | None = None
    """A chart of inks instead of tones in one ink."""

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        ways = {"a file of levels": self.levels_file, "levels for a curve": self.levels_for,
                "tones through a curve": self.through, "a chart of inks": self.chart}
        given = [way for way, value in ways.items() if value is not None]
        if self.levels is not None and (self.levels_file or self.chart):
            given.append("a number of levels")
        if len(given) > 1:
            raise OptionError(f"{given[0]} and {given[1]} are asked for",
                              "what a target prints is said in one way", "leave one out",
                              code="target_levels_twice")


def _printed(
    request: TargetRequest, settings: LayoutSettings
) -> tuple[tuple[Tone, ...], LayoutSettings]:
    """What to print, and how: in the colour of ink that was asked for, or else the curve's."""
    asked = settings.ink_colour
    count = layout.USUAL_LEVELS if request.levels is None else request.levels
    if request.chart is not None:
        if asked is not None:
            raise OptionError(f"a chart of inks in the one colour {asked} is asked for",
                              "a chart compares colours, a target has the tones of one",
                              "leave one out", code="target_levels_twice")
        return request.chart.tones(), settings
    if request.levels_file is not None:
        return read_levels(request.levels_file), settings
    source = request.levels_for or request.through
    if source is None:
        return even_levels(count), settings
    curve = read_curve(source)
    colour = agreed_colour(asked, curve.setup.ink_colour, curve.name)
    settings = replace(settings, ink_colour=None if colour is None else ink_colour_text(colour))
    if request.through is None:
        return levels_for(curve, count), settings
    return even_aims(curve, count), replace(settings, through=curve.name)


@dataclass(frozen=True)
class DrawnTarget:
    """A target and where it was written."""

    target: Target
    files: TargetFiles
    findings: tuple[Finding, ...] = ()


@one_call()
def draw_target(
    output: str | os.PathLike[str], request: TargetRequest | None = None,
    settings: LayoutSettings | None = None, *, force: bool = False,
) -> DrawnTarget:
    """Lay out a target, draw its negative and write its document.

    A target for a curve or through one is in the curve's colour of ink, as its negatives are.

    Raises `FileError`, `DocumentError`, `ReadingsError`: a file cannot be read, holds something
    else, or cannot be written; `OptionError`: the output is no TIFF, and as `LayoutSettings`,
    `make_target` and `agreed_colour`.
    """
    request, settings = request or TargetRequest(), settings or LayoutSettings()
    target_paths(Path(output))
    target = layout.make_target(*_printed(request, settings))
    letters = missing("".join([target.name, target.date, target.through or ""]))
    return DrawnTarget(target, write_target(output, target, force=force),
                       (LettersNotDrawn(letters),) if letters else ())


def read_target(path: str | os.PathLike[str]) -> Target:
    """Read and check a ``*.target.json``.

    Raises `FileError`, `DocumentError`: it cannot be read, is cut short, is no target, or does not
    hold together.
    """
    return open_document(path, Target).document


def target_paths(output: Path) -> TargetFiles:
    """The files that belong to an output T.tif: T.tif, T.target.json and T.csv.

    Raises `OptionError` if the name is not that of a TIFF.
    """
    refuse_ending(output, (".tif", ".tiff"), "a target is drawn as a TIFF file")
    return TargetFiles(output, scale_document(output), scale_table(output))


def write_target(
    output: str | os.PathLike[str], target: Target, *, force: bool = False
) -> TargetFiles:
    """Draw the negative, write its document and a table to fill in; all or none.

    The negative is a 16-bit TIFF, gray (BlackIsZero) or, in coloured ink, RGB without a profile,
    uncompressed, drawn in bands so that memory does not grow with the sheet.  The same target
    gives the same bytes.

    Raises `FileError`, `OptionError`: one of them exists without ``force``, or cannot be written;
    the table holds measurements.
    """
    files = target_paths(Path(output))
    refuse_existing(files.picture, force)
    with (
        alone_in(files.document.parent),
        layout_and_table(files.picture, target, force=force),
        whole_file(files.picture, force=force) as picture_temp,
    ):
        _draw(picture_temp, target)
    return files


def _draw(path: Path, target: Target) -> None:
    side = "mirrored" if target.mirrored else "not mirrored"
    words = (f"{TARGET} {target.name}, seed {target.seed}, by tonewright {__version__}; {side};"
             " 65535 is clear film")
    if target.ink_colour is not None:
        words += f", {target.ink_colour} (red, green, blue) is level 1"
    form = Form(samples=3 if target.in_colour else 1)
    with path.open("wb") as stream:
        stream.write(Picture(*size_px(target), Resolution.square(target.ppi), words, form).header())
        for band in draw(target, text_mask):
            stream.write(band.data)


def read_levels(path: str | os.PathLike[str]) -> tuple[Tone, ...]:
    """Ink levels from a table with a column ``level`` (0 to 1) or ``ink_percent``, rising.

    Raises `FileError`, `ReadingsError`: it cannot be read, or holds something else.
    """
    levels = ink.levels(read_table(Path(path), holds=(("level",),)))
    return tuple(Tone(float(u)) for u in sorted(levels.round(6)))

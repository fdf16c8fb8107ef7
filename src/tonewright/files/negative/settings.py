"""What the printer chose for a negative."""

from __future__ import annotations

from dataclasses import field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from tonewright.files.raster.source import OpenOptions
from tonewright.frozen import dataclass
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish

if TYPE_CHECKING:
    from tonewright.negative.film import Film


def _today() -> str:
    return date.today().isoformat()


class Making(NamedTuple):
    """An image, and what is made of it."""

    image: Path
    output: Path
    """The negative or the proof."""


@dataclass(frozen=True)
class NegativeSettings:
    """Size, sheet, ink and the rest."""

    mirror: bool = True
    """Swap left and right, so that the printed side of the film lies on the coating."""
    encoding: str | None = None
    """What the values mean (`negative.encoding_lightness`); None: ask the image."""
    force: bool = False
    """Replace existing outputs."""
    anyway: bool = False
    """Take an image that is a negative or a target itself."""
    image: OpenOptions = field(default_factory=OpenOptions)
    """Which page, and whether transparency is laid on white."""
    film: Film | None = None
    """A film to lay all negatives on; None: a file for each."""
    size: SizeWish = field(default_factory=SizeWish)
    sheet: SheetSettings = field(default_factory=SheetSettings)
    sheet_file: Path | None = None
    """A file that says how the sheet looks where ``sheet`` and ``size.ppi`` do not."""
    save_sheet: Path | None = None
    """A file to remember how the sheet looks."""
    depth: Literal[8, 16] = 16
    """Bits of a value."""
    ink_colour: str | None = None
    """``R,G,B``; None: what the curve remembers."""
    seed: int = 1
    """Of the dither for 8 bits."""
    deflate: bool = False
    """Compress the file without loss."""
    title: str | None = None
    """Of the picture, for the caption; None: its file's name without the ending."""
    date: str = field(default_factory=_today)
    """For the caption; may be empty."""
    curve_sha256: str | None = None
    """Of the curve's file, for the record."""

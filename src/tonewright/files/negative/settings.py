"""What the printer chose for a negative, and the small file that remembers how its sheet looks:
``my-sheet.toml``."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import field, replace
from datetime import date as day
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from tonewright.errors import DocumentError, OptionError
from tonewright.files.opening import parse_toml, read_bytes, shown
from tonewright.files.raster.source import OpenOptions
from tonewright.files.safe import refuse_existing, write_text
from tonewright.frozen import dataclass
from tonewright.negative.sheet import BORDERS, SheetSettings
from tonewright.negative.size import SizeWish, parse_margin, parse_ppi
from tonewright.record.schema import spoken

if TYPE_CHECKING:
    from tonewright.negative.film import Film


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
    date: str = field(default_factory=lambda: day.today().isoformat())
    """For the caption; may be empty."""
    curve_sha256: str | None = None
    """Of the curve's file, for the record."""


# The sheet in a file

_LARGEST = 1 << 20
_SWITCHES = ("marks", "tone_scale", "caption")
_HOLDS: dict[str, tuple[Callable[[Any], bool], str]] = {
    "margin": (lambda v: isinstance(v, str), 'a length in quotes, as "14mm"'),
    "border": (lambda v: v in BORDERS, "clear or opaque"),
    **dict.fromkeys(_SWITCHES, (lambda v: isinstance(v, bool), "true or false")),
    "ppi": (lambda v: isinstance(v, int | float) and not isinstance(v, bool), "a number"),
}
"""The entries, what holds of each, and how that is said."""


@contextmanager
def sheet_files(settings: NegativeSettings, taken: Iterable[Path]) -> Iterator[NegativeSettings]:
    """The settings with what their sheet file says; at the end the sheet is saved, if asked for.

    Raises `FileError`, `DocumentError`, `OptionError`: a sheet file cannot be read, or saved
    (``taken`` are names of other files); a margin that cannot be.
    """
    save = settings.save_sheet
    if save is not None:
        refuse_existing(save, settings.force)
        if save.resolve() in {path.resolve() for path in taken}:
            raise OptionError(
                f"the sheet is to be saved as {save}",
                "that name is already used for another file here",
                "save it under a name of its own, such as my-sheet.toml",
            )
    if settings.sheet_file is not None:
        settings = read_sheet(settings.sheet_file, settings)
    settings.sheet.check()
    yield replace(settings, sheet_file=None, save_sheet=None)
    if save is not None:
        write_text(save, sheet_text(settings), force=settings.force)


def read_sheet(
    path: str | os.PathLike[str], settings: NegativeSettings | None = None
) -> NegativeSettings:
    """Settings with what a sheet file says where they say nothing.

    Raises `FileError`, `DocumentError`, `OptionError`: it cannot be read, is not TOML, or has an
    entry that is unknown or impossible.
    """
    name, settings = Path(path).name, settings or NegativeSettings()
    raw = read_bytes(path, _LARGEST, "a sheet file is a small text file")
    try:
        data = parse_toml(raw)
    except ValueError as error:
        raise DocumentError(
            f"{name} is not a sheet file: {error}",
            'it is TOML: lines such as margin = "14mm" or marks = true',
            "save the sheet again",
            code="not_a_sheet_file",
        ) from error
    found = _entries(data, name)
    ppi = found.pop("ppi", None)
    size = settings.size
    return replace(
        settings,
        sheet=settings.sheet.over(SheetSettings(**found)),
        size=replace(size, ppi=size.ppi or ppi),
    )


def _entries(data: dict[str, Any], name: str) -> dict[str, Any]:
    """What the entries stand for, by the names of fields."""
    found: dict[str, Any] = {}
    for key, value in data.items():
        if key not in _HOLDS:
            raise DocumentError(f"{name} has an entry {shown(key)}",
                                f"a sheet file has {', '.join(_HOLDS)}", "delete that line")
        holds, kind = _HOLDS[key]
        if not holds(value):
            raise DocumentError(f"{name} has {key} = {spoken(value)}", f"it is {kind}",
                                "correct that line")
        if key == "margin":
            found["margin_mm"] = parse_margin(value, f"margin in {name}")
        elif key == "ppi":
            found["ppi"] = parse_ppi(str(value), f"ppi in {name}")
        else:
            found[key] = value
    return found


def sheet_text(settings: NegativeSettings) -> str:
    """The file for the sheet of some settings."""
    sheet, ppi = settings.sheet, settings.size.ppi
    values = {
        "margin": None if sheet.margin_mm is None else f'"{sheet.margin_mm:g}mm"',
        "border": None if sheet.border is None else f'"{sheet.border}"',
        **{name: None if (value := getattr(sheet, name)) is None else str(value).lower()
           for name in _SWITCHES},
        "ppi": None if ppi is None else f"{float(ppi):.10g}",
    }
    lines = [f"{name} = {value}\n" for name, value in values.items() if value is not None]
    return "".join(["# How the sheet of a negative looks\n", *lines])

"""What is printed as a target, and where each patch lies: a frozen document.

All places are millimetres on the PRINT as it reads right: upright, seen from the coated side,
origin in the top left corner of the sheet, x to the right, y down.  The negative is drawn
mirrored (`Target.mirrored`) so that the print comes out that way round.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from typing import Annotated, Literal

import numpy as np

from tonewright import __version__
from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.measured.columns import Table
from tonewright.record.codec import COLUMNS, LEVEL, Document, Form, between
from tonewright.record.schema import Rule, is_text
from tonewright.record.setup import Colour, ink_colour_text, parse_colour
from tonewright.scales import Array

FORM = Form("tonewright-target", 2, "target",
            "take an unedited copy, or draw the target again with the same seed and options")
LARGEST_MM = 3000.0
"""No sheet of film is longer."""
MOST_PATCHES = 3000

Kind = Literal["tone", "clear", "full"]
MARK_NAMES = ("1", "2", "3", "4")
"""Clockwise from the top left; each mark carries as many dark spots as its number."""


def _is_colour(value: object) -> bool:
    try:
        return is_text(value) and ink_colour_text(parse_colour(str(value))) == value
    except OptionError:
        return False


_Colour = Annotated[str, Rule(_is_colour, "an ink colour is a text such as 255,120,0")] | None
_Side = Annotated[float, between(1.0, LARGEST_MM)]
_Size = Annotated[float, between(0.5, LARGEST_MM)]


@dataclass(frozen=True)
class Patch:
    """One patch; x and y are its top left corner."""

    name: str
    """Row letter and column number, as on the sheet: A1, A2, … B1."""
    level: Annotated[float, LEVEL]
    """Ink level, 0 (clear film) to 1."""
    x_mm: float
    y_mm: float
    width_mm: _Size
    height_mm: _Size
    kind: Kind = "tone"
    """``clear`` and ``full`` are the reference patches at level 0 and 1."""
    aim_lightness: float | None = None
    """Print lightness (L*) the curve aims at here; None where there is no curve."""
    ink_colour: _Colour = None
    """On a chart of inks: red, green and blue (0 to 255) of level 1 here; None: clear film, or a
    target in one ink."""

    @property
    def centre(self) -> tuple[float, float]:
        """Millimetres."""
        return self.x_mm + self.width_mm / 2.0, self.y_mm + self.height_mm / 2.0


@dataclass(frozen=True)
class Mark:
    """One of the four marks: a light disc with one to four dark spots; x, y its centre."""

    name: str
    x_mm: float
    y_mm: float
    size_mm: _Size
    """Diameter."""


@dataclass(frozen=True)
class Dot:
    """A small light dot in the border; x, y its centre.  Which are hollow tells targets apart."""

    x_mm: float
    y_mm: float
    size_mm: _Size
    """Diameter."""
    hollow: bool


@dataclass(frozen=True)
class Target(Document):
    """A target as it is drawn and as it is read back."""

    form = FORM
    name: str
    date: str
    """As it stands on the sheet; may be empty."""
    seed: int
    width_mm: _Side
    height_mm: _Side
    ppi: Annotated[float, between(10.0, 10000.0)]
    """Pixels to the inch of the negative."""
    mirrored: bool
    """True: the negative is drawn mirrored, so that the print reads right."""
    through: str | None
    """Name of the curve it was drawn through; None: ink levels as they are."""
    patches: Annotated[tuple[Patch, ...], COLUMNS]
    """In reading order: row by row, each from left to right."""
    marks: Annotated[tuple[Mark, ...], COLUMNS]
    """Four: 1 top left, 2 top right, 3 bottom right, 4 bottom left."""
    dots: Annotated[tuple[Dot, ...], COLUMNS] = ()
    made_by: str = f"tonewright {__version__}"
    ink_colour: _Colour = None
    """Red, green and blue (0 to 255) of level 1 on the whole sheet; None: gray, or a chart of
    inks."""

    def __post_init__(self) -> None:
        """Hold what must hold between the parts; `OptionError` says which rule is broken."""
        names = Counter(p.name.upper() for p in self.patches)
        twice = next((name for name, count in names.items() if count > 1), None)
        for broken, given, rule in (
            (self.ink_colour is not None and self.is_ink_chart,
             "both the sheet and its patches have an ink colour",
             "a target is in one ink, or it is a chart of inks"),
            (tuple(m.name for m in self.marks) != MARK_NAMES,
             "the marks are " + (", ".join(m.name for m in self.marks) or "missing"),
             "a target has the marks 1, 2, 3, 4"),
            (not 1 <= len(self.patches) <= MOST_PATCHES,
             f"there are {counted(len(self.patches), 'patch')}", f"1 to {MOST_PATCHES} are read"),
            (twice is not None, f"two patches are called {twice}",
             "each patch has a name of its own"),
        ):
            if broken:
                raise OptionError(given, rule, "")
        for what, x, y, width, height in self._boxes():
            if not (min(x, y) >= -1e-6 and min(width, height) > 0.0
                    and x + width <= self.width_mm + 1e-6
                    and y + height <= self.height_mm + 1e-6):
                raise OptionError(f"{what} does not lie on the sheet",
                                  "everything lies within the sheet of"
                                  f" {self.width_mm:g} x {self.height_mm:g} mm", "")

    def _boxes(self) -> list[tuple[str, float, float, float, float]]:
        """What each thing on the sheet is called, its top left corner, width and height."""
        discs: list[tuple[str, Mark | Dot]] = [("a mark", m) for m in self.marks]
        discs += [("a dot", d) for d in self.dots]
        return [(f"the patch {p.name}", p.x_mm, p.y_mm, p.width_mm, p.height_mm)
                for p in self.patches] + [
            (what, d.x_mm - d.size_mm / 2, d.y_mm - d.size_mm / 2, d.size_mm, d.size_mm)
            for what, d in discs]

    @property
    def is_ink_chart(self) -> bool:
        """Whether its patches are in different colours of ink."""
        return any(p.ink_colour is not None for p in self.patches)

    @property
    def in_colour(self) -> bool:
        """Whether its negative has red, green and blue."""
        return self.ink_colour is not None or self.is_ink_chart

    @property
    def like(self) -> Array:
        """A number for each patch, the same for patches that should print alike, shape (n,): the
        ink level, or on a chart of inks a count of colours and levels."""
        if not self.is_ink_chart:
            return self.level
        kinds = [(p.ink_colour or "", p.level) for p in self.patches]
        order = {kind: float(i) for i, kind in enumerate(sorted(set(kinds)))}
        return np.array([order[kind] for kind in kinds])

    def colour_of(self, patch: Patch) -> Colour | None:
        """Colour of level 1 of a patch of this target; None: gray."""
        text = patch.ink_colour or self.ink_colour
        return None if text is None else parse_colour(text)

    @property
    def level(self) -> Array:
        """Ink levels of the patches, shape (n,)."""
        return np.array([p.level for p in self.patches])

    @property
    def corners(self) -> Array:
        """Of the sheet, clockwise from the top left: millimetres, shape (4, 2)."""
        width, height = self.width_mm, self.height_mm
        return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])

    @property
    def mark_centres(self) -> Array:
        """Millimetres, shape (4, 2)."""
        return np.array([[m.x_mm, m.y_mm] for m in self.marks])

    @property
    def dot_centres(self) -> Array:
        """Millimetres, shape (n, 2)."""
        return np.array([[d.x_mm, d.y_mm] for d in self.dots]).reshape(-1, 2)

    @property
    def patch_centres(self) -> Array:
        """Millimetres, shape (n, 2)."""
        return np.array([p.centre for p in self.patches]).reshape(-1, 2)

    @property
    def ends(self) -> str:
        """``A1 to G6``: between which names those of its patches run."""
        return f"{self.patches[0].name} to {self.patches[-1].name}"

    def patch(self, name: str) -> Patch | None:
        """The patch of that name, capitals or not, or None."""
        wanted = name.strip().upper()
        return next((p for p in self.patches if p.name.upper() == wanted), None)

    def of_kind(self, kind: Kind) -> tuple[int, ...]:
        """Indices of the patches of one kind."""
        return tuple(i for i, p in enumerate(self.patches) if p.kind == kind)


def patches_named(table: Table, names: Sequence[str], target: Target) -> list[Patch]:
    """The patch of each row, by its name.

    Raises `ReadingsError` for a name that the target does not have, and for one named twice.
    """
    what = "chart" if target.is_ink_chart else "target"
    patches = {p.name.upper(): p for p in target.patches}
    seen: dict[str, int] = {}
    for row, cell in enumerate(names):
        name = cell.strip().upper()
        if name not in patches:
            raise ReadingsError(
                f"{table.where(row)}: the patch {cell!r:.40}",
                f"the {what} {target.name} has the patches {target.ends}",
                f"remove the row if it is no patch, or name the {what} that was measured")
        if name in seen:
            raise ReadingsError(
                f"{table.where(row)}: the patch {patches[name].name} is in line"
                f" {table.line_numbers[seen[name]]} already", "each patch is listed once",
                "remove one of the two, or put the second measurement in a file of its own")
        seen[name] = row
    return [patches[name] for name in seen]


def legible(name: str) -> str:
    """A name as it stands on a sheet and in its document: without control characters, and without
    the bytes of a file's name that are no text."""
    return "".join(sign for sign in name if sign.isprintable())


def layout_bits(patches: Sequence[Patch], count: int) -> tuple[bool, ...]:
    """Which of ``count`` dots are hollow: a fingerprint of the patches' names and levels."""
    listed = [[p.name, round(p.level, 6), p.kind, *filter(None, [p.ink_colour])] for p in patches]
    digest = hashlib.sha256(json.dumps(listed).encode("ascii", "backslashreplace")).digest()
    stream = b"".join(hashlib.sha256(digest + bytes([i])).digest() for i in range(count // 256 + 1))
    return tuple(bool(stream[i // 8] >> (i % 8) & 1) for i in range(count))

"""What is printed as a target, and where each patch lies: a frozen document.

All places are millimetres on the PRINT as it reads right: upright, seen from the coated side,
origin in the top left corner of the sheet, x to the right, y down.  The negative is drawn
mirrored (`Target.mirrored`) so that the print comes out that way round.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from typing import Any, Literal, TypeVar, cast

import numpy as np

from tonewright import __version__
from tonewright.errors import DocumentError, OptionError, counted
from tonewright.record.provenance import check_header
from tonewright.record.schema import check_names, held, is_number, is_whole, spoken
from tonewright.record.setup import Colour, ink_colour_text, parse_colour
from tonewright.scales import Array

FORMAT, VERSION = "tonewright-target", 1
LARGEST_MM = 3000.0
"""No sheet of film is longer."""
MOST_PATCHES = 5000

Kind = Literal["tone", "clear", "full"]
KINDS: tuple[Kind, ...] = ("tone", "clear", "full")
MARK_NAMES = ("1", "2", "3", "4")
"""Clockwise from the top left; each mark carries as many dark spots as its number."""

_DAMAGED = "take an unedited copy, or draw the target again with the same seed and options"
_Row = TypeVar("_Row")
_MAY_LACK = ("ink_colour",)
"""Columns that a document has only where they say something."""


@dataclass(frozen=True)
class Patch:
    """One patch; x and y are its top left corner."""

    name: str
    """Row letter and column number, as on the sheet: A1, A2, … B1."""
    level: float
    """Ink level, 0 (clear film) to 1."""
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    kind: Kind = "tone"
    """``clear`` and ``full`` are the reference patches at level 0 and 1."""
    aim_lightness: float | None = None
    """Print lightness (L*) the curve aims at here; None where there is no curve."""
    ink_colour: str | None = None
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
    size_mm: float
    """Diameter."""


@dataclass(frozen=True)
class Dot:
    """A small light dot in the border; x, y its centre.  Which are hollow tells targets apart."""

    x_mm: float
    y_mm: float
    size_mm: float
    """Diameter."""
    hollow: bool


@dataclass(frozen=True)
class Target:
    """A target as it is drawn and as it is read back."""

    name: str
    date: str
    """As it stands on the sheet; may be empty."""
    seed: int
    width_mm: float
    height_mm: float
    ppi: float
    """Pixels to the inch of the negative."""
    mirrored: bool
    """True: the negative is drawn mirrored, so that the print reads right."""
    through: str | None
    """Name of the curve it was drawn through; None: ink levels as they are."""
    patches: tuple[Patch, ...]
    """In reading order: row by row, each from left to right."""
    marks: tuple[Mark, ...]
    """Four: 1 top left, 2 top right, 3 bottom right, 4 bottom left."""
    dots: tuple[Dot, ...] = ()
    made_by: str = f"tonewright {__version__}"
    ink_colour: str | None = None
    """Red, green and blue (0 to 255) of level 1 on the whole sheet; None: gray, or a chart of
    inks."""

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
        order = {kind: i for i, kind in enumerate(sorted(set(kinds)))}
        return np.array([float(order[kind]) for kind in kinds])

    def colour_of(self, patch: Patch) -> Colour | None:
        """Colour of level 1 of a patch of this target; None: gray."""
        text = patch.ink_colour or self.ink_colour
        return None if text is None else parse_colour(text)

    @property
    def level(self) -> Array:
        """Ink levels of the patches, shape (n,)."""
        return np.array([p.level for p in self.patches])

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

    def patch(self, name: str) -> Patch | None:
        """The patch of that name, capitals or not, or None."""
        wanted = name.strip().upper()
        return next((p for p in self.patches if p.name.upper() == wanted), None)

    def of_kind(self, kind: Kind) -> tuple[int, ...]:
        """Indices of the patches of one kind."""
        return tuple(i for i, p in enumerate(self.patches) if p.kind == kind)

    def to_dict(self) -> dict[str, Any]:
        """The document: plain numbers and texts, one list per column of a table."""
        return {
            "format": FORMAT, "version": VERSION, "made_by": self.made_by, "name": self.name,
            "date": self.date, "seed": self.seed, "width_mm": self.width_mm,
            "height_mm": self.height_mm, "ppi": self.ppi, "mirrored": self.mirrored,
            "through": self.through,
            **({} if self.ink_colour is None else {"ink_colour": self.ink_colour}),
            "patches": _columns(Patch, self.patches),
            "marks": _columns(Mark, self.marks), "dots": _columns(Dot, self.dots),
        }  # fmt: skip


def layout_bits(patches: Sequence[Patch], count: int) -> tuple[bool, ...]:
    """Which of ``count`` dots are hollow: a fingerprint of the patches' names and levels."""
    listed = [[p.name, round(p.level, 6), p.kind, *filter(None, [p.ink_colour])] for p in patches]
    digest = hashlib.sha256(json.dumps(listed).encode("ascii", "backslashreplace")).digest()
    stream = b"".join(hashlib.sha256(digest + bytes([i])).digest() for i in range(count // 256 + 1))
    return tuple(bool(stream[i // 8] >> (i % 8) & 1) for i in range(count))


def _columns(kind: type[Any], rows: Sequence[Any]) -> dict[str, list[Any]]:
    values = [astuple(row) for row in rows]
    columns = {f.name: [v[i] for v in values] for i, f in enumerate(fields(kind))}
    return {name: column for name, column in columns.items()
            if name not in _MAY_LACK or any(cell is not None for cell in column)}


def target_from_dict(data: Any) -> Target:
    """Check a document and rebuild the target, equal to the one that was written.

    Raises
    ------
    DocumentError
        Another format or version; anything missing, of the wrong kind, or outside the sheet.
    """
    check_header(data, FORMAT, VERSION, "target")
    target = Target(
        name=_text(data, "name"), date=_text(data, "date"), seed=_whole(data, "seed"),
        width_mm=_number(data, "width_mm", 1.0, LARGEST_MM),
        height_mm=_number(data, "height_mm", 1.0, LARGEST_MM),
        ppi=_number(data, "ppi", 10.0, 10000.0), mirrored=_truth(data, "mirrored"),
        through=None if data.get("through") is None else _text(data, "through"),
        patches=tuple(_patches(data.get("patches"))),
        marks=tuple(Mark(**row) for row in _rows(data.get("marks"), Mark, "marks")),
        dots=tuple(Dot(**row) for row in _rows(data.get("dots"), Dot, "dots")),
        made_by=_text(data, "made_by"), ink_colour=_ink_colour(data.get("ink_colour")),
    )  # fmt: skip
    _check_whole(target)
    return target


def _patches(table: Any) -> list[Patch]:
    rows = _rows(table, Patch, "patches")
    for row in rows:
        if row["kind"] not in KINDS:
            raise _wrong(f"the kind of the patch {row['name']} is {spoken(row['kind'])}",
                         f"a patch is {', '.join(KINDS)}")
        if not 0.0 <= row["level"] <= 1.0:
            raise _wrong(f"the patch {row['name']} has the level {row['level']:g}",
                         "a level lies between 0 (clear film) and 1 (heaviest ink)")
        row["ink_colour"] = _ink_colour(row["ink_colour"])
    return [Patch(**row) for row in rows]


def _ink_colour(value: Any) -> str | None:
    """A colour as `Setup.ink_colour` spells it, or None."""
    if value is None:
        return None
    try:
        if not isinstance(value, str):
            raise _wrong(f"ink_colour is {spoken(value)}", "it is a text such as 255,120,0")
        return ink_colour_text(parse_colour(value))
    except OptionError as error:
        raise _wrong(f"ink_colour is {spoken(value)}", error.rule) from error


def _check_whole(target: Target) -> None:
    """What holds between the parts."""
    if target.ink_colour is not None and target.is_ink_chart:
        raise _wrong("both the sheet and its patches have an ink colour",
                     "a target is in one ink, or it is a chart of inks")
    if tuple(m.name for m in target.marks) != MARK_NAMES:
        raise _wrong("the marks are " + (", ".join(m.name for m in target.marks) or "missing"),
                     "a target has the marks 1, 2, 3, 4")
    if not 1 <= len(target.patches) <= MOST_PATCHES:
        raise _wrong(f"it has {counted(len(target.patches), 'patch')}",
                     f"1 to {MOST_PATCHES} are read")
    names = [p.name.upper() for p in target.patches]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise _wrong(f"two patches are called {twice}", "each patch has a name of its own")
    boxes = [(f"the patch {p.name}", p.x_mm, p.y_mm, p.width_mm, p.height_mm)
             for p in target.patches]
    for thing, many in (("mark", target.marks), ("dot", target.dots)):
        boxes += [(f"a {thing}", m.x_mm - m.size_mm / 2, m.y_mm - m.size_mm / 2, m.size_mm,
                   m.size_mm) for m in cast(Sequence[Any], many)]
    for what, x, y, width, height in boxes:
        inside = x >= -1e-6 and y >= -1e-6 and width > 0.0 and height > 0.0
        if not (inside and x + width <= target.width_mm + 1e-6
                and y + height <= target.height_mm + 1e-6):
            raise _wrong(f"{what} does not lie on the sheet", "everything lies within the sheet of"
                         f" {target.width_mm:g} x {target.height_mm:g} mm")


def _rows(table: Any, kind: type[Any], name: str) -> list[dict[str, Any]]:
    """A table of columns as one dictionary a row, every cell of the kind its field says."""
    columns = {f.name: str(f.type) for f in fields(kind)}
    check_names(table, columns, f"in the target document, the table of {name}", _DAMAGED,
                set(_MAY_LACK))
    for column, cells in table.items():
        if not isinstance(cells, list):
            raise _wrong(f"{name}, {column} is {spoken(cells)}", "a column is a list")
    if len({len(column) for column in table.values()}) != 1:
        raise _wrong(f"the columns of {name} are of unequal length", "they are equally long")
    return [
        {c: _cell(table[c][i] if c in table else None, columns[c], f"{name}, {c}")
         for c in columns}
        for i in range(len(table[next(iter(columns))]))
    ]


def _cell(value: Any, kind: str, where: str) -> Any:
    if kind.endswith("| None") and value is None:
        return None
    if kind.startswith("float"):
        return _finite(value, where)
    expected, rule = (bool, "true or false") if kind == "bool" else (str, "texts")
    if not isinstance(value, expected):
        raise _wrong(f"{where} holds {held(value)}", f"it holds {rule}")
    return value


def _finite(value: Any, where: str) -> float:
    if not is_number(value):
        raise _wrong(f"{where} holds {held(value)}", "it holds numbers")
    return float(value)


def _number(data: dict[str, Any], name: str, low: float, high: float) -> float:
    given: Any = data.get(name)
    if not is_number(given):
        raise _wrong(f"{name} is {spoken(given)}", "it is a number")
    value = float(given)
    if not low <= value <= high:
        raise _wrong(f"{name} is {value:g}", f"it lies between {low:g} and {high:g}")
    return value


def _text(data: dict[str, Any], name: str) -> str:
    value = data.get(name)
    if not isinstance(value, str):
        raise _wrong(f"{name} is {spoken(value)}", "it is a text")
    return value


def _whole(data: dict[str, Any], name: str) -> int:
    value: Any = data.get(name)
    if not is_whole(value):
        raise _wrong(f"{name} is {spoken(value)}", "it is a whole number")
    return int(value)


def _truth(data: dict[str, Any], name: str) -> bool:
    value = data.get(name)
    if not isinstance(value, bool):
        raise _wrong(f"{name} is {spoken(value)}", "it is true or false")
    return value


def _wrong(given: str, rule: str) -> DocumentError:
    return DocumentError(f"in the target document, {given}", rule, _DAMAGED)

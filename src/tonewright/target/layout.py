"""Laying out a target: which ink levels it holds, and where on the sheet each one goes."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright.curve.document import Curve
from tonewright.errors import OptionError, counted
from tonewright.frozen import dataclass
from tonewright.scales import MM_PER_INCH as INCH
from tonewright.scales import Array
from tonewright.target.document import (
    MARK_NAMES,
    Dot,
    Kind,
    Mark,
    Patch,
    Target,
    layout_bits,
    legible,
)

PAPERS = {
    "letter": (8.5 * INCH, 11 * INCH), "legal": (8.5 * INCH, 14 * INCH),
    "a6": (105.0, 148.0), "a5": (148.0, 210.0), "a4": (210.0, 297.0), "a3": (297.0, 420.0),
    "4x5": (4 * INCH, 5 * INCH), "5x7": (5 * INCH, 7 * INCH), "8x10": (8 * INCH, 10 * INCH),
    "11x14": (11 * INCH, 14 * INCH), "16x20": (16 * INCH, 20 * INCH),
}  # fmt: skip
"""Width and height in millimetres, upright (ISO 216 and the trade's inch sizes)."""
DEFAULT_PAPER = "5x7"
"""Coated paper is dear: the default target fits a small sheet."""
USUAL_REPEATS = 2
"""Patches of each level: repeats show unevenness and noise."""

PATCH_MM = (6.0, 20.0)
"""Between these the patch size is chosen by itself."""
SMALLEST_PATCH, LARGEST_PATCH = 3.0, 60.0
MARGIN, GAP, LABEL, HEADER, NOTES = 5.0, 1.8, 4.5, 5.0, 13.0
"""mm: outer margin, between patches, row and column names, the line of text, room to write."""
DOT, DOT_STEP = 2.4, 13.0
LEAST_REFERENCES = 3
"""Of each kind."""
USUAL_LEVELS, FEWEST_LEVELS, MOST_LEVELS = 21, 3, 1000
_TRIES = 400


@dataclass(frozen=True)
class Tone:
    """One tone to print: an ink level (0 to 1), and what print lightness (L*) is aimed at."""

    level: float
    aim_lightness: float | None = None
    ink_colour: str | None = None
    """On a chart of inks: red, green and blue of level 1, as `Setup.ink_colour` has it."""


BLACK = "0,0,0"
"""What a chart of inks draws its marks, letters and full patches with."""


@dataclass(frozen=True)
class LayoutSettings:
    """How a target is to be laid out."""

    name: str = "target"
    date: str = ""
    seed: int = 1
    width_mm: float = PAPERS[DEFAULT_PAPER][0]
    height_mm: float = PAPERS[DEFAULT_PAPER][1]
    ppi: float = 360.0
    repeats: int = 1
    patch_mm: float | None = None
    """None: as large as the sheet allows, within `PATCH_MM`."""
    mirrored: bool = True
    through: str | None = None
    """Name of the curve that its tones go through."""
    ink_colour: str | None = None
    """Of level 1 on the whole sheet; None: gray, or a chart of inks."""

    def __post_init__(self) -> None:
        """Hold the ranges; `OptionError` names the one that is broken."""
        _hold("the number of patches of each level", self.repeats, 1, 50,
              "once is the least", "target_repeats")
        _hold("the resolution (pixels to the inch)", self.ppi, 72, 5760,
              "give the printer's own resolution, such as 360", "target_resolution")
        for side in (self.width_mm, self.height_mm):
            _hold("a side of the sheet (mm)", side, 20.0, 2000.0, "give its size in mm or inches",
                  "sheet_size")
        if self.patch_mm is not None:
            _hold("the side of a patch (mm)", self.patch_mm, SMALLEST_PATCH, LARGEST_PATCH,
                  "an instrument needs 6 to 10 mm, a scan 5 mm", "patch_size")


def _hold(what: str, value: float, low: float, high: float, way_out: str, code: str) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise OptionError(f"{what} is {value:g}", f"it lies between {low:g} and {high:g}", way_out,
                          code=code)


@dataclass(frozen=True)
class Zones:
    """Where things go on a sheet, mm: x from left to right, y from the top down."""

    mark: float
    """Diameter of the marks."""
    left: float
    top: float
    right: float
    bottom: float
    """The rectangle that patches may fill."""
    header_y: float
    """Top of the line of text."""
    notes_y: float
    """Top of the room to write."""


def zones(width: float, height: float) -> Zones:
    """The parts of a sheet of this size (mm)."""
    mark = 9.0 if min(width, height) >= 120.0 else 7.0
    band = MARGIN + mark
    return Zones(
        mark=mark, left=band + LABEL, right=width - band - 1.5, top=band + HEADER + LABEL,
        bottom=height - band - NOTES, header_y=band + 1.0,
        notes_y=height - band - NOTES + 2.0,
    )  # fmt: skip


def sheet_size(
    size: str | None = None, paper: str | None = None, *, landscape: bool = False
) -> tuple[float, float]:
    """Width and height in mm of a sheet named by its size or as a paper; `DEFAULT_PAPER` if by
    neither.  Raises `OptionError` for both at once, and as `parse_size` and `parse_paper`."""
    if size is not None and paper is not None:
        raise OptionError(f"the sheet is both {size} and {paper}", "one size is enough",
                          "leave one out")
    width, height = parse_paper(paper or DEFAULT_PAPER) if size is None else parse_size(size)
    return (height, width) if landscape else (width, height)


def parse_paper(name: str) -> tuple[float, float]:
    """Width and height in mm of a named paper size; `OptionError` for an unknown one."""
    found = PAPERS.get(name.strip().lower().removesuffix("in"))
    if found is None:
        raise OptionError(f"the paper size is {name!r}", "known are " + ", ".join(PAPERS),
                          "name one of them, or give the size in mm or inches", code="sheet_size")
    return found


def parse_named_size(text: str) -> tuple[float, float]:
    """Width and height in mm of a paper by its name, or as `parse_size`."""
    return PAPERS.get(text.strip().lower()) or parse_size(text)


def parse_size(text: str) -> tuple[float, float]:
    """Width and height in mm from ``130x180mm``, ``13x18cm`` or ``5x7in``.

    Without a unit large numbers are mm; small ones could be inches as well and raise
    `OptionError`, as does anything else.
    """
    match = re.fullmatch(r"\s*([\d.]+)\s*[x×]\s*([\d.]+)\s*(mm|cm|in|inch|inches|\")?\s*",
                         text.replace(",", "."),
                         re.IGNORECASE)
    way_out = "write it as 130x180mm or 5x7in"
    rule = "it is width x height with a unit: mm, cm or in"
    try:
        width, height = float(match[1]), float(match[2])  # type: ignore[index]
    except (TypeError, ValueError):
        raise OptionError(f"the size is {text!r}", rule, way_out) from None
    unit = (match[3] or "").lower() if match else ""
    if not unit and max(width, height) < 60.0:
        raise OptionError(f"the size is {text!r}", "so small a size could be inches or cm",
                          way_out)
    factor = {"": 1.0, "mm": 1.0, "cm": 10.0}.get(unit, INCH)
    return width * factor, height * factor


def _check_count(count: int) -> None:
    _hold("the number of levels", count, FEWEST_LEVELS, MOST_LEVELS, "21 or 31 are usual",
          "target_levels")


def even_levels(count: int = USUAL_LEVELS) -> tuple[Tone, ...]:
    """Even steps of ink from clear film to the heaviest; `OptionError` for fewer than 3."""
    _check_count(count)
    return tuple(Tone(float(u)) for u in np.round(np.linspace(0.0, 1.0, count), 6))


def even_aims(curve: Curve, count: int = USUAL_LEVELS) -> tuple[Tone, ...]:
    """Even steps of image lightness through the curve, each with what it aims at."""
    _check_count(count)
    image = np.linspace(0.0, 100.0, count)
    pairs = zip(curve.level_at(image), curve.print_lightness_at(image), strict=True)
    return tuple(Tone(round(float(u), 6), round(float(a), 3)) for u, a in pairs)


def levels_for(curve: Curve, count: int = USUAL_LEVELS) -> tuple[Tone, ...]:
    """Levels placed where the curve is least sure: the wider its band, the closer they lie.

    The density of levels follows the square of the band's half-width (L*): readings that are
    that much closer bring the band down to one width everywhere.  A fifth of them stays even, so
    that no stretch is left without; both ends are always there.
    """
    _check_count(count)
    fine = np.linspace(0.0, 1.0, 2001)
    response = curve.response
    width = np.interp(fine, response.level,
                      0.5 * (response.lightness_high - response.lightness_low))
    weight = width**2 / max(float(np.mean(width**2)), 1e-12)
    weight = 0.2 + 0.8 * weight
    total = np.concatenate([[0.0], np.cumsum(0.5 * (weight[1:] + weight[:-1]))])
    places = np.interp(np.linspace(0.0, total[-1], count), total, fine)
    return tuple(Tone(float(u)) for u in np.round(places, 4))


def make_target(tones: Sequence[Tone], settings: LayoutSettings) -> Target:
    """Lay out a target.

    Every tone is repeated ``settings.repeats`` times; reference patches of clear film and of full
    ink are spread over the sheet; the order of the rest is scattered by the seed, so that a
    coating's drift across the sheet does not look like tone.

    Raises `OptionError`: the sheet cannot hold it; the message says what fits.
    """
    wanted = [tone for tone in tones for _ in range(settings.repeats)]
    chart = any(t.ink_colour is not None for t in wanted)
    size, rows, columns = _grid(len(wanted), settings, chart)
    cells = [(r, c) for r in range(rows) for c in range(columns)]
    kinds = _reference_cells(rows, columns, rows * columns - len(wanted))
    free = [cell for cell in cells if cell not in kinds]
    order = _scatter(_alike(wanted), np.array(free, dtype=float), settings.seed)
    placed = {cell: wanted[i] for cell, i in zip(free, order, strict=True)}
    zone = zones(settings.width_mm, settings.height_mm)
    pitch = size + GAP
    x0 = 0.5 * (zone.left + zone.right - columns * pitch + GAP)
    y0 = zone.top
    full = Tone(1.0, ink_colour=BLACK if chart else None)
    patches = []
    for row, column in cells:
        kind: Kind = kinds.get((row, column), "tone")
        tone = placed.get((row, column)) or (Tone(0.0) if kind == "clear" else full)
        patches.append(Patch(
            f"{row_name(row)}{column + 1}", tone.level, round(x0 + column * pitch, 3),
            round(y0 + row * pitch, 3), size, size, kind, tone.aim_lightness,
            tone.ink_colour))
    marks = _marks(settings.width_mm, settings.height_mm, zone.mark)
    places = _dot_places(marks)
    hollow = layout_bits(patches, len(places))
    return Target(
        legible(settings.name), legible(settings.date), settings.seed,
        round(settings.width_mm, 3), round(settings.height_mm, 3), settings.ppi, settings.mirrored,
        None if settings.through is None else legible(settings.through),
        tuple(patches), marks,
        tuple(Dot(x, y, DOT, h) for (x, y), h in zip(places, hollow, strict=True)),
        ink_colour=settings.ink_colour)


def _alike(tones: Sequence[Tone]) -> Array:
    """A number for each tone, the same for tones that should print alike, shape (n,)."""
    kinds = [(t.ink_colour, t.level) for t in tones]
    if all(colour is None for colour, _ in kinds):
        return np.array([level for _, level in kinds])
    order = {kind: float(i) for i, kind in enumerate(dict.fromkeys(kinds))}
    return np.array([order[kind] for kind in kinds])


def row_name(row: int) -> str:
    """A … Z, then AA, AB, …"""
    letters = ""
    row += 1
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _room(width: float, height: float, size: float) -> tuple[int, int]:
    """Rows and columns of patches of this size that a sheet holds."""
    zone = zones(width, height)
    across = int((zone.right - zone.left + GAP + 1e-9) // (size + GAP))
    down = int((zone.bottom - zone.top + GAP + 1e-9) // (size + GAP))
    return max(down, 0), max(across, 0)


def _grid(tones: int, settings: LayoutSettings, chart: bool) -> tuple[float, int, int]:
    """Patch size, rows and columns; the cells that tones leave free take references."""
    needed = _with_references(tones)
    size = settings.patch_mm or _largest(needed, settings.width_mm, settings.height_mm)
    if size is not None:
        rows, columns = _room(settings.width_mm, settings.height_mm, size)
        if rows * columns >= needed:
            used = math.ceil(needed / columns)
            return size, used, columns
    raise _too_small(tones, needed, settings, chart)


def _with_references(tones: int) -> int:
    """How many patches a target of so many tones has with its references."""
    return tones + 2 * max(LEAST_REFERENCES, math.ceil(tones / 16))


def _largest(needed: int, width: float, height: float, least: float = PATCH_MM[0]) -> float | None:
    """The largest patch size of which a sheet holds so many, or None."""
    for quarter in range(int(PATCH_MM[1] * 4), int(least * 4) - 1, -1):
        if math.prod(_room(width, height, quarter / 4.0)) >= needed:
            return quarter / 4.0
    return None


def _too_small(tones: int, needed: int, settings: LayoutSettings, chart: bool) -> OptionError:
    width, height = settings.width_mm, settings.height_mm
    size = settings.patch_mm or PATCH_MM[0]
    rows, columns = _room(width, height, size)
    levels = tones // settings.repeats
    what = "colours and levels of ink" if chart else "levels"

    def fits(patches: int) -> bool:
        return _with_references(patches) <= rows * columns

    ways = []
    smaller = _largest(needed, width, height, SMALLEST_PATCH)
    if smaller is not None and smaller < size:
        ways.append(f"patches of {smaller:g} mm")
    fewer = [r for r in range(1, settings.repeats) if fits(levels * r)]
    some = [] if chart else [n for n in range(5, levels) if fits(n)]
    if fewer:
        ways.append(counted(fewer[-1], "patch") + f" of each of the {levels}")
    elif some:
        ways.append(f"{some[-1]} levels, each once")
    larger = [name for name, (w, h) in sorted(PAPERS.items(), key=lambda p: math.prod(p[1]))
              if math.prod(_room(w, h, size)) >= needed]
    if larger:
        ways.append(f"a sheet of {larger[0]}")
    return OptionError(
        f"{levels} {what}, {settings.repeats} of each, and {needed - tones} reference patches are"
        f" {needed} patches of {size:g} mm",
        f"a sheet of {width:.0f} x {height:.0f} mm holds " + (
            f"{rows * columns} of them ({counted(rows, 'row')} of {columns})"
            if rows * columns else "none of them"),
        ("what fits: " + ", or ".join(ways)) if ways else
        f"take fewer {'colours' if chart else 'levels'} or a larger sheet", code="target_too_large")


def _reference_cells(rows: int, columns: int, count: int) -> dict[tuple[int, int], Kind]:
    """Cells of the reference patches: in turn clear and full, each as far from its like as can be.

    Spread this way, both kinds reach the corners and then the middle.
    """
    grid = np.array([(r, c) for r in range(rows) for c in range(columns)], dtype=float)
    chosen: dict[tuple[int, int], Kind] = {}
    seats: dict[Kind, list[int]] = {"clear": [0], "full": [columns - 1]}
    for turn in range(count):
        kind: Kind = "clear" if turn % 2 == 0 else "full"
        if turn >= 2:
            alike = _nearest(grid, grid[seats[kind]])
            other = _nearest(grid, grid[seats["full" if kind == "clear" else "clear"]])
            score = np.minimum(alike, 1.5 * other)
            score[seats["clear"] + seats["full"]] = -1.0
            seats[kind].append(int(np.argmax(score)))
        row, column = grid[seats[kind][turn // 2]].astype(int)
        chosen[(int(row), int(column))] = kind
    return chosen


def _nearest(points: Array, others: Array) -> Array:
    return np.asarray(np.min(np.linalg.norm(points[:, None] - others[None], axis=2), axis=1))


def _scatter(level: Array, cells: Array, seed: int) -> NDArray[np.intp]:
    """For each cell the index of its tone: the most even of many shuffles.

    Even: levels go with no drift or bowl across the sheet, and repeats of a level lie far apart.
    """
    rng = np.random.default_rng(seed)
    y, x = ((cells - cells.mean(axis=0)) / np.maximum(cells.std(axis=0), 1e-9)).T
    drift = np.stack([x, y, x * y, x**2 - np.mean(x**2), y**2 - np.mean(y**2)])
    norm = np.linalg.norm(drift, axis=1, keepdims=True)
    drift = drift / np.where(norm > 1e-9, norm, 1.0)  # a single row has no bowl
    deviation = level - level.mean()
    deviation = deviation / max(float(np.linalg.norm(deviation)), 1e-12)
    far = np.linalg.norm(cells[:, None] - cells[None], axis=2) / max(
        float(np.linalg.norm(np.ptp(cells, axis=0))), 1e-9)
    kind = np.unique(level, return_inverse=True)[1]
    one, like = np.nonzero((kind[:, None] == kind) & ~np.eye(kind.size, dtype=np.bool_))
    repeated, first = np.unique(one, return_index=True)
    kind = np.unique(kind[repeated], return_inverse=True)[1]
    cell, seat = np.arange(level.size), np.empty(level.size, dtype=np.intp)
    best, best_score = cell, np.inf
    for _ in range(_TRIES):
        order = rng.permutation(level.size)
        seat[order] = cell
        score = float(np.max(np.abs(drift @ deviation[order])))
        if one.size:  # from each repeated patch to the nearest of its level
            nearest = np.minimum.reduceat(far[seat[one], seat[like]], first)
            score -= 0.25 * float(np.mean(np.bincount(kind, nearest) / np.bincount(kind)))
        if score < best_score:
            best, best_score = order, score
    return best


def _marks(width: float, height: float, size: float) -> tuple[Mark, ...]:
    near, right, low = MARGIN + size / 2, width - MARGIN - size / 2, height - MARGIN - size / 2
    places = ((near, near), (right, near), (right, low), (near, low))
    return tuple(Mark(n, round(x, 3), round(y, 3), size)
                 for n, (x, y) in zip(MARK_NAMES, places, strict=True))


def _dot_places(marks: tuple[Mark, ...]) -> list[tuple[float, float]]:
    """Evenly along the four sides, from mark to mark."""
    places = []
    for i, mark in enumerate(marks):
        other = marks[(i + 1) % 4]
        length = math.hypot(other.x_mm - mark.x_mm, other.y_mm - mark.y_mm)
        count = max(2, round((length - mark.size_mm) / DOT_STEP))
        start = (0.5 * mark.size_mm + 3.0 + DOT / 2) / length
        for share in np.linspace(start, 1.0 - start, count):
            places.append((round(mark.x_mm + share * (other.x_mm - mark.x_mm), 3),
                           round(mark.y_mm + share * (other.y_mm - mark.y_mm), 3)))
    return places

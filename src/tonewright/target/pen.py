"""What targets and negatives' sheets are drawn with: boxes, discs, marks and lines of text.

Places are millimetres on the sheet as it reads right, from its top left corner; a shape keeps
them as pixels and paints the codes of whatever band of rows it crosses.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array
from tonewright.target.document import Mark

Codes = NDArray[np.uint16]
Letters = Callable[[str, int], NDArray[np.uint8]]
"""Text and its height in pixels to a mask, 0 to 255, shape (height, any)."""
Cover = Callable[[range, range], Array]
"""Rows and columns of the sheet to how much of each pixel is covered, 0 to 1."""

SPOT_RADIUS, SPOT_DISTANCE = 0.2, 0.5
"""Of the dark spots in a mark and of their distance from its centre, as shares of its radius."""
_FINE, _FINEST = 4, 1600
"""Points a pixel, each way, from which a slanting edge is smoothed; fewer where a shape would
have more than `_FINEST` of them on a side."""
_SMALLEST_TEXT = 6


def spots(number: int) -> Array:
    """Centres of a mark's dark spots, as shares of its radius, shape (number, 2), x and y.

    One in the middle; two to four on a circle, the first at the top.
    """
    if number == 1:
        return np.zeros((1, 2))
    turn = 2.0 * np.pi * np.arange(number) / number
    return np.stack([SPOT_DISTANCE * np.sin(turn), -SPOT_DISTANCE * np.cos(turn)], axis=1)


@dataclass(frozen=True, eq=False)
class Shape:
    """Rows and columns of the sheet, in pixels, and their code."""

    rows: range
    columns: range
    code: int
    cover: Cover | None = None
    """None: all of every pixel."""

    def paint(self, band: Codes, first: int) -> None:
        """Draw into a band of codes, shape (rows, width), whose first row of the sheet is given."""
        rows = range(max(self.rows.start, first), min(self.rows.stop, first + len(band)))
        columns = range(max(self.columns.start, 0), min(self.columns.stop, band.shape[1]))
        if not rows or not columns:
            return
        window = band[rows.start - first : rows.stop - first, columns.start : columns.stop]
        if self.cover is None:
            window[...] = self.code
            return
        share = self.cover(rows, columns)
        window[...] = np.floor(window * (1.0 - share) + self.code * share + 0.5).astype(np.uint16)


@dataclass(frozen=True)
class Line:
    """A line of text and its place, mm."""

    text: str
    x: float
    middle: float
    height: float
    centred: bool = False
    """At x; else it starts there."""
    upright: bool = False
    """Read from below: it runs up, ``x`` is its middle and ``middle`` its upper end, or where it is
    centred its middle."""


RULE = 100.0
"""mm: a rule tells whether the driver scaled the sheet."""
MEASURE_IT = f"{RULE:.0f} mm: measure it. The driver must not scale."
LINE = 0.3
"""mm: thickness of ticks and frames; thinner ones drown in a coating."""
SEPARATOR = "  ·  "
_SHORT = 8
"""Letters that are left of any name."""


class Pen:
    """Draws with one code on a ground of another, and keeps the shapes in order."""

    def __init__(self, per_mm: float, letters: Letters, ink: int, ground: int) -> None:
        """Pixels to the millimetre, and the codes of what is drawn and what lies under it."""
        self._per_mm, self._letters = per_mm, letters
        self._ink, self._ground = ink, ground
        self.shapes: list[Shape] = []

    def _add(self, rows: range, columns: range, code: int | None, cover: Cover | None) -> None:
        self.shapes.append(Shape(rows, columns, self._ink if code is None else code, cover))

    def paint(self, band: Codes, first: int) -> None:
        """Draw everything into a band that reads right, shape (rows, width), from its first row."""
        for shape in self.shapes:
            shape.paint(band, first)

    def box(
        self, x: float, y: float, width: float, height: float, code: int | None = None
    ) -> None:
        """A filled rectangle, one pixel across at least."""
        at = self._per_mm
        left, top = round(x * at), round(y * at)
        right, bottom = round((x + width) * at), round((y + height) * at)
        self._add(range(top, max(bottom, top + 1)), range(left, max(right, left + 1)), code, None)

    def rule(self, x: float, y: float, tick: float, *, upright: bool = False) -> None:
        """A line of `RULE` from (x, y) to the right, or down, with ticks below it, or to its right:
        long ones at both ends, half as long at every 10 mm."""
        def part(along: float, long: float, deep: float) -> None:
            if upright:
                self.box(x, y + along, deep, long)
            else:
                self.box(x + along, y, long, deep)

        part(0.0, RULE, LINE)
        for number in range(11):
            share = 1.0 if number in (0, 10) else 0.5
            part(number * (RULE - LINE) / 10.0, LINE, LINE + share * tick)

    def disc(self, x: float, y: float, radius: float, code: int | None = None) -> None:
        """A filled circle."""
        x, y, radius = (v * self._per_mm for v in (x, y, radius))

        def cover(rows: range, columns: range) -> Array:
            dx, dy = np.array(columns) + 0.5 - x, np.array(rows)[:, None] + 0.5 - y
            return np.clip(radius + 0.5 - np.hypot(dx, dy), 0.0, 1.0)

        self._add(_around(y, radius), _around(x, radius), code, cover)

    def area(
        self, x: float, y: float, reach: float, inside: Callable[[Array, Array], NDArray[np.bool_]],
        code: int | None = None,
    ) -> None:
        """Any shape within ``reach`` of (x, y): ``inside`` tells of places (mm) relative to there.
        """
        at = self._per_mm
        left, top = int((x - reach) * at) - 1, int((y - reach) * at) - 1
        side = int(2 * reach * at) + 4
        few = max(1, min(_FINE, _FINEST // side))

        def fine(pixels: range, start: int, place: float) -> Array:
            count = np.arange((pixels.start - start) * few, (pixels.stop - start) * few)
            return np.asarray(((count + 0.5) / few + start) / at - place)

        def cover(rows: range, columns: range) -> Array:
            over = inside(fine(columns, left, x)[None, :], fine(rows, top, y)[:, None])
            return np.asarray(
                over.reshape(len(rows), few, len(columns), few).mean(axis=(1, 3)))

        self._add(range(top, top + side), range(left, left + side), code, cover)

    def mark(self, mark: Mark, disc: Callable[..., None] | None = None) -> None:
        """A numbered disc with its spots; ``disc`` draws them if not `disc` here."""
        draw, radius = disc or self.disc, mark.size_mm / 2
        draw(mark.x_mm, mark.y_mm, radius)
        for x, y in spots(int(mark.name)).tolist():
            draw(mark.x_mm + radius * x, mark.y_mm + radius * y, SPOT_RADIUS * radius,
                 self._ground)

    def facts(
        self, facts: Sequence[str], names: Collection[str], line: Line, most: float
    ) -> tuple[str, ...]:
        """Facts side by side on a line (its own text is not used) that is ``most`` mm wide; returns
        those that had to be shortened or left out.

        The longest of those that are ``names`` give up letters first.  If that is not enough, the
        last facts go.
        """
        kept, room = list(facts), most * self._per_mm
        short = {fact: fact for fact in facts if fact in names}
        while kept and (wide := self._mask(SEPARATOR.join(kept), line).shape[1]) > room:
            name = max(short, key=lambda fact: len(short[fact]), default="")
            length = len(short.get(name, ""))
            if length > _SHORT:
                second = max((len(short[n]) for n in short if n != name), default=0)
                spare = math.ceil(sum(map(len, kept)) * (1.0 - room / wide))
                keep = max(_SHORT, min(length - 1, max(second, length - spare))) - 1
                short[name] = name[:keep].rstrip(" …,-–") + "…"
            else:
                short.pop(facts[len(kept) - 1], None)
                kept.pop()
            kept = [short.get(fact, fact) for fact in facts[: len(kept)]]
        self.text(replace(line, text=SEPARATOR.join(kept)))
        return tuple(f for i, f in enumerate(facts) if i >= len(kept) or f != kept[i])

    def _mask(self, text: str, line: Line) -> NDArray[np.uint8]:
        return self._letters(text, max(round(line.height * self._per_mm), _SMALLEST_TEXT))

    def text(self, line: Line, code: int | None = None) -> None:
        """A line of text."""
        at, mask = self._per_mm, self._mask(line.text, line)
        if line.upright:
            mask = np.rot90(mask)
        width = mask.shape[1]
        left = round(line.x * at - (0.5 * width if line.centred or line.upright else 0.0))
        starts = line.upright and not line.centred
        top = round(line.middle * at - (0.0 if starts else len(mask) / 2))

        def cover(rows: range, columns: range) -> Array:
            return np.asarray(mask[rows.start - top : rows.stop - top,
                                   columns.start - left : columns.stop - left] / 255.0)

        self._add(range(top, top + len(mask)), range(left, left + width), code, cover)


def _around(middle: float, radius: float) -> range:
    return range(int(middle - radius) - 1, int(middle + radius) + 2)

"""Drawing a target as a negative: the codes, band by band.

The ground is clear film and prints black, so that little ink is used and little stray light
falls on dark patches in a scanner.  Marks, frames and letters are full ink and print light.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import counted
from tonewright.record.setup import parse_colour
from tonewright.target.document import Mark, Patch, Target
from tonewright.target.layout import GAP, LABEL, MARGIN, zones

Pixels = NDArray[np.uint16]
Letters = Callable[[str, int], NDArray[np.uint8]]
"""Text and its height in pixels to a mask, 0 to 255, shape (height, any)."""

FRAME = 0.3
"""mm: the light line round each patch, which shows where a dark one lies."""
SPOT_RADIUS, SPOT_DISTANCE = 0.2, 0.5
"""Of the dark spots in a mark and of their distance from its centre, as shares of its radius."""
HOLE = 0.5
"""Of a hollow dot, as a share of its diameter."""
NOTE_FIELDS = ("paper", "coating", "developer", "exposure")
_BAND = 256
_LIGHT, _DARK = 0, scales.FULL_CODE
"""Codes that print light (full ink, in gray) and dark (clear film)."""


def spots(number: int) -> NDArray[np.float64]:
    """Centres of a mark's dark spots, as shares of its radius, shape (number, 2), x and y.

    One in the middle; two to four on a circle, the first at the top.
    """
    if number == 1:
        return np.zeros((1, 2))
    turn = 2.0 * np.pi * np.arange(number) / number
    return np.stack([SPOT_DISTANCE * np.sin(turn), -SPOT_DISTANCE * np.cos(turn)], axis=1)


@dataclass(frozen=True)
class _Rectangle:
    """Pixels: first column and row, one past the last, code."""

    left: int
    top: int
    right: int
    bottom: int
    code: int

    def paint(self, band: NDArray[np.uint16], first: int) -> None:
        rows = slice(max(self.top - first, 0), max(self.bottom - first, 0))
        band[rows, max(self.left, 0) : max(self.right, 0)] = self.code


@dataclass(frozen=True, eq=False)
class _Disc:
    """Pixels: centre and radius; code.  Edges are smooth."""

    x: float
    y: float
    radius: float
    code: int

    @property
    def top(self) -> int:
        return int(self.y - self.radius) - 1

    @property
    def bottom(self) -> int:
        return int(self.y + self.radius) + 2

    def paint(self, band: NDArray[np.uint16], first: int) -> None:
        low, high = max(self.top, first), min(self.bottom, first + len(band))
        left = max(int(self.x - self.radius) - 1, 0)
        columns = np.arange(left, min(int(self.x + self.radius) + 2, band.shape[1]))
        rows = np.arange(low, high)[:, None]
        away = np.hypot(columns + 0.5 - self.x, rows + 0.5 - self.y)
        _blend(band[low - first : high - first, left : left + columns.size],
               np.clip(self.radius + 0.5 - away, 0.0, 1.0), self.code)


@dataclass(frozen=True, eq=False)
class _Mask:
    """A mask (0 to 1) with its top left pixel; code."""

    left: int
    top: int
    mask: NDArray[np.float64]
    code: int

    @property
    def bottom(self) -> int:
        return self.top + len(self.mask)

    def paint(self, band: NDArray[np.uint16], first: int) -> None:
        low, high = max(self.top, first), min(self.bottom, first + len(band))
        part = self.mask[low - self.top : high - self.top, : max(band.shape[1] - self.left, 0)]
        _blend(band[low - first : high - first, self.left : self.left + part.shape[1]], part,
               self.code)


_Item = _Rectangle | _Disc | _Mask


def _blend(window: NDArray[np.uint16], share: NDArray[np.float64], code: int) -> None:
    window[...] = np.floor(window * (1.0 - share) + code * share + 0.5).astype(np.uint16)


def size_px(target: Target) -> tuple[int, int]:
    """Width and height of the negative in pixels."""
    scale = target.ppi / 25.4
    return round(target.width_mm * scale), round(target.height_mm * scale)


def draw(target: Target, letters: Letters) -> Iterator[NDArray[np.uint16]]:
    """The negative's codes from the top down, in bands of rows, shape (rows, width); in a colour
    of ink, or on a chart of inks, red, green and blue, shape (rows, width, 3).

    65535 is clear film.  Mirrored if the target says so.
    """
    width, height = size_px(target)
    layers = [_items(target, letters, c) for c in range(3 if target.in_colour else 1)]
    for first in range(0, height, _BAND):
        rows = min(_BAND, height - first)
        painted = [_paint(items, first, (rows, width)) for items in layers]
        band = np.stack(painted, axis=-1) if target.in_colour else painted[0]
        yield np.ascontiguousarray(band[:, ::-1]) if target.mirrored else band


def _paint(items: list[_Item], first: int, shape: tuple[int, int]) -> Pixels:
    """One layer of a band."""
    band = np.full(shape, _DARK, dtype=np.uint16)
    for item in items:
        if item.top < first + len(band) and item.bottom > first:
            item.paint(band, first)
    return band


def patch_values(target: Target, patch: Patch) -> tuple[int, ...]:
    """What the negative holds inside a patch, 16-bit: its code, or in colour red, green, blue."""
    code = int(scales.level_to_code(patch.level))
    colour = target.colour_of(patch)
    if colour is None:
        return (code,) * (3 if target.in_colour else 1)
    # by way of the code, as a picture in this colour comes to its values
    level = float(scales.code_to_level(code))
    return tuple(int(scales.channel_value(level, value)) for value in colour)


def _items(target: Target, letters: Letters, channel: int) -> list[_Item]:
    """Everything on the sheet, for one channel of the negative."""
    light = _LIGHT
    if target.ink_colour is not None:
        light = int(scales.channel_value(1.0, parse_colour(target.ink_colour)[channel]))
    pen = _Pen(target.ppi / 25.4, letters, light)
    items: list[_Item] = []
    for patch in target.patches:
        x, y, w, h = patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm
        code = patch_values(target, patch)[channel]
        items.append(pen.box(x - FRAME, y - FRAME, w + 2 * FRAME, h + 2 * FRAME, light))
        items.append(pen.box(x, y, w, h, code))
    for mark in target.marks:
        items += pen.mark(mark)
    for dot in target.dots:
        items.append(pen.disc(dot.x_mm, dot.y_mm, dot.size_mm / 2, light))
        if dot.hollow:
            items.append(pen.disc(dot.x_mm, dot.y_mm, HOLE * dot.size_mm / 2, _DARK))
    return [*items, *_names(target, pen), *_words(target, pen)]


def _names(target: Target, pen: _Pen) -> list[_Item]:
    """Row letters on the left, column numbers on top."""
    items: list[_Item] = []
    left = min(p.x_mm for p in target.patches)
    top = min(p.y_mm for p in target.patches)
    for patch in target.patches:
        letter = patch.name.rstrip("0123456789")
        x, y = patch.centre
        if patch.x_mm == left and letter:
            items.append(pen.text(_Text(letter, left - LABEL / 2 - 0.4, y, 2.6, 0.5)))
        if patch.y_mm == top:
            number = patch.name.removeprefix(letter)
            items.append(pen.text(_Text(number, x, top - LABEL / 2 - 0.2, 2.6, 0.5)))
    return items


def _words(target: Target, pen: _Pen) -> list[_Item]:
    """The line that says which target this is, and the boxes to write in."""
    zone = zones(target.width_mm, target.height_mm)
    left, right = MARGIN + zone.mark + GAP, target.width_mm - MARGIN - zone.mark - GAP
    tones = [p for p in target.patches if p.kind == "tone"]
    levels = counted(len({p.level for p in tones}), "level")
    if target.is_ink_chart:
        levels = f"{counted(len({p.ink_colour for p in tones}), 'ink')} at {levels}"
    facts = [target.name, target.date, f"seed {target.seed}",
             f"{levels}, {counted(len(tones), 'patch')}",
             f"through {target.through}" if target.through else "",
             f"ink {target.ink_colour}" if target.ink_colour else ""]
    line = "   ·   ".join(fact for fact in facts if fact)
    items: list[_Item] = [
        pen.text(_Text(line, left, zone.header_y + 1.6, 3.2, most=right - left))]
    gap, high = 1.5, 10.0
    wide = (right - left - gap * (len(NOTE_FIELDS) - 1)) / len(NOTE_FIELDS)
    for i, field in enumerate(NOTE_FIELDS):
        x = left + i * (wide + gap)
        items.append(pen.box(x, zone.notes_y, wide, high, pen.light))
        items.append(pen.text(
            _Text(field, x + 0.8, zone.notes_y + 1.7, 2.1, most=wide - 1.6), _DARK))
    return items


@dataclass(frozen=True)
class _Text:
    """A line of text and its place, mm."""

    words: str
    x: float
    middle: float
    high: float
    align: float = 0.0
    """0: starts at x; 0.5: is centred there."""
    most: float | None = None
    """Greatest width."""


@dataclass(frozen=True, eq=False)
class _Pen:
    """From millimetres to items in pixels."""

    scale: float
    letters: Letters
    light: int
    """Code that prints light."""

    def box(self, x: float, y: float, width: float, height: float, code: int) -> _Rectangle:
        at = self.scale
        return _Rectangle(round(x * at), round(y * at), round((x + width) * at),
                          round((y + height) * at), code)

    def disc(self, x: float, y: float, radius: float, code: int) -> _Disc:
        return _Disc(x * self.scale, y * self.scale, radius * self.scale, code)

    def mark(self, mark: Mark) -> list[_Item]:
        radius = mark.size_mm / 2
        items: list[_Item] = [self.disc(mark.x_mm, mark.y_mm, radius, self.light)]
        for x, y in spots(int(mark.name)):
            items.append(self.disc(mark.x_mm + radius * float(x), mark.y_mm + radius * float(y),
                                   SPOT_RADIUS * radius, _DARK))
        return items

    def text(self, line: _Text, code: int | None = None) -> _Mask:
        """A line of text, cut short where it would be too wide."""
        pixels = max(round(line.high * self.scale), 6)
        mask = self.letters(line.words, pixels) / 255.0
        most = np.inf if line.most is None else line.most * self.scale
        if mask.shape[1] > most:
            kept = max(int(len(line.words) * most / mask.shape[1]) - 1, 1)
            mask = self.letters(line.words[:kept].rstrip(" ·") + "…", pixels) / 255.0
        left = round(line.x * self.scale - line.align * mask.shape[1])
        top = round(line.middle * self.scale - len(mask) / 2)
        return _Mask(max(left, 0), max(top, 0), mask, self.light if code is None else code)

"""Drawing a target as a negative: the codes, band by band.

The ground is clear film and prints black, so that little ink is used and little stray light
falls on dark patches in a scanner.  Marks, frames and letters are full ink and print light.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tonewright import scales
from tonewright.errors import counted
from tonewright.record.setup import parse_colour
from tonewright.target.document import Patch, Target
from tonewright.target.layout import GAP, LABEL, MARGIN, zones
from tonewright.target.pen import LINE, MEASURE_IT, RULE, Codes, Letters, Line, Pen

FRAME = LINE
"""mm: the light line round each patch, which shows where a dark one lies."""
HOLE = 0.5
"""Of a hollow dot, as a share of its diameter."""
NOTE_FIELDS = ("paper", "coating", "developer", "exposure")
_BAND = 256
_LIGHT, _DARK = 0, scales.FULL_CODE
"""Codes that print light (full ink, in gray) and dark (clear film)."""


def size_px(target: Target) -> tuple[int, int]:
    """Width and height of the negative in pixels."""
    scale = target.ppi / scales.MM_PER_INCH
    return round(target.width_mm * scale), round(target.height_mm * scale)


def draw(target: Target, letters: Letters) -> Iterator[Codes]:
    """The negative's codes from the top down, in bands of rows, shape (rows, width); in a colour
    of ink, or on a chart of inks, red, green and blue, shape (rows, width, 3).

    65535 is clear film.  Mirrored if the target says so.
    """
    width, height = size_px(target)
    layers = [_drawn(target, letters, c) for c in range(3 if target.in_colour else 1)]
    for first in range(0, height, _BAND):
        rows = min(_BAND, height - first)
        painted = [np.full((rows, width), _DARK, np.uint16) for _ in layers]
        for pen, layer in zip(layers, painted, strict=True):
            pen.paint(layer, first)
        band = np.stack(painted, axis=-1) if target.in_colour else painted[0]
        yield np.ascontiguousarray(band[:, ::-1]) if target.mirrored else band


def patch_values(target: Target, patch: Patch) -> tuple[int, ...]:
    """What the negative holds inside a patch, 16-bit: its code, or in colour red, green, blue."""
    code = int(scales.level_to_code(patch.level))
    colour = target.colour_of(patch)
    if colour is None:
        return (code,) * (3 if target.in_colour else 1)
    # by way of the code, as a picture in this colour comes to its values
    level = float(scales.code_to_level(code))
    return tuple(int(scales.channel_value(level, value)) for value in colour)


def _drawn(target: Target, letters: Letters, channel: int) -> Pen:
    """Everything on the sheet, for one channel of the negative."""
    light = _LIGHT
    if target.ink_colour is not None:
        light = int(scales.channel_value(1.0, parse_colour(target.ink_colour)[channel]))
    pen = Pen(target.ppi / scales.MM_PER_INCH, letters, light, _DARK)
    for patch in target.patches:
        x, y, w, h = patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm
        pen.box(x - FRAME, y - FRAME, w + 2 * FRAME, h + 2 * FRAME)
        pen.box(x, y, w, h, patch_values(target, patch)[channel])
    for mark in target.marks:
        pen.mark(mark)
    for dot in target.dots:
        pen.disc(dot.x_mm, dot.y_mm, dot.size_mm / 2)
        if dot.hollow:
            pen.disc(dot.x_mm, dot.y_mm, HOLE * dot.size_mm / 2, _DARK)
    _draw_names(target, pen)
    _draw_words(target, pen)
    if has_rule(target):
        _draw_rule(target, pen)
    return pen


def has_rule(target: Target) -> bool:
    """Whether the sheet is wide enough for a rule between its lower marks."""
    mark = zones(target.width_mm, target.height_mm).mark
    return target.width_mm >= RULE + 2 * (MARGIN + 0.9 * mark)  # the marks are round


def _draw_rule(target: Target, pen: Pen) -> None:
    """Below the boxes, above the dots."""
    zone = zones(target.width_mm, target.height_mm)
    x, y = (target.width_mm - RULE) / 2, target.height_mm - MARGIN - zone.mark
    pen.rule(x, y - 0.5, 0.9)
    pen.text(Line(MEASURE_IT, target.width_mm / 2, y + 1.5, 1.8, centred=True))


def _draw_names(target: Target, pen: Pen) -> None:
    """Row letters on the left, column numbers on top."""
    left = min(p.x_mm for p in target.patches)
    top = min(p.y_mm for p in target.patches)
    for patch in target.patches:
        letter = patch.name.rstrip("0123456789")
        x, y = patch.centre
        if patch.x_mm == left and letter:
            pen.text(Line(letter, left - LABEL / 2 - 0.4, y, 2.6, centred=True))
        if patch.y_mm == top:
            number = patch.name.removeprefix(letter)
            pen.text(Line(number, x, top - LABEL / 2 - 0.2, 2.6, centred=True))


def _draw_words(target: Target, pen: Pen) -> None:
    """The line that says which target this is, and the boxes to write in."""
    zone = zones(target.width_mm, target.height_mm)
    left, right = MARGIN + zone.mark + GAP, target.width_mm - MARGIN - zone.mark - GAP
    tones = [p for p in target.patches if p.kind == "tone"]
    levels = counted(len({p.level for p in tones}), "level")
    if target.is_ink_chart:
        levels = f"{counted(len({p.ink_colour for p in tones}), 'ink')} at {levels}"
    names = [target.name, f"through {target.through}" if target.through else ""]
    facts = [*names, target.date, f"seed {target.seed}",
             f"{levels}, {counted(len(tones), 'patch')}",
             f"ink {target.ink_colour}" if target.ink_colour else ""]
    pen.facts([f for f in facts if f], names, Line("", left, zone.header_y + 1.6, 3.2),
              right - left)
    gap, high = 1.5, 10.0
    wide = (right - left - gap * (len(NOTE_FIELDS) - 1)) / len(NOTE_FIELDS)
    for i, field in enumerate(NOTE_FIELDS):
        x = left + i * (wide + gap)
        pen.box(x, zone.notes_y, wide, high)
        pen.text(Line(field, x + 0.8, zone.notes_y + 1.7, 2.1), _DARK)

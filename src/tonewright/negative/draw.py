"""What stands around the picture on its sheet of film.

All places are those of the PRINT as it reads right: origin in the top left corner of the sheet, x
to the right, y down.  Whoever mirrors the picture mirrors this with it.

::

    ①   ┆           ◆           ┆   ②      discs: which way up, and where a scan's corners are
    ┄┄  ┌───────────────────────┐  ┄┄      ticks: where the picture ends, for coating
        │                       │▐         half a side: the tone scale, light end towards the corner
    ◆   │        picture        │▐ ◆       lozenges: the middles, for several negatives on a sheet
                                           left, or on top: a rule of 100 mm
        │                       │
    ┄┄  └───────────────────────┘  ┄┄
    ④   ┆  caption  ◆           ┆   ③
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.tones import LevelCurve, print_aims
from tonewright.scales import Array
from tonewright.target.document import MARK_NAMES, Mark, Patch, Target, legible
from tonewright.target.pen import LINE, MEASURE_IT, RULE, Codes, Letters, Line, Pen

STEPS = 11
"""Of the tone scale: image lightness 0, 10, … 100."""
SMALLEST_STEP_MM, LARGEST_STEP_MM = 3.0, 10.0
_SCALE_START, _SCALE_END = 3.0, 5.0
"""mm that the tone scale keeps from the picture's corner and from the middle of its side."""
GAP = 2.0
"""mm between the picture and what stands nearest to it."""
_NEAR_EDGE = 0.26
"""Of the margin: where rule and caption stand, with the middle marks between them and the picture.
"""


@dataclass(frozen=True, eq=False)
class ToneScale:
    """What the steps of the tone scale are."""

    level: Array
    """Ink levels, shape (n,)."""
    print_lightness: Array | None
    """What print lightness (L*) each aims at; None where the curve does not say."""
    image_lightness: Array

    @property
    def labels(self) -> tuple[str, ...]:
        """What stands beside each: the print's L*, or the image's."""
        shown = self.image_lightness if self.print_lightness is None else self.print_lightness
        return tuple(f"{value:.0f}" for value in shown)


def tone_scale(curve: LevelCurve) -> ToneScale:
    """The steps of a tone scale through a curve."""
    image = np.linspace(0.0, 100.0, STEPS)
    level = np.asarray(curve.level_at(image), dtype=np.float64)
    return ToneScale(level, print_aims(curve, image), image)


@dataclass(frozen=True, eq=False)
class Subject:
    """The picture that a sheet is for."""

    width: int
    height: int
    """Pixels."""
    ppi: float
    caption: tuple[str, ...]
    """The facts on its line; what is not known is not among them."""
    names: tuple[str, ...]
    """Those of them that may be shortened."""
    scale: ToneScale


class Sheet:
    """The sheet around a picture, ready to be painted."""

    def __init__(self, subject: Subject, settings: SheetSettings, letters: Letters) -> None:
        """Lay it out.

        Raises `OptionError`: the picture is too small for what shall stand beside it.
        """
        self._subject, self._settings = subject, settings
        self._per_mm = at = subject.ppi / scales.MM_PER_INCH
        self.left = self.top = round(settings.margin * at)
        """Of the picture, pixels."""
        self.width = subject.width + 2 * self.left
        self.height = subject.height + 2 * self.top
        clear, opaque = scales.FULL_CODE, 0
        self._ground, ink = (opaque, clear) if settings.border == "opaque" else (clear, opaque)
        self._pen = Pen(at, letters, ink, self._ground)
        self._box = (self.left / at, self.top / at, (self.left + subject.width) / at,
                     (self.top + subject.height) / at)
        """Left, top, right, bottom of the picture, mm, as is everything below."""
        self.cut: tuple[str, ...] = ()
        """Facts of the caption that were shortened, or had no room on its line."""
        self.rule_mm: float | None = None
        """Length of the rule; None: no room for one."""
        self._patches: list[Patch] = []
        self._marks: list[Mark] = []
        if settings.marks or settings.tone_scale:
            self._add_discs()
        if settings.marks:
            self._add_ticks()
            self._add_middles()
            self._add_rule()
        if settings.tone_scale:
            self._add_scale()
        if settings.caption:
            self._add_caption()

    def ground(self, rows: int) -> Codes:
        """A band of bare border, shape (rows, width)."""
        return np.full((rows, self.width), self._ground, np.uint16)

    def paint(self, band: Codes, first: int) -> None:
        """Draw everything but the picture into a band, whose first row of the sheet is given.

        The band reads right; give a mirrored view of one that does not.
        """
        self._pen.paint(band, first)

    def target(self, name: str, date: str, mirrored: bool, curve: str) -> Target | None:
        """The tone scale as a target document, by which a print is read; None without one."""
        if not self._patches:
            return None
        size = self.width / self._per_mm, self.height / self._per_mm
        return Target(
            legible(name), date, 0, round(size[0], 3), round(size[1], 3),
            round(self._subject.ppi, 4), mirrored, legible(curve), tuple(self._patches),
            tuple(self._marks))

    def _add_discs(self) -> None:
        """The numbered discs of a target, in the corners of the sheet."""
        near = 0.5 * self._settings.margin
        size = min(near, 7.0)
        right, low = self.width / self._per_mm - near, self.height / self._per_mm - near
        places = ((near, near), (right, near), (right, low), (near, low))
        for name, (x, y) in zip(MARK_NAMES, places, strict=True):
            mark = Mark(name, x, y, size)
            self._pen.mark(mark, self._disc)
            self._marks.append(
                replace(mark, x_mm=round(x, 3), y_mm=round(y, 3), size_mm=round(size, 3)))

    def _disc(self, x: float, y: float, radius: float, code: int | None = None) -> None:
        self._pen.area(x, y, radius, lambda dx, dy: dx**2 + dy**2 <= radius**2, code)

    def _add_ticks(self) -> None:
        """Fine lines that lengthen the picture's edges: up to them the paper is coated."""
        left, top, right, bottom = self._box
        long = min(6.0, self._settings.margin - GAP - 1.0)
        for y in (top, bottom):
            for x in (left - GAP - long, right + GAP):
                self._pen.box(x, y - LINE / 2, long, LINE)
        for x in (left, right):
            for y in (top - GAP - long, bottom + GAP):
                self._pen.box(x - LINE / 2, y, LINE, long)

    def _add_middles(self) -> None:
        """Quartered lozenges at the middles of the sides; their points are the middle lines."""
        left, top, right, bottom = self._box
        half = min(2.4, 0.25 * (self._settings.margin - GAP))
        away = GAP + half
        x, y = (left + right) / 2, (top + bottom) / 2

        def quarters(dx: Array, dy: Array) -> NDArray[np.bool_]:
            edge = np.abs(dx) + np.abs(dy)
            return np.asarray((edge <= half) & ((dx * dy >= 0.0) | (edge >= half - LINE)))

        for cx, cy in ((x, top - away), (right + away, y), (x, bottom + away), (left - away, y)):
            self._pen.area(cx, cy, half, quarters)

    def _add_rule(self) -> None:
        """A rule by the side that neither tone scale nor caption takes, where it is long enough."""
        left, top, right, bottom = self._box
        margin = self._settings.margin
        near, tall, tick = _NEAR_EDGE * margin, min(1.8, 0.14 * margin), 0.07 * margin
        upright = bottom - top >= RULE + 3 * GAP
        if not upright and (self._settings.tone_scale or right - left < RULE + 3 * GAP):
            return
        beside = near + LINE + tick + 0.3 + tall / 2
        if upright:
            start = (top + bottom - RULE) / 2
            self._pen.rule(near, start, tick, upright=True)
            line = Line(MEASURE_IT, beside, start + RULE / 4, tall, centred=True, upright=True)
        else:
            start = (left + right - RULE) / 2
            self._pen.rule(start, near, tick)
            line = Line(MEASURE_IT, start + RULE / 4, beside, tall, centred=True)
        self._pen.text(line)
        self.rule_mm = RULE

    @property
    def _scale_upright(self) -> bool:
        """The tone scale stands at the right of an upright picture, else lies below it."""
        return self._subject.height >= self._subject.width

    def _add_scale(self) -> None:
        """Steps side by side on half of the longer side, in a fine frame, numbered."""
        left, top, right, bottom = self._box
        upright, scale = self._scale_upright, self._subject.scale
        side = (bottom - top) if upright else (right - left)
        free = _SCALE_START + _SCALE_END
        step = min(LARGEST_STEP_MM, (side / 2 - free) / len(scale.level))
        if step < SMALLEST_STEP_MM:
            needed = 2 * (SMALLEST_STEP_MM * len(scale.level) + free)
            raise OptionError(
                f"the longer side of the picture is {side:.0f} mm",
                f"the tone scale runs along half of it, so it must be at least {needed:.0f} mm",
                "print the picture larger, or leave the tone scale out",
                code="no_room_for_tone_scale")
        deep = min(7.0, self._settings.margin - GAP - (4.7 if upright else 3.5))  # numbers
        long = step * len(scale.level)
        x, y = (right + GAP, top) if upright else (left, bottom + GAP)
        x, y = (x, y + _SCALE_START) if upright else (x + _SCALE_START, y)
        wide, high = (deep, long) if upright else (long, deep)
        self._pen.box(x - LINE, y - LINE, wide + 2 * LINE, high + 2 * LINE)
        for number in range(len(scale.level)):
            self._add_step(number, x, y, step, deep)

    def _add_step(self, number: int, x: float, y: float, step: float, deep: float) -> None:
        upright, scale = self._scale_upright, self._subject.scale
        place = step * (len(scale.level) - 1 - number)  # the lightest comes first
        x, y = (x, y + place) if upright else (x + place, y)
        wide, high = (deep, step) if upright else (step, deep)
        level = float(scale.level[number])
        self._pen.box(x, y, wide, high, int(scales.level_to_code(level)))
        aim = scale.print_lightness
        self._patches.append(Patch(
            f"A{number + 1}", round(level, 6), round(x, 3), round(y, 3), round(wide, 3),
            round(high, 3), "tone", None if aim is None else round(float(aim[number]), 3)))
        tall, label = min(2.0, 0.6 * step), scale.labels[number]
        if upright:
            self._pen.text(Line(label, x + wide + 0.7, y + high / 2, tall))
        else:
            self._pen.text(Line(label, x + wide / 2, y + high + 0.6 + tall / 2, tall, True))

    def _add_caption(self) -> None:
        """One line along the edge that the tone scale leaves free."""
        left, _, right, bottom = self._box
        margin = self._settings.margin
        tall = min(3.0, 0.26 * margin)
        lies_below = self._settings.tone_scale and not self._scale_upright
        middle = margin - 0.6 * margin if lies_below else bottom + 0.6 * margin
        if self._settings.marks:  # the lozenge stands between it and the picture
            middle = _NEAR_EDGE * margin if lies_below else bottom + 0.74 * margin
        clear = 2.0 if self._settings.marks else 0.0  # of the ticks
        line = Line("", left + clear, middle, tall)
        subject = self._subject
        self.cut = self._pen.facts(
            subject.caption, subject.names, line, right - left - 2 * clear)

"""What stands around the picture on its sheet of film.

All places are those of the PRINT as it reads right: origin in the top left corner of the sheet, x
to the right, y down.  Whoever mirrors the picture mirrors this with it.

::

    ①   ┆           ◆           ┆   ②      discs: which way up, and where a scan's corners are
    ┄┄  ┌───────────────────────┐  ┄┄      ticks: where the picture ends, for coating
        │                       │▐         half a side: the tone scale, light end towards the corner
    ◆   │        picture        │▐ ◆       lozenges: the middles, for several negatives on a sheet
        │                       │
    ┄┄  └───────────────────────┘  ┄┄
    ④   ┆  caption  ◆           ┆   ③
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.negative.border import FrameSettings
from tonewright.scales import Array
from tonewright.target.document import MARK_NAMES, Mark, Patch, Target
from tonewright.target.draw import SPOT_RADIUS, spots

Letters = Callable[[str, int], NDArray[np.uint8]]
"""Text and its height in pixels to a mask, 0 to 255, shape (height, any)."""
STEPS = 11
"""Of the tone scale: image lightness 0, 10, … 100."""
SMALLEST_STEP_MM, LARGEST_STEP_MM = 3.0, 10.0
_SCALE_START, _SCALE_END = 3.0, 5.0
"""mm that the tone scale keeps from the picture's corner and from the middle of its side."""
GAP = 2.0
"""mm between the picture and what stands nearest to it."""
LINE = 0.3
"""mm: thickness of ticks and frames; thinner ones drown in a coating."""
_FINE, _FINEST = 4, 1600
"""Points a pixel, each way, from which a slanting edge is smoothed; fewer where a shape would
have more than `_FINEST` of them on a side."""


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


@dataclass(frozen=True, eq=False)
class Subject:
    """The picture that is framed."""

    width: int
    height: int
    """Pixels."""
    ppi: float
    caption: str
    scale: ToneScale


@dataclass(frozen=True, eq=False)
class _Shape:
    """A mask (0 to 1, or whole numbers to 255; None: all of the box) at a place in pixels, and its
    code."""

    left: int
    top: int
    width: int
    height: int
    code: int
    mask: NDArray[np.float32] | NDArray[np.uint8] | None = None

    def paint(self, band: NDArray[np.uint16], first: int) -> None:
        low, high = max(self.top, first), min(self.top + self.height, first + len(band))
        left, right = max(self.left, 0), min(self.left + self.width, band.shape[1])
        if low >= high or left >= right:
            return
        window = band[low - first : high - first, left:right]
        if self.mask is None:
            window[...] = self.code
            return
        share = self.mask[low - self.top : high - self.top, left - self.left : right - self.left]
        if share.dtype == np.uint8:
            share = share * np.float32(1.0 / 255.0)
        window[...] = np.floor(window * (1.0 - share) + self.code * share + 0.5).astype(np.uint16)


class Frame:
    """The sheet around a picture, ready to be painted."""

    def __init__(self, subject: Subject, settings: FrameSettings, letters: Letters) -> None:
        """Lay it out.

        Raises
        ------
        OptionError
            The picture is too small for what shall stand beside it.
        """
        self._subject, self._settings = subject, settings
        self._per_mm = subject.ppi / 25.4
        self.left = self.top = round(settings.margin * self._per_mm)
        """Of the picture, pixels."""
        self.width = subject.width + 2 * self.left
        self.height = subject.height + 2 * self.top
        clear, opaque = scales.FULL_CODE, 0
        self._ground = clear if settings.border == "clear" else opaque
        self._pen = opaque if settings.border == "clear" else clear
        self._letters = letters
        self.cut = ""
        """What of the caption had no room on its line."""
        self._patches: list[Patch] = []
        self._marks: list[Mark] = []
        self._shapes: list[_Shape] = []
        if settings.marks or settings.tone_scale:
            self._add_discs()
        if settings.marks:
            self._add_ticks()
            self._add_middles()
        if settings.tone_scale:
            self._add_scale()
        if settings.caption:
            self._add_caption()

    def ground(self, rows: int) -> NDArray[np.uint16]:
        """A band of bare border, shape (rows, width)."""
        return np.full((rows, self.width), self._ground, np.uint16)

    def paint(self, band: NDArray[np.uint16], first: int) -> None:
        """Draw everything but the picture into a band, whose first row of the sheet is given.

        The band reads right; give a mirrored view of one that does not.
        """
        for shape in self._shapes:
            shape.paint(band, first)

    def target(self, name: str, date: str, mirrored: bool, curve: str) -> Target | None:
        """The tone scale as a target document, by which a print is read; None without one."""
        if not self._patches:
            return None
        size = self.width / self._per_mm, self.height / self._per_mm
        return Target(
            name, date, 0, round(size[0], 3), round(size[1], 3), round(self._subject.ppi, 4),
            mirrored, curve, tuple(self._patches), tuple(self._marks))

    # Everything below is in millimetres.

    @property
    def _box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of the picture."""
        at, subject = self._per_mm, self._subject
        return (self.left / at, self.top / at, (self.left + subject.width) / at,
                (self.top + subject.height) / at)

    def _rectangle(self, x: float, y: float, width: float, height: float, code: int) -> None:
        at = self._per_mm
        left, top = round(x * at), round(y * at)
        wide, high = max(1, round((x + width) * at) - left), max(1, round((y + height) * at) - top)
        self._shapes.append(_Shape(left, top, wide, high, code))

    def _area(
        self, x: float, y: float, reach: float, inside: Callable[[Array, Array], NDArray[np.bool_]],
        code: int,
    ) -> None:
        """A shape around (x, y): ``inside`` says it of places relative to there."""
        at = self._per_mm
        left, top = int((x - reach) * at) - 1, int((y - reach) * at) - 1
        side = int(2 * reach * at) + 4
        few = max(1, min(_FINE, _FINEST // side))
        fine = (np.arange(side * few) + 0.5) / few
        over = inside((fine[None, :] + left) / at - x, (fine[:, None] + top) / at - y)
        mask = over.reshape(side, few, side, few).mean(axis=(1, 3), dtype=np.float32)
        self._shapes.append(_Shape(left, top, side, side, code, mask))

    def _disc(self, x: float, y: float, radius: float, code: int) -> None:
        self._area(x, y, radius, lambda dx, dy: dx**2 + dy**2 <= radius**2, code)

    def _add_discs(self) -> None:
        """The numbered discs of a target, in the corners of the sheet."""
        margin = self._settings.margin
        size = min(0.5 * margin, 7.0)
        near = 0.5 * margin
        right, low = self.width / self._per_mm - near, self.height / self._per_mm - near
        places = ((near, near), (right, near), (right, low), (near, low))
        for name, (x, y) in zip(MARK_NAMES, places, strict=True):
            self._marks.append(Mark(name, round(x, 3), round(y, 3), round(size, 3)))
            self._disc(x, y, size / 2, self._pen)
            for dx, dy in spots(int(name)):
                self._disc(x + size / 2 * float(dx), y + size / 2 * float(dy),
                           SPOT_RADIUS * size / 2, self._ground)

    def _add_ticks(self) -> None:
        """Fine lines that lengthen the picture's edges: up to them the paper is coated."""
        left, top, right, bottom = self._box
        long = min(6.0, self._settings.margin - GAP - 1.0)
        for y in (top, bottom):
            for x in (left - GAP - long, right + GAP):
                self._rectangle(x, y - LINE / 2, long, LINE, self._pen)
        for x in (left, right):
            for y in (top - GAP - long, bottom + GAP):
                self._rectangle(x - LINE / 2, y, LINE, long, self._pen)

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
            self._area(cx, cy, half, quarters, self._pen)

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
                f"the tone scale stands along half of it and needs {needed:.0f} mm",
                "print the picture larger, or leave the tone scale out (--no-tone-scale)")
        deep = min(7.0, self._settings.margin - GAP - (4.7 if upright else 3.5))  # numbers
        long = step * len(scale.level)
        x, y = (right + GAP, top) if upright else (left, bottom + GAP)
        x, y = (x, y + _SCALE_START) if upright else (x + _SCALE_START, y)
        wide, high = (deep, long) if upright else (long, deep)
        self._rectangle(x - LINE, y - LINE, wide + 2 * LINE, high + 2 * LINE, self._pen)
        for number in range(len(scale.level)):
            self._add_step(number, x, y, step, deep)

    def _add_step(self, number: int, x: float, y: float, step: float, deep: float) -> None:
        upright, scale = self._scale_upright, self._subject.scale
        place = step * (len(scale.level) - 1 - number)  # the lightest comes first
        x, y = (x, y + place) if upright else (x + place, y)
        wide, high = (deep, step) if upright else (step, deep)
        level = float(scale.level[number])
        self._rectangle(x, y, wide, high, int(scales.level_to_code(level)))
        aim = scale.print_lightness
        self._patches.append(Patch(
            f"A{number + 1}", round(level, 6), round(x, 3), round(y, 3), round(wide, 3),
            round(high, 3), "tone", None if aim is None else round(float(aim[number]), 3)))
        tall = min(2.0, 0.6 * step)
        if upright:
            self._text(scale.labels[number], x + wide + 0.7, y + high / 2, tall)
        else:
            self._text(scale.labels[number], x + wide / 2, y + high + 0.6 + tall / 2, tall, 0.5)

    def _add_caption(self) -> None:
        """One line along the edge that the tone scale leaves free."""
        left, _, right, bottom = self._box
        margin = self._settings.margin
        tall = min(3.0, 0.26 * margin)
        lies_below = self._settings.tone_scale and not self._scale_upright
        middle = margin - 0.6 * margin if lies_below else bottom + 0.6 * margin
        if self._settings.marks:  # the lozenge stands between it and the picture
            middle = 0.26 * margin if lies_below else bottom + 0.74 * margin
        clear = 2.0 if self._settings.marks else 0.0  # of the ticks
        room = right - left - 2 * clear
        self.cut = self._text(self._subject.caption, left + clear, middle, tall, most=room)

    def _text(
        self, text: str, x: float, middle: float, tall: float, align: float = 0.0,
        most: float | None = None,
    ) -> str:
        """A line of text: ``align`` 0 starts at x, 0.5 is centred there; cut short at ``most``.

        What was cut off is given back.
        """
        at = self._per_mm
        pixels = max(round(tall * at), 6)
        whole = text
        mask = self._letters(text, pixels)
        while most is not None and mask.shape[1] > most * at and len(text) > 2:
            keep = max(int(len(text) * most * at / mask.shape[1]) - 2, 1)
            text = text[: min(keep, len(text) - 2)].rstrip(" ·…") + "…"
            mask = self._letters(text, pixels)
        left = round(x * at - align * mask.shape[1])
        self._shapes.append(_Shape(left, round(middle * at - len(mask) / 2), mask.shape[1],
                                   len(mask), self._pen, mask))
        return "" if text == whole else whole[len(text) - 1 :].strip(" ·")


def tone_scale(curve: object, image_lightness: Sequence[float] | None = None) -> ToneScale:
    """The steps of a tone scale through a curve."""
    image = np.linspace(0.0, 100.0, STEPS) if image_lightness is None else np.array(image_lightness)
    level = np.asarray(curve.level_at(image), dtype=np.float64)  # type: ignore[attr-defined]
    aims = getattr(curve, "print_lightness_at", None)
    return ToneScale(level, None if aims is None else np.asarray(aims(image)), image)

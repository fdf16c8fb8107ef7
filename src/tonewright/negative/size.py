"""How large the negative lies on the film, and how many pixels that takes."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.negative.findings import Enlarged, FewPixels
from tonewright.record.findings import Finding

INCH = Fraction(254, 10)
_UNITS = {"mm": Fraction(1), "cm": Fraction(10), "in": INCH, '"': INCH}
_LENGTH = re.compile(r"\s*(\d{1,6}(?:[.,]\d{1,4})?)\s*(mm|cm|in|\")\s*", re.I)
_OTHER_UNIT = re.compile(r"\s*[\d.,]+\s*([^\W\d]+)\s*")
SMALLEST_MM, LARGEST_MM = 1, 5000
MOST_PIXELS = 4_000_000_000
LONGEST_SIDE = 1_000_000
_TOLERANCE = 0.005
"""By how much width and height given together may differ from the picture's shape."""
FEW_PIXELS = 150
"""To the inch: fewer show as steps in a contact print held in the hand."""
_TELL_TIMES = 1.05
"""Enlargement from which it is told."""


@dataclass(frozen=True)
class SizeWish:
    """What the printer asked for; None: as the image has it."""

    width_mm: Fraction | None = None
    height_mm: Fraction | None = None
    """Of the picture, after turning."""
    ppi: Fraction | None = None
    """Pixels to the inch: the picture is resampled to it."""
    rotate: int = 0
    """Degrees clockwise: 0, 90, 180 or 270."""


@dataclass(frozen=True)
class Size:
    """What that comes to."""

    width: int
    height: int
    """Pixels."""
    per_inch: tuple[Fraction, Fraction] | None
    """Pixels to the inch, across and down; None: not known."""
    resampled: bool

    @property
    def millimetres(self) -> tuple[float, float] | None:
        """Width and height on the film; None: not known."""
        if self.per_inch is None:
            return None
        across, down = self.per_inch
        return float(self.width * INCH / across), float(self.height * INCH / down)


def parse_length(text: str, what: str, *, may_be_none: bool = False) -> Fraction:
    """A length such as ``200mm``, ``20cm`` or ``8in``, in millimetres.

    Raises `OptionError`: it is no length, or lies outside 1 to 5000 mm (0 is allowed too if it
    ``may_be_none``); ``what`` is what it is called.
    """
    match = _LENGTH.fullmatch(text)
    if match is None:
        other = _OTHER_UNIT.fullmatch(text)
        unknown = f", and {other[1]!r} is not a unit known here" if other else ""
        raise OptionError(
            f"{what} is {text!r}{unknown}",
            "a length is a number with its unit: mm, cm or in",
            "write it as 200mm, 20cm or 8in",
        )
    length = Fraction(match[1].replace(",", ".")) * _UNITS[match[2].lower()]
    if not (SMALLEST_MM <= length <= LARGEST_MM or (may_be_none and length == 0)):
        raise OptionError(
            f"{what} is {text!r}",
            f"it must lie between {SMALLEST_MM} and {LARGEST_MM} mm",
            "write it as 200mm, 20cm or 8in",
        )
    return length


def parse_margin(text: str, what: str) -> float:
    """A margin in millimetres: a length, or 0 (in any unit, or without one) for none."""
    return 0.0 if text.strip() == "0" else float(parse_length(text, what, may_be_none=True))


def parse_ppi(text: str, what: str) -> Fraction:
    """Pixels to the inch, 10 to 10000; raises `OptionError`, in which ``what`` names it."""
    try:
        ppi = Fraction(text.strip().replace(",", ".")).limit_denominator(1000)
    except (ValueError, ZeroDivisionError):
        ppi = Fraction(0)
    if not 10 <= ppi <= 10_000:
        raise OptionError(
            f"{what} is {text!r}",
            "it is a number of pixels to the inch, from 10 to 10000",
            "give the printer's own resolution, such as 360 or 720",
        )
    return ppi


def plan_size(
    width: int, height: int, per_inch: tuple[Fraction, Fraction] | None, wish: SizeWish
) -> Size:
    """How large the picture becomes.

    Without ``wish.ppi`` its pixels stay as they are, and only how many go to the inch changes.
    ``width``, ``height`` and ``per_inch`` (across and down; None: not known) are those of the
    picture as it will lie, turned already.

    Raises `OptionError`: width and height do not go with the picture's shape; the result is too
    large or small.
    """
    across, down = per_inch or (Fraction(1), Fraction(1))
    shape = (height / down) / (width / across)  # height over width, on the film
    wide = _asked_width(wish, shape)
    if wide is None and (wish.ppi is None or per_inch is None):
        # nothing asked, or no size known to resample from: its pixels are printed as they are
        return Size(width, height, per_inch if wish.ppi is None else (wish.ppi, wish.ppi), False)
    if wide is None:
        wide = width * INCH / across
    if wish.ppi is None:
        new = width * INCH / wide
        size = Size(width, height, (new, new * down / across), False)
    else:
        new_width = max(1, _nearest(wide * wish.ppi / INCH))
        new_height = max(1, _nearest(wide * shape * wish.ppi / INCH))
        changed = (new_width, new_height) != (width, height)
        size = Size(new_width, new_height, (wish.ppi, wish.ppi), changed)
    check_pixels(size.width, size.height)
    return size


def _nearest(number: Fraction) -> int:
    return math.floor(number + Fraction(1, 2))


def _asked_width(wish: SizeWish, shape: Fraction) -> Fraction | None:
    """Width on the film that was asked for, directly or through the height."""
    if wish.height_mm is None:
        return wish.width_mm
    width = wish.height_mm / shape
    if wish.width_mm is not None and abs(float(wish.width_mm / width) - 1.0) > _TOLERANCE:
        raise OptionError(
            f"the width is {float(wish.width_mm):g} mm and the height {float(wish.height_mm):g} mm,"
            f" and a picture of this shape is {float(wish.width_mm):g} x"
            f" {float(wish.width_mm * shape):.1f} mm or {float(width):.1f} x"
            f" {float(wish.height_mm):g} mm",
            "a picture keeps its shape",
            "give one of the two, or crop the picture in your editor first",
            code="picture_shape",
        )
    return wish.width_mm or width


def check_pixels(width: int, height: int) -> None:
    """Raise `OptionError` for more pixels than a negative may have."""
    if max(width, height) > LONGEST_SIDE or width * height > MOST_PIXELS:
        raise OptionError(
            f"the negative would be {width} x {height} pixels",
            f"it may have {LONGEST_SIDE} on a side and {MOST_PIXELS // 1_000_000} million in all",
            "choose a smaller size, a narrower margin or fewer pixels to the inch",
            code="too_many_pixels",
        )


def size_findings(size: Size, width: int) -> tuple[Finding, ...]:
    """What is to be said of a size, of a picture that was so many pixels across."""
    found: list[Finding] = []
    if size.resampled and size.width > _TELL_TIMES * width:
        found.append(Enlarged(size.width / width))
    if size.per_inch is not None and min(size.per_inch) < FEW_PIXELS:
        found.append(FewPixels(float(min(size.per_inch))))
    return tuple(found)

"""Curves side by side: tones, ink and times, and whether they differ by more than their bands."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright.check.make import curve_time
from tonewright.curve.document import Curve
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.record.setup import INK, other_light
from tonewright.record.times import PrintingTime
from tonewright.scales import Array

TONES = np.linspace(0.0, 100.0, 101)
"""Image lightness (L*) at which curves are compared."""
ENOUGH = 10
"""Tones apart that make a difference; two fits of one paper reach it 7 times in 100."""
_ROUNDED = 1e-4
"""Ink levels nearer to each other are one."""


@dataclass(frozen=True, eq=False)
class Compared:
    """A curve compared with the first; all arrays of the shape of `TONES`, lightness in L*.

    Lightness is that of the first curve's paper: how the other's ink would print there.
    """

    difference_level: Array
    """Ink level, the other's less the first's."""
    difference_lightness: Array
    """Above 0: the other's ink would print lighter."""
    bands_lightness: Array
    """Half the first's band and half the other's: what they explain."""
    apart: NDArray[np.bool_]
    """Where the two bands do not touch, neither those of the ink nor those of the tone.

    Where two bands of 95 % that are equally wide just touch, the curves are 2.8 standard
    deviations of their difference apart, so that chance at one of many tones is no difference.
    """
    slower_stops: float | None
    """Printing time against the first's; None: not said, or in other units."""
    other_ink: tuple[tuple[str, str, str], ...]
    """Lamp, film, printer and ink that differ: name, the first's and the other's."""

    @property
    def worst(self) -> int:
        """The tone at which they differ most, of those apart if there are any."""
        size = np.abs(self.difference_lightness)
        return int(np.argmax(np.where(self.apart, size, -1.0) if self.differs else size))

    @property
    def differs(self) -> bool:
        """Whether they differ by more than their bands over a tenth of the tone scale: at some tone
        or other curves of one paper do so by chance."""
        return bool(np.sum(self.apart) >= ENOUGH)


def compare_curves(curves: Sequence[Curve]) -> tuple[Compared, ...]:
    """Each curve after the first compared with it.

    Raises
    ------
    OptionError
        Fewer than two curves, or some count lightness from the bare paper and others do not.
    """
    if len(curves) < 2:
        raise OptionError(f"{'one' if curves else 'no'} curve is named",
                          "two curves at least are compared", "name another NAME.curve.json")
    first = curves[0]
    for other in curves[1:]:
        if other.relative_to_paper != first.relative_to_paper:
            paper, absolute = (other, first) if other.relative_to_paper else (first, other)
            raise OptionError(
                f"{paper.name} counts from the bare paper, {absolute.name} is absolute",
                "the two are not compared: they differ by the density of the paper",
                "fit one of them again, measured as the other")
    return tuple(_compare(first, other) for other in curves[1:])


def _compare(first: Curve, other: Curve) -> Compared:
    low, level, high = _levels(first)
    other_low, other_level, other_high = _levels(other)
    tone = first.response.lightness_at
    change = tone(other_level) - tone(level)
    bands = _half_band(first, level) + _half_band(other, other_level)
    # towards the ends the ink's band is cut off, and the aims are the measured black and white
    apart = (((other_low > high + _ROUNDED) | (other_high < low - _ROUNDED))
             & (np.abs(change) > bands))
    return Compared(
        other_level - level, change, bands, apart, _stops(curve_time(first), curve_time(other)),
        other_light(first.setup, other.setup, INK))


def _half_band(curve: Curve, level: Array) -> Array:
    """Half the band of a print's lightness (L*) at ink levels."""
    table = curve.response
    return np.asarray(np.interp(
        level, table.level, (table.lightness_high - table.lightness_low) / 2.0))


def _levels(curve: Curve) -> tuple[Array, Array, Array]:
    """Ink level and its band at `TONES`."""
    table = curve.correction
    low, level, high = (np.interp(TONES, table.image_lightness, column)
                        for column in (table.level_low, table.level, table.level_high))
    return low, level, high


def _stops(first: PrintingTime | None, other: PrintingTime | None) -> float | None:
    if first is None or other is None or first.unit != other.unit:
        return None
    return math.log2(other.value / first.value)

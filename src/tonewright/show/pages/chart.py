"""The print response as a drawing in a page: points of an SVG."""

from __future__ import annotations

import numpy as np

from tonewright.curve.document import Curve
from tonewright.curve.prints import patch_places
from tonewright.frozen import dataclass
from tonewright.scales import Array

WIDTH, HEIGHT = 560.0, 400.0
"""Of the field, in units of the drawing."""


@dataclass(frozen=True)
class Chart:
    """Lightness of the print (0 to 100 upwards) over ink (0 to 100 % to the right)."""

    curve: str
    """Points of a line, ``x,y x,y``."""
    band: str
    """Outline of where the curve lies, 95 times in 100."""
    counted: str
    """Path of the readings that count."""
    others: str
    """The same of those that do not, or are doubtful."""
    ends: tuple[float, float]
    """Places of the curve's least and most ink, across."""
    width: float = WIDTH
    height: float = HEIGHT


def chart(curve: Curve) -> Chart:
    """A curve's response with its band and readings."""
    table, found = curve.response, curve.summary
    low = _points(table.level, table.lightness_low)
    high = _points(table.level[::-1], table.lightness_high[::-1])
    patches = patch_places(curve)
    plain = [p.counts and not p.doubtful for p in patches]
    places = np.array([(p.level, p.lightness) for p in patches]).reshape(-1, 2)
    return Chart(_points(table.level, table.lightness), f"{low} {high}",
                 _dots(places[np.array(plain, dtype=bool)]),
                 _dots(places[~np.array(plain, dtype=bool)]),
                 (WIDTH * found.level_black, WIDTH * found.level_white))


def _places(level: Array, lightness: Array) -> list[str]:
    return [f"{WIDTH * u:.1f},{HEIGHT * (1.0 - min(max(light, 0.0), 100.0) / 100.0):.1f}"
            for u, light in zip(level.tolist(), lightness.tolist(), strict=True)]


def _points(level: Array, lightness: Array) -> str:
    return " ".join(_places(level, lightness))


def _dots(places: Array) -> str:
    """A path of lines without length: its round ends are the dots."""
    return "".join(f"M{at}h0" for at in _places(places[:, 0], places[:, 1]))

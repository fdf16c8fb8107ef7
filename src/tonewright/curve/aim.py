"""The aim: how light the print shall be where the image has a given lightness."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tonewright import scales
from tonewright.curve.findings import AimBeyondPrint, End, TonesTogether
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.record.findings import Finding
from tonewright.scales import Array

Kind = Literal["lightness", "density", "like", "points"]
_TABLE_KINDS = ("like", "points")
SMALLEST_BEYOND = 0.05
"""From how many L* beyond the print's own black or white on an aim is said to be out of reach."""
ALIKE, WORTH_A_WORD = 0.5, 1.0
"""Tones that print within so many L* of an end print as that end; said where so many L* of the
picture do so."""


@dataclass(frozen=True)
class Aim:
    """What the printer wants.

    ``lightness``: equal steps of image lightness become equal steps of print lightness between
    the print's own black and white.  ``density``: they become equal steps of print density.
    ``like``: the same print lightness as another print, held in ``points``.  ``points``: the
    printer's own, joined by a smooth curve that never overshoots.
    """

    kind: Kind = "lightness"
    label: str | None = None
    """Where the points came from."""
    points: tuple[tuple[float, float], ...] | None = None
    """Image lightness and print lightness, L* both, increasing and non-decreasing."""

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        if (self.kind in _TABLE_KINDS) != (self.points is not None):
            has = "no points" if self.points is None else "points"
            raise OptionError(f"the aim is {self.kind}, with {has}",
                              "the aims like and points have points, the others none",
                              "choose one aim")
        if self.points is not None:
            _check_points(self.points, self.label or "the aim's points")

    def print_lightness(self, image_lightness: ArrayLike, black: float, white: float) -> Array:
        """Print lightness (L*) wanted at image lightness (0 to 100, any shape).

        ``black`` and ``white`` are the print's own (L*); what is asked beyond them is held at
        them.  Image lightness beyond the points takes the end point.
        """
        image = np.clip(np.asarray(image_lightness, dtype=np.float64), 0.0, 100.0)
        share = image / 100.0
        if self.points is not None:
            goal = _interpolated(self.points, image)
        elif self.kind == "density":
            ends = scales.lightness_to_density(np.array([max(black, 1e-3), max(white, 1e-3)]))
            goal = scales.density_to_lightness(ends[0] + share * (ends[1] - ends[0]))
        else:
            goal = black + share * (white - black)
        return np.asarray(np.clip(goal, black, white))

    def beyond(self, black: float, white: float) -> tuple[float, float]:
        """By how many L* the points ask for a blacker black, a whiter white; 0 where within."""
        if self.points is None:
            return 0.0, 0.0
        wanted = [w for _, w in self.points]
        return max(black - min(wanted), 0.0), max(max(wanted) - white, 0.0)

    def findings(self, black: float, white: float) -> Iterator[Finding]:
        """Where it asks for tones plainly beyond the print's own ends (L*), and which of the
        picture's tones a table prints alike there."""
        image = np.linspace(0.0, 100.0, 1001)
        alike = alike_ends(image, self.print_lightness(image, black, white), white - black)
        ends: tuple[End, End] = ("black", "white")
        for end, amount, limit in zip(ends, self.beyond(black, white), alike, strict=True):
            if amount > SMALLEST_BEYOND:
                yield AimBeyondPrint(end, round(amount, 4))
            if self.points is not None and limit is not None:
                yield TonesTogether(end, round(limit, 1))


def alike_ends(
    image: Array, printed: Array, span: float
) -> tuple[float | None, float | None]:
    """Which tones of the picture fall together at the ends of a print.

    Parameters
    ----------
    image, printed:
        Lightness (L*) of picture and print, shape (n,), rising from black to white.
    span:
        L* from the print's black to its white.

    Returns
    -------
    L* of the picture below which all print as black, and above which all print as white; None
    where no more tones do so than in an even scale, and a few.
    """
    below = float(image[printed <= printed[0] + ALIKE][-1])
    above = float(image[printed >= printed[-1] - ALIKE][0])
    few = ALIKE * 100.0 / max(span, 1.0) + WORTH_A_WORD
    return below if below > few else None, above if 100.0 - above > few else None


def _interpolated(points: tuple[tuple[float, float], ...], image: Array) -> Array:
    """Smoothly through the points without overshoot (Fritsch and Carlson's condition)."""
    from scipy.interpolate import PchipInterpolator  # needed for points alone

    places, wanted = np.array(points).T
    with np.errstate(over="ignore"):  # a rise of next to nothing has a reciprocal past any float
        curve = PchipInterpolator(places, wanted)
    return np.asarray(curve(np.clip(image, places[0], places[-1])))


def _check_points(points: tuple[tuple[float, float], ...], label: str) -> None:
    way_out = "list image_lightness and print_lightness from black to white, both 0 to 100"
    if len(points) < 2:
        count = "1 point" if points else "no points"
        raise OptionError(f"{label} has {count}", "an aim needs two at least", way_out)
    for image, wanted in points:
        if not (0.0 <= image <= 100.0 and 0.0 <= wanted <= 100.0):
            raise OptionError(f"{label} has the point {image:g}, {wanted:g}",
                              "lightness lies between 0 and 100", way_out)
    for (image, wanted), (next_image, next_wanted) in pairwise(points):
        if next_image <= image or next_wanted < wanted:
            raise OptionError(
                f"{label}: {next_image:g}, {next_wanted:g} follows {image:g}, {wanted:g}",
                "a lighter image may never print darker", way_out)

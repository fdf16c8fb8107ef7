"""The aim: how light the print shall be where the image has a given lightness."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from tonewright import scales
from tonewright.errors import DocumentError, OptionError
from tonewright.record.schema import (
    TEXT,
    Rule,
    check_entries,
    check_names,
    is_number,
    one_of,
    or_none,
)
from tonewright.scales import Array

Kind = Literal["lightness", "density", "like", "points"]
_TABLE_KINDS = ("like", "points")


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
                              "like and points have points, the others none", "choose one aim")
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
            goal = _through(self.points, image)
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

    def held_words(self, black: float, white: float) -> list[str]:
        """What is said of tones asked for beyond the print's own ends (L*)."""
        ends = ("blacker than this print's black", "lighter than this print's white")
        return [f"The aim asks for tones up to {amount:.1f} L* {end}; they are held there."
                for amount, end in zip(self.beyond(black, white), ends, strict=True)
                if amount > 0.05]

    def to_dict(self) -> dict[str, Any]:
        """Plain dictionary."""
        points = None if self.points is None else [list(p) for p in self.points]
        return {"kind": self.kind, "label": self.label, "points": points}


def _through(points: tuple[tuple[float, float], ...], image: Array) -> Array:
    """Smoothly through the points without overshoot (Fritsch and Carlson's condition)."""
    from scipy.interpolate import PchipInterpolator  # needed for points alone

    places, wanted = np.array(points).T
    with np.errstate(over="ignore"):  # a rise of next to nothing has a reciprocal past any float
        through = PchipInterpolator(places, wanted)
    return np.asarray(through(np.clip(image, places[0], places[-1])))


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


def aim_from_dict(data: Any) -> Aim:
    """Check and rebuild an aim.

    Raises
    ------
    DocumentError
        Not what `Aim.to_dict` writes.
    """
    way_out = "take an unedited copy of the document"
    check_names(data, [*_RULES, "points"], "the aim", way_out)
    check_entries(data, _RULES, "the aim", way_out)
    points = data["points"]
    if points is not None:
        check_entries(data, {"points": _POINTS}, "the aim", way_out)
    pairs = None if points is None else tuple((float(a), float(b)) for a, b in points)
    try:
        return Aim(data["kind"], data["label"], pairs)
    except OptionError as error:
        raise DocumentError(f"in the document, {error.given}", error.rule, way_out) from error


def _is_point(value: Any) -> bool:
    return isinstance(value, list | tuple) and len(value) == 2 and all(map(is_number, value))


_POINTS = Rule(_is_point, "it is a list of points, two numbers each", each=True)
_RULES = {"kind": one_of("lightness", "density", *_TABLE_KINDS), "label": or_none(TEXT)}

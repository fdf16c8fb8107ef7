"""What a negative cannot hold: tones lost at the ends, steps that would show."""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from tonewright.frozen import dataclass
from tonewright.negative.findings import BlackTonesLost, VisibleSteps, WhiteTonesLost
from tonewright.negative.tones import LevelCurve, print_aims
from tonewright.record.findings import Finding
from tonewright.scales import Array

JUST_VISIBLE = 1.0
"""L*: about the smallest step of tone that the eye sees where two tones meet."""
_TELL_SHARE = 0.01
"""Share of pixels at an end of the scale from which it is worth a warning."""
_TELL_SPAN = 2.0
"""L* of the image that come out as one tone, from which it is worth a warning."""


@dataclass(frozen=True)
class Ends:
    """The codes between which a negative has tones, and how many pixels lie at them."""

    black: int
    white: int
    """Codes: the least and the most ink that the curve uses."""
    found: list[tuple[int, int]] = field(default_factory=list)
    """Pixels at black and at white, band by band; filled from several threads."""

    def count(self, codes: NDArray[np.uint16]) -> None:
        """Count a band of codes."""
        # most bands reach neither end, and that is known faster than how many pixels do
        most, least = np.maximum.reduce(codes, None), np.minimum.reduce(codes, None)
        black = np.count_nonzero(codes == self.black) if most == self.black else 0
        white = np.count_nonzero(codes == self.white) if least == self.white else 0
        self.found.append((int(black), int(white)))

    @classmethod
    def of(cls, table: NDArray[np.uint16]) -> Ends:
        """Those of a table of codes."""
        return cls(int(table.max()), int(table.min()))

    @property
    def pixels(self) -> tuple[int, int]:
        """Pixels at black and at white."""
        return sum(b for b, _ in self.found), sum(w for _, w in self.found)


def largest_step(lightness: Array, curve: LevelCurve) -> tuple[float, float] | None:
    """The largest step of print lightness between neighbouring values of the image, whose lightness
    from black to white is given, shape (n,).

    Returned are the step in L* of the print, and the L* of the image where it is; None if the curve
    does not say what it aims at.
    """
    aims = print_aims(curve, lightness)
    if aims is None:
        return None
    steps = np.diff(aims)
    where = int(np.argmax(np.abs(steps)))
    return float(abs(steps[where])), float(lightness[where])


def visible_steps(
    bits: int, step: tuple[float, float] | None, *, colour: bool = False
) -> VisibleSteps | None:
    """What `largest_step` of an image of so many bits comes to; None if nobody would see it."""
    if step is None or step[0] <= JUST_VISIBLE:
        return None
    return VisibleSteps(bits, colour, *step)


def lost_tones(
    shares: tuple[float, float], lightness: Array, table: NDArray[np.uint16]
) -> tuple[Finding, ...]:
    """What is lost at the ends, from the shares (0 to 1) of pixels at black and at white.

    The table of codes for each image lightness, both shape (n,), tells up to where in the image
    all print alike.
    """
    found: list[Finding] = []
    dark, light = shares
    if dark >= _TELL_SHARE:
        below = float(lightness[table == table.max()].max(initial=0.0))
        found.append(BlackTonesLost(dark, below if below >= _TELL_SPAN else None))
    if light >= _TELL_SHARE:
        above = float(lightness[table == table.min()].min(initial=100.0))
        found.append(WhiteTonesLost(light, above if above <= 100.0 - _TELL_SPAN else None))
    return tuple(found)

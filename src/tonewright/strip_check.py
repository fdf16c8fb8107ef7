"""What speaks against a strip's readings once it is known where they lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tonewright.errors import FitError
from tonewright.numeric.monotone import SmoothFit, SmoothSettings, fit_smooth
from tonewright.numeric.strays import find_strays
from tonewright.scales import Array
from tonewright.strip import FEWEST, StripPatch

NOISE_FLOOR = 0.004
SMALLEST_DOUBT = 0.04
"""Density by which a step must be off at least to be set aside."""
DISAGREEMENT, DISAGREEMENT_DENSITY = 1.5, 0.03
"""Strips do not belong together where all of them scatter so many times more than each by itself,
and by so much density besides: sheets of one paper differ by less."""
MUCH_NOISE = 0.06
"""Scatter of a reading (density) beyond what an instrument and an even coating show."""
THICK_FILM = 0.35
"""Clear film takes 0.03 to 0.15 (common practice, no source)."""
WHITE_OF_PAPER = 0.02
"""No paper is so white, counted from a perfect white (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Placed:
    """Readings with their exposures, shape (n,)."""

    patches: Sequence[StripPatch]
    x: Array
    """log10 exposure."""
    y: Array
    """Density."""
    sd: Array
    """Relative uncertainty."""


def smooth_strip(x: Array, y: Array, sd: Array) -> SmoothFit:
    """A plain smooth curve, for the noise and for comparing shifts by their likelihood."""
    settings = SmoothSettings(noise_floor=NOISE_FLOOR / float(np.median(sd)))
    return fit_smooth(x, y, sd, np.linspace(x.min(), x.max(), 60), settings)


def find_doubtful(placed: Placed) -> dict[int, float]:
    """Index of each step that does not fit its neighbours, and by how much density."""
    strays = list(find_strays(placed.x, placed.y, placed.sd))
    if not strays:
        return {}
    keep = np.ones(placed.x.size, dtype=bool)
    keep[strays] = False
    rest = smooth_strip(placed.x[keep], placed.y[keep], placed.sd[keep])
    off = placed.y - np.interp(placed.x, rest.grid, rest.value)
    return {i: float(off[i]) for i in sorted(strays) if abs(off[i]) >= SMALLEST_DOUBT}


def step_name(patch: StripPatch) -> str:
    """What a step is called where several strips and halves have one of its number."""
    half = "under the film" if patch.through == "film" else "on the bare half"
    return f"step {patch.step} {half}" + (f" of {patch.print_name}" if patch.print_name else "")


def doubt_words(placed: Placed, doubtful: dict[int, float]) -> list[str]:
    """One warning for all steps that were set aside."""
    if not doubtful:
        return []
    listed = [f"{step_name(placed.patches[i])} is {abs(off):.2f}"
              f" {'darker' if off > 0.0 else 'lighter'} (density {placed.patches[i].density:.2f})"
              for i, off in doubtful.items()]
    return ["Set aside, because their neighbours lead to expect something else: "
            + ", ".join(listed) + ". Look for a stain or a slip of the pen and measure again;"
            " --count-all counts every step all the same."]


def speaks_against(placed: Placed, film: float | None) -> list[str]:
    """Warnings for strips that do not belong together, or not to their tablet or zero."""
    joint = _noise(placed, np.ones(placed.x.size, dtype=bool))
    said = _apart(placed, joint)
    if not said and joint > MUCH_NOISE:
        said.append(f"The readings scatter by {joint:.2f} in density, more than an instrument and"
                    " an even coating do: look at the strip, and measure it again.")
    if film is not None and film > THICK_FILM:
        said.append(f"The film seems to take {film:.2f} of density; clear film takes 0.03 to 0.15."
                    " The two halves may be two prints, or one of them is read one or more steps"
                    " off.")
    if float(np.median(np.sort(placed.y)[: max(placed.y.size // 10, 3)])) < WHITE_OF_PAPER:
        said.append("The lightest steps have no density at all, and no paper is as white as that:"
                    " the instrument was zeroed on the paper. Give --paper-density, the paper's"
                    " own density, for the right blacks.")
    return said


def _apart(placed: Placed, joint: float) -> list[str]:
    """A warning where several strips or halves lie on curves of their own."""
    keys = [(p.through, p.time.value, p.print_name) for p in placed.patches]
    squares, counted = 0.0, 0
    groups = sorted(set(keys), key=str)
    for key in groups:
        here = np.array([k == key for k in keys])
        if np.count_nonzero(here) >= FEWEST:
            squares += np.count_nonzero(here) * _noise(placed, here) ** 2
            counted += int(np.count_nonzero(here))
    if len(groups) < 2 or not counted:
        return []
    each = float(np.sqrt(squares / counted))
    if joint < DISAGREEMENT * each or joint**2 - each**2 < DISAGREEMENT_DENSITY**2:
        return []
    halves = len({key[1:] for key in groups}) == 1
    return [f"The {'two halves' if halves else 'strips'} do not lie on one curve: together they"
            f" scatter by {joint:.2f} in density, each by itself by {each:.2f}. "
            + ("One of them may be read some steps off, or be of another print."
               if halves else "One of the times may be wrong, or one strip may be of another paper"
               " or chemistry; evaluate each by itself.")]


def _noise(placed: Placed, here: Array) -> float:
    sd = placed.sd[here]
    return smooth_strip(placed.x[here], placed.y[here], sd).noise * float(np.median(sd))


def check_halves(film: float, film_sd: float) -> None:
    """Raise `FitError` where the film seems to give light."""
    if film < -0.03 and film < -2.0 * film_sd:
        raise FitError(
            f"the half under the film printed darker: as if the film let through"
            f" {10.0**-film:.2f} times the light", "film takes light away",
            "the two halves are exchanged: swap film and bare in the column through, or in"
            " --halves for a scan")

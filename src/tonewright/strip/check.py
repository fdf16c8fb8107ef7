"""What speaks against a strip's readings once it is known where they lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FitError
from tonewright.numeric.monotone import SmoothFit, SmoothSettings, fit_smooth
from tonewright.numeric.robust import find_strays, stray_limit
from tonewright.numeric.sigmoid import sample_rises
from tonewright.scales import Array
from tonewright.strip.readings import FEWEST, Strip, StripPatch
from tonewright.strip.tablet import Tablet

NOISE_FLOOR = 0.004
USUAL_NOISE, USUAL_SHARE = 0.02, 1.0 / 3.0
"""Some thirty readings tell their own noise only to a seventh: what an instrument usually has on
coated paper counts for a third, in the logarithm."""
USUAL_BLACK = 1.55, 0.4
"""Density of a coated paper's maximum black and how much papers differ (common practice, no
source): it tells only where a strip is too short to show its own."""
SMALLEST_DOUBT = 0.04
"""Density by which a step must be off at least to be set aside."""
DISAGREEMENT, DISAGREEMENT_DENSITY = 1.5, 0.03
"""Strips do not belong together where all of them scatter so many times more than each by itself,
and by so much density besides: sheets of one paper differ by less."""
MUCH_NOISE = 0.06
"""Scatter of a reading (density) beyond what an instrument and an even coating show."""
ENOUGH_TO_TELL = 12
"""Steps from which on their scatter can be told from the curve's bends."""
THICK_FILM, NO_FILM = 0.18, 0.45
"""Clear film takes 0.03 to 0.15 (common practice, no source): more is doubted, far more
refused."""
LIGHTER, LIGHTER_DENSITY = 4.5, 0.04
"""From how many standard deviations, and how much density, on the clearest steps are lighter than
the ones after them."""
CLEAREST, SOON = 5, 7
CONFIRMING = 400
"""Curves drawn to confirm a doubt."""
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

    def without(self, rows: Sequence[int]) -> Placed:
        """All but some readings."""
        kept = [i for i in range(self.x.size) if i not in rows]
        return Placed([self.patches[i] for i in kept], self.x[kept], self.y[kept], self.sd[kept])


def smooth_strip(x: Array, y: Array, sd: Array) -> SmoothFit:
    """A plain smooth curve, for the noise and for comparing shifts by their likelihood."""
    settings = SmoothSettings(noise_floor=NOISE_FLOOR / float(np.median(sd)))
    return fit_smooth(x, y, sd, np.linspace(x.min(), x.max(), 60), settings)


def likely_noise(x: Array, y: Array, sd: Array) -> tuple[float, float]:
    """Of a usual reading, as the strip itself shows it; and of any, all told, in units of its
    ``sd``."""
    usual = float(np.median(sd))
    noise = max(smooth_strip(x, y, sd).noise * usual, NOISE_FLOOR)
    return noise, noise ** (1.0 - USUAL_SHARE) * USUAL_NOISE**USUAL_SHARE / usual


def find_gross(strip: Strip, tablet: Tablet) -> list[int]:
    """Index of each step that does not fit the others of its own half and strip."""
    x = np.array([-tablet.densities[p.step - 1] for p in strip.patches])
    found: list[int] = []
    for rows in _groups(strip.patches).values():
        found += [int(rows[i]) for i in find_strays(x[rows], strip.density[rows],
                                                    np.ones(rows.size))]
    return found


def find_doubtful(placed: Placed) -> dict[int, float]:
    """Index of each step that does not fit its neighbours, and by how much density."""
    strays = sorted(find_strays(placed.x, placed.y, placed.sd))
    if not strays:
        return {}
    # a smooth curve runs on past a sudden shoulder: what curves that end in black say counts
    kept = placed.without(strays)
    _, noise = likely_noise(kept.x, kept.y, kept.sd)
    places = np.unique(placed.x[strays])
    curves = sample_rises(kept.x, kept.y, noise * kept.sd, places, USUAL_BLACK, CONFIRMING)
    at = np.searchsorted(places, placed.x[strays])
    off = placed.y[strays] - np.median(curves, axis=0)[at]
    wide = np.hypot(noise * placed.sd[strays], curves.std(axis=0)[at])
    limit = stray_limit(placed.x.size, placed.x.size)
    return {i: float(o) for i, o, w in zip(strays, off, wide, strict=True)
            if abs(o) >= max(SMALLEST_DOUBT, limit * w)}


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
            " tonewright strip --count-all counts every step all the same."]


@dataclass(frozen=True)
class Scatter:
    """How much readings scatter, in density."""

    joint: float
    """About one curve through all."""
    each: float | None
    """Of each strip or half about a curve of its own, where together they lie on none; None where
    one curve holds for all."""


def scatter_of(placed: Placed) -> Scatter:
    """About one curve, and apart."""
    joint = _noise(placed)
    return Scatter(joint, _noise_apart(placed, joint))


def contradictions(placed: Placed, scatter: Scatter) -> list[str]:
    """Warnings for readings that no one paper gives: the times are not to be relied on."""
    apart = [] if scatter.each is None else [_apart_words(placed, scatter.joint, scatter.each)]
    return apart + _lighter_again(placed, scatter.joint)


def speaks_against(placed: Placed, scatter: Scatter, film: float | None) -> list[str]:
    """Warnings for readings that scatter, or do not belong to their tablet or zero."""
    said = []
    if (scatter.joint > MUCH_NOISE and placed.x.size >= ENOUGH_TO_TELL
            and scatter.each is None):
        said.append(f"The readings scatter by {scatter.joint:.2f} in density, more than an"
                    " instrument and an even coating do: look at the strip, and measure it again.")
    if film is not None and film > THICK_FILM:
        said.append(f"The film seems to take {film:.2f} of density; clear film takes 0.03 to 0.15."
                    " The two halves may be two prints, or one of them is read one or more steps"
                    " off.")
    least = np.argsort(placed.x)[: max(placed.y.size // 10, 3)]
    if float(np.median(placed.y[least])) < WHITE_OF_PAPER:
        said.append("The lightest steps have next to no density, and hardly a paper is as white as"
                    " that: the instrument seems to have been zeroed on the paper. If so, add"
                    " --relative-to-paper, and --paper-density with the paper's own density (0.05"
                    " to 0.12 mostly), for the right blacks.")
    return said


_Group = tuple[str, float, str | None]


def _groups(patches: Sequence[StripPatch]) -> dict[_Group, NDArray[np.intp]]:
    """The rows of each half of each strip."""
    keys = [(p.through, p.time.value, p.print_name) for p in patches]
    return {key: np.flatnonzero([k == key for k in keys]) for key in dict.fromkeys(keys)}


def _lighter_again(placed: Placed, noise: float) -> list[str]:
    """A warning where a strip gets lighter again towards its clearest step.

    The mean of the first k steps against that of four neighbours soon after them; black lies
    where those four are blackest.
    """
    blackest = []
    for rows in _groups(placed.patches).values():
        order = rows[np.argsort(-placed.x[rows], kind="stable")]
        y = placed.y[order]
        after = range(1, min(CLEAREST + SOON, order.size - 3))
        if any(_is_lighter(y[:k], y[j:j + 4], noise) for k in range(1, CLEAREST + 1)
               for j in after if k <= j < k + SOON):
            peak = max(after, key=lambda j: float(y[j:j + 4].mean()))
            blackest.append(step_name(placed.patches[order[peak]]))
    if not blackest:
        return []
    return [f"The print gets lighter again towards step 1, from {' and '.join(blackest)} on,"
            " though there was more light: stains, or a black that turns over when it gets too"
            " much. The times hang on these steps: measure them again, leave them out with --skip,"
            " or print for a shorter time."]


def _is_lighter(first: Array, after: Array, noise: float) -> bool:
    gap = float(after.mean() - first.mean())
    spread = noise * float(np.sqrt(1.0 / first.size + 1.0 / after.size))
    return gap > max(LIGHTER * spread, LIGHTER_DENSITY)


def _noise_apart(placed: Placed, joint: float) -> float | None:
    """How much each strip or half scatters about a curve of its own, where together they lie on
    none; None where one curve holds for all."""
    groups = _groups(placed.patches)
    large = [rows for rows in groups.values() if rows.size >= FEWEST]
    if len(groups) < 2 or not large:
        return None
    squares = sum(rows.size * _noise(placed, rows) ** 2 for rows in large)
    each = float(np.sqrt(squares / sum(rows.size for rows in large)))
    if joint < DISAGREEMENT * each or joint**2 - each**2 < DISAGREEMENT_DENSITY**2:
        return None
    return each


def _apart_words(placed: Placed, joint: float, each: float) -> str:
    halves = len({key[1:] for key in _groups(placed.patches)}) == 1
    return (f"The {'two halves' if halves else 'strips'} do not lie on one curve: together they"
            f" scatter by {joint:.2f} in density, each by itself by {each:.2f}. "
            + ("One of them may be of another print." if halves else
               "One of the times may be wrong, or one strip may be of another paper or chemistry;"
               " evaluate each by itself before anything is printed for these times."))


def _noise(placed: Placed, rows: NDArray[np.intp] | None = None) -> float:
    """Of a reading, about a curve through some rows or all."""
    some: Any = slice(None) if rows is None else rows
    sd = placed.sd[some]
    return smooth_strip(placed.x[some], placed.y[some], sd).noise * float(np.median(sd))


def check_halves(film: float, film_sd: float) -> None:
    """Raise `FitError` where the film seems to give light, or to be none."""
    if film - 2.0 * film_sd > NO_FILM:
        raise FitError(
            f"the half under the film printed as if the film took {film:.2f} of density",
            "clear film takes 0.03 to 0.15",
            "check that --tablet names the tablet that was printed, that both halves are of one"
            " print, and that their steps are numbered alike")
    if film < -0.03 and film < -2.0 * film_sd:
        raise FitError(
            f"the half under the film printed darker: as if the film let through"
            f" {10.0**-film:.2f} times the light", "film takes light away",
            "the two halves are exchanged: swap film and bare in the column through, or in"
            " --halves for a scan; or one of them is numbered a step off")

"""What speaks against a strip's readings once it is known where they lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FitError
from tonewright.frozen import dataclass
from tonewright.numeric.monotone import judge_smooth
from tonewright.numeric.robust import find_strays, robust_spread, stray_limit
from tonewright.numeric.sigmoid import sample_rises
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.strip.findings import (
    FilmTooDense,
    LighterAgain,
    OddStep,
    ReadingsScatter,
    StepPlace,
    StepsSetAside,
    StripsDisagree,
    ZeroedOnPaper,
)
from tonewright.strip.readings import FEWEST, LEAST_RANGE, PLAINLY_DARK, Strip, StripPatch
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
LONGEST_RUN, BEFORE, COMES_BACK = 4, 3, 3.0
"""A stain covers so many neighbouring steps at most; so many steps before it show that it is
lighter, and the one after it is darker again by so many standard deviations."""
FOGGED_END = 3
"""Light that creeps under the dense end of a tablet reaches so small a part of it at most: a
third."""
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


def judge_strip(x: Array, y: Array, sd: Array) -> tuple[float, float]:
    """Noise (density) about a plain smooth curve, and -2 log likelihood, to compare shifts by."""
    usual = float(np.median(sd))
    noise, score = judge_smooth(x, y, sd, NOISE_FLOOR / usual)
    return noise * usual, score


def likely_noise(x: Array, y: Array, sd: Array) -> tuple[float, float]:
    """Of a usual reading, as the strip itself shows it; and of any, all told, in units of its
    ``sd``."""
    usual = float(np.median(sd))
    noise = max(judge_strip(x, y, sd)[0], NOISE_FLOOR)
    return noise, noise ** (1.0 - USUAL_SHARE) * USUAL_NOISE**USUAL_SHARE / usual


def find_gross(strip: Strip, tablet: Tablet) -> list[int]:
    """Index of each step that does not fit the others of its own half and strip."""
    x = np.array([-tablet.densities[p.step - 1] for p in strip.patches])
    placed = Placed(strip.patches, x, strip.density, np.ones(x.size))
    stained = find_stained_runs(placed)
    found: list[int] = []
    for group in _groups(strip.patches).values():
        rows = np.setdiff1d(group, stained)
        found += [int(rows[i]) for i in find_strays(x[rows], strip.density[rows],
                                                    np.ones(rows.size))]
    return sorted({*found, *stained} - only_tones(placed, found))


def find_doubtful(placed: Placed) -> dict[int, float]:
    """Index of each step that does not fit its neighbours, and by how much density."""
    stained = find_stained_runs(placed)
    rest = np.setdiff1d(np.arange(placed.x.size), stained)
    singles = [int(rest[i]) for i in find_strays(placed.x[rest], placed.y[rest], placed.sd[rest])]
    strays = sorted({*stained, *singles} - only_tones(placed, singles))
    if not strays:
        return {}
    kept, x = placed.without(strays), placed.x
    _, noise = likely_noise(kept.x, kept.y, kept.sd)
    limit = stray_limit(x.size, x.size)
    if between := [i for i in strays if i not in stained and x.min() < x[i] < x.max()]:
        # at a corner a few readings tell all: one that a curve through all goes by is no slip
        off, _ = _off(placed, between, placed.without(stained), noise)
        near = np.abs(off) < limit * noise * placed.sd[between]
        strays = [i for i in strays if i not in np.array(between)[near]]
    if not strays:
        return {}
    # a smooth curve runs on past a sudden shoulder: what curves that end in black say counts
    off, spread = _off(placed, strays, placed.without(strays), noise)
    wide = np.hypot(noise * placed.sd[strays], spread)
    return {i: float(o) for i, o, w in zip(strays, off, wide, strict=True)
            if abs(o) >= max(SMALLEST_DOUBT, limit * w)}


def _off(
    placed: Placed, rows: Sequence[int], counting: Placed, noise: float
) -> tuple[Array, Array]:
    """How far readings lie from the curves through those that count, and how unsure these are there
    (density), each of shape (rows,)."""
    places, at = np.unique(placed.x[rows], return_inverse=True)
    curves = sample_rises(counting.x, counting.y, noise * counting.sd, places, USUAL_BLACK,
                          CONFIRMING).curves
    return placed.y[rows] - np.median(curves, axis=0)[at], curves.std(axis=0)[at]


def only_tones(placed: Placed, strays: Sequence[int]) -> set[int]:
    """Those of the strays that are the beginning of a half's tones: its clearest steps, each darker
    than the next, on a strip too short to show more."""
    found: set[int] = set()
    for rows in _groups(placed.patches).values():
        order = rows[np.argsort(-placed.x[rows], kind="stable")]
        y, stray = placed.y[order], np.isin(order, strays)
        count = int(np.argmin(stray)) if not stray.all() else 0
        if not 0 < count < y.size:
            continue
        pale = PLAINLY_DARK if count > 1 else float(np.median(y[count:])) + LEAST_RANGE
        if np.all(np.diff(y[:count + 1]) < 0.0) and y[count:].max() < pale:
            found.update(map(int, order[:count]))
    return found


def find_stained_runs(placed: Placed) -> list[int]:
    """Index of each of several neighbouring steps that are lighter than those before and than
    the one after them, though that one got less light; or that lie at the dense end and are all
    darker than those before, which got more light."""
    found: list[int] = []
    for rows in _groups(placed.patches).values():
        order = rows[np.argsort(-placed.x[rows], kind="stable")]
        y = placed.y[order]
        if y.size < FEWEST:
            continue
        noise = max(robust_spread(np.diff(y, 2)) / math.sqrt(6.0), NOISE_FLOOR)
        noise = noise ** (1.0 - USUAL_SHARE) * USUAL_NOISE**USUAL_SHARE
        gap = max(SMALLEST_DOUBT, COMES_BACK * math.sqrt(2.0) * noise)
        for start in range(BEFORE, y.size - 2):
            for end in range(start + 2, min(start + LONGEST_RUN + 1, y.size)):
                around = min(float(y[start - BEFORE:start].min()), float(y[end]))
                if float(y[start:end].max()) < around - gap:
                    found += map(int, order[start:end])
        for start in range(y.size - y.size // FOGGED_END, y.size - 1):
            if float(y[start - BEFORE:start].max()) < float(y[start:].min()) - gap:
                found += map(int, order[start:])
                break
    return sorted(set(found))


def set_aside(placed: Placed, doubtful: dict[int, float]) -> list[Finding]:
    """What is said of all steps that were set aside."""
    if not doubtful:
        return []
    places = ((placed.patches[i], off) for i, off in doubtful.items())
    return [StepsSetAside(tuple(OddStep(p.step, p.through, p.print_name, p.density, round(off, 5))
                                for p, off in places))]


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


def contradictions(placed: Placed, scatter: Scatter) -> list[Finding]:
    """Readings that no one paper gives: the times are not to be relied on."""
    found: list[Finding] = []
    if scatter.each is not None:
        halves = len({key[1:] for key in _groups(placed.patches)}) == 1
        found.append(StripsDisagree("halves" if halves else "strips", round(scatter.joint, 5),
                                    round(scatter.each, 5)))
    darkest = _darkest_where_lighter_again(placed, scatter.joint)
    return [*found, LighterAgain(darkest)] if darkest else found


def speaks_against(placed: Placed, scatter: Scatter, film: float | None) -> list[Finding]:
    """Readings that scatter, or do not belong to their tablet or zero."""
    found: list[Finding] = []
    if (scatter.joint > MUCH_NOISE and placed.x.size >= ENOUGH_TO_TELL
            and scatter.each is None):
        found.append(ReadingsScatter(round(scatter.joint, 5)))
    if film is not None and film > THICK_FILM:
        found.append(FilmTooDense(round(film, 4)))
    least = np.argsort(placed.x)[: max(placed.y.size // 10, 3)]
    if float(np.median(placed.y[least])) < WHITE_OF_PAPER:
        found.append(ZeroedOnPaper())
    return found


_Group = tuple[str, float, str | None]


def _groups(patches: Sequence[StripPatch]) -> dict[_Group, NDArray[np.intp]]:
    """The rows of each half of each strip."""
    keys = [(p.through, p.time.value, p.print_name) for p in patches]
    return {key: np.flatnonzero([k == key for k in keys]) for key in dict.fromkeys(keys)}


def _darkest_where_lighter_again(placed: Placed, noise: float) -> tuple[StepPlace, ...]:
    """The darkest step of each half that gets lighter again towards its clearest step.

    The mean of the first k steps against that of four neighbours soon after them; black lies
    where those four are blackest.
    """
    darkest = []
    for rows in _groups(placed.patches).values():
        order = rows[np.argsort(-placed.x[rows], kind="stable")]
        y = placed.y[order]
        after = range(1, min(CLEAREST + SOON, order.size - 3))
        if any(_is_lighter(y[:k], y[j:j + 4], noise) for k in range(1, CLEAREST + 1)
               for j in after if k <= j < k + SOON):
            peak = max(after, key=lambda j: float(y[j:j + 4].mean()))
            p = placed.patches[order[peak]]
            darkest.append(StepPlace(p.step, p.through, p.print_name))
    return tuple(darkest)


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


def _noise(placed: Placed, rows: NDArray[np.intp] | None = None) -> float:
    """Of a reading, about a curve through some rows or all."""
    some: Any = slice(None) if rows is None else rows
    return judge_strip(placed.x[some], placed.y[some], placed.sd[some])[0]


def check_halves(film: float, film_sd: float) -> None:
    """Raise `FitError` where the film seems to give light, or to be none."""
    if film - 2.0 * film_sd > NO_FILM:
        raise FitError(
            f"the half under the film printed as if the film took {film:.2f} of density",
            "clear film takes 0.03 to 0.15",
            "check that the right tablet was named, that both halves are of one print, and that"
            " their steps are numbered alike", code="film_impossible")
    if film < -0.03 and film < -2.0 * film_sd:
        raise FitError(
            f"the half under the film printed darker, as if the film let through"
            f" {10.0**-film:.2f} times the light", "film takes light away",
            "swap film and bare, or check that both halves are numbered from the same step",
            code="halves_exchanged")

"""From readings to the print response: how light the print is at every ink level.

The fit runs in CIE L*, because that is what the eye sees.  A reading's error is constant in
density, so each reading is weighted by what that error makes in L* where it lies.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from tonewright import scales
from tonewright.curve.findings import Doubt, ToneReversal
from tonewright.curve.responses import END_TOLERANCE, PrintResponse
from tonewright.curve.sheets import SheetScatter, between_sheets
from tonewright.errors import FitError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Reading, Readings
from tonewright.numeric.monotone import SmoothFit, SmoothSettings, fit_smooth
from tonewright.numeric.robust import (
    deleted_residual,
    find_strays,
    robust_spread,
    stray_limit,
    taper,
)
from tonewright.scales import Array

NODES = 513
FEWEST_LEVELS = 6
SMALLEST_SPAN = 0.1
"""Least range of ink levels that says anything of the rest."""
SMALLEST_RANGE = 10.0
"""Least difference between black and white, L*, that is a tone scale at all."""
CLEARLY = 5.0
"""How many times its own standard deviation the rise from black to white must be."""
NOISE_FLOOR = 5e-4
"""Smallest density noise believed: densities are printed to 0.01 or 0.001."""
STATED_SD_WORTH = 8.0
"""How many readings' worth of belief an instrument's own uncertainty gets."""
NEAR = 3.0
"""Standard deviations up to which a patch lies on a curve that has corners."""
SMALLEST_DOUBT = 0.02
"""Density by which a patch must be off at least to be worth a second look."""
BEYOND = 4.0
"""L* by which a curve may pass the lightest and the darkest reading: more is no noise."""
BEYOND_END = 2.5
"""Standard deviations by which its black and its white may pass the readings at that very level."""
SETTLED = 0.1
"""L* by which a curve moves between two passes that is no move."""


@dataclass(frozen=True)
class Reversal:
    """Where the print gets darker although the ink gets heavier."""

    level_from: float
    level_to: float
    drop_lightness: float


@dataclass(frozen=True)
class EndReport:
    """How the response meets one end of the ink range."""

    reached: bool
    still_gaining: float
    """L* that the last tenth of the ink still changes the print by."""
    corner: float | None
    """Ink level where the print leaves the end, or reaches it, at a corner; None: it does not."""


@dataclass(frozen=True, eq=False)
class FittedPrint:
    """The print response and what the fit found on the way."""

    response: PrintResponse
    noise_density_sd: float
    print_lightness_sd: float | None
    """Scatter between sheets in L*, mean over the scale; None with a single sheet."""
    sheets: int
    """Sheets that tell of it."""
    doubtful: tuple[Doubt, ...]
    robust: bool
    """True: doubtful readings were taken back by their replicates; False: they count fully."""
    reversals: tuple[Reversal, ...]
    unused_patches: tuple[str, ...]
    """Patches beyond a reversal."""
    black: EndReport
    white: EndReport


@dataclass(frozen=True, eq=False)
class _Data:
    """Readings as arrays, shape (n,)."""

    level: Array
    lightness: Array
    density_sd: Array
    """The instrument's own uncertainty, or 1 where only the ratio counts."""
    stated: bool
    replicated: bool
    patches: tuple[Reading, ...]
    names: tuple[str, ...]

    def subset(self, keep: Array) -> _Data:
        index = np.flatnonzero(keep)
        return replace(
            self, level=self.level[index], lightness=self.lightness[index],
            density_sd=self.density_sd[index], patches=tuple(self.patches[i] for i in index),
            names=tuple(self.names[i] for i in index),
        )


@dataclass(frozen=True, eq=False)
class _Pass:
    """One finished fit: the curve, each reading's expected spread and its deviation."""

    curve: SmoothFit
    sd: Array
    """Of each reading in L*, noise included."""
    deviations: Array
    noise_density_sd: float


def fit_print(readings: Readings, left_out: tuple[str, ...] = ()) -> FittedPrint:
    """Smooth monotone print response through readings, with its bands.

    Parameters
    ----------
    readings:
        Levels 0 to 1 and densities; several sheets are told apart by their print name.
    left_out:
        Names of patches to leave out.

    Raises
    ------
    FitError
        Too few levels, no tone range, a print that darkens with ink all along, or a left-out
        name that no patch has.
    """
    data = _to_arrays(readings, left_out)
    _check(data)
    free = _fit(data, robust=True, monotone=False)
    reversals = _find_reversals(free.curve)
    keep = _usable(data.level, free.curve, reversals)
    used = data.subset(keep)
    _check(used)
    robust = _fit(used, robust=True)
    final = robust if data.replicated else _fit(used, robust=False)
    _refuse_noise(final)
    scatter = between_sheets([p.print_name or "" for p in used.patches], used.level,
                             (used.lightness - final.curve.fitted) / final.sd, final.sd,
                             final.curve)
    unused = tuple(name for name, k in zip(data.names, keep, strict=True) if not k)
    return FittedPrint(
        response=_tabulate(final, scatter), noise_density_sd=final.noise_density_sd,
        print_lightness_sd=None if scatter is None else float(np.mean(scatter.sd)),
        sheets=1 if scatter is None else scatter.sheets,
        doubtful=_doubts(used, robust, final), robust=data.replicated, reversals=reversals,
        unused_patches=unused,
        black=_end(final.curve, first=True, turned=_cut(data, keep, first=True)),
        white=_end(final.curve, first=False, turned=_cut(data, keep, first=False)),
    )


def reversal_findings(fitted: FittedPrint, *, limits_curve: bool) -> Iterator[ToneReversal]:
    """Each reversal of a print, and whether the curve is limited to what is left of it."""
    level = fitted.response.level
    used = (float(level[0]), float(level[-1])) if limits_curve else (None, None)
    for turn in fitted.reversals:
        yield ToneReversal(
            turn.level_from, turn.level_to, round(turn.drop_lightness, 4),
            "black" if turn.level_to <= level[0] + 0.05 else "white",
            len(fitted.unused_patches), *used)


def patch_names(patches: tuple[Reading, ...]) -> tuple[str, ...]:
    """What each patch is called: its name, and its sheet where several share the name."""
    counts = Counter(p.patch for p in patches)
    return tuple(
        p.patch if counts[p.patch] == 1 or p.print_name is None else f"{p.patch} on {p.print_name}"
        for p in patches)


def names_of(patches: tuple[Reading, ...]) -> set[str]:
    """Everything that `rows_called` takes for a patch: plain names, and those with their sheet."""
    return {*(p.patch for p in patches), *patch_names(patches)}


def rows_called(patches: tuple[Reading, ...], names: Collection[str]) -> list[int]:
    """The patches of these names, counted from 0; a name that several sheets share calls all of
    them, unless the sheet is named too."""
    return [i for i, (p, full) in enumerate(zip(patches, patch_names(patches), strict=True))
            if p.patch in names or full in names]


def check_left_out(left_out: tuple[str, ...], known: Collection[str]) -> None:
    """Raise `FitError` for a name that no patch has."""
    for name in left_out:
        if name not in known:
            raise FitError(f"no patch is called {name!r}", "only measured patches can be left out",
                           "names are in the patch column, or as the doubtful list gives them")


def _to_arrays(readings: Readings, left_out: tuple[str, ...]) -> _Data:
    full = patch_names(readings.patches)
    check_left_out(left_out, names_of(readings.patches))
    out = {*rows_called(readings.patches, left_out)}
    rows = [i for i in range(len(full)) if i not in out]
    kept = tuple(readings.patches[i] for i in rows)
    # an instrument that claims more than its last digit would rule the whole curve
    stated = [max(p.density_sd, NOISE_FLOOR) for p in kept if p.density_sd]
    usual = float(np.median(stated)) if stated else 1.0
    level = np.array([p.level for p in kept])
    counts = np.unique(level, return_counts=True)[1]
    density = np.array([p.density for p in kept])
    return _Data(
        level=level, lightness=scales.density_to_lightness(density),
        density_sd=np.array([max(p.density_sd or usual, NOISE_FLOOR) for p in kept]),
        stated=bool(stated),
        replicated=bool(counts.size and np.median(counts) >= 2), patches=kept,
        names=tuple(full[i] for i in rows),
    )


def _check(data: _Data) -> None:
    levels = np.unique(data.level)
    if levels.size < FEWEST_LEVELS:
        raise FitError(
            f"the number of different ink levels is {levels.size}:"
            f" {', '.join(f'{v:g}' for v in levels) or 'none'}",
            f"a curve needs at least {FEWEST_LEVELS}, and 21 or more to be trusted",
            "measure more patches of the target, from clear film to the heaviest ink")
    if levels[-1] - levels[0] < SMALLEST_SPAN:
        raise FitError(
            f"the ink levels run from {levels[0]:g} to {levels[-1]:g}",
            f"a curve needs at least {SMALLEST_SPAN:g} of the ink's range, and all of it to be"
            " useful", "measure patches from clear film (0) to the heaviest ink (1)")
    heavy = np.median(data.lightness[data.level >= np.quantile(levels, 0.75)])
    light = np.median(data.lightness[data.level <= np.quantile(levels, 0.25)])
    spread = float(np.ptp(data.lightness))
    if spread < SMALLEST_RANGE:
        raise FitError(
            f"all patches lie within {spread:.1f} L*",
            f"a print has at least {SMALLEST_RANGE:.0f} L* between its black and its white",
            "check that the right sheet was measured and that the print was exposed and developed")
    if heavy < light - SMALLEST_RANGE / 2.0:
        raise FitError(
            f"the print is {light:.0f} L* at little ink and {heavy:.0f} L* at much",
            "more ink on the film must print lighter",
            "levels may be counted the other way round, or two columns exchanged: level 0 is"
            " clear film")


def _refuse_noise(final: _Pass) -> None:
    """What is left of a tone scale once the noise is smoothed away must still be one."""
    curve = final.curve
    cov, rise = curve.covariance, float(curve.value[-1] - curve.value[0])
    sd = float(np.sqrt(max(cov[0, 0] + cov[-1, -1] - 2.0 * cov[0, -1], 0.0)))
    if rise >= max(SMALLEST_RANGE, CLEARLY * sd):
        return
    raise FitError(
        f"the readings scatter by {final.noise_density_sd:.2f} in density, and the curve through"
        f" them rises by {rise:.0f} ± {2.0 * sd:.0f} L* from black to white",
        f"a print has at least {SMALLEST_RANGE:.0f} L* between its black and its white, and plainly"
        " more than chance makes of its noise",
        "check that densities stand beside the levels they were measured at, and that the right"
        " sheet was measured")


def _fit(data: _Data, robust: bool, monotone: bool = True) -> _Pass:
    """Fit, reweigh by where the readings lie on the curve, and again until it settles."""
    grid = np.linspace(data.level.min(), data.level.max(), NODES)
    usual_sd = float(np.median(data.density_sd))
    settings = SmoothSettings(
        monotone=monotone, corners=True, noise_floor=NOISE_FLOOR / usual_sd,
        prior_dof=STATED_SD_WORTH if data.stated else 0.0,
        bounds=_bounds(data.lightness))
    place = data.lightness
    trust = np.ones(data.level.size)
    for _ in range(5 if robust else 3):
        sd = data.density_sd * scales.lightness_per_density(np.maximum(place, 1.0))
        try:
            with np.errstate(divide="ignore"):
                curve = fit_smooth(data.level, data.lightness, sd / np.sqrt(trust), grid, settings)
        except ValueError as error:
            raise FitError("no one curve goes through these readings",
                           "readings of one print are about equally sure",
                           "check their density_sd, and that no row is there many times"
                           ) from error
        moved = float(np.max(np.abs(curve.fitted - place)))
        place = curve.fitted
        residual = (data.lightness - curve.fitted) / sd
        spread = robust_spread(residual / np.sqrt(1.0 - curve.leverage))
        spread = max(spread, settings.noise_floor)
        deviations = deleted_residual(residual, curve.leverage, spread)
        settings = replace(settings, bounds=_end_bounds(data, sd * spread, trust))
        before, trust = trust, taper(deviations) if robust else trust
        if moved < SETTLED and np.allclose(before, trust, atol=0.05):
            break
    return _Pass(curve, sd * curve.noise, deviations, curve.noise * usual_sd)


def _bounds(lightness: Array) -> tuple[float, float]:
    """What the curve lies between, L*: no print is darker than 0 or lighter than 100."""
    low, high = float(lightness.min()), float(lightness.max())
    return max(low - BEYOND, 0.0), min(high + BEYOND, 100.0)


def _end_bounds(data: _Data, sd: Array, trust: Array) -> tuple[float, float]:
    """`_bounds`, and what the readings at either end themselves leave possible: nothing lies beyond
    them that could tell more."""
    bounds = list(_bounds(data.lightness))
    for i, (edge, sign) in enumerate(((data.level.min(), -1.0), (data.level.max(), 1.0))):
        there = (data.level == edge) & (trust > 0.0)
        if there.any():
            worth = trust[there] / sd[there] ** 2
            mean = float(worth @ data.lightness[there] / worth.sum())
            most = mean + sign * BEYOND_END / float(np.sqrt(worth.sum()))
            bounds[i] = sign * min(sign * most, sign * bounds[i])
    return bounds[0], bounds[1]


def _find_reversals(curve: SmoothFit) -> tuple[Reversal, ...]:
    """Falls of the unconstrained curve that its own uncertainty cannot explain."""
    found: list[Reversal] = []
    value, cov = curve.free, curve.covariance
    start = 0
    while start < value.size - 1:
        peak = np.maximum.accumulate(value[start:])
        top = start + np.searchsorted(peak, peak)
        drop = value[top] - value[start:]
        index = np.arange(start, value.size)
        variance = cov[top, top] + cov[index, index] - 2.0 * cov[top, index]
        sure = drop > np.maximum(4.0 * np.sqrt(np.maximum(variance, 0.0)), END_TOLERANCE)
        if not sure.any():
            break
        high = int(top[np.argmax(sure)])
        later = value[high:]
        # the fall ends at the lowest point before the curve has climbed back to the peak
        back = np.flatnonzero(later > value[high])
        stop = int(back[0]) if back.size else later.size
        low = high + int(np.argmin(later[:stop]))
        found.append(Reversal(float(curve.grid[high]), float(curve.grid[low]),
                              float(value[high] - value[low])))
        start = low
    return tuple(found)


def _usable(level: Array, curve: SmoothFit, reversals: tuple[Reversal, ...]) -> Array:
    """Which readings lie in the stretch between reversals that holds most of the tones."""
    if not reversals:
        return np.ones(level.size, dtype=bool)
    starts = [curve.grid[0], *(r.level_to for r in reversals)]
    stops = [*(r.level_from for r in reversals), curve.grid[-1]]
    gains = [np.interp(b, curve.grid, curve.free) - np.interp(a, curve.grid, curve.free)
             for a, b in zip(starts, stops, strict=True)]
    best = int(np.argmax(gains))
    return np.asarray((level >= starts[best] - 1e-9) & (level <= stops[best] + 1e-9))


def _tabulate(final: _Pass, scatter: SheetScatter | None) -> PrintResponse:
    """The response as rounded columns: rounding keeps a rebuild equal on another machine."""
    curve = final.curve
    between = np.zeros(curve.grid.size) if scatter is None else scatter.expected(curve)
    mean_sd = between / np.sqrt(scatter.sheets) if scatter else between
    low, high = curve.band(extra_sd=mean_sd)
    slope = scales.lightness_per_density(np.maximum(curve.value, 1.0))
    reading_sd = np.hypot(final.noise_density_sd * slope, np.hypot(between, mean_sd))
    reading_low, reading_high = curve.band(extra_sd=reading_sd)

    def column(values: Array) -> Array:
        # nothing prints lighter than the perfect white, though noise may pass it
        return np.asarray(np.round(np.clip(values, 0.0, 100.0), 6))

    return PrintResponse(
        level=np.round(curve.grid, 9), lightness=column(curve.value), lightness_low=column(low),
        lightness_high=column(high), reading_low=column(reading_low),
        reading_high=column(reading_high))


def _doubts(data: _Data, robust: _Pass, final: _Pass) -> tuple[Doubt, ...]:
    """Patches too far from their neighbours, worst first.

    With replicates, against the robust curve; without, one after the other, each against the
    curve through all that are left.
    """
    if data.replicated:
        limit = stray_limit(data.level.size, robust.curve.residual_dof)
        found = {int(i): float(robust.deviations[i])
                 for i in np.flatnonzero(np.abs(robust.deviations) > limit)}
    else:
        slope = scales.lightness_per_density(np.maximum(robust.curve.fitted, 1.0))
        found = find_strays(data.level, data.lightness, data.density_sd * slope)
        if final.curve.corners != (None, None):
            # past a corner patches are off for a curve without one
            off = np.abs(data.lightness - final.curve.fitted) / final.sd
            found = {i: deviation for i, deviation in found.items() if off[i] > NEAR}
    rest = np.ones(data.level.size, dtype=bool)
    rest[list(found)] = False
    expected = robust.curve.fitted
    if found and not data.replicated:
        plain = _fit(data.subset(rest), robust=False).curve
        expected = np.interp(data.level, plain.grid, plain.value)
    doubts = []
    for index, deviation in found.items():
        patch = data.patches[index]
        density = float(scales.lightness_to_density(max(float(expected[index]), 0.1)))
        # deviations are in lightness; a patch that is too dark has too much density
        if abs(patch.density - density) < SMALLEST_DOUBT:
            continue
        doubts.append(Doubt(data.names[index], patch.level, round(patch.density - density, 4),
                            round(-deviation, 2)))
    return tuple(sorted(doubts, key=lambda d: -abs(d.deviations)))


def _cut(data: _Data, keep: Array, first: bool) -> bool:
    """Whether a reversal took readings away at that end."""
    end = data.level.min() if first else data.level.max()
    return not bool(np.any(keep & (data.level == end)))


def _end(curve: SmoothFit, first: bool, turned: bool) -> EndReport:
    """Whether the response has levelled off at an end of the ink.

    It has not when the last tenth of the ink, or what lies beyond a corner, moves the print by
    more than half of what an even scale would move it, and by more than the fit's own uncertainty.
    Where the response turned back, the end of what is left is as far as the process goes.
    """
    tenth = (curve.grid.size - 1) // 10
    corner, last = curve.corners[0 if first else 1], curve.grid.size - 1
    inner, outer = (tenth, 0) if first else (last - tenth, last)
    if corner is not None:
        # halfway between the corner and the end, where it is near
        half = int(np.searchsorted(curve.grid, (corner.place + curve.grid[outer]) / 2.0))
        inner = min(inner, half) if first else max(inner, half)
    gain = abs(float(curve.value[outer] - curve.value[inner]))
    cov = curve.covariance
    spread = np.sqrt(max(cov[inner, inner] + cov[outer, outer] - 2.0 * cov[inner, outer], 0.0))
    even = float(curve.value[-1] - curve.value[0]) / 10.0
    levelled = not gain > max(0.5 * even, 3.0 * spread)
    return EndReport(turned or levelled, gain, None if corner is None else corner.place)

"""Curves by way of the model: the print response from the process and the negative.

``P(u) = H(x0 - N(u))``: strips give ``H``, prints of a target give ``N`` through it, and any
``H`` with any ``N`` gives a curve without another print (``DESIGN``: three responses and an aim).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from tonewright import scales
from tonewright.curve.document import Ancestor, Curve, Settings, Summary, make_correction
from tonewright.curve.few import few_strays, part_to_follow
from tonewright.curve.fit import (
    NODES,
    UNTOLD_STAINS,
    Doubt,
    FittedPrint,
    fit_print,
    patch_names,
    usable_ends,
)
from tonewright.curve.recipe import PrintedTarget, Recipe, pooled
from tonewright.curve.responses import NegativeResponse, PrintResponse
from tonewright.errors import FitError, OptionError
from tonewright.measured.readings import Reading, Readings
from tonewright.numeric.chain import ChainData, ChainFit, RiseModel, fit_chain
from tonewright.record.provenance import made_by
from tonewright.record.setup import INK, Setup, other_light
from tonewright.record.times import PrintingTime
from tonewright.scales import Array
from tonewright.strip.fit import response_model
from tonewright.strip.process import Process

SHEET_EXPOSURE_SD = 0.01
"""How much the speed of one coated sheet differs from the strip's, log10 units: a thirtieth of a
stop, an even coating's own (from memory, no source)."""
SHEET_DENSITY_SD = 0.008
"""How much patch and step of the same exposure differ on one paper beyond the noise of reading:
coating, and what a scanner does not tell of itself (from memory, no source)."""
PLAINLY_GRAY = 2.0
"""From how many L* below paper white on the whites are said not to be reached."""
BAND = 1.96
USUAL_RANGE = 2.0
WHOLE_TARGET = 10
"""Levels from which on a print is also looked at by itself."""
DISAGREEMENT = 1.25
"""Noise of all prints together, in units of each one's own, from which on something is wrong:
it is 1.00 +- 0.05 where all is well, and about 2 with patches of another paper."""
HOPELESS = 6.0
"""The same, from which on no curve is drawn."""
TOO_DARK, TOO_LIGHT = 0.3, 0.1
"""By how much density a patch must be darker than a paper's black, or lighter than its white, to be
no patch of it."""
PLAN_LEVELS, PLAN_APART = 5, 0.05


@dataclass(frozen=True, eq=False)
class Derived:
    """A print response that was derived, and what it says."""

    response: PrintResponse
    negative: NegativeResponse
    level_black: float
    level_white: float
    noise_density_sd: float
    doubtful: tuple[Doubt, ...]
    density_range: float
    """Of the negative: printing density of its heaviest ink, film not counted."""
    level_enough: float | None
    """Least ink that prints to within a just-visible step of paper white; None: not reached."""
    white_short_lightness: float
    """L* that the heaviest ink stays below paper white."""
    guessed_from: float | None
    """Ink level from which no print has shown the ink's density; None: all of it was seen."""
    plan: tuple[float, ...]
    """Levels that would help most if they were printed and measured."""
    disagreement: float | None
    """How many times worse strips and targets agree than they should; None where they do."""
    few_patches_followed: float | None
    """Which part of the way that a few patches point to was gone; None: there are none."""
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class DerivedSettings:
    """What a derived curve is wanted for; None: the usual."""

    target_time: PrintingTime | None = None
    """What the target was printed for; None: the strip's time, as on one sheet."""
    printing_time: PrintingTime | None = None
    """What the curve shall hold for; None: the base printing time."""
    ink_from: tuple[Curve, ...] = ()
    """Other curves made with the same printer, film and ink, whose prints count too."""


def make_recipe(
    process: Process, readings: Readings | None, settings: DerivedSettings
) -> Recipe:
    """The recipe of a curve for ``process`` from readings of a target, from other curves' ink,
    or from both.

    Raises
    ------
    OptionError
        Nothing tells of the ink, what the target was printed for is not known, or scales or units
        do not go together.
    """
    processes = [process]
    prints = []
    if readings is not None:
        times = process.strip.times()
        if settings.target_time is None and len(times) > 1:
            raise OptionError(
                f"strips of {process.name} were printed for {' and '.join(map(str, times))}",
                "for which of them, or for what else, the target was printed must be known",
                f"add --target-time, as --target-time {str(times[0]).replace(' ', '')}")
        prints.append(PrintedTarget(readings, 0, settings.target_time or times[0]))
    for other in settings.ink_from:
        if other.recipe is None:
            raise OptionError(f"the curve {other.name} was made without a process response",
                              "how dense its ink is can only be told through one",
                              "leave it out, or make it again with --process")
        first = len(processes)
        processes += other.recipe.processes
        prints += [replace(p, process=p.process + first,
                           left_out=tuple(dict.fromkeys(
                               (*p.left_out, *other.settings.left_out))))
                   for p in other.recipe.prints]
    if not prints:
        raise OptionError("neither readings nor --ink-from are given",
                          "how dense the ink is must be known from a print",
                          "name the readings of a target")
    return pooled(tuple(processes), tuple(prints), 0, settings.printing_time or process.base_time)


def make_derived_curve(
    recipe: Recipe, settings: Settings, setup: Setup, name: str, ancestor: Ancestor | None = None
) -> Curve:
    """A correction curve for the recipe's process and printing time.

    Raises
    ------
    FitError
        No print tells of the ink, or one that no curve can be drawn through.
    """
    derived = derive(recipe, settings.left_out)
    half = (derived.response.lightness_high - derived.response.lightness_low) / 2.0
    light = derived.response.lightness
    summary = Summary(
        black_lightness=round(float(light[0]), 3), white_lightness=round(float(light[-1]), 3),
        level_black=round(derived.level_black, 5), level_white=round(derived.level_white, 5),
        noise_density_sd=round(derived.noise_density_sd, 5), print_to_print_lightness_sd=None,
        doubtful=tuple(asdict(d) for d in derived.doubtful),
        band_halfwidth_mean=round(float(np.mean(half)), 3),
        band_halfwidth_max=round(float(np.max(half)), 3),
        least_sure_level=round(float(derived.response.level[np.argmax(half)]), 4),
        negative_density_range=round(derived.density_range, 3),
        few_patches_followed=derived.few_patches_followed, disagreement=derived.disagreement,
        warnings=(*derived.warnings, *_other_light(recipe, setup, ancestor),
                  *settings.aim.held_words(float(light[0]), float(light[-1]))))
    return Curve(
        name=name, made_by=made_by(), setup=setup, settings=settings, summary=summary,
        response=derived.response,
        correction=make_correction(derived.response, settings.aim,
                                   (derived.level_black, derived.level_white)),
        readings=_own_readings(recipe), ancestor=ancestor, recipe=recipe,
        negative=derived.negative, plan=derived.plan)


def _other_light(
    recipe: Recipe, setup: Setup, ancestor: Ancestor | None
) -> tuple[str, ...]:
    """Warnings where a print was made in another light than the curve is for, knowingly."""
    before = [recipe.processes[p.process].setup for p in recipe.prints]
    if ancestor is not None:
        before.append(ancestor.setup)
    return tuple(dict.fromkeys(
        f"The {entry} was {old!r} and is {new!r}: taken as alike, as --anyway says. If the ink"
        " holds back more light with the one than with the other, the tones will be off."
        for one in before for entry, old, new in other_light(one, setup, INK)))


def _own_readings(recipe: Recipe) -> Readings | None:
    """The readings that lie on the curve: same process, same time; None without such a print."""
    own = [p for p in recipe.prints if p.process == recipe.process
           and p.time == recipe.printing_time]
    if not own:
        return None
    scale = recipe.processes[recipe.process].strip.scale
    return Readings(tuple(r for p in own for r in p.readings.patches), scale, False,
                    tuple(s for p in own for s in p.readings.sources),
                    tuple(n for p in own for n in p.readings.findings))


def derive(recipe: Recipe, left_out: tuple[str, ...] = ()) -> Derived:
    """Fit ``N`` and every ``H`` together, and read the print response off them."""
    if not recipe.prints:
        raise FitError("no print of a target is known", "the ink's density is read from one",
                       "give readings of a target, or a curve that was made with --process")
    _check_names(recipe, left_out)
    models = [response_model(p) for p in recipe.processes]
    dropped = [_dropped(p, left_out) for p in recipe.prints]
    for print_, names in zip(recipe.prints, dropped, strict=True):
        _refuse_beyond(print_, recipe.processes[print_.process], names)
    fits = [_fit_alone(p, names) for p, names in zip(recipe.prints, dropped, strict=True)]
    counted = [_counted(p, f, names)
               for p, f, names in zip(recipe.prints, fits, dropped, strict=True)]
    if not any(counted):
        raise FitError("every patch is left out", "the ink's density is read from patches",
                       "leave fewer of them out")
    return _read_off(recipe, _fit_chains(recipe, counted, fits, models), fits)


def _fit_chains(
    recipe: Recipe, counted: list[list[_Patch]], fits: list[FittedPrint | None],
    models: list[tuple[RiseModel, float]],
) -> _Chains:
    """The fit to everything, and the one to what was known without a few patches.

    Where a whole target tells of the ink already, a few patches on this process only mend it.
    """
    outer = [m for m, _ in models]
    data = [_chain_data(recipe, p, f, models, patches)
            for p, f, patches in zip(recipe.prints, fits, counted, strict=True)]
    few = [f is None and d.model == recipe.process for d, f in zip(data, fits, strict=True)]
    rest = [d for d, only_mends in zip(data, few, strict=True) if not only_mends]
    unmended, mending = None, 0
    strays: list[Doubt] = []
    if any(few) and any(d.u.size > 0 for d in rest):
        unmended = fit_chain(rest, outer, USUAL_RANGE)
        for i in (place for place, only_mends in enumerate(few) if only_mends):
            data[i], found = _without_strays(data[i], unmended)
            strays += [Doubt(counted[i][row][1], counted[i][row][0].level, round(off, 4),
                             round(deviations, 2)) for row, (off, deviations) in found.items()]
            mending += data[i].u.size
    chain = fit_chain(data, outer, USUAL_RANGE)
    if chain.noise > HOPELESS:
        raise FitError(
            f"strips and targets agree {chain.noise:.0f} times worse than their readings should",
            "they are of one paper, chemistry and ink, each with its own printing time",
            "check the times and which strip belongs to which target; leave patches that were"
            " misread out with --leave-out")
    return _Chains(chain, unmended if mending else None, data, tuple(strays))


def _without_strays(
    data: ChainData, known: ChainFit
) -> tuple[ChainData, dict[int, tuple[float, float]]]:
    """A few patches without those that fit neither the others nor what is known."""
    step = 0.01
    expected, covariance = known.outer(data.model, data.shift, data.u)
    ends = [known.outer(data.model, data.shift + s, data.u)[0] for s in (-step, step)]
    slope = (ends[1] - ends[0]) / (2.0 * step)
    covariance = covariance + data.shift_sd**2 * np.outer(slope, slope)
    found = few_strays(expected, covariance, data.y, data.sd)
    kept = np.array([i not in found for i in range(data.u.size)], dtype=bool)
    return replace(data, u=data.u[kept], y=data.y[kept], sd=data.sd[kept]), found


def _names(print_: PrintedTarget) -> tuple[tuple[str, str], ...]:
    """What each patch is called: its plain name, and with its sheet where several share it."""
    patches = print_.readings.patches
    return tuple(zip((p.patch for p in patches), patch_names(patches), strict=True))


def _check_names(recipe: Recipe, left_out: tuple[str, ...]) -> None:
    known = {name for print_ in recipe.prints for both in _names(print_) for name in both}
    for name in left_out:
        if name not in known:
            raise FitError(f"no patch is called {name!r}", "only measured patches can be left out",
                           "names are in the patch column, or as the doubtful list gives them")


def _dropped(print_: PrintedTarget, left_out: tuple[str, ...]) -> tuple[str, ...]:
    """Full names of this print's patches that shall not count."""
    wanted = {*print_.left_out, *left_out}
    return tuple(full for plain, full in _names(print_) if plain in wanted or full in wanted)


def _refuse_beyond(print_: PrintedTarget, process: Process, left_out: tuple[str, ...]) -> None:
    """A whole target tells its own strays; a few patches must all be tones of the paper."""
    found = process.summary
    if not found.reached_black:
        return
    beyond = [f"{full} (density {patch.density:.2f})"
              for patch, (_, full) in zip(print_.readings.patches, _names(print_), strict=True)
              if full not in left_out
              and (patch.density > found.max_black_density + TOO_DARK
                   or patch.density < found.paper_white_density - TOO_LIGHT)]
    whole = np.unique(print_.readings.level).size >= WHOLE_TARGET
    if not beyond or (whole and len(beyond) < len(print_.readings.patches) / 3.0):
        return
    listed = ", ".join(beyond[:6]) + (" …" if beyond[6:] else "")
    raise FitError(
        f"{listed} lie{'' if beyond[1:] else 's'} outside what {process.name} can print, densities"
        f" {found.paper_white_density:.2f} to {found.max_black_density:.2f}",
        "patches and strip are of one paper and chemistry, measured alike",
        "name the strip of the paper that was printed" + (
            "" if whole else ", or measure again, or leave single patches out with --leave-out"))


def _fit_alone(print_: PrintedTarget, left_out: tuple[str, ...]) -> FittedPrint | None:
    """The print by itself, for its noise, its doubtful patches and its reversals."""
    if np.unique(print_.readings.level).size < WHOLE_TARGET:
        return None
    return fit_print(print_.readings, left_out)


_Patch = tuple[Reading, str]
"""A reading and its full name."""


def _counted(
    print_: PrintedTarget, fitted: FittedPrint | None, left_out: tuple[str, ...]
) -> list[_Patch]:
    """The patches of a print that count."""
    dropped = set(left_out)
    if fitted is not None:
        dropped |= set(fitted.unused_patches)
        if fitted.robust:
            dropped |= {d.patch for d in fitted.doubtful}
    return [(p, full) for p, (_, full) in zip(print_.readings.patches, _names(print_), strict=True)
            if full not in dropped]


def _chain_data(
    recipe: Recipe, print_: PrintedTarget, fitted: FittedPrint | None,
    models: list[tuple[RiseModel, float]], patches: list[_Patch],
) -> ChainData:
    process = recipe.processes[print_.process]
    noise = models[print_.process][1] if fitted is None else fitted.noise_density_sd
    return ChainData(
        model=print_.process, shift=process.shift(print_.time),
        u=np.array([p.level for p, _ in patches]), y=np.array([p.density for p, _ in patches]),
        sd=np.full(len(patches), np.hypot(noise, SHEET_DENSITY_SD)), shift_sd=SHEET_EXPOSURE_SD)


@dataclass(frozen=True, eq=False)
class _Chains:
    """The fit to everything, and the one without a few patches that only mend it."""

    whole: ChainFit
    unmended: ChainFit | None
    data: list[ChainData]
    """What counted."""
    strays: tuple[Doubt, ...]
    """Of the few patches, those that did not."""


def _read_off(
    recipe: Recipe, chains: _Chains, fits: list[FittedPrint | None]
) -> Derived:
    process, chain, data = recipe.processes[recipe.process], chains.whole, chains.data
    level = np.linspace(0.0, 1.0, NODES)
    shift = process.shift(recipe.printing_time)
    density, covariance = chain.outer(recipe.process, shift, level)
    noise = float(np.median(np.concatenate([d.sd for d in data])))
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    middle, followed = density, None
    if chains.unmended is not None:
        before, _ = chains.unmended.outer(recipe.process, shift, level)
        followed = round(part_to_follow(before, density, covariance), 3)
        middle = before + followed * (density - before)
    response = _tabulate(level, middle, _Spread(density, sd, noise))
    white = float(scales.density_to_lightness(chain.models[recipe.process].mean[0]))
    light = response.lightness
    step = process.settings.just_visible_lightness
    enough = np.flatnonzero(light >= white - step)
    inner, inner_sd = chain.inner(level)
    black_end, white_end = _usable(response, recipe.spoken_time)
    seen = _seen(chain, data, level, inner_sd)
    _refuse_dark(response, seen, any(p.process == recipe.process for p in recipe.prints))
    if seen is not None and _white_was_printed(recipe, seen):
        seen = None
    doubts = (*(d for f in fits if f is not None for d in f.doubtful), *chains.strays)
    derived = Derived(
        response=response, negative=_negative(level, inner, inner_sd),
        level_black=black_end, level_white=white_end, noise_density_sd=noise, doubtful=doubts,
        density_range=float(inner[-1]),
        level_enough=float(level[enough[0]]) if enough.size else None,
        white_short_lightness=max(white - float(light[-1]), 0.0), guessed_from=seen,
        plan=_plan(level, density, covariance, noise), few_patches_followed=followed,
        disagreement=round(chain.noise, 2) if chain.noise > DISAGREEMENT else None,
        warnings=())
    said = [w for f in fits if f is not None for w in _turned(f)]
    warnings = [*said, *_stray_words(chains.strays),
                *_disagreement(derived.disagreement), *_range_words(derived, recipe)]
    if any(f.doubtful and not f.robust for f in fits if f is not None):
        warnings.append(UNTOLD_STAINS)
    return replace(derived, warnings=tuple(dict.fromkeys(warnings)))


def _usable(response: PrintResponse, time: str) -> tuple[float, float]:
    black, white = usable_ends(response)
    if not black < white:
        light = response.lightness
        raise FitError(
            f"at {time} all ink levels print nearly alike, L* {light[0]:.0f} to"
            f" {light[-1]:.0f}", "a curve needs tones",
            "check the times, and that the readings reach from clear film to heavy ink")
    return black, white


def _refuse_dark(response: PrintResponse, seen: float | None, own: bool) -> None:
    """What lies past the readings is carried on smoothly; nearly the whole scale cannot be."""
    light = response.lightness
    if seen is None or response.lightness_at(seen) > 0.8 * light[0] + 0.2 * light[-1]:
        return
    raise FitError(
        f"the readings show the ink only up to {seen:.0%}, where the print is nearly black still",
        "a curve needs readings of light tones too",
        "measure patches up to the heaviest ink" if own else
        "this process takes more ink than the earlier prints could show: print seven patches or"
        " more, evenly from clear film to the heaviest ink, on it, and add --readings FEW.csv")


@dataclass(frozen=True, eq=False)
class _Spread:
    """Where the density may lie: around ``density``, shape (n,), which the curve itself need not
    be; and how far a single reading lies from the truth."""

    density: Array
    sd: Array
    noise: float


def _tabulate(level: Array, density: Array, spread: _Spread) -> PrintResponse:
    """Densities fall as the ink grows; lightness rises."""
    falling = np.minimum.accumulate(spread.density)
    reading_sd = np.hypot(spread.sd, spread.noise)

    def lightness(values: Array, *, lower: bool) -> Array:
        # far from all readings the edges of the band know no bounds
        light = scales.density_to_lightness(np.clip(values, -1.0, 8.0))
        # an edge that dips would not be read backwards; raised or lowered it holds no less
        rising = (np.maximum.accumulate(light) if lower
                  else np.minimum.accumulate(light[::-1])[::-1])
        return np.asarray(np.round(np.clip(rising, 0.0, 100.0), 6), dtype=np.float64)

    middle = lightness(np.minimum.accumulate(density), lower=True)
    edges = [lightness(falling + k * s, lower=k > 0)
             for s in (spread.sd, reading_sd) for k in (BAND, -BAND)]
    return PrintResponse(
        level=np.round(level, 9), lightness=middle,
        lightness_low=np.minimum(edges[0], middle), lightness_high=np.maximum(edges[1], middle),
        reading_low=np.minimum(edges[2], middle), reading_high=np.maximum(edges[3], middle))


def _negative(level: Array, density: Array, sd: Array) -> NegativeResponse:
    rising = np.maximum.accumulate(density)

    def column(values: Array) -> Array:
        return np.asarray(np.round(np.maximum.accumulate(np.maximum(values, 0.0)), 6),
                          dtype=np.float64)

    return NegativeResponse(np.round(level, 9), column(rising), column(rising - BAND * sd),
                            column(rising + BAND * sd))


def _seen(
    chain: ChainFit, data: list[ChainData], level: Array, inner_sd: Array
) -> float | None:
    """From which level on no print shows the ink: all are paper white there already."""
    value, _ = chain.inner(level)
    visible = np.zeros(level.size, dtype=bool)
    for d in data:
        model = chain.models[d.model]
        slope = model.slope(d.shift - value, np.zeros(model.modes.shape[1]))
        near = level <= float(d.u.max()) + 1e-9
        # a tenth of density in the ink must move the print by a reading's noise at least
        visible |= near & (0.1 * np.abs(slope) > float(np.median(d.sd)))
    if not visible.any():
        return 0.0
    last = int(np.flatnonzero(visible)[-1])
    return None if last >= level.size - 2 else float(level[last])


def _plan(level: Array, density: Array, covariance: Array, noise: float) -> tuple[float, ...]:
    """Greedily the levels whose reading would narrow the band most, in L*.

    Measuring at i takes ``C_ij**2 / (C_ii + noise**2)`` off the variance at j.
    """
    coarse = np.arange(0, level.size, 8)
    light = scales.density_to_lightness(density[coarse])
    # each tone of the picture counts alike, so a level counts by the tones it prints
    slope = scales.lightness_per_density(light) * np.sqrt(np.abs(np.gradient(light)))
    spread = covariance[np.ix_(coarse, coarse)].copy()
    chosen: list[float] = []
    for _ in range(PLAN_LEVELS):
        total = np.maximum(np.diag(spread), 0.0) + noise**2
        gain = (slope**2 * spread**2).sum(axis=1) / total
        for taken in chosen:  # spread out: two patches side by side are one fact
            gain[np.abs(level[coarse] - taken) < PLAN_APART] = 0.0
        best = int(np.argmax(gain))
        chosen.append(round(float(level[coarse[best]]), 2))
        spread -= np.outer(spread[best], spread[best]) / total[best]
    return tuple(sorted(set(chosen)))


def _turned(fitted: FittedPrint) -> list[str]:
    return [f"The target's print gets darker by {r.drop_lightness:.1f} L* between ink levels"
            f" {r.level_from:.2f} and {r.level_to:.2f}; those patches are not used."
            for r in fitted.reversals]


def _white_was_printed(recipe: Recipe, seen: float) -> bool:
    """Whether a print on the curve's own process went past the ink that can still be told apart,
    in as much light or more: then all heavier ink was seen to print white."""
    light = recipe.processes[recipe.process].shift
    return any(p.process == recipe.process and p.readings.level.max() > seen
               and light(p.time) >= light(recipe.printing_time) - SHEET_EXPOSURE_SD
               for p in recipe.prints)


def _stray_words(strays: tuple[Doubt, ...]) -> list[str]:
    if not strays:
        return []
    return [f"Set aside: {', '.join(d.patch for d in strays)}, which fit{'' if strays[1:] else 's'}"
            " neither the strip nor the other patches. Look for a stain or a slip of the pen, and"
            " measure again."]


def _disagreement(times_worse: float | None) -> list[str]:
    if times_worse is None:
        return []
    return [f"Strips and targets agree {times_worse:.1f} times worse than their readings should:"
            " one of the times may be wrong, or one of them may be of another paper, chemistry or"
            " ink. The band is widened accordingly."]


def _thin_black(derived: Derived, recipe: Recipe) -> list[str]:
    process = recipe.processes[recipe.process]
    black = float(scales.density_to_lightness(process.summary.max_black_density))
    above = float(derived.response.lightness[0]) - black
    if above <= 2.0 * process.settings.just_visible_lightness:
        return []
    return [f"Maximum black is not reached at {recipe.spoken_time}: clear film prints"
            f" {above:.1f} L* above it. A longer printing time would print a blacker black."]


def _spare_words(derived: Derived, enough: float) -> str:
    response = derived.response
    at_least = float(np.interp(enough, response.level, response.lightness_low))
    sure = float(response.lightness_at(enough)) - at_least <= PLAINLY_GRAY
    if derived.guessed_from is not None and enough > derived.guessed_from:
        return (f"There may be ink to spare: {enough:.0%} of it should print paper white, but no"
                f" print has shown the ink above {derived.guessed_from:.0%}. Print that level"
                " before a lighter ink setting.")
    if not sure:
        return (f"There may be ink to spare: {enough:.0%} of it should print paper white, but that"
                " is not sure yet. Print that level before a lighter ink setting.")
    return (f"There is ink to spare: what {enough:.0%} of it prints can hardly be told from paper"
            " white. A lighter ink setting would dry faster and give finer steps.")


def _range_words(derived: Derived, recipe: Recipe) -> list[str]:
    """The negative's range against what the process needs, and what to do."""
    said = _thin_black(derived, recipe)
    if derived.white_short_lightness > PLAINLY_GRAY:
        said.append(
            f"Whites cannot be reached: the heaviest ink prints {derived.white_short_lightness:.1f}"
            " L* below paper white. Heavier or better-blocking ink, or a process of higher"
            " contrast, would reach further.")
    elif derived.level_enough is not None and derived.level_enough < 0.9:
        said.append(_spare_words(derived, derived.level_enough))
    if derived.guessed_from is not None and derived.guessed_from < derived.level_white:
        said.append(
            f"Above {derived.guessed_from:.0%} ink no print has shown how dense the ink is; it is"
            " carried on smoothly there, and the band is as wide as that deserves.")
    time = recipe.printing_time
    for number, print_ in enumerate(recipe.prints):
        if print_.process == recipe.process and print_.time.unit == time.unit:
            factor = print_.time.value / time.value
            if factor > 3.0 or factor < 1.0 / 3.0:
                said.append(f"Target {number + 1} was printed for"
                            f" {recipe.spoken_print_time(print_)}, far"
                            f" from {recipe.spoken_time}; the curve is less sure than one from a"
                            " target near it.")
    return said

"""Curves by way of the model: the print response from the process and the negative.

``P(u) = H(x0 - N(u))``: strips give ``H``, prints of a target give ``N`` through it, and any
``H`` with any ``N`` gives a curve without another print.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tonewright import scales
from tonewright.curve.chains import SHEET_EXPOSURE_SD, Chains, fit_recipe
from tonewright.curve.document import Ancestor, Curve, Settings, Summary, make_correction
from tonewright.curve.few import follow
from tonewright.curve.findings import (
    Doubt,
    DoubtfulPatchesCount,
    InkExtrapolated,
    InkToSpare,
    LightDiffers,
    MaximumBlackNotReached,
    PaperWhiteNotReached,
    PatchesSetAside,
    PrintsDisagree,
    TargetFarFromTime,
    TooUnsure,
)
from tonewright.curve.fit import NODES, reversal_findings
from tonewright.curve.recipe import Recipe
from tonewright.curve.responses import NegativeResponse, PrintResponse
from tonewright.errors import FitError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Readings
from tonewright.numeric.chain import ChainData, ChainFit
from tonewright.numeric.rising import rising_band
from tonewright.numeric.student import WITHIN_95
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.record.setup import INK, Setup, other_light
from tonewright.record.times import PrintingTime
from tonewright.scales import Array

PLAINLY_GRAY = 2.0
"""From how many L* below paper white on the whites are said not to be reached."""
DISAGREEMENT = 1.25
"""Noise of all prints together, in units of each one's own, from which on something is wrong:
it is 1.00 +- 0.05 where all is well, and about 2 with patches of another paper."""
ENOUGH_TO_SPARE = 0.9
"""Ink level below which paper white leaves ink to spare."""
FAR_FROM_TIME = 3.0
"""Times as long or as short from which on a target's own time makes a curve less sure."""
UNSURE = 6.0
"""Half-width of the band, L*, from which on a tone would be seen to be off."""
PLAN_LEVELS, PLAN_APART = 5, 0.05


@dataclass(frozen=True, eq=False)
class Derived:
    """A print response that was derived, and what it says."""

    response: PrintResponse
    negative: NegativeResponse
    noise_density_sd: float
    doubtful: tuple[Doubt, ...]
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
    few_patches_moved_lightness: float | None
    """Largest L* that a few patches moved the response by; None: there are none."""
    findings: tuple[Finding, ...] = ()


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
    response = derived.response
    correction = make_correction(response, settings.aim, response.usable)
    black, white = derived.negative.density_at(correction.level[[0, -1]])
    summary = Summary.of_response(
        response, correction, noise_density_sd=round(derived.noise_density_sd, 5),
        print_to_print_lightness_sd=None, doubtful=derived.doubtful,
        negative_density_range=round(float(white - black), 3),
        few_patches_moved_lightness=derived.few_patches_moved_lightness,
        disagreement=derived.disagreement)
    unsure = ([TooUnsure(summary.band_halfwidth_max, summary.least_sure_level)]
              if derived.plan and summary.band_halfwidth_max > UNSURE else [])
    return Curve(
        name=name, made_by=made_by(), setup=setup, settings=settings, summary=summary,
        findings=(*derived.findings, *_other_light(recipe, setup, ancestor),
                  *settings.aim.findings(summary.black_lightness, summary.white_lightness),
                  *unsure),
        response=response, correction=correction,
        readings=_own_readings(recipe), ancestor=ancestor, recipe=recipe,
        negative=derived.negative, plan=derived.plan)


def _other_light(
    recipe: Recipe, setup: Setup, ancestor: Ancestor | None
) -> tuple[LightDiffers, ...]:
    """Where a print was made in another light than the curve is for, knowingly."""
    before = [recipe.processes[p.process].setup for p in recipe.prints]
    if ancestor is not None:
        before.append(ancestor.setup)
    return tuple(dict.fromkeys(LightDiffers(*differs) for one in before
                               for differs in other_light(one, setup, INK)))


def _own_readings(recipe: Recipe) -> Readings | None:
    """The readings that lie on the curve: same process, same time; None without such a print."""
    own = [p for p in recipe.prints if p.process == recipe.process
           and p.time == recipe.printing_time]
    if not own:
        return None
    return Readings(tuple(r for p in own for r in p.readings.patches),
                    recipe.own_process.strip.scale, False,
                    tuple(s for p in own for s in p.readings.sources),
                    tuple(f for p in own for f in p.readings.findings))


def derive(recipe: Recipe, left_out: tuple[str, ...] = ()) -> Derived:
    """Fit ``N`` and every ``H`` together, and read the print response off them.

    Raises `FitError` as `fit_recipe`, and where there are no tones to make a curve of.
    """
    chains = fit_recipe(recipe, left_out)
    process, chain, data = recipe.own_process, chains.whole, chains.data
    level = np.linspace(0.0, 1.0, NODES)
    shift = process.shift(recipe.printing_time)
    density, covariance = chain.outer(recipe.process, shift, level)
    noise = float(np.median(np.concatenate([d.sd for d in data])))
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    response = _tabulate(level, density, sd, noise)

    def lightness(without: ChainFit) -> Array:
        before, _ = without.outer(recipe.process, shift, level)
        return _lightness(np.minimum.accumulate(before))

    if chains.unrefined is not None:
        response = follow(lightness(chains.unrefined), response)
    moved = None if chains.unmended is None else round(float(np.max(np.abs(
        response.lightness - lightness(chains.unmended)))), 3)
    white = float(scales.density_to_lightness(chain.models[recipe.process].mean[0]))
    light = response.lightness
    enough = np.flatnonzero(light >= white - process.settings.just_visible_lightness)
    inner, inner_sd = chain.inner(level)
    _refuse_toneless(response, recipe.timer_time)
    seen = _seen(chain, data, level)
    _refuse_dark(response, seen, any(p.process == recipe.process for p in recipe.prints))
    if seen is not None and _white_was_printed(recipe, seen):
        seen = None
    derived = Derived(
        response=response, negative=_negative(level, inner, inner_sd),
        noise_density_sd=noise,
        doubtful=(*(d for f in chains.alone for d in f.doubtful), *chains.strays),
        level_enough=float(level[enough[0]]) if enough.size else None,
        white_short_lightness=max(white - float(light[-1]), 0.0), guessed_from=seen,
        plan=_plan(level, density, covariance, noise), few_patches_moved_lightness=moved,
        disagreement=round(chain.noise, 2) if chain.noise > DISAGREEMENT else None)
    return replace(derived, findings=tuple(dict.fromkeys(_findings(derived, recipe, chains))))


def _refuse_toneless(response: PrintResponse, time: PrintingTime) -> None:
    black, white = response.usable
    if not black < white:
        light = response.lightness
        raise FitError(
            f"at {time} all ink levels print nearly alike, L* {light[0]:.0f} to"
            f" {light[-1]:.0f}", "a curve needs tones",
            "check the times, and that the readings reach from clear film to heavy ink")


def _refuse_dark(response: PrintResponse, seen: float | None, own: bool) -> None:
    """What lies past the readings is extrapolated; nearly the whole scale cannot be."""
    light = response.lightness
    if seen is None or response.lightness_at(seen) > 0.8 * light[0] + 0.2 * light[-1]:
        return
    raise FitError(
        f"the readings show the ink only up to {100.0 * seen:.0f} %, where the print is still"
        " nearly black", "a curve needs readings of light tones too",
        "measure patches up to the heaviest ink" if own else
        "this process takes more ink than the earlier prints could show: print seven patches or"
        " more on it, evenly from clear film to the heaviest ink, and add their readings",
        code=None if own else "add_patches")


def _lightness(density: Array) -> Array:
    # far from all readings the edges of the band know no bounds
    return np.asarray(scales.density_to_lightness(np.clip(density, -1.0, 8.0)))


def _tabulate(level: Array, density: Array, sd: Array, noise: float) -> PrintResponse:
    """Densities fall as the ink grows; lightness rises.  ``noise`` is that of a reading."""
    falling = np.minimum.accumulate(density)

    def lightness(values: Array) -> Array:
        return np.asarray(np.round(np.clip(_lightness(values), 0.0, 100.0), 6))

    middle = np.maximum.accumulate(lightness(falling))
    curve, reading = (
        rising_band(lightness(falling + half), middle, lightness(falling - half))
        for half in (WITHIN_95 * sd, WITHIN_95 * np.hypot(sd, noise)))
    return PrintResponse(np.round(level, 9), middle, *curve, *reading)


def _negative(level: Array, density: Array, sd: Array) -> NegativeResponse:
    rising = np.maximum.accumulate(density)

    def column(values: Array) -> Array:
        return np.asarray(np.round(np.maximum.accumulate(np.maximum(values, 0.0)), 6),
                          dtype=np.float64)

    return NegativeResponse(np.round(level, 9), column(rising), column(rising - WITHIN_95 * sd),
                            column(rising + WITHIN_95 * sd))


def _seen(
    chain: ChainFit, data: list[ChainData], level: Array
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


def _white_was_printed(recipe: Recipe, seen: float) -> bool:
    """Whether a print on the curve's own process went past the ink that can still be told apart,
    in as much light or more: then all heavier ink was seen to print white."""
    light = recipe.own_process.shift
    return any(p.process == recipe.process and p.readings.level.max() > seen
               and light(p.time) >= light(recipe.printing_time) - SHEET_EXPOSURE_SD
               for p in recipe.prints)


def _findings(derived: Derived, recipe: Recipe, chains: Chains) -> Iterator[Finding]:
    """What the printer should know: of the strip, of the prints, and of ink and time."""
    # of the curve's own strip
    yield from (f for f in recipe.own_process.findings if f.bears_on_print)
    for fitted in chains.alone:
        yield from reversal_findings(fitted, limits_curve=False)
    if chains.strays:
        yield PatchesSetAside(tuple(d.patch for d in chains.strays))
    if derived.disagreement is not None:
        yield PrintsDisagree(derived.disagreement)
    yield from _range_findings(derived, recipe)
    yield from _far_targets(recipe)
    if any(f.doubtful and not f.robust for f in chains.alone):
        yield DoubtfulPatchesCount()


def _range_findings(derived: Derived, recipe: Recipe) -> Iterator[Finding]:
    """The negative's range against what the process needs."""
    process = recipe.own_process
    black = float(scales.density_to_lightness(process.summary.max_black_density))
    above = float(derived.response.lightness[0]) - black
    if above > 2.0 * process.settings.just_visible_lightness:
        yield MaximumBlackNotReached(round(above, 4), recipe.timer_time)
    enough, seen = derived.level_enough, derived.guessed_from
    if derived.white_short_lightness > PLAINLY_GRAY:
        yield PaperWhiteNotReached(round(derived.white_short_lightness, 4))
    elif enough is not None and enough < ENOUGH_TO_SPARE:
        low = float(np.interp(enough, derived.response.level, derived.response.lightness_low))
        sure = float(derived.response.lightness_at(enough)) - low <= PLAINLY_GRAY
        yield InkToSpare(enough, sure, seen if seen is not None and enough > seen else None)
    if seen is not None and seen < derived.response.usable[1]:
        yield InkExtrapolated(seen)


def _far_targets(recipe: Recipe) -> Iterator[Finding]:
    time = recipe.printing_time
    for number, print_ in enumerate(recipe.prints, 1):
        if print_.process == recipe.process and print_.time.unit == time.unit:
            factor = print_.time.value / time.value
            if not 1.0 / FAR_FROM_TIME <= factor <= FAR_FROM_TIME:
                yield TargetFarFromTime(number, recipe.own_process.timer_time(print_.time),
                                        recipe.timer_time)

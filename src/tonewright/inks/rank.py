"""Which colour of ink to make negatives in: ranked by what the coating sees of each.

``N = x0 - H^-1(print density)``: the process response tells how much light came through a patch.
A patch that printed paper white only says "at least so dense", one at maximum black "at most".
The gentlest colour that still has the range the process needs is the best: each step of the
file then moves the print least.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tonewright.curve.chains import SHEET_DENSITY_SD, SHEET_EXPOSURE_SD
from tonewright.curve.recipe import refuse_far_time
from tonewright.errors import FitError, OptionError
from tonewright.frozen import dataclass
from tonewright.inks.chart import ChartPatch, ChartReadings
from tonewright.inks.findings import ClearFilmOff, InkPatchesDiffer, InksPaperWhite
from tonewright.measured.readings import refuse_relative
from tonewright.numeric.inverse import first_place
from tonewright.numeric.student import WITHIN_95
from tonewright.record.findings import Finding
from tonewright.record.setup import Colour
from tonewright.record.times import PrintingTime
from tonewright.scales import STOP, Array
from tonewright.strip.process import Process

GROSS, GROSS_DENSITY = 6.0, 0.06
"""Patches of one ink differ grossly beyond so many times the noise and by so much density."""
CLEAR_OFF = 0.15
"""Half a stop: so far clear film may print from where the strip says, in log10 exposure."""
MOST_STOPS = 3
_FINE = 0.004
_FEW_RATIOS = 3
_PLAIN_RATIO_SD = 0.3
"""Of the shape of an ink's rise, relative, where no other colour shows it (from memory)."""
LONGEST_RANGE = 6.0


@dataclass(frozen=True)
class Amount:
    """A printing density, film not counted, and the two it lies between 95 times in 100.

    Unknown is None: without ``high`` it is at least ``low`` (the patch is paper white), without
    ``low`` at most ``high`` (it is black).
    """

    density: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class InkStep:
    """One colour at one ink level."""

    level: float
    print_density: float
    patches: int
    amount: Amount


@dataclass(frozen=True)
class RankedInk:
    """One colour of ink."""

    colour: Colour
    steps: tuple[InkStep, ...]
    """By falling level."""
    full: Amount
    """Printing density at level 1; what lighter levels say of it is counted in."""
    estimated: bool
    """True: its density at level 1 was not seen but extrapolated from a lighter level."""
    slope: float | None
    """Steepest rise of printing density over the whole scale of ink; None: not known."""
    enough: bool | None
    """Whether its range is enough; None: that cannot be told."""

    @property
    def seen_white(self) -> bool:
        """Whether level 1 printed paper white, so that more than a bound was not seen."""
        top = self.steps[0].amount
        return top.high is None


@dataclass(frozen=True)
class InkSettings:
    """How the chart was printed and what is asked of the ink; None: as the process says."""

    time: PrintingTime | None = None
    """What the chart was printed for; None: the base printing time."""
    needed_range: float | None = None
    left_out: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` otherwise."""
        if self.needed_range is not None and not 0.1 <= self.needed_range <= LONGEST_RANGE:
            raise OptionError(f"the density range asked for is {self.needed_range:g}",
                              f"a density range lies between 0.1 and {LONGEST_RANGE:g}",
                              "leave it out for what the process needs", code="ink_range")


@dataclass(frozen=True, eq=False)
class InkRanking:
    """The colours of a chart, the densest first."""

    process: Process
    time: PrintingTime
    needed_range: float
    """What the negative must hold at the base printing time, from black to paper white."""
    given_range: bool
    """True: the printer asked for that range."""
    inks: tuple[RankedInk, ...]
    pick: RankedInk | None
    """None: no colour is enough."""
    sure: bool
    """Whether the pick is enough even at the low end of what it may be."""
    seen_up_to: float
    """Printing density from which on this print is paper white."""
    longer_stops: int | None
    """How many stops longer the chart should be printed to see more; None: it is well as it is."""
    next_time: PrintingTime | None
    """What to print the chart for then."""
    findings: tuple[Finding, ...]
    """Of the readings, the chart and the ranking; those of the process are its own."""

    @property
    def time_as_set(self) -> PrintingTime:
        """What the chart was printed for, as a timer is set where it is the base printing time."""
        return self.process.timer_time(self.time)

    @property
    def gentler(self) -> tuple[RankedInk, ...]:
        """Colours that may be enough and would be gentler than the pick."""
        if self.pick is None or self.pick.slope is None:
            return ()
        return tuple(i for i in self.inks if i.enough is None and i.slope is not None
                     and i.slope < self.pick.slope)

    @property
    def shortfall(self) -> float | None:
        """What the densest colour lacks; None where one is enough, or its density is unknown."""
        best = None if not self.inks else self.inks[0].full.density
        return None if self.pick is not None or best is None else self.needed_range - best


def rank_inks(
    chart: ChartReadings, process: Process, settings: InkSettings | None = None
) -> InkRanking:
    """Rank the colours of a chart and pick the one to print in.

    Raises `OptionError`: readings that do not go with the strip: counted from the bare paper, on
    another scale, a time far from the strip's; a patch to leave out that is not there. `FitError`:
    the process has no range, or nothing is left to compare.
    """
    settings = settings or InkSettings()
    time = settings.time or process.base_time
    _refuse_foreign(chart, process, time)
    patches = _without(chart.patches, settings.left_out)
    eye = _Eye(process, process.shift(time))
    needed = settings.needed_range or _needed(process)
    groups = _groups(patches)
    noise = max(_noise(list(groups.values())), process.summary.noise_density_sd)
    steps = {key: _step(key[1], members, noise, eye) for key, members in groups.items()}
    inks = _inks({k: s for k, s in steps.items() if k[0] is not None}, needed)
    if not inks:
        raise FitError("no patch of ink is left", "colours are compared by their patches",
                       "leave fewer of them out")
    pick, sure = _pick(inks, needed)
    limit = eye.limit(noise / math.sqrt(2.0))
    stops = _longer(inks, pick, sure, (needed, limit))
    longer = None if stops is None else \
        time.times(2.0 ** (stops / process.summary.reciprocity)).on_timer()
    return InkRanking(
        process=process, time=time, needed_range=needed,
        given_range=settings.needed_range is not None, inks=inks, pick=pick, sure=sure,
        seen_up_to=limit, longer_stops=stops, next_time=longer,
        findings=(*chart.readings.findings, *chart.findings,
                  *_clear_off(steps.get((None, 0.0)), process, process.timer_time(time)),
                  *_differing(list(groups.values()), noise), *_paper_white(inks, stops, longer)))


def _refuse_foreign(chart: ChartReadings, process: Process, time: PrintingTime) -> None:
    readings = chart.readings
    if readings.relative_to_paper:
        refuse_relative()
    if readings.scale != process.strip.scale:
        raise OptionError(
            f"the readings are weighted as {readings.scale}, the strip of {process.name} as"
            f" {process.strip.scale}", "on a coloured print the two differ by up to 0.07 in"
            " density and are not mixed", "measure both in the same way, or choose one weighting"
            " for both", code="two_scales")
    refuse_far_time(time, process, "the chart was printed for")


def _without(patches: Sequence[ChartPatch], left_out: Sequence[str]) -> list[ChartPatch]:
    known = {p.name.upper() for p in patches}
    for name in left_out:
        if name.strip().upper() not in known:
            raise OptionError(f"no patch is called {name!r}", "only measured patches can be left"
                              " out", "names are in the patch column, or printed on the chart")
    dropped = {name.strip().upper() for name in left_out}
    return [p for p in patches if p.name.upper() not in dropped]


def _needed(process: Process) -> float:
    """Printing density between black and white at the base printing time, ISO 6846's at least."""
    span = process.range_to_white(process.base_time)
    if span is None:
        white, black = process.density[0], process.density[-1]
        raise FitError(f"the process {process.name} runs from density {white:.2f} to {black:.2f}",
                       "a process has a range of tones", "evaluate its strip again")
    return round(max(span, process.summary.log_exposure_range or 0.0), 3)


class _Eye:
    """The process response read backwards, with what is not known of it."""

    def __init__(self, process: Process, shift: float) -> None:
        start, end = float(process.exposure[0]), float(process.exposure[-1])
        self._shift = shift
        self._x: Array = np.linspace(start, end, math.ceil((end - start) / _FINE) + 1)
        low, self._density, high = (
            np.interp(self._x, process.exposure, column)
            for column in (process.density_low, process.density, process.density_high))
        self._sd = (high - low) / (2.0 * WITHIN_95)

    def amount(self, density: float, sd: float) -> Amount:
        """Printing density behind a print density known to ``sd``: the band inverted.

        Noise may take it a little below 0.
        """
        seen = min(max(density, float(self._density[0])), float(self._density[-1]))
        fits = np.abs(self._density - seen) <= WITHIN_95 * np.hypot(self._sd, sd)
        places = np.flatnonzero(fits)
        if not places.size:
            places = np.array([np.argmin(np.abs(self._density - seen))])
        first, last = int(places[0]), int(places[-1])
        middle = self._shift - float(first_place(self._x, self._density, seen))
        low = None if last == self._x.size - 1 else self._shift - float(self._x[last])
        high = None if first == 0 else self._shift - float(self._x[first])
        sheet = WITHIN_95 * SHEET_EXPOSURE_SD
        known = low is not None and high is not None
        return Amount(middle if known else None, None if low is None else low - sheet,
                      None if high is None else high + sheet)

    def limit(self, sd: float) -> float:
        """Printing density from which on a patch cannot be told from paper white."""
        spread = WITHIN_95 * np.hypot(self._sd, np.hypot(sd, SHEET_DENSITY_SD))
        told = np.flatnonzero(self._density - spread > self._density[0])
        return self._shift - float(self._x[told[0]]) if told.size else 0.0


_Key = tuple[Colour | None, float]


def _groups(patches: Sequence[ChartPatch]) -> dict[_Key, list[ChartPatch]]:
    """Patches of one colour and level together."""
    groups: dict[_Key, list[ChartPatch]] = {}
    for patch in patches:
        groups.setdefault((patch.colour, round(patch.level, 4)), []).append(patch)
    return groups


def _noise(groups: Sequence[Sequence[ChartPatch]]) -> float:
    """Of a single patch against its like, robust; 0 without repeats."""
    off = [abs(p.density - float(np.mean([q.density for q in group]))) * math.sqrt(n / (n - 1.0))
           for group in groups if (n := len(group)) > 1 for p in group]
    return 1.4826 * float(np.median(off)) if off else 0.0


def _span(group: Sequence[ChartPatch]) -> float:
    return float(np.ptp([p.density for p in group]))


def _is_gross(group: Sequence[ChartPatch], noise: float) -> bool:
    return len(group) > 1 and _span(group) > max(GROSS * noise, GROSS_DENSITY)


def _differing(groups: Sequence[Sequence[ChartPatch]], noise: float) -> list[InkPatchesDiffer]:
    return [InkPatchesDiffer(tuple(p.name for p in group), round(_span(group), 3))
            for group in groups if _is_gross(group, noise)]


def _step(level: float, group: Sequence[ChartPatch], noise: float, eye: _Eye) -> InkStep:
    """One colour at one level; of two patches that differ grossly either may be right."""
    densities = [p.density for p in group]
    # the median of three or more passes a stain over
    density = float(np.median(densities))
    sd = math.hypot(noise / math.sqrt(len(group)), SHEET_DENSITY_SD)
    if _is_gross(group, noise):
        sd = math.hypot(sd, _span(group) / 2.0 / (WITHIN_95 if len(group) < 3 else 2.0 * WITHIN_95))
    amount = eye.amount(density, sd)
    if level > 0.0:
        amount = Amount(*(None if v is None else max(v, 0.0)
                          for v in (amount.density, amount.low, amount.high)))
    return InkStep(level, density, len(group), amount)


def _clear_off(
    clear: InkStep | None, process: Process, time: PrintingTime
) -> list[ClearFilmOff]:
    """Whether clear film plainly printed otherwise than the strip says; nothing if it is black,
    as it should be, or too near it to tell."""
    if clear is None:
        return []
    found = clear.amount
    bound = next((v for v, off in (
        (found.low, found.low is not None and found.low > CLEAR_OFF),
        (found.high, found.high is not None and found.high < -CLEAR_OFF)) if off), None)
    if bound is None:
        return []
    off = bound if found.density is None else found.density
    return [ClearFilmOff(off, process.name, time)] if abs(off) > CLEAR_OFF else []


def _paper_white(
    inks: Sequence[RankedInk], stops: int | None, time: PrintingTime | None
) -> list[InksPaperWhite]:
    white = sum(ink.seen_white for ink in inks)
    full = all(len(ink.steps) == 1 for ink in inks)
    return [InksPaperWhite(white, len(inks), stops, time, full)] if white else []


def _inks(steps: dict[_Key, InkStep], needed: float) -> tuple[RankedInk, ...]:
    """Every colour, the densest first."""
    by_colour: dict[Colour, list[InkStep]] = {}
    for (colour, _), step in steps.items():
        assert colour is not None  # clear film was sorted out before
        by_colour.setdefault(colour, []).append(step)
    ordered = {c: tuple(sorted(s, key=lambda step: -step.level)) for c, s in by_colour.items()}
    shape = _shape(list(ordered.values()))
    inks = [_ink(colour, own, shape, needed) for colour, own in ordered.items()]
    return tuple(sorted(inks, key=_heaviness))


def _heaviness(ink: RankedInk) -> tuple[bool, float, int]:
    """The densest first: paper white at every level, then by density, or where only a bound is
    known by that; then the one with more ink."""
    full = ink.full
    unseen = all(step.amount.high is None for step in ink.steps)
    best = full.density if full.density is not None else full.low if full.low is not None else \
        0.5 * (full.high or 0.0)
    return not unseen, -best, sum(ink.colour)


@dataclass(frozen=True)
class _Shape:
    """How many times as dense full ink is as a lighter level, and how much inks differ in that."""

    ratio: dict[float, float]
    sd: dict[float, float]

    def full(self, step: InkStep) -> Amount | None:
        """Density of full ink extrapolated from a lighter level; None without one that is known."""
        found = step.amount
        if found.density is None or found.low is None or found.high is None:
            return None
        times = self.ratio.get(step.level, 1.0 / step.level)
        spread = self.sd.get(step.level, _PLAIN_RATIO_SD * times)
        sd = math.hypot(spread * found.density,
                        times * (found.high - found.low) / (2.0 * WITHIN_95))
        middle = times * found.density
        # full ink holds back no less than the lighter level does
        return Amount(middle, max(middle - WITHIN_95 * sd, found.low), middle + WITHIN_95 * sd)


def _shape(colours: Sequence[Sequence[InkStep]]) -> _Shape:
    """Learned from the colours of which both were seen."""
    ratios: dict[float, list[float]] = {}
    for steps in colours:
        full = steps[0].amount.density if steps[0].level == 1.0 else None
        for step in steps[1:]:
            if full is not None and step.amount.density is not None and step.amount.density > 0.1:
                ratios.setdefault(step.level, []).append(full / step.amount.density)
    known = {u: np.array(r) for u, r in ratios.items() if len(r) >= _FEW_RATIOS}
    middle = {u: float(np.median(r)) for u, r in known.items()}
    return _Shape(middle, {
        u: max(1.4826 * float(np.median(np.abs(r - middle[u]))), 0.1 * middle[u])
        for u, r in known.items()})


def _ink(
    colour: Colour, steps: tuple[InkStep, ...], shape: _Shape, needed: float
) -> RankedInk:
    full, estimated = _full(steps, shape)
    slope = _slope(steps, full.density)
    enough = None
    if full.low is not None and full.low >= needed:
        enough = True
    elif full.high is not None and full.high < needed:
        enough = False
    return RankedInk(colour, steps, full, estimated, slope, enough)


def _full(steps: tuple[InkStep, ...], shape: _Shape) -> tuple[Amount, bool]:
    """Density at level 1, and whether it was extrapolated from a lighter level."""
    top = steps[0]
    seen = top.amount if top.level == 1.0 else Amount(None, top.amount.low, None)
    if seen.density is not None or (seen.low is None and seen.high is not None):
        return seen, False
    bounds = [s.amount.low for s in steps if s.amount.low is not None]
    least = max(bounds, default=None)
    lighter = steps if top.level < 1.0 else steps[1:]
    carried = next((a for s in lighter if (a := shape.full(s)) is not None), None)
    if carried is None or carried.density is None or carried.low is None:
        return Amount(None, least, None), False
    floor = carried.low if least is None else least
    density = max(carried.density, floor)
    high = None if carried.high is None else max(carried.high, density)
    # only what was seen is a sure least
    return Amount(density, floor, high), True


def _slope(steps: tuple[InkStep, ...], full: float | None) -> float | None:
    """Steepest rise between the levels that are known, from clear film to full ink."""
    if full is None:
        return None
    known = [(0.0, 0.0), (1.0, full)]
    known += [(s.level, s.amount.density) for s in steps
              if s.amount.density is not None and s.level < 1.0]
    known.sort()
    rises = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(known)]
    return max(rises)


def _pick(inks: Sequence[RankedInk], needed: float) -> tuple[RankedInk | None, bool]:
    """The gentlest of the colours that are enough, and whether that is sure."""
    for sure in (True, False):
        fit = [i for i in inks if (i.enough if sure else
                                   i.full.density is not None and i.full.density >= needed)]
        if fit:
            return min(fit, key=_gentleness), sure
    return None, False


def _gentleness(ink: RankedInk) -> tuple[float, int]:
    """The least slope first; where none is known the lightest colour, which takes least ink."""
    return (math.inf if ink.slope is None else ink.slope), -sum(ink.colour)


def _longer(
    inks: Sequence[RankedInk], pick: RankedInk | None, sure: bool, span: tuple[float, float]
) -> int | None:
    """Stops by which a longer print would show what matters and this one does not.

    ``span``: the density needed, and the one up to which this print shows anything.
    """
    needed, limit = span
    open_ = [i for i in inks if i.enough is None or (i.enough and i.slope is None)]
    if pick is not None and sure:
        open_ = [i for i in open_ if pick.slope is None
                 or (i.slope is not None and i.slope < pick.slope)]
    guesses = [i.full.density for i in open_ if i.full.density is not None]
    if pick is None or not open_:
        open_ = [i for i in open_ if i.seen_white]
    if not open_:
        return None
    least = min(guesses, default=0.0) + 0.1
    if limit >= max(needed + 1.5 * STOP, least):
        return None
    stops = math.ceil((max(needed + 2.0 * STOP, least) - limit) / STOP)
    return min(stops, MOST_STOPS)

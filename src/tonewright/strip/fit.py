"""From a step-tablet strip to the process response and the base printing time."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from tonewright import scales
from tonewright.errors import FitError
from tonewright.frozen import dataclass
from tonewright.numeric.chain import RiseModel, model_from_sample
from tonewright.numeric.inverse import first_places
from tonewright.numeric.sigmoid import sample_rises
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime, TimeUnit, ratio
from tonewright.scales import STOP, Array
from tonewright.strip.check import (
    NOISE_FLOOR,
    USUAL_BLACK,
    Placed,
    check_halves,
    contradictions,
    find_doubtful,
    find_gross,
    judge_strip,
    likely_noise,
    scatter_of,
    set_aside,
    speaks_against,
)
from tonewright.strip.exposure import TOE_DENSITY, iso_range_class, log_exposure_ranges
from tonewright.strip.findings import (
    CornerFound,
    End,
    FilmUnsure,
    RangeUnusual,
    StripTooShort,
    StripWhiteNotReached,
    TimeUnsure,
)
from tonewright.strip.process import JUST_VISIBLE, Process, ProcessSettings, StripSummary
from tonewright.strip.readings import PLAINLY_DARK, Strip
from tonewright.strip.tablet import Tablet

GUESS_STOPS, GUESS_REACH = 0.75, 1.3
"""A printer's guess lies between half a stop short and two stops long of the base time, mostly, and
anywhere there alike; one further off is not ruled out where the strip shows black.  This only
matters where the strip itself says little."""
SHORT_SPREAD, SHORT_TAIL = 0.8, 4.0
"""A strip that looks short of black may be far short: then a normal distribution of this spread is
taken, and for how far the time may be off, and for the next one to try, Student's of so many
degrees of freedom."""
ENOUGH = 0.75
"""How likely the next strip shall be long enough: one too long by two stops tells as much."""
LIKELY = 0.7
"""From what probability on an end is called a corner."""
SHAPE_STOPS, NINE_IN_TEN = 0.06, 1.645
"""None of the curves tried is quite the paper's own: however good the readings, the time is known
to no better than this standard deviation, found on simulated strips of a dozen other shapes."""
PLACE = 1e-3
"""How closely the film's density and the exponent are looked for."""
FLAT_STEPS, MOST_FLAT, FLAT_WIDTH = 4, 8, 0.25
"""Steps, and log exposure, over which a level black is seen."""
BEYOND_BLACK, BEYOND_WHITE = 1.6, 0.3
SAMPLE = 1200
UNSURE_STOPS, UNSURE_FILM = 0.75, 0.05
"""Half-width of the time's interval, and standard deviation of the film, that are said."""


@dataclass(frozen=True, eq=False)
class Places(Placed):
    """Where each reading lies: exposure relative to the reference time."""

    first: float
    """Where the clearest step under the film lies, at the longest time: it must have printed
    black."""
    second: float
    """Where step 2, without the tablet's base, lies there: if that is where black ends, this time
    is the base printing time."""
    reciprocity: float = 1.0
    reciprocity_sd: float | None = None
    film: float | None = None
    film_sd: float | None = None


@dataclass(frozen=True)
class _Known:
    """What places the readings, found before."""

    reciprocity: float
    film: float | None


def make_process(
    strip: Strip, tablet: Tablet, setup: Setup, name: str,
    settings: ProcessSettings | None = None,
) -> Process:
    """Everything one or several strips say of a process.

    Raises
    ------
    FitError
        No step under the film, no black, or the two halves exchanged.
    """
    settings = settings or ProcessSettings()
    if not any(p.through == "film" for p in strip.patches):
        raise FitError("all steps are bare", "the printing time is found through the film that"
                       " the negative is printed on", "print half of the strip under clear film",
                       code="no_step_under_film")
    reference = _reference_time(strip)
    doubtful, places, aside = _sifted(strip, tablet, reference, settings)
    if places.film is not None and places.film_sd is not None:
        check_halves(places.film, places.film_sd)
    drawn = draw_responses(places)
    scatter = scatter_of(places)
    summary = _summary(strip, tablet, reference, places, drawn, settings)
    findings = (*strip.findings, *aside, *contradictions(places, scatter),
                *speaks_against(places, scatter, places.film),
                *_doubts(summary, reference.unit, tablet), *_white_doubts(drawn, places),
                *_corners(strip, tablet, places, drawn))
    low, middle, high = (np.maximum.accumulate(q) for q in weighted_quantiles(
        drawn.curves, drawn.weights, (0.025, 0.5, 0.975)))
    return Process(
        name=name, made_by=made_by(), setup=setup, settings=settings, tablet=tablet, strip=strip,
        reference_time=reference, summary=replace(summary, set_aside=tuple(doubtful)),
        findings=findings, exposure=_rounded(drawn.nodes, 6),
        density=_rounded(middle), density_low=_rounded(low), density_high=_rounded(high))


def _rounded(values: Array, places: int = 5) -> Array:
    return np.asarray(np.round(values, places), dtype=np.float64)


def _sifted(
    strip: Strip, tablet: Tablet, reference: PrintingTime, settings: ProcessSettings
) -> tuple[list[int], Places, list[Finding]]:
    """Rows that do not count, where the others lie, and what was found.

    One slip among the dark steps would move the time by a stop; a step too few moves nothing.
    """
    if settings.count_all:
        return [], _place(strip, tablet, reference), []
    # film and reciprocity from halves without their own strays, lest a slip make the film dark
    gross = find_gross(strip, tablet)
    rough = _place(strip.without(gross), tablet, reference)
    placed = _place(strip, tablet, reference, _Known(rough.reciprocity, rough.film))
    # of strips that lie apart each would call the other's steps doubtful
    doubtful = find_doubtful(placed) if scatter_of(rough).each is None else {}
    same = set(doubtful) == set(gross)
    places = rough if same else _place(strip.without(doubtful), tablet, reference)
    return list(doubtful), places, set_aside(placed, doubtful)


def response_model(process: Process) -> tuple[RiseModel, float]:
    """The response as a mean with modes of uncertainty, and the noise of a reading.

    Nodes are exposures relative to the reference time; values are densities.
    """
    counted = process.strip.without(process.summary.set_aside)
    found = process.summary
    places = _place(counted, process.tablet, process.reference_time,
                    _Known(found.reciprocity, found.film_density))
    drawn = draw_responses(places)
    return model_from_sample(drawn.nodes, drawn.curves, drawn.weights), drawn.noise


def _reference_time(strip: Strip) -> PrintingTime:
    """The middle one of the strips' times, so that it stands for all."""
    times = strip.times()
    return times[len(times) // 2]


@dataclass(frozen=True, eq=False)
class DrawnResponses:
    """Responses that may be the truth: shape (count, nodes), with weights (count,)."""

    nodes: Array
    curves: Array
    corners: Mapping[End, Array]
    """Exposure where each curve leaves white or reaches black at a corner, shape (count,); NaN: at
    none."""
    weights: Array
    wide: Array
    """Weights that allow for a guess far off; the same where black was reached."""
    noise: float


def draw_responses(places: Places) -> DrawnResponses:
    """Sample the density curves that fit the readings where they lie."""
    x, y, sd = places.x, places.y, places.sd
    noise, each = likely_noise(x, y, sd)
    nodes = np.arange(x.min() - BEYOND_WHITE, x.max() + BEYOND_BLACK, 0.02)
    rises = sample_rises(x, y, each * sd, nodes, USUAL_BLACK, SAMPLE)
    corners: dict[End, Array] = {"white": rises.lower_corner, "black": rises.upper_corner}
    black = just_black(nodes, rises.curves, JUST_VISIBLE)
    guess = (places.second - black) / STOP
    if is_reached(black, places):
        # what a level black rules out does not count
        there = black <= places.first
        counts = there + 1e-9 if sees_flat_black(places) and there.any() else 1.0
        weights = wide = counts / (1.0 + ((guess - GUESS_STOPS) / GUESS_REACH) ** 6)
    else:
        off = (guess - GUESS_STOPS) / SHORT_SPREAD
        weights = np.exp(-0.5 * off**2) + 1e-9
        wide = (1.0 + off**2 / SHORT_TAIL) ** (-0.5 * (SHORT_TAIL + 1.0))
    return DrawnResponses(nodes, rises.curves, corners, weights / weights.sum(),
                          wide / wide.sum(), noise)


def is_reached(black: Array, places: Places) -> bool:
    """Whether the strip itself, any guess aside, says that its clearest step printed black
    through the film.

    ``black``: exposure where each sample curve is black, shape (count,).
    """
    if float(places.y.max()) < PLAINLY_DARK:  # no paper's black is so pale
        return False
    return bool(np.median(black) <= places.first) or sees_flat_black(places)


def sees_flat_black(places: Places) -> bool:
    """Whether the clearest steps under the film stand so level, over four or more, that they
    fall by less than a just-visible step, nine times in ten."""
    film = np.array([p.through == "film" for p in places.patches], dtype=bool)
    order = np.argsort(-places.x[film], kind="stable")
    x, y = places.x[film][order], places.y[film][order]
    return any(_is_level(x[:k], y[:k]) for k in range(FLAT_STEPS, min(MOST_FLAT, x.size) + 1))


def _is_level(x: Array, y: Array) -> bool:
    if x[0] - x[-1] < FLAT_WIDTH or y[0] < PLAINLY_DARK:
        return False
    middle = x - x.mean()
    slope = float(middle @ y / (middle @ middle))
    spread = max(float(np.std(y - slope * middle)) * math.sqrt(y.size / (y.size - 2)), NOISE_FLOOR)
    fall = (slope + NINE_IN_TEN * spread / math.sqrt(middle @ middle)) * (x[0] - x[-1])
    light = scales.density_to_lightness(np.array([y.mean() - max(fall, 0.0), y.mean()]))
    return bool(light[0] - light[1] < JUST_VISIBLE)


def just_black(nodes: Array, curves: Array, step: float) -> Array:
    """Exposure at which each curve comes within ``step`` L* of its black, shape (count,)."""
    darkness = -scales.density_to_lightness(curves)
    return first_places(nodes, darkness, darkness[:, -1] - step)


def weighted_quantile(values: Array, weights: Array, part: float) -> Array:
    """Quantile along the first axis of weighted values."""
    return weighted_quantiles(values, weights, (part,))[0]


def weighted_quantiles(values: Array, weights: Array, parts: Sequence[float]) -> list[Array]:
    """Several at once."""
    order = np.argsort(values, axis=0, kind="stable")
    cumulative = np.cumsum(weights[order], axis=0)
    found = []
    for part in parts:
        first = np.argmax(cumulative >= part * cumulative[-1:], axis=0)[None, ...]
        found.append(np.take_along_axis(values, np.take_along_axis(order, first, 0), 0)[0])
    return found


def _place(
    strip: Strip, tablet: Tablet, reference: PrintingTime, known: _Known | None = None
) -> Places:
    """Exposure of every reading; the film's density and the reciprocity found on the way."""
    patches = strip.patches
    base = np.array([-tablet.densities[p.step - 1] for p in patches])
    longer = np.array([math.log10(ratio(p.time, reference)) for p in patches])
    bare = np.array([p.through == "bare" for p in patches])
    stated = [p.density_sd for p in patches if p.density_sd]
    usual = float(np.median(stated)) if stated else 1.0
    sd = np.array([p.density_sd or usual for p in patches])
    y = strip.density

    def second(power: float) -> float:
        return float(power * longer.max() - tablet.just_black)

    if known is not None:
        x = base + known.reciprocity * longer + bare * (known.film or 0.0)
        return Places(patches, x, y, sd, float(x[~bare].max()), second(known.reciprocity))
    power, power_sd = _find_reciprocity(base[~bare], longer[~bare], y[~bare], sd[~bare])
    x = base + power * longer
    film = film_sd = None
    if bare.any():
        film, film_sd = _best_shift(lambda f: judge_strip(x + f * bare, y, sd)[1], (-0.6, 0.9))
        x = x + film * bare
    return Places(patches, x, y, sd, float(x[~bare].max()), second(power), power, power_sd, film,
                  film_sd)


def _find_reciprocity(
    base: Array, longer: Array, y: Array, sd: Array
) -> tuple[float, float | None]:
    """Schwarzschild exponent (E = I t**p, 1900), only where times differ by a stop or more.

    It stays 1 unless the strips say otherwise by more than twice their uncertainty.
    """
    if np.ptp(longer) < STOP - 1e-6:
        return 1.0, None
    power, spread = _best_shift(lambda p: judge_strip(base + p * longer, y, sd)[1], (0.6, 1.3))
    if spread < 0.1 and abs(power - 1.0) > 2.0 * spread:
        return round(power, 3), spread
    return 1.0, spread


def _best_shift(
    score: Callable[[float], float], bounds: tuple[float, float]
) -> tuple[float, float]:
    """Place of the smallest -2 log likelihood and its standard deviation."""
    coarse = np.linspace(*bounds, 16)
    scores = [score(c) for c in coarse]
    least, best = min(zip(scores, coarse.tolist(), strict=True))
    gap = wide = float(coarse[1] - coarse[0])
    while gap > PLACE:
        gap /= 2.0
        least, best = min((least, best), *((score(c), c) for c in (best - gap, best + gap)))
    step = 0.02
    bend = (score(best + step) - 2.0 * least + score(best - step)) / step**2
    return best, math.sqrt(2.0 / bend) if bend > 0.0 else wide


def _summary(
    strip: Strip, tablet: Tablet, reference: PrintingTime, places: Places,
    drawn: DrawnResponses, settings: ProcessSettings,
) -> StripSummary:
    step = settings.just_visible_lightness
    black_at = just_black(drawn.nodes, drawn.curves, step)
    # one step over the film alone shall lie where black ends
    change = (black_at + tablet.just_black) / places.reciprocity
    middle = float(weighted_quantile(change, drawn.weights, 0.5))
    low, likely_enough, high = (float(weighted_quantile(change, drawn.wide, q))
                                for q in (0.05, ENOUGH, 0.95))
    least = NINE_IN_TEN * SHAPE_STOPS * STOP
    low = middle - math.hypot(max(middle - low, 0.0), least)
    high = middle + math.hypot(max(high - middle, 0.0), least)
    base = reference.times(10.0**middle)
    reached = is_reached(black_at, places)
    ranges = log_exposure_ranges(drawn.nodes, drawn.curves)
    known = np.isfinite(ranges)
    log_range = (float(weighted_quantile(ranges[known], drawn.weights[known], 0.5))
                 if known.any() else None)
    next_time = (None if reached else
                 _next_time(reference.times(10.0**likely_enough), strip.times()[-1]))
    return StripSummary(
        base_printing_time=_round(base.value),
        base_printing_time_low=_round(reference.times(10.0**low).value),
        base_printing_time_high=_round(reference.times(10.0**high).value),
        strict_printing_time=_round(base.value * 10.0 ** (-tablet.just_black / places.reciprocity)),
        reached_black=reached,
        next_time=None if next_time is None else next_time.value,
        log_exposure_range=None if log_range is None else round(log_range, 4),
        iso_range=iso_range_class(log_range),
        film_density=None if places.film is None else round(places.film, 4),
        film_density_sd=None if places.film_sd is None else round(places.film_sd, 4),
        max_black_density=_middle(drawn, -1), paper_white_density=_middle(drawn, 0),
        noise_density_sd=round(drawn.noise, 5), reciprocity=places.reciprocity,
        reciprocity_sd=None if places.reciprocity_sd is None else round(places.reciprocity_sd, 4))


def _doubts(found: StripSummary, unit: TimeUnit, tablet: Tablet) -> Iterator[Finding]:
    """What the summary's numbers leave open."""
    halfwidth = math.log2(found.base_printing_time_high / found.base_printing_time_low) / 2.0
    if found.next_time is not None:
        yield StripTooShort(PrintingTime(found.next_time, unit))
    elif halfwidth > UNSURE_STOPS:
        yield TimeUnsure(round(halfwidth, 4))
    if found.film_density_sd is not None and found.film_density_sd > UNSURE_FILM:
        yield FilmUnsure(found.film_density_sd)
    log_range, (least, most) = found.log_exposure_range, RangeUnusual.USUAL
    if log_range is not None and not least <= log_range <= most:
        yield RangeUnusual(log_range, tablet.name)


def _white_doubts(drawn: DrawnResponses, places: Places) -> Iterator[Finding]:
    """Whether even the densest step still prints darker than the paper."""
    densest = int(np.searchsorted(drawn.nodes, places.x.min()))
    above = float(weighted_quantile(drawn.curves[:, densest] - drawn.curves[:, 0],
                                    drawn.weights, 0.5))
    if above > TOE_DENSITY:
        yield StripWhiteNotReached(round(above, 4))


def _corners(
    strip: Strip, tablet: Tablet, places: Places, drawn: DrawnResponses
) -> Iterator[Finding]:
    """Ends that are corners, more likely than not, where the strip has steps."""
    for end, at in drawn.corners.items():
        known = np.isfinite(at)
        if float(drawn.weights @ known) < LIKELY:
            continue
        corner = float(weighted_quantile(at[known], drawn.weights[known], 0.5))
        below = corner - (places.second + tablet.just_black)
        if -tablet.densities[-1] <= below <= -tablet.densities[0]:
            nearest = 1 + int(np.argmin(np.abs(tablet.density + below)))
            yield CornerFound(end, nearest, round(below, 4), strip.times()[-1])


def _middle(drawn: DrawnResponses, node: int) -> float:
    return round(float(weighted_quantile(drawn.curves[:, node], drawn.weights, 0.5)), 4)


def _round(value: float) -> float:
    return float(f"{value:.5g}")


def _next_time(wanted: PrintingTime, longest: PrintingTime) -> PrintingTime:
    """Towards what is wanted, by half a stop at least and two stops at most."""
    stops = np.clip(math.log2(ratio(wanted, longest)), 0.5, 2.0)
    return longest.times(2.0 ** float(stops)).on_timer()

"""Exposure by the rules of the trade and of ISO 6846: base printing time by eye, ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from tonewright.errors import OptionError, counted
from tonewright.frozen import dataclass
from tonewright.numeric.inverse import first_places
from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime, ratio
from tonewright.scales import STOP, Array
from tonewright.strip.findings import EyeCountsDiffer, EyeStripFarTooLong
from tonewright.strip.tablet import Tablet

FARTHEST_DOWN = 4.0
"""Stops that one count of merged steps may shorten the time by: a strip so black tells little."""
WANTED = 2
"""Step that just merges with step 1 at the base printing time."""
TOE_DENSITY, SHOULDER_FRACTION = 0.04, 0.90
"""ISO 6846:1992, 5.6: the two points of the log exposure range."""


@dataclass(frozen=True)
class EyeStrip:
    """A strip judged by eye: steps 1 to ``merged`` cannot be told apart, dry, through the film."""

    time: PrintingTime
    merged: int


@dataclass(frozen=True)
class EyeResult:
    """What strips judged by eye tell of the base printing time."""

    low: PrintingTime | None
    """The base printing time is longer than this; None: nothing bounds it from below."""
    high: PrintingTime | None
    """… and at most this; None: no strip reached maximum black for sure."""
    next_time: PrintingTime
    """For the next strip, rounded as a timer is set."""
    base_time: PrintingTime
    """What that is without the tablet's base, which no negative has."""
    strict: PrintingTime
    """One step shorter than the base time."""
    right: bool
    """One of the strips was printed at the base printing time already."""
    change_stops: float
    """From the nearest strip to the next time."""
    nearest: EyeStrip
    findings: tuple[Finding, ...] = ()

    @property
    def differ(self) -> bool:
        """The strips contradict each other by no more than the step that an eye is sure of."""
        return EyeCountsDiffer() in self.findings

    @property
    def far(self) -> bool:
        """The strip was printed so much too long that the next time only leads nearer."""
        return EyeStripFarTooLong() in self.findings


def eye_strips(times: Sequence[PrintingTime], merged: Sequence[int]) -> list[EyeStrip]:
    """Strips from their times and counts, in the same order.

    Raises `OptionError` for more times than counts, or fewer.
    """
    if len(times) != len(merged):
        raise OptionError(f"{counted(len(times), 'printing time')} and"
                          f" {counted(len(merged), 'count')} of merged steps are given",
                          "every strip has a time and a count", "give both for each strip",
                          code="eye_strip_incomplete")
    return [EyeStrip(time, count) for time, count in zip(times, merged, strict=True)]


def judge_by_eye(tablet: Tablet, strips: list[EyeStrip]) -> EyeResult:
    """The base printing time from the steps that merge.

    At the base printing time steps 1 and 2 merge and step 3 stands apart (common practice, no
    source).  If steps 1 to K merge, black ends between steps K and K + 1, so a time shorter by
    the density between steps 2 and K would do.  If nothing merges, only a lower bound is known,
    and half a stop more is tried.  The base of a calibrated tablet is taken out of the result.

    Raises
    ------
    OptionError
        No strip, an impossible count, or strips that contradict each other by more than a step.
    """
    found = _judge(tablet, strips)
    base, step = tablet.densities[0], 10.0**-tablet.just_black
    if base == 0.0:
        return replace(found, strict=found.next_time.times(step).on_timer())
    low, high, time, strict = (None if t is None else t.times(10.0**-base).on_timer() for t in (
        found.low, found.high, found.next_time, found.next_time.times(step)))
    assert time is not None
    assert strict is not None
    return replace(found, low=low, high=high, base_time=time, strict=strict)


def _judge(tablet: Tablet, strips: list[EyeStrip]) -> EyeResult:
    """As if negatives had the tablet's base."""
    if not strips:
        raise OptionError("no strip was given",
                          "each strip has a time and a count of merged steps",
                          "give both for each strip", code="eye_strip_incomplete")
    for strip in strips:
        ratio(strip.time, strips[0].time)
        _check_count(tablet, strip)
    low, high = _bounds(tablet, strips)
    if high is None or low is None or ratio(low, high) < 1.0 - 1e-9:
        return _advise(tablet, strips, low, high)
    step = 10.0**tablet.step
    if ratio(low, high) > step * (1.0 + 1e-9):
        raise OptionError(
            f"by one strip the base printing time is more than {low.on_timer()}, by another at"
            f" most {high.on_timer()}", "strips of one paper and one lamp agree to a step",
            "look at both again, dry, in even light; if necessary print one again",
            code="eye_strips_contradict")
    # either count may be off by one: the truth is within a step of both, most likely between
    middle = _between(strips) or high.times(math.sqrt(ratio(low, high)))
    found = _advise(tablet, strips, None, middle)
    return replace(found, low=low.times(1.0 / step), high=high.times(step),
                   next_time=middle.on_timer(), right=False,
                   findings=(*found.findings, EyeCountsDiffer()))


def _check_count(tablet: Tablet, strip: EyeStrip) -> None:
    count = len(tablet.densities)
    if not 1 <= strip.merged < count:
        raise OptionError(
            f"{strip.merged} steps merge on a tablet of {count}",
            f"the count lies between 1 (all steps can be told apart) and {count - 1}",
            "count from the blackest step; if all merge, print for a quarter of the time",
            code="eye_count_impossible")


def _bounds(
    tablet: Tablet, strips: list[EyeStrip]
) -> tuple[PrintingTime | None, PrintingTime | None]:
    """What the base printing time is longer than, and at most."""
    density = tablet.densities
    low: PrintingTime | None = None
    high: PrintingTime | None = None
    # a strip that is nearly all black bounds nothing where another says more
    telling = [s for s in strips if not _nearly_all_black(tablet, s)]
    for strip in telling or strips:
        until = strip.time
        if strip.merged > 1:
            until = strip.time.times(10.0 ** (density[WANTED - 1] - density[strip.merged - 1]))
            high = until if high is None or ratio(until, high) < 1.0 else high
            after = 10.0 ** (density[WANTED - 1] - density[strip.merged])
            until = strip.time.times(after)
        low = until if low is None or ratio(until, low) > 1.0 else low
    return low, high


def _between(strips: list[EyeStrip]) -> PrintingTime | None:
    """Half way between the longest that is too short and the shortest that is too long."""
    short = [s.time for s in strips if s.merged < WANTED]
    long = [s.time for s in strips if s.merged > WANTED]
    if not short or not long:
        return None
    low, high = max(short, key=lambda t: t.value), min(long, key=lambda t: t.value)
    return low.times(math.sqrt(ratio(high, low))) if ratio(high, low) > 1.0 else None


def _nearly_all_black(tablet: Tablet, strip: EyeStrip) -> bool:
    density = tablet.densities
    return (density[strip.merged - 1] - density[WANTED - 1]) / STOP > FARTHEST_DOWN


def _advise(
    tablet: Tablet, strips: list[EyeStrip], low: PrintingTime | None, high: PrintingTime | None
) -> EyeResult:
    if high is not None:
        wanted = high
    else:
        assert low is not None
        wanted = low.times(10.0 ** (STOP / 2.0))
    right = [] if high is None else [s for s in strips if _is_right(s, high, tablet.step)]
    if right and high is not None and ratio(right[0].time, high) > 1.0:
        high = right[0].time
    nearest = min(strips, key=lambda s: abs(math.log10(ratio(s.time, wanted))))
    far = math.log2(ratio(nearest.time, wanted)) > FARTHEST_DOWN
    aimed = nearest.time.times(2.0**-FARTHEST_DOWN) if far else wanted
    next_time = right[0].time if right else aimed.on_timer()
    return EyeResult(
        low=low, high=high, next_time=next_time, base_time=next_time, strict=next_time,
        right=bool(right),
        change_stops=math.log10(ratio(aimed, nearest.time)) / STOP, nearest=nearest,
        findings=(EyeStripFarTooLong(),) if far else ())


def _is_right(strip: EyeStrip, high: PrintingTime, step: float) -> bool:
    """Where two steps merge the time is right, if no other strip speaks for half a step less."""
    off = abs(math.log10(ratio(strip.time, high)))
    return off < 0.01 or (strip.merged == WANTED and off < step / 2.0)


def log_exposure_ranges(exposure: ArrayLike, density: ArrayLike) -> Array:
    """ISO 6846 log exposure ranges of density curves.

    Parameters
    ----------
    exposure, density:
        Shapes (n,) and (count, n): log10 exposure, increasing, and non-decreasing densities, from
        paper white to maximum black.

    Returns
    -------
    log10 units, shape (count,); NaN where there is no such range.
    """
    d = np.asarray(density, dtype=np.float64)
    low, high = d[:, 0], d[:, -1]
    toe, shoulder = low + TOE_DENSITY, low + SHOULDER_FRACTION * (high - low)
    found = first_places(exposure, d, shoulder) - first_places(exposure, d, toe)
    return np.where(toe < shoulder, found, np.nan)


def iso_range_class(log_range: float | None) -> int | None:
    """ISO 6846 class of a log exposure range: 0.35 to 0.44 is 40 … 1.85 to 1.94 is 190.

    None outside the classes, or for None.
    """
    if log_range is None:
        return None
    hundredths = math.floor(100.0 * log_range + 0.5)
    if not 35 <= hundredths <= 194:
        return None
    return (hundredths + 5) // 10 * 10

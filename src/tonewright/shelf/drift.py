"""Strips and checks over time, by setup: what has moved by more than prints scatter."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np

from tonewright.check.document import Check
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.columns import Weighting
from tonewright.numeric.control import FEWEST, RARELY, Chart, chart
from tonewright.numeric.inverse import first_place
from tonewright.record.dates import parse_date
from tonewright.record.findings import Finding
from tonewright.record.setup import COATED, Setup, alike
from tonewright.record.times import LONGEST, SHORTEST, PrintingTime, TimeUnit
from tonewright.scales import STOP, density_to_lightness
from tonewright.shelf.arrange import Relative
from tonewright.shelf.findings import (
    CountedOnce,
    DatesMissing,
    DatesToCome,
    Drifted,
    FewForLimits,
    PrintStrays,
    Quantity,
    StripsContradicted,
    TimeDrifted,
    TimeUnitsMixed,
)
from tonewright.strip.process import Process

TIMES: tuple[Quantity, ...] = ("middle_tone_time", "printing_time")
"""Followed in stops (log2), the surer one first: a strip tells the time of a middle tone to a
fortieth of a stop, where its black begins to a fifth."""
WAITING = 0.01
"""Share of good moving averages of a time beyond either limit: waiting for more would cost prints,
and one false alarm in a hundred costs one strip.  All else keeps the handbook's three standard
deviations."""
LEAST_STOPS, LEAST_LIGHTNESS, LEAST_RANGE = 0.01, 0.1, 0.01
"""Standard deviations that no series stays below: the last digit of an instrument and of what is
written down.  Readings that happen to be alike shall not make the next one a drift."""
DAYS_A_MONTH = 365.25 / 12.0


@dataclass(frozen=True, eq=False)
class Dated:
    """A strip's process or a check, as it was found."""

    file: str
    sha256: str
    document: Process | Check

    @property
    def said(self) -> str | None:
        """Its date as it has it."""
        own = self.document.date if isinstance(self.document, Check) else None
        return own or self.document.setup.date


class Point(NamedTuple):
    """One print of a series."""

    day: date
    value: float
    """In the series' unit; of a time log2, in stops."""
    sd: float | None
    """What is known of its error."""
    file: str


@dataclass(frozen=True, eq=False)
class Series:
    """One quantity of the strips of one setup, or of the checks of one curve, by date."""

    quantity: Quantity
    setup: Setup
    curve: Relative | None
    """None: strips."""
    time_unit: TimeUnit | None
    """Of the prints' times; None: they do not say them, and light is followed in stops."""
    scale: Weighting
    """Of the densities behind it."""
    points: tuple[Point, ...]
    chart: Chart
    per_month: float | None
    """Slope of a straight line through all, a month; None: too few, or all of one day."""
    per_month_sd: float | None

    @property
    def of(self) -> str:
        """What it is a series of, by name."""
        return self.curve.name if self.curve else self.setup.paper or ""

    @property
    def group(self) -> tuple[object, ...]:
        """Of what strips or checks it is."""
        return self.curve, alike(self.setup, COATED), self.time_unit, self.scale

    @property
    def moving_since(self) -> date | None:
        """Day of the first print that most likely belongs to what is new; None: it is within its
        limits."""
        return None if self.chart.since is None else self.points[self.chart.since].day

    @property
    def out_since(self) -> date | None:
        """Day of the print with which it left its limits for good; None: it is within them."""
        return None if self.chart.out is None else self.points[self.chart.out].day

    def time(self, value: float) -> PrintingTime | None:
        """A value of a time as a time; None for any other, and beyond what a timer is set to."""
        if self.time_unit is None or self.quantity not in TIMES:
            return None
        if not math.log2(SHORTEST) < value < math.log2(LONGEST):
            return None
        return PrintingTime(2.0**value, self.time_unit)


@dataclass(frozen=True, eq=False)
class Drift:
    """All series, the surest of each setup first, and what they show."""

    series: tuple[Series, ...]
    findings: tuple[Finding, ...]

    @property
    def leading(self) -> Series:
        """The time that has been out for longest or, where none is, that of most prints."""
        times = [s for s in self.series if s.quantity in TIMES] or [*self.series]
        return min(times, key=lambda s: (s.out_since or date.max, -len(s.points),
                                         s.quantity != TIMES[0]))


def find_drift(
    documents: Iterable[Dated], today: date, since: date | None = None
) -> Drift:
    """Follow strips by what they were coated with, checks by curve; times in minutes and in
    integrator units, and densities weighted differently, are followed apart.

    ``today`` is the last day that can be; prints before ``since`` do not count.

    Raises
    ------
    OptionError
        Fewer than two dated prints of one kind.
    """
    left_out: dict[type[Finding], list[str]] = {}
    groups: dict[tuple[object, ...], list[tuple[date, Dated]]] = {}
    for day, one in _usable(documents, today, left_out):
        if since is None or day >= since:
            groups.setdefault(_group(one), []).append((day, one))
    series: list[Series] = []
    for prints in groups.values():
        prints.sort(key=lambda p: (p[0], p[1].file))
        if len(prints) > 1:
            series += _series_of(prints)
    if not series:
        raise _nothing(sum(map(len, groups.values())), left_out, since)
    findings = [kind(tuple(files)) for kind, files in left_out.items()]
    strips = Counter(group[1:-1] for group in groups if group[0] == "strip")
    findings += [TimeUnitsMixed(group[0][1].document.setup.paper or "")
                 for key, group in groups.items()
                 if key[0] == "strip" and key[-1] == "unit" and strips[key[1:-1]] > 1]
    return Drift(tuple(series), (*_found(series), *findings))


def _usable(
    documents: Iterable[Dated], today: date, left_out: dict[type[Finding], list[str]]
) -> Iterator[tuple[date, Dated]]:
    """Those with a day that has been, once each."""
    seen: set[object] = set()
    for one in documents:
        fault: type[Finding] | None = None
        try:
            day = parse_date(one.said or "")
        except OptionError:
            fault = DatesMissing
        else:
            if day > today:
                fault = DatesToCome
        if isinstance(one.document, Process) and one.document.contradicted:
            fault = StripsContradicted
        same = {one.sha256, *([_content(one)] if fault is None else ())}
        if seen & same:
            fault = CountedOnce
        seen |= same
        if fault is None:
            yield day, one
        else:
            left_out.setdefault(fault, []).append(one.file)


def _content(one: Dated) -> tuple[object, ...]:
    """What is the same in documents made twice from the same readings of one day."""
    document = one.document
    read: tuple[object, ...] = tuple(
        (t.level, t.image_lightness, t.lightness) for t in document.tones
    ) if isinstance(document, Check) else tuple(
        (p.step, p.through, p.time, p.density) for p in document.strip.patches)
    return one.said, _group(one), read


def _nothing(
    prints: int, left_out: dict[type[Finding], list[str]], since: date | None
) -> OptionError:
    dates = left_out.get(DatesMissing, []) + left_out.get(DatesToCome, [])
    if dates:
        return OptionError(
            f"{prints} of {prints + len(dates)} prints have a date that can be used; {dates[0]} has"
            " none, or one still to come", "a drift is followed by date, as 2026-03-31",
            "make the documents again with their dates", code="drift_dates")
    found = (f"{prints} prints were found, no two of one paper or one curve" if prints > 1
             else "only one strip or check was found" if prints
             else "there is no strip and no check")
    return OptionError(
        found if since is None else f"{found} since {since.isoformat()}",
        "a drift shows between two strips of one paper, or two checks of one curve, at least",
        "name a folder with NAME.process.json or NAME.check.json of several days"
        + ("" if since is None else ", or an earlier day"))


def _group(one: Dated) -> tuple[object, ...]:
    document = one.document
    if isinstance(document, Check):
        return ("check", document.curve.sha256, document.scale, document.relative_to_paper,
                document.printing_time and document.printing_time.unit)
    return "strip", *alike(document.setup, COATED), document.strip.scale, document.unit


def _series_of(prints: Sequence[tuple[date, Dated]]) -> Iterator[Series]:
    """The series of one group, each of two points at least."""
    first = prints[0][1].document
    columns: dict[Quantity, list[Point]] = {}
    curve = Relative(first.curve.name, first.curve.sha256) if isinstance(first, Check) else None
    if isinstance(first, Check):
        unit = first.printing_time.unit if first.printing_time else None
    else:
        unit = first.unit
        middle = float(first.density[0] + first.density[-1]) / 2.0
    for day, one in prints:
        document = one.document
        told = _of_check(document) if isinstance(document, Check) else _of_strip(document, middle)
        for quantity, value, sd in told:
            if value is not None:
                columns.setdefault(quantity, []).append(Point(day, value, sd, one.file))
    scale = first.scale if isinstance(first, Check) else first.strip.scale
    for quantity, points in columns.items():
        if len(points) > 1:
            drawn, (slope, sd) = _chart(quantity, points), _slope(points)
            yield Series(quantity, first.setup.without_occasion(), curve, unit, scale,
                         tuple(points), drawn, slope, sd)


_Told = tuple[Quantity, float | None, float | None]


def _of_strip(process: Process, middle: float) -> tuple[_Told, ...]:
    """What a strip tells, with standard deviations; None where its black was not reached."""
    found, black = process.summary, process.summary.reached_black
    low, high = found.base_printing_time_low, found.base_printing_time_high
    # nine times in ten it lies between the two
    sd = math.log2(high / low) / 3.29 if high > low else None
    slow = float(first_place(process.exposure, process.density, middle)) / found.reciprocity / STOP
    return (
        ("middle_tone_time", math.log2(process.reference_time.value) + slow, None),
        ("printing_time", math.log2(found.base_printing_time) if black else None, sd),
        ("black_lightness", float(density_to_lightness(found.max_black_density)) if black else None,
         None),
        ("white_lightness", float(density_to_lightness(found.paper_white_density)), None),
        ("log_exposure_range", found.log_exposure_range if black else None, None))


def _of_check(check: Check) -> tuple[_Told, ...]:
    """What a check tells: the right time for its curve now, black, white, mean difference."""
    off, time = check.exposure_off_stops, check.printing_time
    right = None if off is None else (math.log2(time.value) if time else 0.0) - off
    return (("printing_time", right, check.exposure_off_stops_sd),
            ("black_lightness", check.black_lightness, None),
            ("white_lightness", check.white_lightness, None),
            ("difference_lightness_mean", check.difference_lightness_mean, None))


def _chart(quantity: Quantity, points: list[Point]) -> Chart:
    sds = [p.sd for p in points]
    known = None if None in sds else np.array(sds, dtype=np.float64)
    time = quantity in TIMES
    least = LEAST_STOPS if time else \
        LEAST_RANGE if quantity == "log_exposure_range" else LEAST_LIGHTNESS
    return chart([p.value for p in points], known, WAITING if time else RARELY, least)


def _slope(points: list[Point]) -> tuple[float | None, float | None]:
    """Change a month of a straight line, by least squares, and its standard deviation."""
    months = np.array([p.day.toordinal() for p in points]) / DAYS_A_MONTH
    months -= months.mean()
    spread = float(months @ months)
    if len(points) <= FEWEST or spread == 0.0:
        return None, None
    values = np.array([p.value for p in points])
    slope = float(months @ values) / spread
    rest = values - values.mean() - slope * months
    return slope, math.sqrt(float(rest @ rest) / (len(points) - 2) / spread)


def _found(series: list[Series]) -> Iterator[Finding]:
    """What the charts show; of two times of one group the surer one speaks."""
    spoken: set[tuple[object, ...]] = set()
    few: dict[tuple[object, ...], Finding] = {}
    for one in series:
        time = one.quantity in TIMES
        if len(one.points) <= FEWEST:
            few.setdefault(one.group, FewForLimits(one.of, len(one.points), FEWEST + 1))
        if one.chart.shift is None or one.moving_since is None or one.out_since is None:
            yield from _strays(one)
            continue
        days = one.moving_since.isoformat(), one.out_since.isoformat()
        if not time:
            yield Drifted(one.of, one.quantity, *days, round(one.chart.shift.value, 3),
                          round(one.chart.shift.sd, 3))
        elif one.group not in spoken:
            spoken.add(one.group)
            yield TimeDrifted(one.of, *days, round(one.chart.shift.value, 3),
                              round(one.chart.shift.sd, 3), one.chart.growing,
                              _print_for(one, series))
    yield from few.values()


def _print_for(one: Series, series: list[Series]) -> PrintingTime | None:
    """The printing time now, from a time that has drifted: black is so much later, or sooner, as
    it is on the average of all prints."""
    shift = one.chart.shift
    black = {p.file: p.value for s in series if s.group == one.group
             and s.quantity == "printing_time" for p in s.points}
    later = [black[p.file] - p.value for p in one.points if p.file in black]
    if shift is None or not later:
        return None
    now = one.time(float(one.chart.centre[-1]) + shift.value + float(np.mean(later)))
    return None if now is None else now.on_timer()


def _strays(one: Series) -> Iterator[Finding]:
    for row in one.chart.strays:
        change = float(one.chart.values[row] - one.chart.centre[row])
        yield PrintStrays(one.of, one.quantity, one.points[row].file, round(change, 3))

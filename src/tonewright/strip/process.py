"""The process response: what the paper, coated and developed, makes of exposure.

One step-tablet strip holds it.  Exposure is counted in log10 units from clear film at a
reference time; a step of density d lies at -d.
"""

from __future__ import annotations

import math
from typing import Annotated

from tonewright.errors import OptionError, counted
from tonewright.frozen import dataclass
from tonewright.numeric.inverse import first_place
from tonewright.record.codec import NEVER_FALLING, RISING, Document, Form, between
from tonewright.record.findings import Finding
from tonewright.record.schema import ABOVE_ZERO, Rule, is_whole
from tonewright.record.setup import Setup
from tonewright.record.times import LONGEST, SHORTEST, PrintingTime, TimeUnit, ratio
from tonewright.scales import STOP, Array
from tonewright.strip.exposure import TOE_DENSITY
from tonewright.strip.findings import CONTRADICTIONS
from tonewright.strip.readings import Strip
from tonewright.strip.tablet import Tablet

FORM = Form("tonewright-process", 2, "process response",
            "take an unedited copy, or evaluate the strip again")
JUST_VISIBLE = 1.0
"""L* between maximum black and step 2 at the base printing time: a just-visible step."""


@dataclass(frozen=True)
class ProcessSettings:
    """What the evaluation of a strip was told."""

    just_visible_lightness: float = JUST_VISIBLE
    count_all: bool = False
    """Count steps that do not fit their neighbours, too."""

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` otherwise."""
        if not 0.1 <= self.just_visible_lightness <= 10.0:
            raise OptionError(f"a just-visible step of {self.just_visible_lightness:g} L*",
                              "it lies between 0.1 and 10", "leave it out for 1 L*")


_AboveZero = Annotated[float, ABOVE_ZERO]
_Time = Annotated[float, between(SHORTEST, LONGEST)]
_Density = Annotated[float, between(-1.0, 10.0)]
MOST_EXPOSURE, MOST_ROWS = 20.0, 5000
"""What a table of the response holds at most: log10 to either side, and rows."""
_ROW = Rule(lambda v: is_whole(v) and v >= 0, "rows of the strip are counted from 0")


@dataclass(frozen=True)
class StripSummary:
    """What a strip says; times in seconds or integrator units, None where not known."""

    base_printing_time: _Time
    base_printing_time_low: _Time
    base_printing_time_high: _Time
    """Nine times in ten the base printing time lies between these two."""
    strict_printing_time: _Time
    reached_black: bool
    next_time: _Time | None
    """What to try next; None when the strip is enough."""
    log_exposure_range: float | None
    iso_range: int | None
    film_density: _Density | None
    film_density_sd: float | None
    max_black_density: _Density
    paper_white_density: _Density
    noise_density_sd: _AboveZero
    reciprocity: Annotated[float, between(0.3, 2.0)]
    """Schwarzschild exponent; 1 unless several times show another."""
    reciprocity_sd: float | None
    set_aside: tuple[Annotated[int, _ROW], ...] = ()
    """Rows of the strip that do not fit their neighbours and do not count."""


@dataclass(frozen=True, eq=False)
class Process(Document):
    """A process response with the strip behind it."""

    form = FORM
    name: str
    made_by: str
    setup: Setup
    settings: ProcessSettings
    tablet: Tablet
    reference_time: PrintingTime
    """Time at which clear film is exposure 0 in the table."""
    summary: StripSummary
    findings: tuple[Finding, ...]
    """The strip's own, too."""
    exposure: Annotated[Array, RISING]
    """log10, shape (m,), increasing."""
    density: Annotated[Array, NEVER_FALLING]
    density_low: Annotated[Array, NEVER_FALLING]
    density_high: Annotated[Array, NEVER_FALLING]
    strip: Strip

    def __post_init__(self) -> None:
        """The strip is one of its tablet, in the process's unit; `OptionError` otherwise."""
        patches, steps = self.strip.patches, len(self.tablet.densities)
        last = max((p.step for p in patches), default=0)
        if not 1 <= last <= steps:
            raise OptionError(f"the strip has step {last}, its tablet {counted(steps, 'step')}",
                              "a strip has the steps of its tablet", FORM.way_out)
        other = next((p.time.unit for p in patches if p.time.unit != self.unit), None)
        if other is not None:
            raise OptionError(f"one of the strip's times has the unit {other}, the reference time"
                              f" {self.unit}", "both are the same", FORM.way_out)
        if self.exposure.size > MOST_ROWS or abs(self.exposure).max() > MOST_EXPOSURE:
            raise OptionError(
                f"the exposures have {counted(self.exposure.size, 'row')}, from"
                f" {self.exposure[0]:g} to {self.exposure[-1]:g}",
                f"{MOST_ROWS} rows from {-MOST_EXPOSURE:g} to {MOST_EXPOSURE:g} are the most",
                FORM.way_out)
        if min(self.density_low[0], self.density[0]) < -1.0 or self.density_high[-1] > 10.0:
            raise OptionError(f"the response runs from {self.density_low[0]:g} to"
                              f" {self.density_high[-1]:g}", "densities lie between -1 and 10",
                              FORM.way_out)
        if max(self.summary.set_aside, default=0) >= len(patches):
            raise OptionError(f"row {max(self.summary.set_aside)} of the strip is set aside",
                              f"it has {counted(len(patches), 'row')}, counted from 0",
                              FORM.way_out)

    @property
    def unit(self) -> TimeUnit:
        """Seconds or integrator units."""
        return self.reference_time.unit

    @property
    def contradicted(self) -> bool:
        """Readings contradict each other: the times are not to be relied on."""
        return any(isinstance(f, CONTRADICTIONS) for f in self.findings)

    @property
    def base_time(self) -> PrintingTime:
        """The base printing time."""
        return PrintingTime(self.summary.base_printing_time, self.unit)

    def one_step_less(self, time: PrintingTime) -> PrintingTime:
        """A time so much shorter that what just printed black is one step of the tablet short of
        it: the strict time, where ``time`` is the base printing time."""
        return time.times(10.0 ** (-self.tablet.just_black / self.summary.reciprocity))

    def timer_time(self, time: PrintingTime) -> PrintingTime:
        """A time as it is said: the base printing time rounded as a timer is set, any other as
        it was given."""
        return time.on_timer() if time == self.base_time else time

    def shift(self, time: PrintingTime) -> float:
        """Exposure (log10) of clear film at another time."""
        return self.summary.reciprocity * math.log10(ratio(time, self.reference_time))

    @property
    def start(self) -> float:
        """Exposure (log10) that counts as 0 stops on the axis of pictures: clear film at the base
        printing time or, where that is not known, at the strip's longest time."""
        known = self.summary.next_time is None
        return self.shift(self.base_time if known else self.strip.times()[-1])

    @property
    def stops(self) -> Array:
        """Exposures of the table, in stops from `start`, shape (m,)."""
        return (self.exposure - self.start) / STOP

    def step_stops(self, row: int) -> float:
        """Exposure of a row of the strip, in stops from `start`."""
        patch = self.strip.patches[row]
        bare = (self.summary.film_density or 0.0) if patch.through == "bare" else 0.0
        exposure = self.shift(patch.time) - self.tablet.densities[patch.step - 1] + bare
        return (exposure - self.start) / STOP

    def range_to_white(self, time: PrintingTime) -> float | None:
        """Printing density that takes clear film's tone to paper white at a printing time.

        White is 0.04 above the paper, as in ISO 6846; the log exposure range of that standard
        begins at nine tenths of black and so is less.  None for a process without tones.
        """
        white, black = float(self.density[0]), float(self.density[-1])
        if not white + 2.0 * TOE_DENSITY < black:
            return None
        toe = float(first_place(self.exposure, self.density, white + TOE_DENSITY))
        return max(self.shift(time) - toe, 0.0)

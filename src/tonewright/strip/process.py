"""The process response: what the paper, coated and developed, makes of exposure.

One step-tablet strip holds it.  Exposure is counted in log10 units from clear film at a
reference time; a step of density d lies at -d.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import Any

from tonewright.errors import DocumentError, OptionError, counted
from tonewright.numeric.inverse import first_place
from tonewright.record.provenance import check_header
from tonewright.record.schema import (
    ABOVE_ZERO,
    NUMBER,
    NUMBERS,
    TABLE,
    TEXT,
    TEXTS,
    TRUTH,
    Rule,
    check_entries,
    check_names,
    is_whole,
    or_none,
)
from tonewright.record.setup import Setup, setup_from_dict
from tonewright.record.tables import table_from_dict
from tonewright.record.times import TIME_RULE, UNIT_RULE, PrintingTime, TimeUnit, ratio
from tonewright.scales import Array
from tonewright.strip.exposure import TOE_DENSITY
from tonewright.strip.readings import Strip, strip_from_dict
from tonewright.strip.tablet import Tablet

FORMAT, VERSION = "tonewright-process", 1
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


@dataclass(frozen=True)
class StripSummary:
    """What a strip says; times in seconds or integrator units, None where not known."""

    base_printing_time: float
    base_printing_time_low: float
    base_printing_time_high: float
    """Nine times in ten the base printing time lies between these two."""
    strict_printing_time: float
    reached_black: bool
    next_time: float | None
    """What to try next; None when the strip is enough."""
    log_exposure_range: float | None
    iso_range: int | None
    film_density: float | None
    film_density_sd: float | None
    max_black_density: float
    paper_white_density: float
    noise_density_sd: float
    reciprocity: float
    """Schwarzschild exponent; 1 unless several times show another."""
    reciprocity_sd: float | None
    warnings: tuple[str, ...]
    set_aside: tuple[int, ...] = ()
    """Rows of the strip that do not fit their neighbours and do not count."""
    contradicted: bool = False
    """Readings contradict each other: the times are not to be relied on."""


@dataclass(frozen=True, eq=False)
class Process:
    """A process response with the strip behind it."""

    name: str
    made_by: str
    setup: Setup
    settings: ProcessSettings
    tablet: Tablet
    strip: Strip
    reference_time: PrintingTime
    """Time at which clear film is exposure 0 in the table."""
    summary: StripSummary
    exposure: Array
    """log10, shape (m,), increasing."""
    density: Array
    density_low: Array
    density_high: Array

    @property
    def unit(self) -> TimeUnit:
        """Seconds or integrator units."""
        return self.reference_time.unit

    @property
    def base_time(self) -> PrintingTime:
        """The base printing time."""
        return PrintingTime(self.summary.base_printing_time, self.unit)

    def spoken(self, time: PrintingTime) -> str:
        """A time as it is said: the base printing time rounded as a timer is set, any other as
        it was given."""
        return str(time.on_timer() if time == self.base_time else time)

    def shift(self, time: PrintingTime) -> float:
        """Exposure (log10) of clear film at another time."""
        return self.summary.reciprocity * math.log10(ratio(time, self.reference_time))

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

    def to_dict(self) -> dict[str, Any]:
        """The document as plain numbers and texts."""
        return {
            "format": FORMAT, "version": VERSION, "made_by": self.made_by, "name": self.name,
            "setup": self.setup.to_dict(), "settings": asdict(self.settings),
            "tablet": {"name": self.tablet.name, "densities": list(self.tablet.densities),
                       "calibrated": self.tablet.calibrated},
            "reference_time": self.reference_time.value, "time_unit": self.unit,
            "summary": {**asdict(self.summary), "warnings": list(self.summary.warnings),
                         "set_aside": list(self.summary.set_aside)},
            "response": {name: getattr(self, name).tolist() for name in _TABLE},
            "strip": self.strip.to_dict(),
        }


_TABLE = ("exposure", "density", "density_low", "density_high")


_WAY_OUT = "take an unedited copy, or evaluate the strip again with tonewright strip"
_PARTS = {"made_by": TEXT, "name": TEXT, "setup": TABLE, "settings": TABLE, "tablet": TABLE,
          "reference_time": TIME_RULE, "time_unit": UNIT_RULE, "summary": TABLE,
          "response": TABLE, "strip": TABLE}
_TABLET = {"name": TEXT, "densities": NUMBERS, "calibrated": TRUTH}


def process_from_dict(data: Any) -> Process:
    """Check a document and rebuild the process.

    Raises
    ------
    DocumentError
        Another format or version, or a part that is missing or does not hold together.
    """
    check_header(data, FORMAT, VERSION, "process response")
    check_entries(data, _PARTS, "the process response", _WAY_OUT)
    settings = check_entries({"count_all": False, **data["settings"]},
                             {"just_visible_lightness": NUMBER, "count_all": TRUTH},
                             "the settings", _WAY_OUT)
    tablet = check_entries(data["tablet"], _TABLET, "the tablet", _WAY_OUT)
    setup = setup_from_dict(data["setup"], _WAY_OUT)
    table = table_from_dict(data["response"], list(_TABLE), "process response")
    strip = strip_from_dict(data["strip"])
    _check_strip(strip, data["time_unit"], tablet)
    summary = _summary_from_dict(data["summary"], len(strip.patches))
    try:
        return Process(
            name=data["name"], made_by=data["made_by"], setup=setup,
            settings=ProcessSettings(float(settings["just_visible_lightness"]),
                                     settings["count_all"]),
            tablet=Tablet(tablet["name"], tuple(map(float, tablet["densities"])),
                          tablet["calibrated"]),
            strip=strip,
            reference_time=PrintingTime(float(data["reference_time"]), data["time_unit"]),
            summary=summary, **table)
    except OptionError as error:  # the parts know their own rules
        raise DocumentError(f"in the process response, {error.given}", error.rule,
                            _WAY_OUT) from error


def _check_strip(strip: Strip, unit: TimeUnit, tablet: dict[str, Any]) -> None:
    """The strip is one of its tablet, in the process's unit."""
    steps, last = len(tablet["densities"]), max(p.step for p in strip.patches)
    if last > steps:
        raise DocumentError(f"the strip has step {last}, its tablet {counted(steps, 'step')}",
                            "a strip has the steps of its tablet", _WAY_OUT)
    own = strip.patches[0].time.unit
    if own != unit:
        raise DocumentError(f"the strip's time_unit is {own}, the process's {unit}",
                            "both are the same", _WAY_OUT)


_MAY_BE_NONE = ("next_time", "log_exposure_range", "iso_range", "film_density",
                "film_density_sd", "reciprocity_sd")
_ABOVE_ZERO = ("base_printing_time", "base_printing_time_low", "base_printing_time_high",
               "strict_printing_time", "next_time", "noise_density_sd", "reciprocity")


def _summary_from_dict(data: dict[str, Any], rows: int) -> StripSummary:
    """StripSummary, each of its kind; `DocumentError` names the one that is not."""
    data = {"set_aside": [], "contradicted": False, **data}  # older documents lack them
    names = [f.name for f in fields(StripSummary)]
    rules = {name: ABOVE_ZERO if name in _ABOVE_ZERO else NUMBER for name in names}
    rules |= {name: or_none(rules[name]) for name in _MAY_BE_NONE}
    rules |= {"warnings": TEXTS, "reached_black": TRUTH, "contradicted": TRUTH, "set_aside": Rule(
        lambda v: is_whole(v) and 0 <= v < rows,
        f"it lists rows of the strip, which has {rows}, counted from 0", each=True)}
    check_names(data, names, "the summary", _WAY_OUT)
    check_entries(data, rules, "the summary", _WAY_OUT)
    return StripSummary(**{**data, "warnings": tuple(data["warnings"]),
                       "set_aside": tuple(data["set_aside"])})

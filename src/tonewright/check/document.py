"""The check of a print: how far it landed from its aim, and why; a frozen document."""

from __future__ import annotations

from statistics import fmean
from typing import Annotated, Literal

# a check is read with the findings that it may hold
from tonewright.check import findings as findings
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured import findings as measured_findings  # noqa: F401
from tonewright.measured.columns import Weighting
from tonewright.record.codec import COLUMNS, LEVEL, Document, Form, between
from tonewright.record.dates import parse_date
from tonewright.record.findings import Finding
from tonewright.record.provenance import short_id
from tonewright.record.schema import ABOVE_ZERO
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime

FORM = Form("tonewright-check", 1, "check of a print",
            "take an unedited copy, or check the print again")

CauseCode = Literal["none", "exposure", "fog", "weak_black", "ink", "process", "unevenness",
                    "unknown"]
"""``none``: the print is what the curve promises.  ``unknown``: it is not, and no cause stands out,
or none of those known here explains it."""
_Lightness = Annotated[float, between(-10.0, 150.0)]
"""CIE L*; from the bare paper, noise takes a white past 100."""
_Share = Annotated[float, between(0.0, 1.0)]
_AboveZero = Annotated[float, ABOVE_ZERO]


@dataclass(frozen=True)
class CheckedTone:
    """One patch of a print, all in L*."""

    patch: str
    print_name: str | None
    """Which of several prints it was on."""
    level: Annotated[float, LEVEL]
    image_lightness: _Lightness
    aim_lightness: _Lightness
    lightness: _Lightness
    """As measured."""
    difference_lightness: float
    """Print less what the curve promises."""
    difference_lightness_sd: _AboveZero
    """Standard deviation to expect of that in a good print."""


@dataclass(frozen=True)
class Checked:
    """Which curve the print was made through."""

    name: str
    sha256: str
    """Of its file, in hex."""

    @property
    def short_id(self) -> str:
        """As a page or a label has it."""
        return short_id(self.sha256)


@dataclass(frozen=True)
class Cause:
    """What explains the differences best, and by how much."""

    code: CauseCode
    likelier: CauseCode | None
    """Of an unknown cause the one that comes nearest; None: none comes near."""
    next: CauseCode | None
    """What explains them next best; None where nothing needs to be explained."""
    times_better: _AboveZero | None
    """How many times better than the next the best explains the readings."""
    size: float | None
    """How large the best one is, in its own unit: stops too much light; L* that the white is down
    or the black up; change of the ink's density or of the contrast as a share; stops of unevenness
    (standard deviation)."""
    size_sd: _AboveZero | None


@dataclass(frozen=True)
class PrintDifference:
    """How far one of several prints is off, L*."""

    name: str | None
    difference_lightness_mean: float
    """Above 0: too light."""
    difference_lightness_rms: float


@dataclass(frozen=True, kw_only=True)
class Check(Document):
    """A print, or several alike, compared with what its curve promises."""

    form = FORM
    made_by: str
    name: str
    setup: Setup
    """The curve's, with what is new; its date is the print's."""
    date: str | None
    """Of the print, as 2026-03-31; None where it was not said."""
    curve: Checked
    printing_time: PrintingTime | None
    """What it was printed for; None where neither the curve nor the user says."""
    scale: Weighting
    relative_to_paper: bool
    tones: Annotated[tuple[CheckedTone, ...], COLUMNS]
    passes: bool
    """Whether it is what the curve promises: nine-and-a-half of ten good prints pass."""
    probability: _Share
    """How often a good print differs at least as much."""
    difference_lightness_rms: float
    difference_lightness_mean: float
    """Above 0: too light."""
    worst_image_lightness: _Lightness
    worst_difference_lightness: float
    black_lightness: _Lightness | None
    """Of the tone at the curve's black, as measured; None where it was not."""
    white_lightness: _Lightness | None
    cause: Cause
    exposure_off_stops: float | None
    """Light too much (above 0) or too little, were that the cause, pass or fail: the figure to
    follow over time; None without a strip behind the curve."""
    exposure_off_stops_sd: _AboveZero | None
    next_time: PrintingTime | None
    """What to print for next; None where the time is not the cause, or not known, or where it was
    right for some of several prints."""
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Hold what must hold between the parts; `OptionError` says which rule is broken."""
        if not self.tones:
            raise OptionError("there is no tone", "a check has tones", "")
        if self.date is not None:
            parse_date(self.date)
        if self.passes != (self.cause.code == "none"):
            raise OptionError(f"the check {'passes' if self.passes else 'does not pass'} and its"
                              f" cause is {self.cause.code}", "a print that passes has none", "")

    @property
    def prints(self) -> tuple[PrintDifference, ...]:
        """Every print by itself, in the order of the readings."""
        off: dict[str | None, list[float]] = {}
        for tone in self.tones:
            off.setdefault(tone.print_name, []).append(tone.difference_lightness)
        return tuple(PrintDifference(name, round(fmean(of), 3),
                                     round(fmean(d * d for d in of) ** 0.5, 3))
                     for name, of in off.items())

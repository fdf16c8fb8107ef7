"""What the readings of a strip, and their evaluation, found."""

from __future__ import annotations

from typing import ClassVar, Literal

from tonewright.frozen import dataclass
from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime

Through = Literal["film", "bare"]
"""What lay between tablet and paper: the negative's film, or nothing."""
End = Literal["black", "white"]
"""Of the paper's tones."""


@dataclass(frozen=True)
class StepPlace:
    """A step where several strips and halves have one of its number."""

    step: int
    """1 is the clearest step of the tablet."""
    through: Through
    print_name: str | None


@dataclass(frozen=True)
class OddStep(StepPlace):
    """A step that disagrees with its neighbours."""

    density: float
    off_density: float
    """Above 0: darker than expected."""


class ReadingsWet(Finding):
    """Some readings are marked as wet or not yet dry."""

    file: str


class TimeNotUsed(Finding, kind="note"):
    """A time was given for a strip whose own readings name others."""

    given: PrintingTime
    named: tuple[PrintingTime, ...]


class PaperDensityAdded(Finding, kind="note"):
    """Readings counted from the bare paper, whose density was added."""

    paper_density: float


class StepsSetAside(Finding):
    """Steps that disagree with their neighbours; they do not count."""

    steps: tuple[OddStep, ...]


class StripsDisagree(Finding, bears_on_print=True):
    """Strips or halves that do not lie on one curve."""

    parts: Literal["halves", "strips"]
    joint_density_sd: float
    """Scatter about one curve through all."""
    own_density_sd: float
    """Scatter of each part about its own curve."""


class LighterAgain(Finding, bears_on_print=True):
    """The print gets lighter again towards step 1, though that step gave more light."""

    darkest: tuple[StepPlace, ...]
    """Where each such half is darkest."""


class ReadingsScatter(Finding):
    """Readings scatter more than an instrument and an even coating do."""

    density_sd: float


class FilmTooDense(Finding, bears_on_print=True):
    """The film seems to take more than clear film does: one half may be misread."""

    film_density: float


class ZeroedOnPaper(Finding):
    """The lightest steps are lighter than paper is: readings may count from the bare paper."""


class StripTooShort(Finding, bears_on_print=True):
    """The clearest step is not yet the paper's maximum black: the times are extrapolated."""

    next_time: PrintingTime


class TimeUnsure(Finding, bears_on_print=True):
    """The base printing time is known only roughly."""

    halfwidth_stops: float


class FilmUnsure(Finding):
    """The film's density is known only roughly."""

    film_density_sd: float


class RangeUnusual(Finding, bears_on_print=True):
    """Another log exposure range than processes have: the tablet may be another one."""

    USUAL: ClassVar[tuple[float, float]] = 0.4, 2.2
    """Common practice, no source."""
    log_exposure_range: float
    tablet: str


class StripWhiteNotReached(Finding):
    """Even the densest step prints darker than the paper: white is extrapolated."""

    above_white_density: float


class CornerFound(Finding, kind="note"):
    """The paper reaches black, or leaves white, at a corner."""

    end: End
    step: int
    """The nearest one, under the film, at the longest time."""
    log_exposure: float
    """log10, from clear film at that time."""
    time: PrintingTime


class EyeCountsDiffer(Finding):
    """Strips judged by eye contradict each other, by no more than a miscount explains."""


class EyeStripFarTooLong(Finding, bears_on_print=True):
    """So many steps merge that a strip tells only that it is far too long, fogged or not
    cleared."""


CONTRADICTIONS = (StripsDisagree, LighterAgain)
"""Readings that no one paper gives: the times are not to be relied on."""
TIME_IN_DOUBT = (StripTooShort, TimeUnsure, FilmTooDense, RangeUnusual, *CONTRADICTIONS)
"""A curve that carries one of these may be for the wrong printing time."""

"""What is found when a curve is made or renewed: codes with their numbers, no sentences.

Ink levels are 0 to 1, lightness is CIE L*, densities are absolute unless a field says otherwise.
"""

from __future__ import annotations

from typing import Literal

from tonewright.frozen import dataclass
from tonewright.record.findings import Finding
from tonewright.record.times import PrintingTime

End = Literal["black", "white"]


@dataclass(frozen=True)
class Doubt:
    """A patch that does not fit its neighbours."""

    patch: str
    level: float
    off_by_density: float
    """Measured less expected density."""
    deviations: float
    """The same in standard deviations of a reading."""


class ToneReversal(Finding, bears_on_print=True):
    """The print gets darker although the ink gets heavier; the patches beyond do not count."""

    level_from: float
    level_to: float
    drop_lightness: float
    end: End
    """Where it happens: solarised blacks, or ink that pools in the whites."""
    unused_patches: int
    used_from: float | None
    used_to: float | None
    """Ink levels that the curve uses; None where other prints tell of those beyond."""


class BlackStillDarkening(Finding, bears_on_print=True):
    """Towards clear film the print is still getting darker: no maximum black."""

    still_gaining_lightness: float
    """Over the first tenth of the ink."""


class WhiteStillLightening(Finding, bears_on_print=True):
    """At the heaviest ink the print is still getting lighter: no paper white."""

    still_gaining_lightness: float
    """Over the last tenth of the ink."""


class WhiteDarkerThanPaper(Finding, bears_on_print=True):
    """The lightest tone levels off, but darker than any usual paper."""

    white_lightness: float
    paper_lightness: float
    """Of usual bare papers, at least."""


class PaleBlack(Finding, bears_on_print=True):
    """The black levels off, but paler than that of any process in order."""

    black_lightness: float


class ClearFilmNotMeasured(Finding, bears_on_print=True):
    """No patch of clear film; the black is taken at the lowest level."""

    lowest_level: float


class HeaviestInkNotMeasured(Finding, bears_on_print=True):
    """No patch of the heaviest ink; the curve stops at the highest level."""

    highest_level: float


class WideGap(Finding, bears_on_print=True):
    """Two neighbouring ink levels are far apart."""

    level_from: float
    level_to: float


class AbruptEnd(Finding, kind="note"):
    """The print leaves black, or reaches white, at a corner."""

    end: End
    level: float


class FewLevels(Finding):
    """Few different ink levels were measured."""

    levels: int


class DoubtfulPatchesCount(Finding, bears_on_print=True):
    """Doubtful patches count fully: each level was measured once."""


class AimBeyondPrint(Finding, bears_on_print=True):
    """The aim asks for tones that the print does not have."""

    end: End
    beyond_lightness: float


class TonesTogether(Finding, kind="note"):
    """The aim prints the picture's darkest or lightest tones alike."""

    end: End
    image_lightness: float
    """Up to here, or from here on, they fall together."""


class PatchesSetAside(Finding):
    """Of a few patches, those that fit neither the strip nor the others, and do not count."""

    patches: tuple[str, ...]


class PrintsDisagree(Finding, bears_on_print=True):
    """Strips and targets disagree more than the noise of reading explains."""

    times_noise: float


class MaximumBlackNotReached(Finding, bears_on_print=True):
    """At the curve's printing time clear film does not print the paper's maximum black."""

    above_black_lightness: float
    printing_time: PrintingTime


class PaperWhiteNotReached(Finding, bears_on_print=True):
    """The heaviest ink prints plainly darker than paper white."""

    below_white_lightness: float


class InkToSpare(Finding):
    """Less than the heaviest ink prints paper white."""

    level: float
    sure: bool
    """Whether the band allows no plainly darker tone there."""
    seen_to_level: float | None
    """Up to where prints show the ink, where that is less than ``level``."""


class InkExtrapolated(Finding, bears_on_print=True):
    """No print shows how dense the ink is above this level."""

    above_level: float


class TargetFarFromTime(Finding, bears_on_print=True):
    """A target was printed for a time far from the curve's."""

    target: int
    """Which of the recipe's prints, counted from 1."""
    target_time: PrintingTime
    printing_time: PrintingTime


class LightDiffers(Finding, bears_on_print=True):
    """Lamp, film, printer or ink differ from those of a print that the curve rests on."""

    entry: str
    """Of the setup."""
    before: str
    now: str


class TooUnsure(Finding, bears_on_print=True):
    """The band is so wide that a tone would be seen to be off."""

    halfwidth_lightness: float
    level: float


class SheetsBorrowed(Finding, kind="note"):
    """Two sheets hardly tell how much sheets differ: what is usual counts too."""

    usual_lightness: float
    """Usual standard deviation from sheet to sheet, L*."""


class TwoWeightings(Finding):
    """Old and new densities weight the spectrum differently: luminance, visual density."""

    old: str
    new: str


class StripGivenUp(Finding, kind="note"):
    """A whole new target takes the place of strip and ink."""


class NothingMoved(Finding, kind="note"):
    """The renewed curve is the old one."""

    old: str
    """Its name."""


class TakenAsBefore(Finding, kind="note"):
    """Entries of the setup that the new strip does not say and that are carried over."""

    entries: tuple[str, ...]
    process: str
    """Name of the new process."""


class AddedToCurve(Finding, kind="note"):
    """Readings that were added to a curve: they mend what it knew, and do not replace it."""

    curve: str
    """Its name."""
    prints: tuple[str, ...] = ()
    """Which prints among them; empty: all."""

"""The correction curve as a frozen document; evaluates with numpy alone."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

import tonewright.strip.findings  # noqa: F401  (a curve may carry them, and they must be known)
from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.findings import Doubt
from tonewright.curve.responses import (
    LEVELS,
    NegativeResponse,
    NeverFalling,
    PrintResponse,
    Rising,
)
from tonewright.errors import DocumentError, OptionError
from tonewright.frozen import dataclass
from tonewright.numeric.inverse import invert, invert_band
from tonewright.record.codec import Called, Document, Form, later
from tonewright.record.findings import Finding
from tonewright.record.setup import Setup
from tonewright.scales import Array

if TYPE_CHECKING:  # a negative needs none of what a curve was made from
    from tonewright.curve.recipe import Recipe
    from tonewright.measured.columns import Weighting
    from tonewright.measured.readings import Readings, Tint

_DAMAGED = "take an unedited copy, or make the curve again from its readings"
FORM = Form("tonewright-curve", 2, "correction curve", _DAMAGED)
SOURCES = ("readings", "recipe")
"""What a curve was made from."""
ROWS = 1001
"""Rows of the correction table: every 0.1 L* of the image."""
_Level = Annotated[NeverFalling, LEVELS]


@dataclass(frozen=True, eq=False)
class Correction:
    """``C``: image lightness to ink level, all arrays of shape (m,).

    ``image_lightness`` (L*) increases from 0 to 100; ``print_lightness`` is the aim within what
    the ink used prints, just short of the blackest black and the whitest white; ``level`` prints
    it; between ``level_low`` and ``level_high`` the true level lies 95 times in 100.
    """

    image_lightness: Rising
    print_lightness: NeverFalling
    level: _Level
    level_low: _Level
    level_high: _Level

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        low, level, high = self.level_low, self.level, self.level_high
        astray = np.flatnonzero((low > level) | (level > high))
        if astray.size:
            row = int(astray[0])
            raise OptionError(
                f"the level {level[row]:g} lies between {low[row]:g} and {high[row]:g} (row"
                f" {row + 1})", "level_low, level and level_high stand in this order", "")
        first, last = self.image_lightness[[0, -1]]
        if first != 0.0 or last != 100.0:
            raise OptionError(f"the image lightness runs from {first:g} to {last:g}",
                              "it runs from 0 to 100", "")


@dataclass(frozen=True)
class Summary:
    """What was found, in numbers; None where it is not known."""

    black_lightness: float
    white_lightness: float
    level_black: float
    """Ink of picture black."""
    level_white: float
    noise_density_sd: float
    print_to_print_lightness_sd: float | None
    doubtful: Annotated[tuple[Doubt, ...], Called("doubtful patch")]
    """Worst first."""
    band_halfwidth_mean: float
    band_halfwidth_max: float
    least_sure_level: float
    negative_density_range: float | None
    """Printing density of picture white above that of picture black; None: not known."""
    few_patches_moved_lightness: float | None = None
    """Largest L* that a few patches moved the curve by; None: there are none."""
    disagreement: float | None = None
    """How many times worse strips and targets agree than their readings should; None: they do."""

    @classmethod
    def of_response(
        cls, response: PrintResponse, correction: Correction, **more: Any
    ) -> Summary:
        """What a response and the correction made from it say by themselves."""
        black, white = map(float, correction.level[[0, -1]])
        half = (response.lightness_high - response.lightness_low) / 2.0
        return cls(
            black_lightness=round(float(response.lightness[0]), 3),
            white_lightness=round(float(response.lightness[-1]), 3),
            level_black=round(black, 5), level_white=round(white, 5),
            band_halfwidth_mean=round(float(np.mean(half)), 3),
            band_halfwidth_max=round(float(np.max(half)), 3),
            least_sure_level=round(float(response.level[np.argmax(half)]), 4), **more)


@dataclass(frozen=True)
class Settings:
    """What the fit was told, so that it can be done again."""

    aim: Aim
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ancestor:
    """The curve that this one renews."""

    name: str
    sha256: str
    setup: Setup


def _readings() -> Any:
    from tonewright.measured.readings import Readings

    return Readings | None


def _recipe() -> Any:
    from tonewright.curve.recipe import Recipe  # a plain curve does without

    return Recipe | None


@dataclass(frozen=True, eq=False, kw_only=True)
class Curve(Document):
    """A finished correction curve with all that it came from."""

    form = FORM
    made_by: str
    name: str
    setup: Setup
    settings: Settings
    ancestor: Ancestor | None = None
    summary: Summary
    findings: tuple[Finding, ...] = ()
    """Those of the strip that bear on a print, and the curve's own."""
    correction: Correction
    response: PrintResponse
    negative: NegativeResponse | None = None
    """Printing density of the ink, where a process response made it known."""
    plan: Annotated[tuple[float, ...], LEVELS] = ()
    """Ink levels that would help most if they were printed and measured next."""
    readings: Readings | None = field(default=None, metadata=later(_readings))
    """Those that lie on the curve; None where it was derived without such a print."""
    recipe: Recipe | None = field(default=None, metadata=later(_recipe))
    """What a curve by way of process and negative was made from; None for a plain fit."""

    @classmethod
    def decode(cls, data: Any, *, sources: bool = True) -> Curve:
        """Check a document and rebuild the curve.

        Without ``sources`` readings and recipe are left out: a negative needs neither, and starts
        sooner.

        Raises `DocumentError`: another format or version, a missing part, a table that is not
        monotone, or a value of the wrong kind; the message names it.
        """
        curve = FORM.decode(Curve, data, skip=() if sources else SOURCES)
        if sources and curve.readings is None and curve.recipe is None:
            raise DocumentError("the curve has neither readings nor a recipe",
                                "a curve carries what it was made from", _DAMAGED)
        return curve

    @property
    def scale(self) -> Weighting:
        """What the densities behind the curve were weighted with."""
        if self.readings is not None:
            return self.readings.scale
        assert self.recipe is not None
        return self.recipe.own_process.strip.scale

    @property
    def relative_to_paper(self) -> bool:
        """Whether lightness counts from the bare paper."""
        return self.readings is not None and self.readings.relative_to_paper

    @property
    def measured(self) -> tuple[Readings, ...]:
        """All readings that it was made from, those of other times and papers among them."""
        prints = () if self.recipe is None else self.recipe.prints
        return tuple(r for r in (self.readings, *(p.readings for p in prints)) if r is not None)

    @property
    def tints(self) -> tuple[Tint, ...]:
        """Colours that prints on this paper and chemistry had; empty where no reading says."""
        recipe = self.recipe
        read = [self.readings] if recipe is None else [
            p.readings for p in recipe.prints if p.process == recipe.process]
        return tuple(t for readings in read if readings for t in readings.tints or ())

    def as_ancestor(self, sha256: str) -> Ancestor:
        """What a curve made from it keeps of it; ``sha256`` is that of its file."""
        return Ancestor(self.name, sha256, self.setup)

    def level_at(self, image_lightness: ArrayLike) -> Array:
        """Ink level (0 to 1) for image lightness (L*, 0 to 100), any shape."""
        return np.asarray(np.interp(np.asarray(image_lightness, dtype=np.float64),
                                    self.correction.image_lightness, self.correction.level))

    def print_lightness_at(self, image_lightness: ArrayLike) -> Array:
        """Print lightness (L*) that a tone of the image (L*, 0 to 100) comes out with, any shape:
        ``P(C(tone))``, which everything that promises, shows or checks a print goes by."""
        return self.response.lightness_at(self.level_at(image_lightness))

    def code_at(self, image_lightness: ArrayLike) -> NDArray[np.uint16]:
        """16-bit code of the negative (65535 clear film) for image lightness (L*)."""
        return scales.level_to_code(self.level_at(image_lightness))


def make_correction(
    response: PrintResponse, aim: Aim, usable: tuple[float, float]
) -> Correction:
    """Invert a print response at the aim, using only levels between ``usable`` (black, white)."""
    image = np.linspace(0.0, 100.0, ROWS)
    wanted = aim.print_lightness(image, *response.ends)
    level = np.clip(invert(response.level, response.lightness, wanted), min(usable), max(usable))
    low, high = invert_band(response.level, response.lightness_low, response.lightness_high,
                            wanted)
    # rounded, so that a rebuild on another machine gives the same bytes
    level, low, high = (_rising(v) for v in (level, low, high))
    return Correction(np.round(image, 9), np.round(response.lightness_at(level), 6), level,
                      np.minimum(low, level), np.maximum(high, level))


def _rising(values: Array) -> Array:
    return np.asarray(np.round(np.maximum.accumulate(values), 9), dtype=np.float64)


def refuse_two_zeros(theirs: bool, mine: bool, whose: str) -> None:
    """Raise `OptionError` if one counts from the bare paper (True) and the other does not.

    The two differ by the paper's own density: some 8 L* in the light tones.
    """
    if theirs == mine:
        return
    from_paper, absolute = "counts from the bare paper", "is absolute"
    here, there = (from_paper, absolute) if mine else (absolute, from_paper)
    raise OptionError(
        f"{whose} {there}, the new measurement {here}",
        "the two are not compared: they differ by the density of the paper",
        "measure both in the same way, or name the density of the paper: it makes a measurement"
        " absolute", code="two_zeros")

"""What a curve promises of a print: the density of each patch, and how far a good print may lie
from it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property

import numpy as np

from tonewright import scales
from tonewright.check.aims import PrintedTones
from tonewright.curve.chains import SHEET_DENSITY_SD, USUAL_RANGE
from tonewright.curve.document import Curve
from tonewright.curve.fit import NOISE_FLOOR
from tonewright.curve.sheets import USUAL_SHEETS_LIGHTNESS, USUAL_SHEETS_WORTH, band_width
from tonewright.frozen import dataclass
from tonewright.numeric.alternatives import Noise
from tonewright.numeric.student import WITHIN_95
from tonewright.scales import STOP, Array

USUAL_WORTH = 12.0
"""Degrees of freedom with which the usual scatter of sheets is known where no curve tells: one
printer's sheets differ a fifth more or a fifth less than another's (from memory, no source)."""
ALONG = 0.12
"""Ink level over which a curve's error keeps its sign: about a tenth of the scale, as smooth fits
through twenty to fifty levels have it."""
UNEVEN_SD, UNEVEN_REACH = 0.006, 0.3
"""Exposure (log10) that an even coating still varies by, and over which part of the sheet."""
SESSION_SD = 0.003
"""Density by which all readings of one day differ from another day's: an instrument holds its zero
within 0.005, a scanner its lamp (from memory, no source)."""
UNSTATED_SD = 0.01
"""Standard deviation of a densitometer's readings, where they state none and the curve was measured
otherwise (from memory, no source)."""
FORMS = (0.6, 1.0, 1.6)
"""Shapes of the process response, where no strip tells: the power ``v`` of the generalised logistic
curve ``(1 + exp(-k x))**-v`` (Richards 1959) that density rises by with log exposure; 1 is as steep
to the black as to the white."""
LEAST_RISE = 0.002
"""Nearest to black and to white that such a curve is followed."""
MODES = {"exposure": 0.05 * STOP, "contrast": 0.015, "black": 0.015, "white": 0.002}
"""How the ways in which good sheets differ compare: log10 exposure, a share, densities.  Their
size all together is that of the sheets."""
ENDS = ("black", "white")
"""Those of them that a strip tells of as well as a target."""


@dataclass(frozen=True, eq=False)
class Response:
    """How the print's densities answer to light, ink and contrast, around what a curve promises.

    With a strip behind the curve by way of its process response; without, by a sigmoid, as all
    processes have it more or less, and amounts of light are not known.
    """

    curve: Curve
    form: float = 1.0
    """Without a strip: of the sigmoid, see `FORMS`."""

    def forms(self) -> list[Response]:
        """The same for each form that the process may have; one where a strip tells."""
        return [self] if self.has_strip else [replace(self, form=f) for f in FORMS]

    @cached_property
    def has_strip(self) -> bool:
        """Whether amounts of light can be told from the curve."""
        return self.curve.recipe is not None and self.curve.negative is not None

    @cached_property
    def ends(self) -> tuple[float, float]:
        """Density of the black at clear film, and of the white at the heaviest ink."""
        light = self.curve.response.lightness[[0, -1]]
        black, white = scales.lightness_to_density(np.maximum(light, 0.1))
        return float(black), float(white)

    def density(self, level: Array) -> Array:
        """What the curve promises at ink levels, any shape."""
        light = np.maximum(self.curve.response.lightness_at(level), 0.1)
        return scales.lightness_to_density(light)

    def rise(self, density: Array) -> Array:
        """How far densities lie from white (0) to black (1), any shape."""
        black, white = self.ends
        return np.clip((density - white) / max(black - white, 1e-6), 0.0, 1.0)

    def moved(self, level: Array, light: Array | float = 0.0, ink: Array | float = 0.0,
              contrast: Array | float = 0.0) -> Array:
        """Density at ink levels (n,) for so much more light (log10), so much denser ink and so
        much more contrast (shares; of the middle tone the contrast changes nothing): numbers, or
        several of one kind, shape (k, 1), for which it is of shape (k, n)."""
        x = self._exposure(level)
        middle = self._middle
        there = x * (1.0 + ink) + light
        there = middle + (there - middle) * (1.0 + contrast)
        return self.density(level) + self._print(there) - self._print(x)

    def steepness(self, level: Array, light: float = 0.0) -> Array:
        """Density per log10 exposure at ink levels, any shape, given so much more light."""
        step = 0.01
        return (self.moved(level, light + step) - self.moved(level, light)) / step

    @cached_property
    def _middle(self) -> float:
        fine = np.linspace(0.0, 1.0, 501)
        light = self.curve.response.lightness_at(fine)
        half = 0.5 * (light[0] + light[-1])
        return float(np.interp(half, light, self._exposure(fine)))

    def _exposure(self, level: Array) -> Array:
        """log10, from clear film at the curve's time: 0 and less."""
        negative = self.curve.negative
        if not self.has_strip or negative is None:
            clear, steepness = self._sigmoid
            rise = np.clip(self.rise(self.density(level)), LEAST_RISE, 1.0 - LEAST_RISE)
            return (self._climb(rise) - clear) / steepness
        return -negative.density_at(level)

    def _climb(self, rise: Array) -> Array:
        """How far along the sigmoid its rise lies, in units of its steepness."""
        return np.asarray(-np.log(np.power(rise, -1.0 / self.form) - 1.0))

    @cached_property
    def _sigmoid(self) -> tuple[float, float]:
        """Where on it clear film lies, and how steep it is: all of it takes the usual range."""
        low, high = self._climb(np.array([LEAST_RISE, 1.0 - LEAST_RISE])).tolist()
        return high, (high - low) / USUAL_RANGE

    def _print(self, exposure: Array) -> Array:
        recipe = self.curve.recipe
        if not self.has_strip or recipe is None:
            (black, white), (clear, steepness) = self.ends, self._sigmoid
            rise = np.power(1.0 + np.exp(-steepness * exposure - clear), -self.form)
            return np.asarray(white + (black - white) * rise)
        process = recipe.own_process
        here = process.shift(recipe.printing_time)
        return np.interp(exposure + here, process.exposure, process.density)


@dataclass(frozen=True, eq=False)
class Promise(Noise):
    """Of each patch: what is promised, and how the density may differ in a good print; in size
    unknown is how sheets differ."""

    density: Array
    """Shape (n,)."""
    spot: Array
    """Variance of the reading and of the spot of coating under it, shape (n,)."""

    def with_sheets(self, size: float, dof: float) -> Promise:
        """With sheets that differ by so many times the variance, known with so many degrees of
        freedom."""
        return replace(self, sized=self.sized * size, dof=dof)

    def scatter(self, off: Array, tones: PrintedTones) -> tuple[float, float]:
        """How many times the expected variance sheets differ by, as several prints of the same
        tones tell it, and the degrees of freedom with which that is known.

        ``off`` (n,) are the differences in density.  Whatever moves all prints alike drops out of
        how they differ from each other; over a grid of sizes, the chance of that and what was
        known before (a scaled inverse chi-square) are put together.
        """
        if len(np.unique(tones.sheet)) < 2:
            return 1.0, self.dof
        level = np.round(tones.readings.level, 4)
        alike = np.equal.outer(level, level)
        apart = np.eye(off.size) - alike / alike.sum(axis=1)[:, None]
        value, vector = np.linalg.eigh(apart)
        rows = vector[:, value > 0.5].T
        if not len(rows):
            return 1.0, self.dof
        size = np.exp(np.linspace(-3.0, 3.0, 61))
        chance = np.array([_log_normal(rows @ off, rows @ (self.known + s * self.sized) @ rows.T)
                           for s in size])
        before = -0.5 * self.dof * (np.log(size) + 1.0 / size)
        weight = np.exp(chance + before - np.max(chance + before))
        weight /= weight.sum()
        # the inverse of the size is gamma: its mean and variance give size and worth
        mean = float(weight @ (1.0 / size))
        return 1.0 / mean, 2.0 * mean**2 / float(weight @ (1.0 / size - mean) ** 2)


def _log_normal(x: Array, covariance: Array) -> float:
    return -0.5 * float(np.linalg.slogdet(covariance)[1] + x @ np.linalg.solve(covariance, x))


def promise(
    curve: Curve, tones: PrintedTones, response: Response, light: float = 0.0
) -> Promise:
    """What the curve promises of these tones, and how far a good print of them may lie off.

    ``light``: how much more than at the curve's time the print was given, log10.
    """
    level = tones.readings.level
    density = response.moved(level, light)
    slope = scales.lightness_per_density(scales.density_to_lightness(density))
    noise = _noise_sd(curve, tones) ** 2
    near = np.exp(-0.5 * ((level[:, None] - level[None, :]) / ALONG) ** 2)
    same = np.equal.outer(tones.sheet, tones.sheet)
    sheets = _sheets(curve)
    forms = response.forms()
    spread, left = (sum(_spread(form, level, sheets.lightness_sd, share) for form in forms)
                    / len(forms) for share in (np.ones(len(MODES)), sheets.shared))
    table = curve.response
    band = np.interp(level, table.level, table.lightness_high - table.lightness_low)
    band_variance = (band / (2.0 * sheets.band_width) / slope) ** 2
    if sheets.in_band:  # it has a form of its own; what the readings scatter by remains
        band_variance = np.maximum(band_variance - np.diag(left), np.mean(noise) / _averaged(curve))
    band_sd = np.sqrt(band_variance)
    steep = response.steepness(level, light)
    uneven = UNEVEN_SD**2 * np.outer(steep, steep) * nearness(tones)
    known = np.diag(noise) + near * np.outer(band_sd, band_sd) + same * uneven + SESSION_SD**2
    return Promise(known, same * spread + left, sheets.worth, density, noise)


def _averaged(curve: Curve) -> float:
    """How many patches a smooth curve is the mean of at each level, over `ALONG`."""
    count = sum(len(readings.patches) for readings in curve.measured)
    return max(count * ALONG * math.sqrt(2.0 * math.pi), 1.0)


def nearness(tones: PrintedTones) -> Array:
    """How far the unevenness of a sheet is the same at two patches, 0 to 1, shape (n, n)."""
    place = tones.place
    if place is None:  # most likely in a row
        place = tones.image[:, None] / 100.0
    apart = np.sum((place[:, None, :] - place[None, :, :]) ** 2, axis=2)
    return np.asarray(np.exp(-0.5 * apart / UNEVEN_REACH**2))


def _noise_sd(curve: Curve, tones: PrintedTones) -> Array:
    """Of each patch, in density: what the curve's own patches scattered by, coating and all, or
    what the reading says of itself, if that is more.

    A curve whose readings state their scatter was read from a scan, which averages a patch of
    thousands of pixels: that is nothing to judge a reading by that states none.
    """
    usual = curve.summary.noise_density_sd
    if curve.recipe is not None:  # it holds how strip and target differ, too
        usual = math.sqrt(max(usual**2 - SHEET_DENSITY_SD**2, NOISE_FLOOR**2))
    stated = any(p.density_sd for readings in curve.measured for p in readings.patches)
    return np.array([max(p.density_sd or (UNSTATED_SD if stated else 0.0), usual)
                     for p in tones.readings.patches])


@dataclass(frozen=True)
class _Sheets:
    """How good sheets differ, by what a curve knows."""

    lightness_sd: float
    """From sheet to sheet, L*."""
    worth: float
    """Degrees of freedom that this is known with."""
    shared: Array
    """Part of the variance of each of `MODES` that the curve's own sheets have left in it, alike
    for all prints."""
    in_band: bool
    """Whether the curve's band holds that part."""
    band_width: float
    """Of the band, in standard deviations to either side."""


def _sheets(curve: Curve) -> _Sheets:
    known = curve.summary.print_to_print_lightness_sd
    names = {p.print_name for p in curve.readings.patches} if curve.readings else set()
    count = max(len(names), 1)
    # the curve follows its target's sheet; of black and white the strip's sheet tells as much
    by_strip = curve.recipe is not None
    shared = np.array([1.0 / (count + (by_strip and mode in ENDS)) for mode in MODES])
    if known is None:  # the band of a curve by way of a strip holds how strip and target differ
        return _Sheets(USUAL_SHEETS_LIGHTNESS, USUAL_WORTH, shared, by_strip, WITHIN_95)
    own = max(count - 1.0, 1.0)
    total = own * known**2 + USUAL_SHEETS_WORTH * USUAL_SHEETS_LIGHTNESS**2
    worth = own + USUAL_SHEETS_WORTH
    return _Sheets(math.sqrt(total / worth), worth, shared, True, band_width(count))


def _spread(response: Response, level: Array, lightness_sd: float, share: Array) -> Array:
    """Covariance of the densities of one sheet about the mean sheet's, or a ``share`` of each of
    `MODES` of it; shape (n, n)."""
    modes = _modes(response, level) * np.sqrt(share) * (lightness_sd / _size(response))
    return np.asarray(modes @ modes.T)


def _modes(response: Response, level: Array) -> Array:
    """The ways in which good sheets differ, as shifts of density, shape (n, modes)."""
    density = response.density(level)
    rise = response.rise(density)
    return np.stack([
        response.moved(level, light=MODES["exposure"]) - density,
        response.moved(level, contrast=MODES["contrast"]) - density,
        MODES["black"] * rise, MODES["white"] * (1.0 - rise)], axis=1)


def _size(response: Response) -> float:
    """Mean standard deviation in L* that the modes make over even steps of tone."""
    level = response.curve.level_at(np.linspace(0.0, 100.0, 41))
    slope = scales.lightness_per_density(scales.density_to_lightness(response.density(level)))
    return float(np.mean(slope * np.sqrt(np.sum(_modes(response, level) ** 2, axis=1))))

"""The virtual darkroom: printing with known truth, and reading the prints with known flaws.

The same seed gives the same prints.  All materials are invented.  Their every shape is a closed
formula, so that the truth is exact.  None is a spline: what the program fits to readings must not
be tried on a copy of itself.

Exposure follows the conventions of `scales`: 0 is what reaches the coating through clear film
at the base printing time, and that time is the one at which step 2 of a tablet (0.10 denser
than clear film) comes out just visibly lighter than maximum black.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Reading, Readings
from tonewright.scales import Array
from tonewright.target.layout import row_name

# ISO 6846:1992, clause 5.6: the two points that the log exposure range lies between.
TOE_DENSITY = 0.04
SHOULDER_FRACTION = 0.90
JUST_VISIBLE = 1.0
"""L* that step 2 lies above maximum black at the base printing time."""


@dataclass(frozen=True)
class Ink:
    """Ink level (0 to 1) to printing density, the film base excluded."""

    max_density: float
    """Printing density at level 1."""
    shape: Callable[[Array, float], Array]
    """From 0 at level 0 to 1 at level 1."""
    form: float = 1.0
    """What the shape takes besides."""

    def printing_density(self, level: ArrayLike) -> Array:
        """Printing density of ink levels (0 to 1), any shape; 0 at level 0."""
        return np.asarray(
            self.max_density * self.shape(np.asarray(level, dtype=np.float64), self.form))


def flattening(u: Array, form: float) -> Array:
    """``1 - exp(-form u)``: little more is blocked near full ink."""
    return np.asarray(np.expm1(-form * u) / math.expm1(-form))


@dataclass(frozen=True)
class Lamp:
    """A light and how the coating adds it up: ``E = intensity * time**reciprocity``.

    The law is Schwarzschild's (1900): with an exponent below 1, one stop more exposure takes
    more than twice the time.
    """

    intensity: float = 1.0
    """Relative; halved, every time doubles (at an exponent of 1)."""
    reciprocity: float = 1.0
    """Schwarzschild's exponent; 1: time and intensity trade evenly."""

    def log_exposure(self, time: ArrayLike) -> Array:
        """log10 of the exposure after a time in seconds (above 0), nothing in between."""
        seconds = np.asarray(time, dtype=np.float64)
        return np.asarray(math.log10(self.intensity) + self.reciprocity * np.log10(seconds))

    def time(self, log_exposure: float) -> float:
        """Seconds that give this log10 exposure; the inverse of `log_exposure`."""
        return float(10.0 ** ((log_exposure - math.log10(self.intensity)) / self.reciprocity))


def richards(z: Array, nu: float) -> Array:
    """Generalised logistic; above 1 the shoulder is the quicker end, below 1 the toe."""
    return np.asarray((1.0 + nu * np.exp(-z)) ** (-1.0 / nu))


def straight(z: Array, toe: float, shoulder: float) -> Array:
    """A straight line from 0 to 1 whose two ends are rounded by so much of its length."""
    risen = toe * np.logaddexp(0.0, z / toe)
    capped = 1.0 - shoulder * np.logaddexp(0.0, (1.0 - risen) / shoulder)
    floor = 1.0 - shoulder * math.log1p(math.exp(1.0 / shoulder))
    return np.asarray((capped - floor) / (1.0 - floor))


@dataclass(frozen=True)
class Process:
    """Paper, coating and developer together: log10 exposure to visual print density."""

    shape: Callable[..., Array]
    """From 0 to 1."""
    form: tuple[float, ...] = ()
    """What the shape takes besides."""
    white_density: float = 0.08
    """Of the paper."""
    black_density: float = 1.6
    """What the density rises to with ever more exposure."""
    log_exposure_range: float = 1.5
    """By ISO 6846: from white + 0.04 to white + 0.90 (black - white)."""
    speed_exposure: float = 2.6
    """log10 exposure at the upper of those two points; smaller is faster."""

    @cached_property
    def _anchors(self) -> tuple[float, float]:
        """The standard shape's own argument at the two points of ISO 6846."""
        net = self.black_density - self.white_density
        toe = rising_root(lambda z: float(self._rise(np.array(z))), TOE_DENSITY / net, -50, 50)
        end = rising_root(lambda z: float(self._rise(np.array(z))), SHOULDER_FRACTION, -50, 50)
        return toe, end

    def _rise(self, z: Array) -> Array:
        return self.shape(np.clip(z, -50.0, 50.0), *self.form)

    def density(self, log_exposure: ArrayLike) -> Array:
        """Print density at log10 exposures of any shape, before any flaw."""
        past = np.asarray(log_exposure, dtype=np.float64) - self.speed_exposure
        toe, shoulder = self._anchors
        rise = self._rise(shoulder + past * (shoulder - toe) / self.log_exposure_range)
        return np.asarray(self.white_density + (self.black_density - self.white_density) * rise)

    @property
    def blackest(self) -> tuple[float, float]:
        """(log10 exposure, density) of maximum black; here the limit density."""
        return self.speed_exposure + 10.0 * self.log_exposure_range, self.black_density


def rising_root(function: Callable[[float], float], value: float, low: float, high: float) -> float:
    """Where a rising function reaches a value, by bisection to the last bit.

    Outside its range the nearer end is returned.
    """
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if function(middle) < value:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


# Invented figures throughout: plausible, measured on nothing.
DEMO_INK = Ink(2.3, flattening, 1.1)
KALLITYPE = Process(richards, (0.75,), 0.09, 1.62, 1.50, 2.62)
CYANOTYPE = Process(straight, (0.16, 0.11), 0.10, 1.38, 1.15, 2.45)


@dataclass(frozen=True)
class Darkroom:
    """One printer's materials, and the truth about them.

    Levels are 0 to 1, times in seconds (None: `printing_time`), densities visual print
    densities, lightness CIE L*; arrays of any shape give the same shape back.
    """

    ink: Ink = DEMO_INK
    process: Process = KALLITYPE
    film_density: float = 0.06
    """Printing density of the clear film that a negative is printed on."""
    lamp: Lamp = field(default_factory=Lamp)
    step_density: float = 0.10
    """Printing density of step 2."""
    printing_time: float | None = None
    """Seconds that everything is printed for unless told otherwise; None: `base_time`."""

    @property
    def max_black_density(self) -> float:
        """Density of maximum black."""
        return self.process.blackest[1]

    @cached_property
    def base_log_exposure(self) -> float:
        """The process's own log10 exposure where `exposure` is 0."""
        black = float(scales.density_to_lightness(self.max_black_density))
        density = float(scales.lightness_to_density(black + JUST_VISIBLE))
        low = self.process.speed_exposure - 20.0
        found = rising_root(
            lambda x: float(self.process.density(x)), density, low, self.process.blackest[0]
        )
        return found + self.step_density

    @cached_property
    def base_time(self) -> float:
        """The base printing time, seconds, through the film."""
        return self.lamp.time(self.base_log_exposure + self.film_density)

    def exposure(self, level: ArrayLike, time: float | None = None, *, bare: bool = False) -> Array:
        """Exposure (log10, 0 as in `scales`) behind ink levels; `bare`: no film in between."""
        return self.tablet_exposure(self.ink.printing_density(level), time, bare=bare)

    def tablet_exposure(
        self, density: ArrayLike, time: float | None = None, *, bare: bool = False
    ) -> Array:
        """Exposure (log10) behind a printing density such as a tablet step's."""
        longer = 0.0
        seconds = self.printing_time if time is None else time
        if seconds is not None:
            reached = float(self.lamp.log_exposure(seconds)) - self.film_density
            longer = reached - self.base_log_exposure
        base = self.film_density if bare else 0.0
        return np.asarray(longer + base - np.asarray(density, dtype=np.float64))

    def process_density(self, exposure: ArrayLike) -> Array:
        """The process response: print density at exposures (log10, 0 as in `scales`)."""
        return self.process.density(np.asarray(exposure, dtype=np.float64) + self.base_log_exposure)

    def print_density(self, level: ArrayLike, time: float | None = None) -> Array:
        """The print response: exact print density of ink levels."""
        return self.process_density(self.exposure(level, time))

    def print_lightness(self, level: ArrayLike, time: float | None = None) -> Array:
        """Exact CIE L* of ink levels."""
        return scales.density_to_lightness(self.print_density(level, time))


@dataclass(frozen=True)
class Flaws:
    """What goes wrong between the exact print and the number written down; all 0: nothing."""

    noise_density_sd: float = 0.02
    """Of the instrument, for every single reading."""
    speed_sd: float = 0.0
    """From sheet to sheet, in log10 exposure (0.03 is a tenth of a stop)."""
    contrast_sd: float = 0.0
    """From sheet to sheet, relative change of the log exposure range."""
    black_density_sd: float = 0.0
    """From sheet to sheet."""
    uneven_exposure_sd: float = 0.0
    """Of the coating across one sheet, smooth, in log10 exposure."""
    texture_density_sd: float = 0.0
    """Of the paper's grain, pixel to pixel; a patch reading averages a hundred grains."""
    stains: int = 0
    """How many patches of each target (or each strip half) carry a stain."""
    stain_density: float = 0.15
    """Added to a stained patch."""
    states_sd: bool = False
    """The instrument writes its noise beside each reading as `density_sd`."""

    def sheet(self, darkroom: Darkroom, rng: np.random.Generator) -> Process:
        """The process as it turned out on one sheet."""
        speed, contrast, black = rng.standard_normal(3)
        process = darkroom.process
        return replace(
            process,
            speed_exposure=process.speed_exposure + self.speed_sd * float(speed),
            log_exposure_range=process.log_exposure_range
            * float(np.exp(self.contrast_sd * contrast)),
            black_density=process.black_density + self.black_density_sd * float(black),
        )

    def print_density(
        self, darkroom: Darkroom, exposure: Array, rng: np.random.Generator
    ) -> Array:
        """Print densities on one sheet, as that sheet's own process gives them."""
        return self.sheet(darkroom, rng).density(exposure + darkroom.base_log_exposure)

    def uneven(self, across: Array, down: Array, rng: np.random.Generator) -> Array:
        """Exposure (log10) that places (0 to 1) on a sheet get beyond the sheet's: smooth."""
        waves = rng.uniform(-1.5, 1.5, size=(6, 2))
        phases = rng.uniform(0.0, 2.0 * np.pi, size=6)
        total = np.zeros(np.broadcast(across, down).shape)
        for (kx, ky), phase in zip(waves, phases, strict=True):
            total += np.cos(2.0 * np.pi * (kx * across + ky * down) + phase)
        return np.asarray(self.uneven_exposure_sd * total / np.sqrt(3.0))

    def read(self, density: Array, rng: np.random.Generator) -> tuple[Array, NDArray[np.bool_]]:
        """Densities as an instrument gives them, never below 0, and which were stained."""
        stained = np.zeros(density.shape, dtype=np.bool_)
        stained[rng.permutation(density.size)[: self.stains]] = True
        grain = 0.1 * self.texture_density_sd
        seen = density + float(np.hypot(self.noise_density_sd, grain)) * rng.standard_normal(
            density.shape
        )
        return np.maximum(seen + self.stain_density * stained, 0.0), stained


NO_FLAWS = Flaws(noise_density_sd=0.0)


@dataclass(frozen=True)
class TargetReadings:
    """A printed target as measured, and what only the virtual darkroom knows about it."""

    readings: Readings
    stained: tuple[str, ...]
    """Names of the patches that carry a stain."""


def measure_target(
    darkroom: Darkroom,
    levels: ArrayLike,
    repeats: int = 1,
    *,
    flaws: Flaws | None = None,
    sheets: int = 1,
    seed: int = 0,
) -> TargetReadings:
    """Print a target in the virtual darkroom and measure it.

    ``levels`` of ink are 0 to 1, shape (n,); of each there are ``repeats`` patches on each sheet,
    scattered over it.  ``flaws`` None: `Flaws()`, an instrument noise of 0.02 alone.  ``sheets``
    are the prints made, named "sheet 1", "sheet 2", …

    Raises `OptionError` if a level is not between 0 and 1.
    """
    flaws = Flaws() if flaws is None else flaws
    rng = np.random.default_rng(seed)
    wanted = np.repeat(np.asarray(levels, dtype=np.float64), repeats)
    outside = wanted[~((wanted >= 0.0) & (wanted <= 1.0))]
    if outside.size:
        raise OptionError(
            f"level {outside[0]:g}",
            "a level lies between 0 (clear film) and 1 (heaviest ink)",
            "divide percents by 100",
        )
    places = rng.permutation(wanted.size)
    across = int(np.ceil(np.sqrt(wanted.size)))
    row, column = places // across, places % across
    patches: list[Reading] = []
    stained: list[str] = []
    for sheet in range(1, sheets + 1):
        uneven = flaws.uneven(column / across, row / across, rng)
        exact = flaws.print_density(darkroom, darkroom.exposure(wanted) + uneven, rng)
        density, spoilt = flaws.read(exact, rng)
        prefix = f"{sheet}-" if sheets > 1 else ""
        names = [f"{prefix}{row_name(r)}{c + 1:02d}" for r, c in zip(row, column, strict=True)]
        sd = flaws.noise_density_sd if flaws.states_sd else None
        patches += [
            Reading(float(u), float(d), sd, f"sheet {sheet}", name)
            for u, d, name in zip(wanted, density, names, strict=True)
        ]
        stained += [name for name, bad in zip(names, spoilt, strict=True) if bad]
    readings = Readings(tuple(patches), "visual-density", relative_to_paper=False)
    return TargetReadings(readings, tuple(stained))


@dataclass(frozen=True)
class StripReadings:
    """A step-tablet strip as measured, half of it covered by clear film; arrays of shape (n,)."""

    step: NDArray[np.int64]
    """1, 2, … in the order of the tablet."""
    density_film: Array
    """Print density under the film."""
    density_bare: Array
    """Print density beside the film."""
    stained_film: NDArray[np.bool_]
    stained_bare: NDArray[np.bool_]


def measure_strip(
    darkroom: Darkroom,
    tablet_densities: ArrayLike,
    time: float | None = None,
    *,
    flaws: Flaws | None = None,
    seed: int = 0,
) -> StripReadings:
    """Print a step tablet on one strip, half through clear film, and measure both halves.

    ``tablet_densities`` are printing densities, the clearest step first, shape (n,); ``time`` is in
    seconds, None: the darkroom's `printing_time`.  ``flaws`` None: as for `measure_target`.
    """
    flaws = Flaws() if flaws is None else flaws
    rng = np.random.default_rng(seed)
    steps = np.asarray(tablet_densities, dtype=np.float64)
    along = np.arange(steps.size) / max(steps.size, 1)
    side = np.repeat([0.25, 0.75], steps.size)
    uneven = flaws.uneven(np.tile(along, 2), side, rng)
    halves = [darkroom.tablet_exposure(steps, time, bare=bare) for bare in (False, True)]
    exact = flaws.print_density(darkroom, np.concatenate(halves) + uneven, rng)
    film, stained_film = flaws.read(exact[: steps.size], rng)
    bare, stained_bare = flaws.read(exact[steps.size :], rng)
    return StripReadings(np.arange(1, steps.size + 1), film, bare, stained_film, stained_bare)


def print_image(
    negative: NDArray[np.uint16],
    darkroom: Darkroom,
    *,
    flaws: Flaws | None = None,
    seed: int = 0,
) -> Array:
    """Contact-print a negative, 16-bit codes (65535 clear film), shape (rows, columns): the print's
    CIE L* at each pixel.

    Of the ``flaws`` texture, unevenness and the sheet's own process are printed, and readings play
    no part; None: a perfect sheet.  The negative is mirrored: it lies ink to coating, and the
    print reads right.
    """
    flaws = NO_FLAWS if flaws is None else flaws
    rng = np.random.default_rng(seed)
    codes = negative[:, ::-1]
    table = darkroom.exposure(scales.code_to_level(np.arange(scales.FULL_CODE + 1)))
    process = flaws.sheet(darkroom, rng)
    if flaws.uneven_exposure_sd:
        rows, columns = codes.shape
        across, down = np.arange(columns) / columns, np.arange(rows)[:, None] / rows
        exposure = table[codes] + flaws.uneven(across, down, rng)
        # 4001 points over some 3 in exposure: linear steps between them are off by under 1e-6
        points = np.linspace(exposure.min(), exposure.max(), 4001)
        density = np.interp(exposure, points, process.density(points + darkroom.base_log_exposure))
    else:
        density = process.density(table + darkroom.base_log_exposure)[codes]
    if flaws.texture_density_sd:
        density = density + flaws.texture_density_sd * _grain(density.shape, rng)
    return scales.density_to_lightness(np.maximum(density, 0.0))


def _grain(shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    """Noise of sd 1 whose grains are about two pixels wide."""
    rows, columns = shape
    noise = rng.standard_normal((rows + 1, columns + 1))
    return np.asarray(0.5 * (noise[1:, 1:] + noise[:-1, 1:] + noise[1:, :-1] + noise[:-1, :-1]))

"""Materials, scanners and spoilt sheets drawn at random, and prints that only tests make.

All invented, and the same seed gives the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from materials import INK_SHAPES, PROCESS_SHAPES, richards, straight, two_layer
from tonewright import frozen, scales
from tonewright.measured.readings import Reading, Readings
from tonewright.scales import Array
from tonewright.target.document import Target
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import (
    CYANOTYPE,
    DEMO_INK,
    KALLITYPE,
    Darkroom,
    Flaws,
    Ink,
    Lamp,
    Process,
    TargetReadings,
    rising_root,
)
from tonewright.virtual.scanroom import (
    CLEAN,
    Lying,
    OnGlass,
    PaperFlaws,
    PrintedSheet,
    expose,
    gray_scale,
    plain_sheet,
    print_sheet,
    scan_glass,
)


@dataclass(frozen=True)
class ColouredInks:
    """A printer's coloured inks: what it lays down where red, green and blue are taken away.

    Each holds back the coating's light in its own way, and their printing densities add up.
    """

    red: Ink
    """Laid down as red is taken away, all of it where the file has red 0."""
    green: Ink
    blue: Ink

    def printing_density(self, amounts: ArrayLike) -> Array:
        """Printing density of amounts of ink (0 to 1), shape (..., 3), red's first."""
        share = np.asarray(amounts, dtype=np.float64)
        inks = (self.red, self.green, self.blue)
        return np.asarray(sum(ink.printing_density(share[..., c]) for c, ink in enumerate(inks)))

    def of_colour(self, colour: tuple[int, int, int], level: ArrayLike = 1.0) -> Array:
        """Printing density of a colour (0 to 255) at ink levels (0 to 1), any shape."""
        full = 1.0 - np.asarray(colour, dtype=np.float64) / 255.0
        return self.printing_density(np.asarray(level, dtype=np.float64)[..., None] * full)


def random_ink(rng: np.random.Generator, max_density: float | None = None) -> Ink:
    """A plausible ink that only rises; its printing density at level 1 is 1.2 to 3.0."""
    top = float(rng.uniform(1.2, 3.0)) if max_density is None else max_density
    ranges = ((0.8, 1.7), (1.0, 4.0), (0.5, 2.5), (-0.45, 0.45))
    number = int(rng.integers(len(INK_SHAPES)))
    shape, (low, high) = INK_SHAPES[number], ranges[number]
    return Ink(top, shape, float(rng.uniform(low, high)))


def random_coloured_inks(rng: np.random.Generator) -> ColouredInks:
    """Three plausible inks, of printing density 0.2 to 2.2 each in any order, that only rise."""
    tops = rng.permutation([rng.uniform(0.2, 0.6), rng.uniform(0.5, 1.2), rng.uniform(1.0, 2.2)])
    return ColouredInks(*(random_ink(rng, float(top)) for top in tops))


def random_process(rng: np.random.Generator) -> Process:
    """A plausible process: any of the shapes, log exposure range 0.9 to 2.0, black 1.1 to 2.1."""
    shape = PROCESS_SHAPES[int(rng.integers(len(PROCESS_SHAPES)))]
    form: tuple[float, ...] = ()
    if shape is richards:
        form = (float(np.exp(rng.uniform(np.log(0.4), np.log(2.5)))),)
    elif shape is straight:
        form = (float(rng.uniform(0.06, 0.25)), float(rng.uniform(0.05, 0.18)))
    elif shape is two_layer:
        form = (float(rng.uniform(0.4, 0.8)), float(rng.uniform(1.0, 3.0)))
    return Process(
        shape,
        form,
        white_density=float(rng.uniform(0.06, 0.14)),
        black_density=float(rng.uniform(1.1, 2.1)),
        log_exposure_range=float(rng.uniform(0.9, 2.0)),
        speed_exposure=float(rng.uniform(2.1, 2.9)),
    )


def random_darkroom(rng: np.random.Generator) -> Darkroom:
    """A random process with a random ink that can print its paper white, or nearly (up to 3.0)."""
    process, film, lamp = random_process(rng), float(rng.uniform(0.02, 0.12)), Lamp()
    return Darkroom(_fitting_ink(rng, [process]), process, film, lamp)


def random_pair(rng: np.random.Generator) -> tuple[Darkroom, Darkroom]:
    """Two darkrooms of one printer: the same ink, film and lamp, two different processes."""
    first, second = random_process(rng), random_process(rng)
    film, lamp = float(rng.uniform(0.02, 0.12)), Lamp()
    ink = _fitting_ink(rng, [first, second])
    return Darkroom(ink, first, film, lamp), Darkroom(ink, second, film, lamp)


def _fitting_ink(rng: np.random.Generator, processes: list[Process]) -> Ink:
    """An ink of 1 to 1.35 times the density that the softest of the processes needs."""
    needed = 0.0
    for process in processes:
        room = Darkroom(process=process)
        white = process.white_density + 0.02
        needed = max(
            needed,
            -rising_root(lambda x, r=room: float(r.process_density(x)), white, -20.0, 0.0),
        )
    return random_ink(rng, float(np.clip(needed * rng.uniform(1.0, 1.35), 1.2, 3.0)))


def measure_chart(
    darkroom: Darkroom, inks: ColouredInks, target: Target, time: float | None = None, *,
    flaws: Flaws | None = None, seed: int = 0,
) -> TargetReadings:
    """Print a chart of inks in the virtual darkroom and measure it, patch by patch.

    Parameters
    ----------
    target:
        The chart (`ink_chart`); its patches are read in its order and under its names.
    time:
        Seconds; None: the darkroom's `printing_time`.
    flaws:
        What goes wrong; None: `Flaws()`, an instrument noise of 0.02 alone.
    """
    flaws = Flaws() if flaws is None else flaws
    rng = np.random.default_rng(seed)
    density = np.array([float(inks.of_colour(target.colour_of(p) or (0, 0, 0), p.level))
                        for p in target.patches])
    across, down = target.patch_centres.T / [[target.width_mm], [target.height_mm]]
    exposure = darkroom.tablet_exposure(density, time)
    uneven = flaws.uneven(across, down, rng)
    measured, spoilt = flaws.read(flaws.print_density(darkroom, exposure + uneven, rng), rng)
    patches = tuple(Reading(p.level, float(d), None, None, p.name)
                    for p, d in zip(target.patches, measured, strict=True))
    return TargetReadings(
        Readings(patches, "visual-density", relative_to_paper=False),
        tuple(p.name for p, bad in zip(target.patches, spoilt, strict=True) if bad))


Encoding = Literal["power", "srgb", "lightness"]


@frozen.dataclass(frozen=True)
class Scanner(scanroom.Scanner):
    """A flatbed with encodings besides the power, and its exact codes."""

    encoding: Encoding = "power"
    """srgb: IEC 61966-2-1; lightness: CIE L* / 100."""

    def code(self, density: ArrayLike) -> Array:
        """Exact codes (0 to 1) of densities, no shading, no noise."""
        reflected = 10.0 ** -np.asarray(density, dtype=np.float64)
        return self.encode(self.gain * (reflected + self.flare))

    def encode(self, light: Array) -> Array:
        light = np.clip(light, 0.0, 1.0)
        if self.encoding == "power":
            return super().encode(light)
        if self.encoding == "lightness":
            return scales.luminance_to_lightness(100.0 * light) / 100.0
        high = 1.055 * np.maximum(light, 0.003) ** (1.0 / 2.4) - 0.055
        return np.where(light <= 0.0031308, 12.92 * light, high)


def random_scanner(rng: np.random.Generator, ppi: float = 300.0) -> Scanner:
    """A plausible flatbed: linear to gamma 2.6, sRGB or L*; flare 0.1 to 1 percent."""
    encodings: tuple[Encoding, ...] = ("power", "power", "srgb", "lightness")
    return Scanner(
        gamma=float(rng.choice([1.0, 1.8, 2.2, 2.2, 2.6])),
        encoding=encodings[int(rng.integers(4))],
        flare=float(np.exp(rng.uniform(np.log(0.001), np.log(0.01)))),
        gain=float(rng.uniform(0.85, 0.98)), read_noise=float(rng.uniform(0.0001, 0.0006)),
        shot_noise=float(rng.uniform(0.002, 0.006)), blur_px=float(rng.uniform(0.4, 0.9)),
        lid_density=float(rng.choice([0.05, 0.08, 1.5])), ppi=ppi)


def print_coloured_sheet(
    negative: NDArray[np.uint16], ppi: float, darkroom: Darkroom, inks: ColouredInks,
    flaws: PaperFlaws = CLEAN, *, seed: int = 0,
) -> PrintedSheet:
    """The same of a mirrored negative in coloured ink: red, green, blue, shape (rows, columns, 3).

    The darkroom's own ink plays no part.
    """
    level = scales.code_to_level(np.arange(scales.FULL_CODE + 1))
    light = np.full(negative.shape[:2], 10.0 ** float(darkroom.tablet_exposure(0.0)), np.float32)
    for channel, ink in enumerate((inks.red, inks.green, inks.blue)):
        through = (10.0 ** -ink.printing_density(level)).astype(np.float32)
        light *= through[negative[:, ::-1, channel]]
    return expose(light, ppi, darkroom, flaws, seed)


def print_strip(
    tablet_densities: ArrayLike, darkroom: Darkroom, time: float | None = None,
    flaws: PaperFlaws = CLEAN, *, step_mm: tuple[float, float] = (5.0, 24.0), seed: int = 0,
) -> PrintedSheet:
    """Print a step tablet, its upper half covered by clear film; step 1 lies at the left.

    ``tablet_densities`` are printing densities, the clearest first; ``step_mm`` is the width of
    a step along the row and its height across.  x = y = 0 is the corner of step 1.
    """
    ppi = 254.0
    wide, high = (round(10.0 * mm) for mm in step_mm)
    halves = [np.repeat(darkroom.tablet_exposure(tablet_densities, time, bare=bare), wide)
              for bare in (False, True)]
    exposure = np.repeat(np.stack(halves), [high // 2, high - high // 2], axis=0)
    return expose((10.0**exposure).astype(np.float32), ppi, darkroom, flaws, seed)


def density_in(
    sheet: PrintedSheet, x_mm: float, y_mm: float, width_mm: float, height_mm: float
) -> float:
    """Mean true density inside a rectangle, flaws included."""
    per_mm = sheet.ppi / scales.MM_PER_INCH
    left, top = (o + 0.5 + per_mm * a
                 for o, a in zip(sheet.origin_px, (x_mm, y_mm), strict=True))
    right, bottom = left + per_mm * width_mm, top + per_mm * height_mm
    part = sheet.density[round(top) : round(bottom), round(left) : round(right)]
    return float(part.mean(dtype=np.float64))


@dataclass(frozen=True, eq=False)
class Render:
    """A scan and what only the virtual scanner knows about it."""

    codes: NDArray[np.uint16]
    """16-bit gray, shape (rows, columns)."""
    ppi: float
    matrix: Array
    """Homography from mm on the print to pixels (column, row) of the scan, shape (3, 3); pixel
    centres at whole numbers."""
    sheet: PrintedSheet

    @property
    def pixels(self) -> NDArray[np.float32]:
        """Codes from 0 to 1, as a `Scan` holds them."""
        return np.asarray(self.codes / np.float32(scales.FULL_CODE), dtype=np.float32)

    def corners(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> Array:
        """Pixels of a rectangle's corners, clockwise from the top left of the print, (4, 2)."""
        box = np.array([[x_mm, y_mm], [x_mm + width_mm, y_mm],
                        [x_mm + width_mm, y_mm + height_mm], [x_mm, y_mm + height_mm]])
        wide = np.column_stack([box, np.ones(4)]) @ self.matrix.T
        return np.asarray(wide[:, :2] / wide[:, 2:])


def render_glass(
    sheets: list[OnGlass], size_mm: tuple[float, float], scanner: Scanner, *, seed: int = 0
) -> tuple[Render, ...]:
    """Scan the whole glass: the same scan once a sheet."""
    codes, matrices = scan_glass(sheets, size_mm, scanner, seed=seed)
    return tuple(Render(codes, scanner.ppi, matrix, one.sheet)
                 for one, matrix in zip(sheets, matrices, strict=True))


def scan_sheet(
    sheet: PrintedSheet, scanner: Scanner | None = None, lying: Lying | None = None, *,
    seed: int = 0,
) -> Render:
    """Lay a sheet on the glass and scan as much as shows all of it."""
    scanner, lying = scanner or Scanner(), lying or Lying()
    matrix, shape = scanroom._placed(sheet, scanner.ppi / scales.MM_PER_INCH, lying)
    codes = scanroom._scanned([(sheet, matrix)], scanner, shape, seed)
    return Render(codes, scanner.ppi, matrix, sheet)


@dataclass(frozen=True)
class Spoilt:
    """Everything that can go wrong at once, for trials."""

    scanner: Scanner = field(default_factory=Scanner)
    lying: Lying = field(default_factory=Lying)
    flaws: PaperFlaws = CLEAN


def random_spoilt(rng: np.random.Generator, ppi: float = 300.0) -> Spoilt:
    """A hard but fair scan: turned up to 10 degrees and any quarter, mirrored or not, perspective
    up to 1e-4 a mm, shading up to 15 percent, four stains, dust, texture, brush strokes."""
    scanner = replace(random_scanner(rng, ppi), shading=float(rng.uniform(0.0, 0.15)))
    lying = Lying(
        float(rng.uniform(-10.0, 10.0)), int(rng.integers(4)), bool(rng.integers(2)),
        (float(rng.uniform(-1e-4, 1e-4)), float(rng.uniform(-1e-4, 1e-4))))
    flaws = PaperFlaws(
        texture_density_sd=float(rng.uniform(0.0, 0.03)),
        uneven_exposure_sd=float(rng.uniform(0.0, 0.02)),
        streak_exposure_sd=float(rng.uniform(0.0, 0.01)), stains=4,
        stain_density=float(rng.uniform(0.1, 0.4)), dust=30)
    return Spoilt(scanner, lying, flaws)


@dataclass(frozen=True, eq=False)
class Glass:
    """A print and a gray scale on one glass."""

    print_: Render
    scale: Render
    density: Array
    """Of the scale's steps, step 1 first."""
    room: Darkroom
    size_mm: tuple[float, float]
    scanner: Scanner
    seed: int

    @cached_property
    def plain(self) -> Render:
        """A plain sheet on the same glass."""
        sheet = OnGlass(plain_sheet(self.size_mm, seed=self.seed), (0.0, 0.0))
        return render_glass([sheet], self.size_mm, self.scanner, seed=self.seed + 1)[0]


def random_glass(target: Target, negative: NDArray[np.uint16], seed: int, *, ppi: float = 200.0,
                 shading: float | None = None, side: int | None = None) -> Glass:
    """A target's print with a gray scale at one of its sides (0 left, 1 right, 2 top, 3 bottom),
    either way round, both a little crooked; the lamp falls off by up to 15 percent."""
    rng = np.random.default_rng(seed)
    room = Darkroom(DEMO_INK, (KALLITYPE, CYANOTYPE)[seed % 2])
    scanner = replace(random_scanner(rng, ppi), lamp=seed, shading=float(
        rng.uniform(0.0, 0.15)) if shading is None else shading)
    flaws = PaperFlaws(texture_density_sd=0.015, uneven_exposure_sd=0.01,
                       streak_exposure_sd=0.005, stains=2, dust=15)
    sheet = print_sheet(negative, target.ppi, room, flaws, seed=seed)
    count = int(rng.integers(12, 24))
    density = np.round(np.linspace(0.05, rng.uniform(1.8, 2.1), count), 2)
    if rng.random() < 0.3:
        density = np.round(0.05 + np.cumsum(np.append(0.0, rng.uniform(.06, .16, count - 1))), 2)
    card = gray_scale(density, step_mm=(rng.uniform(5, 9), rng.uniform(8, 16)),
                      border_density=float(rng.choice([0.05, 0.08, 0.4, 1.9])),
                      border_mm=float(rng.uniform(2, 5)))
    drawn = int(rng.integers(4))
    side = drawn if side is None else side
    lying = [Lying(float(rng.uniform(-3, 3)), int(rng.integers(4)), border_mm=0.0),
             Lying(float(rng.uniform(-4, 4)), int(side < 2) + 2 * int(rng.integers(2)),
                   border_mm=0.0)]
    room_mm, scale_mm = (box_mm(s, how) for s, how in zip((sheet, card), lying, strict=True))
    along = 1 if side < 2 else 0  # the scale's place along the print's edge
    place = np.full((2, 2), 4.0)
    place[1, along] = rng.uniform(4.0, max(5.0, room_mm[along] - scale_mm[along]))
    first, last = (1, 0) if side % 2 == 0 else (0, 1)
    place[last, 1 - along] += (room_mm, scale_mm)[first][1 - along] + rng.uniform(3.0, 12.0)
    size = np.max([place[0] + room_mm, place[1] + scale_mm], axis=0) + 5.0
    on_glass = [OnGlass(s, (float(at[0]), float(at[1])), how)
                for s, at, how in zip((sheet, card), place, lying, strict=True)]
    size_mm = (float(size[0]), float(size[1]))
    return Glass(*render_glass(on_glass, size_mm, scanner, seed=seed), density, room, size_mm,
                 scanner, seed)


def box_mm(sheet: PrintedSheet, lying: Lying) -> Array:
    """Width and height of the box around a sheet as it lies."""
    _, shape = scanroom._placed(sheet, 1.0, lying)
    return np.array(shape[::-1], dtype=np.float64)

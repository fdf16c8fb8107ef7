"""The virtual scanner: sheets printed in the virtual darkroom, laid on the glass of a flatbed.

A negative (or a gray scale, or a step tablet) becomes a sheet of known densities with the faults
of coated paper; the sheet becomes a scan with the faults of scanning.  Everything is invented,
and the same seed gives the same scan.  Millimetres are as in `target`: on the print as it reads
right, origin in the top left corner of the film, x to the right, y down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from tonewright import scales
from tonewright.frozen import dataclass
from tonewright.scales import MM_PER_INCH, Array
from tonewright.virtual.darkroom import Darkroom

Plane = NDArray[np.float32]


@dataclass(frozen=True)
class Scanner:
    """A flatbed and its program: what code a density gets."""

    gamma: float = 2.2
    """Of the encoding, ``light ** (1 / gamma)``."""
    flare: float = 0.004
    """Stray light, as a share of white, that every place gets."""
    gain: float = 0.95
    """Light of the perfect white, 1 being the end of the scale."""
    read_noise: float = 0.0003
    shot_noise: float = 0.003
    """Noise of a pixel in linear light: in black, and at white (it grows with the root)."""
    shading: float = 0.0
    """How much darker the worst corner of the glass is lit, 0.15 for 15 percent."""
    lamp: int | None = None
    """Seed of where it is darker; None: that of the scan, another lamp each time."""
    blur_px: float = 0.6
    """Sharpness: standard deviation of its blur."""
    lid_density: float = 0.06
    """What lies behind the sheet."""
    ppi: float = 300.0
    bits: int = 16

    def encode(self, light: Array) -> Array:
        """Codes (0 to 1) of linear light from 0 to 1."""
        return np.asarray(light ** (1.0 / self.gamma))


@dataclass(frozen=True)
class PaperFlaws:
    """What goes wrong on coated paper; all 0: nothing."""

    texture_density_sd: float = 0.0
    """Of the paper's grain."""
    grain_mm: float = 0.25
    """Size of that grain."""
    uneven_exposure_sd: float = 0.0
    """Of the coating, smooth across the sheet, in log10 exposure."""
    streak_exposure_sd: float = 0.0
    """Of brush strokes, in log10 exposure."""
    stains: int = 0
    stain_density: float = 0.2
    """Each stain is up to this much denser or, one in three, lighter."""
    stain_mm: float = 8.0
    dust: int = 0
    """Specks and short hairs."""
    paper_margin_mm: float = 12.0
    """Bare paper all around the film …"""
    coating_margin_mm: float = 5.0
    """… and how far the coating reaches into it, by ragged edges."""


CLEAN = PaperFlaws()


@dataclass(frozen=True, eq=False)
class PrintedSheet:
    """A print, or a gray scale, as it really is."""

    density: Plane
    """Shape (rows, columns), flaws and all."""
    ppi: float
    origin_px: tuple[float, float]
    """Column and row where x = y = 0 mm: the corner between pixels is at half numbers."""
    stains_mm: tuple[tuple[float, float, float], ...] = ()
    """Centre x, y and radius of each stain."""


@dataclass(frozen=True)
class Lying:
    """How a sheet lies on the glass."""

    rotation_degrees: float = 0.0
    """Clockwise in the scan."""
    quarter_turns: int = 0
    """Clockwise, on top of the rotation."""
    mirrored: bool = False
    """Swapped left to right, before the turn."""
    perspective: tuple[float, float] = (0.0, 0.0)
    """The last row of the homography: 1e-4 a mm shrinks the far edge of a letter sheet by 2 to
    3 percent."""
    border_mm: float = 6.0
    """Glass to be seen around the sheet."""


# Sheets


def print_sheet(
    negative: NDArray[np.uint16], ppi: float, darkroom: Darkroom,
    flaws: PaperFlaws = CLEAN, *, seed: int = 0,
) -> PrintedSheet:
    """Contact-print a negative on hand-coated paper: a sheet as `expose` makes it.

    The negative is 16-bit codes (65535 clear film) at ``ppi``, shape (rows, columns), as its file
    holds them: mirrored, it lies ink to coating, and the print reads right.
    """
    table = darkroom.exposure(scales.code_to_level(np.arange(scales.FULL_CODE + 1)))
    return expose((10.0**table).astype(np.float32)[negative[:, ::-1]], ppi, darkroom, flaws, seed)


def gray_scale(
    densities: ArrayLike, *, step_mm: tuple[float, float] = (8.0, 14.0), border_mm: float = 3.0,
    border_density: float = 0.05,
) -> PrintedSheet:
    """A gray scale of known densities on a card; x = y = 0 is the corner of the first step."""
    per_mm = 10
    wide, high, edge = (round(per_mm * mm) for mm in (*step_mm, border_mm))
    known = np.asarray(densities, dtype=np.float64)
    card = np.full((high + 2 * edge, known.size * wide + 2 * edge), border_density)
    for i, density in enumerate(known):
        left = edge + i * wide
        card[edge : edge + high, left : left + wide] = density
    return PrintedSheet(card.astype(np.float32), per_mm * MM_PER_INCH, (edge - 0.5, edge - 0.5))


def _shrunk(plane: Plane, factor: int) -> Plane:
    """Means of blocks of factor x factor."""
    if factor == 1:
        return plane
    rows, columns = (n // factor * factor for n in plane.shape)
    cut = plane[:rows, :columns].reshape(rows // factor, factor, columns // factor, factor)
    return np.asarray(cut.mean(axis=(1, 3)), dtype=np.float32)


def expose(
    light: Plane, ppi: float, darkroom: Darkroom, flaws: PaperFlaws = CLEAN, seed: int = 0
) -> PrintedSheet:
    """The sheet printed by light of a given exposure (0 in `scales` is 1 here), and the film's
    border around it; at ``ppi``, or at a whole fraction of it, 250 or more."""
    shrink = max(1, int(ppi // 250))
    ppi, exposure = ppi / shrink, np.log10(_shrunk(light, shrink))
    rng = np.random.default_rng(seed)
    per_mm = ppi / MM_PER_INCH
    edge = round(per_mm * flaws.paper_margin_mm)
    bare = np.float32(darkroom.film_density + float(darkroom.exposure(0.0)))
    whole = np.pad(exposure, edge, constant_values=bare)
    whole = whole + _uneven(whole.shape, per_mm, flaws, rng)
    points = np.linspace(float(whole.min()), float(whole.max()), 4001)
    density = np.interp(whole, points, darkroom.process_density(points)).astype(np.float32)
    paper = np.float32(darkroom.process.white_density)
    density = paper + (density - paper) * _coating(whole.shape, edge, per_mm, flaws, rng)
    if flaws.texture_density_sd:
        density += np.float32(flaws.texture_density_sd) * _grain(whole.shape, per_mm, flaws, rng)
    stains = _stain(density, edge, per_mm, flaws, rng)
    _dust(density, flaws.dust, per_mm, rng)
    np.maximum(density, np.float32(0.0), out=density)
    return PrintedSheet(density, ppi, (edge - 0.5, edge - 0.5), stains)


def _uneven(
    shape: tuple[int, ...], per_mm: float, flaws: PaperFlaws, rng: np.random.Generator
) -> Plane | np.float32:
    """Unevenness in log10 exposure: a smooth field, and strokes of the brush along one way."""
    if not (flaws.uneven_exposure_sd or flaws.streak_exposure_sd):
        return np.float32(0.0)
    coarse = (max(shape[0] // 8, 2), max(shape[1] // 8, 2))
    down, across = np.meshgrid(*(np.linspace(0.0, 1.0, n) for n in coarse), indexing="ij")
    field_ = np.zeros(coarse)
    for kx, ky, phase in rng.uniform([-1.5, -1.5, 0.0], [1.5, 1.5, 2 * np.pi], size=(6, 3)):
        field_ += np.cos(2.0 * np.pi * (kx * across + ky * down) + phase) / np.sqrt(3.0)
    total = flaws.uneven_exposure_sd * field_
    size_mm = max(shape) / per_mm
    strokes = ndimage.gaussian_filter1d(rng.standard_normal(400), 2.5)
    where = (across if rng.random() < 0.5 else down) * size_mm / 1.5  # strokes some 8 mm wide
    total += flaws.streak_exposure_sd * strokes[np.clip(where.astype(int), 0, 399)] / strokes.std()
    return _enlarged(total, shape)


def _enlarged(coarse: Array, shape: tuple[int, ...]) -> Plane:
    """A coarse field spread over a plane, straight lines between."""
    rows, columns = (np.linspace(0.0, n - 1.0, m) for n, m in zip(coarse.shape, shape, strict=True))
    tall = np.stack([np.interp(rows, np.arange(len(line)), line) for line in coarse.T])
    wide = [np.interp(columns, np.arange(len(line)), line) for line in tall.T]
    return np.stack(wide).astype(np.float32)


def _coating(
    shape: tuple[int, ...], edge: int, per_mm: float, flaws: PaperFlaws, rng: np.random.Generator
) -> Plane:
    """1 where the paper is coated, 0 where it is bare; ragged by some millimetres."""
    if edge == 0:
        return np.ones(shape, np.float32)
    reach = per_mm * flaws.coating_margin_mm
    sides = []
    for length in (shape[1], shape[0]):
        for _ in range(2):
            rag = ndimage.gaussian_filter1d(rng.standard_normal(length), 1.5 * per_mm)
            sides.append(reach * (1.0 + 0.25 * rag / max(float(rag.std()), 1e-9)))
    down, across = np.arange(shape[0])[:, None] - edge, np.arange(shape[1])[None, :] - edge
    inner_down, inner_across = shape[0] - 2 * edge, shape[1] - 2 * edge
    cover = np.minimum(down + sides[0][None, :], inner_down + sides[1][None, :] - down)
    cover = np.minimum(cover, np.minimum(
        across + sides[2][:, None], inner_across + sides[3][:, None] - across))
    return np.clip(cover / (0.3 * per_mm) + 0.5, 0.0, 1.0).astype(np.float32)


def _grain(
    shape: tuple[int, ...], per_mm: float, flaws: PaperFlaws, rng: np.random.Generator
) -> Plane:
    noise = rng.standard_normal(shape, dtype=np.float32)
    noise = ndimage.gaussian_filter(noise, 0.4 * per_mm * flaws.grain_mm)
    return np.asarray(noise / noise.std(), dtype=np.float32)


def _stain(
    density: Plane, edge: int, per_mm: float, flaws: PaperFlaws, rng: np.random.Generator
) -> tuple[tuple[float, float, float], ...]:
    """Add blots with soft, lobed edges, in place; where they are."""
    places = []
    for number in range(flaws.stains):
        radius = 0.5 * flaws.stain_mm * per_mm * rng.uniform(0.6, 1.4)
        row, column = (rng.uniform(edge, n - edge) for n in density.shape)
        rows = slice(max(int(row - 1.5 * radius), 0), int(row + 1.5 * radius) + 1)
        columns = slice(max(int(column - 1.5 * radius), 0), int(column + 1.5 * radius) + 1)
        part = density[rows, columns]
        dy = np.arange(part.shape[0])[:, None] + rows.start - row
        dx = np.arange(part.shape[1])[None, :] + columns.start - column
        lobes = 1.0 + 0.15 * np.sin(3 * np.arctan2(dy, dx) + rng.uniform(0, 6.28))
        depth = np.clip(1.0 - (np.hypot(dy, dx) / (radius * lobes)) ** 4, 0.0, 1.0)
        strength = flaws.stain_density * rng.uniform(0.5, 1.0) * (-1.0 if number % 3 == 2 else 1.0)
        part += (strength * depth).astype(np.float32)
        places.append((float((column + 0.5 - edge) / per_mm), float((row + 0.5 - edge) / per_mm),
                       float(1.2 * radius / per_mm)))
    return tuple(places)


def _dust(density: Plane, count: int, per_mm: float, rng: np.random.Generator) -> None:
    """Add specks and hairs, dark or light, in place."""
    for number in range(count):
        row, column = (rng.uniform(3, n - 3) for n in density.shape)
        length = per_mm * (rng.uniform(0.1, 0.5) if number % 4 else rng.uniform(2.0, 6.0))
        angle, bend = rng.uniform(0, np.pi), rng.uniform(-0.5, 0.5)
        along = np.arange(0.0, length, 0.5)
        turn = angle + bend * along / length
        rows = np.clip(row + np.cumsum(0.5 * np.sin(turn)), 0, density.shape[0] - 2).astype(int)
        columns = np.clip(column + np.cumsum(0.5 * np.cos(turn)), 0, density.shape[1] - 2)
        for extra in (0, 1):
            density[rows + extra, columns.astype(int)] = rng.choice([0.1, 0.9])


# Scans


@dataclass(frozen=True, eq=False)
class OnGlass:
    """A sheet on the glass."""

    sheet: PrintedSheet
    place_mm: tuple[float, float]
    """Of the box around it as it lies, from the top left of the scan."""
    lying: Lying = Lying(border_mm=0.0)


def scan_glass(
    sheets: Sequence[OnGlass], size_mm: tuple[float, float], scanner: Scanner | None = None, *,
    seed: int = 0,
) -> tuple[NDArray[np.uint16], tuple[Array, ...]]:
    """Scan the whole glass with some sheets on it, the last on top.

    Returned are 16-bit gray codes, shape (rows, columns), and what only the virtual scanner knows:
    for each sheet the homography from its mm to pixels (column, row), shape (3, 3), pixel centres
    at whole numbers.
    """
    scanner = scanner or Scanner()
    per_mm = scanner.ppi / MM_PER_INCH
    placed = []
    for one in sheets:
        matrix, _ = _placed(one.sheet, per_mm, replace(one.lying, border_mm=0.0))
        x, y = (round(per_mm * mm) for mm in one.place_mm)
        placed.append((one.sheet, np.array([[1.0, 0, x], [0, 1.0, y], [0, 0, 1.0]]) @ matrix))
    width, height = (round(per_mm * mm) for mm in size_mm)
    codes = _scanned(placed, scanner, (height, width), seed)
    return codes, tuple(matrix for _, matrix in placed)


def plain_sheet(size_mm: tuple[float, float], density: float = 0.06, seed: int = 0) -> PrintedSheet:
    """A plain white sheet with a little texture and dust; x = y = 0 is its corner."""
    per_mm, rng = 5, np.random.default_rng(seed)
    shape = (round(per_mm * size_mm[1]), round(per_mm * size_mm[0]))
    paper = (density + 0.01 * rng.standard_normal(shape)).astype(np.float32)
    _dust(paper, 20, per_mm, rng)
    return PrintedSheet(paper, per_mm * MM_PER_INCH, (-0.5, -0.5))


def _scanned(
    placed: Sequence[tuple[PrintedSheet, Array]], scanner: Scanner, shape: tuple[int, int],
    seed: int,
) -> NDArray[np.uint16]:
    rng = np.random.default_rng(seed)
    light = np.full(shape, 10.0**-scanner.lid_density, np.float32)
    for sheet, matrix in placed:
        _reflect(light, sheet, scanner, matrix)
    if scanner.blur_px:
        light = ndimage.gaussian_filter(light, scanner.blur_px)
    light = np.float32(scanner.gain) * (light + np.float32(scanner.flare))
    if scanner.shading:
        light *= _shade(shape, scanner.shading, rng if scanner.lamp is None else
                        np.random.default_rng(scanner.lamp))
    if scanner.read_noise or scanner.shot_noise:
        noise = rng.standard_normal(shape, dtype=np.float32)
        light += noise * np.sqrt(np.float32(scanner.read_noise**2)
                                 + np.float32(scanner.shot_noise**2) * light)
    return _codes(scanner, light)


def _codes(scanner: Scanner, light: Plane) -> NDArray[np.uint16]:
    """Encoded and rounded to the scanner's bits, spread over 16."""
    steps = (1 << scanner.bits) - 1
    # 65536 entries, closer together in the blacks where encodings are steep
    table = np.round(steps * scanner.encode(np.linspace(0.0, 1.0, 65536) ** 2)) / steps
    fine = np.round(table * scales.FULL_CODE).astype(np.uint16)
    index = np.sqrt(np.clip(light, 0.0, 1.0)) * np.float32(65535) + np.float32(0.5)
    return fine[index.astype(np.int32)]


def _placed(sheet: PrintedSheet, px_per_mm: float, lying: Lying) -> tuple[Array, tuple[int, int]]:
    """The homography from mm to pixels, and the size of the scan that shows the whole sheet."""
    angle = np.radians(lying.rotation_degrees + 90.0 * lying.quarter_turns)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0],
                     [0, 0, 1.0]])
    flip = np.diag([-1.0 if lying.mirrored else 1.0, 1.0, 1.0])
    bend = np.array([[1.0, 0, 0], [0, 1.0, 0], [*lying.perspective, 1.0]])
    matrix = np.diag([px_per_mm, px_per_mm, 1.0]) @ turn @ flip @ bend
    seen = _seen(sheet, matrix)
    border = px_per_mm * lying.border_mm
    shift = np.floor(border - seen.min(axis=0))
    size = np.ceil(seen.max(axis=0) + shift + border).astype(int)
    matrix = np.array([[1.0, 0, shift[0]], [0, 1.0, shift[1]], [0, 0, 1.0]]) @ matrix
    return matrix / matrix[2, 2], (int(size[1]), int(size[0]))


def _reflect(light: Plane, sheet: PrintedSheet, scanner: Scanner, matrix: Array) -> None:
    """Lay a sheet's reflectance over the light of the scan, taken from between its pixels."""
    reflectance = np.float32(10.0) ** -sheet.density
    coarser = sheet.ppi / scanner.ppi
    if coarser > 1.2:
        reflectance = ndimage.gaussian_filter(reflectance, 0.4 * coarser)
    per_mm = sheet.ppi / MM_PER_INCH
    to_sheet = np.array([[per_mm, 0, sheet.origin_px[0]], [0, per_mm, sheet.origin_px[1]],
                         [0, 0, 1.0]]) @ np.linalg.inv(matrix)
    (left, top), (right, bottom) = _reach(sheet, matrix, light.shape)
    columns = np.arange(left, right, dtype=np.float64)
    for first in range(top, bottom, 256):
        part = light[first : min(first + 256, bottom), left:right]
        rows = np.arange(first, first + len(part), dtype=np.float64)[:, None]
        x, y, w = (a * columns + b * rows + c for a, b, c in to_sheet)
        seen = ndimage.map_coordinates(reflectance, [y / w, x / w], order=1, mode="constant",
                                       cval=-1.0)
        np.copyto(part, seen, where=seen >= 0.0)


def _reach(sheet: PrintedSheet, matrix: Array, shape: tuple[int, ...]) -> Array:
    """First column and row of the scan that show a sheet, and those after the last, (2, 2)."""
    seen = _seen(sheet, matrix)
    size = np.array(shape[::-1])
    reach = np.array([np.floor(seen.min(axis=0)) - 1.0, np.ceil(seen.max(axis=0)) + 2.0])
    return np.asarray(np.clip(reach, 0.0, size).astype(int))


def _seen(sheet: PrintedSheet, matrix: Array) -> Array:
    """Pixels of a sheet's corners under a homography from mm, shape (4, 2)."""
    per_mm = sheet.ppi / MM_PER_INCH
    ends = [(np.array([-0.5, n - 0.5]) - o) / per_mm
            for n, o in zip(sheet.density.shape[::-1], sheet.origin_px, strict=True)]
    box = np.array([[x, y, 1.0] for x in ends[0] for y in ends[1]]) @ matrix.T
    return np.asarray(box[:, :2] / box[:, 2:])


def _shade(shape: tuple[int, int], amount: float, rng: np.random.Generator) -> Plane:
    """Lighting of the glass, 1 at the best place and 1 - amount at the worst."""
    down, across = np.linspace(-1, 1, shape[0])[:, None], np.linspace(-1, 1, shape[1])[None, :]
    a, b, c, d = rng.uniform(-1.0, 1.0, 4)
    field_ = a * across + b * down + c * across**2 + d * down**2
    field_ = (field_ - field_.min()) / np.ptp(field_)
    return np.asarray(1.0 - amount * field_, dtype=np.float32)

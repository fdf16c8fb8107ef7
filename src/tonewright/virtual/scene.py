"""A picture made by code, with everything that shows a wrong curve: for rehearsals.

A lake under hills: a smooth sky, snow and cloud near white, glints at white, textured grass,
a house with lit and shaded walls, a tree and windows near black.  Below it lie a wedge of 21
steps and a continuous ramp.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import OptionError
from tonewright.frozen import dataclass

Field = NDArray[np.float32]

_SHORE = 0.50  # height of the far shore, 0 the top of the picture and 1 its bottom
_RAMPS = 0.14  # part of the whole height that the wedge and the ramp take
_STEPS = 21


@dataclass(frozen=True)
class _Canvas:
    """Lightness of the picture being painted, and where its pixels lie."""

    tone: Field
    """CIE L*, shape (rows, columns); painted in place."""
    x: Field
    """Across, in picture heights, shape (1, columns)."""
    y: Field
    """Down, 0 to 1, shape (rows, 1)."""
    rng: np.random.Generator

    @property
    def pixel(self) -> float:
        return 1.0 / float(self.tone.shape[0])

    def noise(self, across: float, down: float, octaves: int = 1) -> Field:
        """Smooth noise of about -1 to 1; sizes of its largest lumps in picture heights."""
        total = np.zeros(self.tone.shape, dtype=np.float32)
        for octave in range(octaves):
            size = 0.5**octave
            if octave and min(across, down) * size < 1.5 * self.pixel:
                break
            total += size * self._lumps(across * size, down * size)
        return total

    def _lumps(self, across: float, down: float) -> Field:
        """One octave: random values on a grid, eased between."""
        width = self.x[0, -1] + self.pixel
        rows, columns = int(1.0 / down) + 3, int(width / across) + 3
        grid = self.rng.uniform(-1.0, 1.0, (rows, columns)).astype(np.float32)
        along_y, along_x = _ease(self.y[:, 0] / down), _ease(self.x[0] / across)
        upper, lower = grid[along_y[0]], grid[along_y[0] + 1]
        strip = upper + (lower - upper) * along_y[1][:, None]
        left, right = strip[:, along_x[0]], strip[:, along_x[0] + 1]
        return np.asarray(left + (right - left) * along_x[1][None, :])

    def paint(self, lightness: Field | float, cover: Field) -> None:
        """Lay a tone over the picture; cover is 0 to 1."""
        self.tone[...] = self.tone + (lightness - self.tone) * cover

    def inside(self, distance: Field) -> Field:
        """Cover of where a distance (picture heights) is positive, soft over one pixel."""
        return np.asarray(np.clip(distance / self.pixel + 0.5, 0.0, 1.0))

    def polygon(self, *corners: tuple[float, float]) -> Field:
        """Cover of a convex polygon, corners clockwise as seen."""
        cover = np.ones(self.tone.shape, dtype=np.float32)
        for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
            length = float(np.hypot(x1 - x0, y1 - y0))
            across, down = np.float32((y0 - y1) / length), np.float32((x1 - x0) / length)
            cover *= self.inside(
                down * (self.y - np.float32(y0)) + across * (self.x - np.float32(x0))
            )
        return cover

    def box(self, left: float, top: float, right: float, bottom: float) -> Field:
        """Cover of an upright rectangle."""
        return self.polygon((left, top), (right, top), (right, bottom), (left, bottom))


def _ease(position: Field) -> tuple[NDArray[np.int64], Field]:
    """Grid cell and smoothed way through it."""
    cell = np.floor(position)
    part = position - cell
    return cell.astype(np.int64), np.asarray(part * part * (3.0 - 2.0 * part))


def _smooth(low: float, high: float, value: Field) -> Field:
    part = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(part * part * (3.0 - 2.0 * part))


def scene(width: int = 1200, height: int = 900, seed: int = 1) -> NDArray[np.uint16]:
    """Paint the picture: 16-bit gray, shape (height, width), in which ``code = 65535 * L* / 100``
    and the whole scale from 0 to 65535 occurs.

    Raises `OptionError` below 64 x 64 pixels, where nothing would be recognised.
    """
    if min(width, height) < 64:
        raise OptionError(
            f"a scene of {width} x {height} pixels", "it needs 64 x 64", "ask for a larger one"
        )
    ramps = round(height * _RAMPS)
    rows = height - ramps
    canvas = _Canvas(
        np.zeros((rows, width), dtype=np.float32),
        _centres(width, rows)[None, :],
        _centres(rows, rows)[:, None],
        np.random.default_rng(seed),
    )
    aspect = width / rows
    _sky(canvas, aspect)
    _hills(canvas, aspect)
    _lake(canvas, aspect)
    _boat(canvas, 0.60 * aspect)
    _meadow(canvas, aspect)
    _house(canvas, 0.22 * aspect)
    _tree(canvas, 0.86 * aspect)
    whole = np.concatenate([canvas.tone, _wedge_and_ramp(width, ramps)])
    codes = np.floor(np.clip(whole, 0.0, 100.0) * (65535.0 / 100.0) + 0.5)
    return np.asarray(codes.astype(np.uint16))


def _centres(count: int, rows: int) -> Field:
    """Middles of so many pixels, in picture heights."""
    return np.asarray(((np.arange(count) + 0.5) / rows).astype(np.float32))


def _sky(canvas: _Canvas, aspect: float) -> None:
    """Darker overhead, brightest low down where the sun stands; heaped clouds."""
    sun = np.exp(-(((canvas.x - 0.62 * aspect) / 0.7) ** 2) - ((canvas.y - 0.36) / 0.3) ** 2)
    canvas.tone[...] = 58.0 + 26.0 * _smooth(0.0, _SHORE, canvas.y) + 10.0 * sun
    lumps = canvas.noise(0.45, 0.16, 6)
    higher = np.maximum(np.arange(lumps.shape[0]) - max(1, round(0.02 / canvas.pixel)), 0)
    above = lumps[higher]
    bank = 0.55 - 1.1 * np.abs(canvas.y - 0.17) / 0.25
    cover = _smooth(0.10, 0.75, lumps + bank - 0.15)
    light = 90.0 + 12.0 * np.clip(lumps - above + 0.1, -1.0, 0.6)
    canvas.paint(np.clip(light, 70.0, 97.0), 0.9 * cover)


def _ridge(canvas: _Canvas, level: float, height: float, lump: float) -> Field:
    """Height of a skyline at each column, shape (1, columns), in y."""
    line = np.zeros(canvas.x.shape[1], dtype=np.float32)
    for octave in range(7):
        size = lump * 0.5**octave
        cells = int(canvas.x[0, -1] / size) + 3
        knots = canvas.rng.uniform(-1.0, 1.0, cells).astype(np.float32)
        cell, part = _ease(canvas.x[0] / size)
        line += 0.5**octave * (knots[cell] + (knots[cell + 1] - knots[cell]) * part)
    return np.asarray(level - height * line)[None, :]


def _hills(canvas: _Canvas, aspect: float) -> None:
    """A snowy range far off, then two wooded ridges, each darker and nearer."""
    peaks = 0.15 * np.exp(-(((canvas.x - 0.36 * aspect) / 0.16) ** 2))
    peaks = peaks + 0.09 * np.exp(-(((canvas.x - 0.64 * aspect) / 0.20) ** 2))
    skyline = _ridge(canvas, 0.40, 0.035, 0.30) - peaks
    folds = canvas.noise(0.07, 0.12, 5)
    rock = 58.0 + 13.0 * folds
    snow = 88.0 + 8.0 * np.clip(2.0 * folds, -1.0, 0.9)
    snowline = _smooth(0.02, -0.02, canvas.y - 0.345 + 0.04 * folds)
    haze = _smooth(0.30, _SHORE, canvas.y)
    range_tone = rock + (snow - rock) * snowline
    canvas.paint(range_tone + (76.0 - range_tone) * 0.6 * haze, canvas.inside(canvas.y - skyline))
    for level, height, base, depth in ((0.440, 0.030, 52.0, 6.0), (0.478, 0.022, 30.0, 9.0)):
        line = _ridge(canvas, level, height, 0.35) + 0.004 * canvas.noise(0.012, 0.02, 2)
        woods = base + depth * canvas.noise(0.03, 0.03, 4) + 60.0 * (canvas.y - line)
        canvas.paint(woods, canvas.inside(canvas.y - line))


def _lake(canvas: _Canvas, aspect: float) -> None:
    """The far side upside down, broken by ripples; glints under the sun."""
    rows = canvas.tone.shape[0]
    shore = round(_SHORE * rows)
    depth = np.arange(rows - shore)
    ripple = canvas.noise(0.10, 0.010, 3)[shore:]
    nearer = (depth / rows)[:, None]
    sway = ripple * (0.004 + 0.09 * nearer) / canvas.pixel
    source = np.clip(shore - 1 - 0.9 * depth[:, None] + sway, 0, shore - 1).astype(np.int64)
    mirrored = np.take_along_axis(canvas.tone[:shore], source, axis=0)
    canvas.tone[shore:] = 0.80 * mirrored + 4.0 + 3.0 * ripple - 22.0 * nearer
    canvas.tone[shore : shore + max(1, rows // 250)] = 24.0
    column = np.exp(-(((canvas.x - 0.62 * aspect) / (0.05 + 0.25 * nearer)) ** 2))
    sparkle = canvas.noise(0.014, 0.005, 2)[shore:] + 0.8 * column - 0.2 * nearer
    glint = _smooth(1.05, 1.35, np.asarray(sparkle, dtype=np.float32))
    canvas.tone[shore:] += (100.0 - canvas.tone[shore:]) * glint


def _boat(canvas: _Canvas, x: float) -> None:
    """A small sailing boat, its sail the whitest plain thing in the picture."""
    y = 0.585
    canvas.paint(60.0, 0.5 * canvas.polygon((x - 0.02, y + 0.01), (x + 0.04, y + 0.01), (x, 0.68)))
    canvas.paint(99.0, canvas.polygon((x, y - 0.105), (x + 0.052, y - 0.012), (x, y - 0.012)))
    canvas.paint(
        86.0, canvas.polygon((x - 0.005, y - 0.09), (x - 0.005, y - 0.012), (x - 0.03, y - 0.012))
    )
    hull = (
        (x - 0.04, y - 0.006),
        (x + 0.058, y - 0.006),
        (x + 0.042, y + 0.012),
        (x - 0.03, y + 0.012),
    )
    canvas.paint(9.0, canvas.polygon(*hull))


def _meadow(canvas: _Canvas, aspect: float) -> None:
    """The near bank, grass growing coarser towards the viewer, and a path to the house."""
    across = canvas.x / aspect
    edge = 0.64 + 0.20 * _smooth(0.25, 0.62, across) - 0.09 * _smooth(0.66, 1.0, across)
    edge = edge + 0.012 * canvas.noise(0.08, 0.5, 3)
    blades = canvas.noise(0.008, 0.035, 3)
    fine = canvas.noise(0.004, 0.010, 2)
    swells = canvas.noise(0.30, 0.08, 3)
    near = _smooth(0.62, 1.0, canvas.y)
    grass = 46.0 - 17.0 * near + 9.0 * swells + (4.0 + 8.0 * near) * blades + 4.0 * fine
    cover = canvas.inside(canvas.y - edge)
    canvas.paint(grass, cover)
    bank = _smooth(0.018, 0.0, canvas.y - edge)
    canvas.paint(18.0 + 8.0 * fine, 0.8 * bank * cover)
    bend = 0.22 * aspect - 0.04 + 0.55 * (canvas.y - 0.73) + 0.10 * np.sin(9.0 * (canvas.y - 0.73))
    half = 0.012 + 0.16 * np.maximum(canvas.y - 0.73, 0.0)
    path = _smooth(0.0, 0.012, half - np.abs(canvas.x - bend) + 0.006 * blades)
    path = path * canvas.inside(canvas.y - 0.73)
    canvas.paint(70.0 + 5.0 * fine + 4.0 * swells, 0.85 * path)


def _house(canvas: _Canvas, x: float) -> None:
    """A lit front, a gable in shade, a dark roof, windows near black."""
    floor, eaves, top = 0.735, 0.625, 0.535
    left, corner, right = x - 0.155, x + 0.075, x + 0.165
    grain = canvas.noise(0.006, 0.006, 2)
    reach = ((canvas.x - left + 0.01) / 0.22) ** 2 + ((canvas.y - floor) / 0.024) ** 2
    canvas.paint(13.0 + 4.0 * grain, 0.85 * _smooth(1.0, 0.45, reach))
    gable = canvas.polygon((corner, eaves), (right, eaves), (right, floor - 0.012), (corner, floor))
    peak = canvas.polygon(
        (corner, eaves + 0.002), (0.5 * (corner + right), top), (right, eaves + 0.002)
    )
    canvas.paint(93.0 + 1.5 * grain, np.maximum(gable, peak))
    front = canvas.polygon((left, eaves), (corner, eaves), (corner, floor), (left, floor - 0.004))
    canvas.paint(66.0 + 2.0 * grain + 20.0 * (canvas.y - eaves), front)
    ridge = 0.5 * (corner + right)
    roof = canvas.polygon(
        (left + 0.025, top),
        (ridge, top),
        (corner - 0.012, eaves + 0.012),
        (left - 0.02, eaves + 0.010),
    )
    tiles = 4.0 * np.sin(canvas.y / 0.0035) + 4.0 * grain
    canvas.paint(24.0 + tiles, roof)
    slope = canvas.polygon(
        (ridge, top),
        (ridge + 0.012, top),
        (right + 0.018, eaves + 0.012),
        (right + 0.004, eaves + 0.012),
    )
    canvas.paint(38.0, slope)
    chimney = canvas.box(x - 0.08, top - 0.045, x - 0.045, top + 0.01)
    canvas.paint(44.0 + 6.0 * grain, chimney)
    for pane in (left + 0.025, left + 0.17):
        _window(canvas, pane, eaves + 0.035)
    door = canvas.polygon(
        (x - 0.06, eaves + 0.035),
        (x - 0.02, eaves + 0.035),
        (x - 0.02, floor - 0.001),
        (x - 0.06, floor - 0.002),
    )
    canvas.paint(11.0 + 2.0 * grain, door)
    _window(canvas, corner + 0.027, eaves + 0.025)


def _window(canvas: _Canvas, x: float, y: float) -> None:
    """A white frame, panes near black, a glazing bar."""
    for grow, tone in ((0.005, 96.0), (0.0, 2.5)):
        pane = canvas.box(x - grow, y - grow, x + 0.036 + grow, y + 0.042 + grow)
        canvas.paint(tone, pane)
    canvas.paint(90.0, canvas.box(x + 0.0165, y, x + 0.0195, y + 0.042))


def _tree(canvas: _Canvas, x: float) -> None:
    """A broad old tree in the near corner, black at its heart, lit from the left."""
    foot = 0.93
    bark = canvas.noise(0.010, 0.06, 3)
    shade = _smooth(
        1.0, 0.4, ((canvas.x - x - 0.04) / 0.30) ** 2 + ((canvas.y - foot) / 0.045) ** 2
    )
    canvas.paint(7.0 + 5.0 * canvas.noise(0.008, 0.02, 2), 0.85 * shade)
    lean = x + 0.02 * np.sin(6.0 * canvas.y)
    half = 0.020 + 0.10 * np.maximum(canvas.y - 0.84, 0.0) ** 1.2 * 3.0
    trunk = canvas.inside(half - np.abs(canvas.x - lean))
    trunk = trunk * canvas.inside(canvas.y - 0.42) * canvas.inside(foot + 0.01 - canvas.y)
    side = np.clip((lean - canvas.x) / half, -1.0, 1.0)
    canvas.paint(np.maximum(10.0 + 11.0 * side + 5.0 * bark, 1.0), trunk)
    leaves = canvas.noise(0.018, 0.016, 3)
    wide = canvas.noise(0.07, 0.06, 2)
    for _ in range(46):
        angle, reach = canvas.rng.uniform(0.0, 2.0 * np.pi), np.sqrt(canvas.rng.uniform(0.0, 1.0))
        centre_x = x + 0.21 * reach * np.cos(angle)
        centre_y = 0.40 + 0.21 * reach * np.sin(angle) - 0.03 * np.cos(2.0 * angle)
        _leaf_mass(canvas, (centre_x, centre_y), (leaves, wide), x)


def _leaf_mass(
    canvas: _Canvas, centre: tuple[float, float], texture: tuple[Field, Field], trunk: float
) -> None:
    """One clump of leaves with a ragged rim."""
    size = canvas.rng.uniform(0.045, 0.085)
    near_y = np.flatnonzero(np.abs(canvas.y[:, 0] - centre[1]) < 1.9 * size)
    near_x = np.flatnonzero(np.abs(canvas.x[0] - centre[0]) < 1.9 * size)
    if not near_y.size or not near_x.size:
        return
    part = np.s_[near_y[0] : near_y[-1] + 1, near_x[0] : near_x[-1] + 1]
    leaves, wide = (field[part] for field in texture)
    dx = (canvas.x[:, part[1]] - centre[0]) / size
    dy = (canvas.y[part[0]] - centre[1]) / size
    body = 1.0 - np.sqrt(dx * dx + 1.3 * dy * dy)
    cover = _smooth(0.0, 0.12, np.asarray(body + 0.45 * leaves + 0.15 * wide))
    lit = np.clip(-0.55 * dx - 0.75 * dy, -1.0, 1.0) - 1.2 * (centre[0] - trunk)
    tone = 16.0 + 13.0 * lit + 9.0 * leaves + 4.0 * wide - 22.0 * (centre[1] - 0.38)
    under = canvas.tone[part]
    under += (np.maximum(tone, 0.5) - under) * np.where(body > -0.9, cover, 0.0)


def _wedge_and_ramp(width: int, rows: int) -> Field:
    """A step wedge above a continuous ramp, black to white, between white rules."""
    gap = max(1, rows // 16)
    step = np.minimum(np.arange(width) * _STEPS // width, _STEPS - 1) * (100.0 / (_STEPS - 1))
    ramp = np.linspace(0.0, 100.0, width)
    block = np.full((rows, width), 100.0, dtype=np.float32)
    half = (rows - gap) // 2
    block[gap : gap + half] = step
    block[gap + half :] = ramp
    return block

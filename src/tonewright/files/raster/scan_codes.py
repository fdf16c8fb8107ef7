"""Stored values of a scan to one plane of codes from 0 (black) to 1 (white)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError, OptionError
from tonewright.files.raster import bands
from tonewright.files.raster.icc import lightness_profile, profile_lightness
from tonewright.scales import FULL_CODE, Array, lightness_to_luminance
from tonewright.scan.image import Scan

Channel = Literal["red", "green", "blue", "luminance"]
Pixels = NDArray[np.float32]

CHANNELS = ("red", "green", "blue")
# EXIF 2.32, Orientation: transposed first, then upside down, then left to right.
TURNS = {
    1: (False, False, False), 2: (False, False, True), 3: (False, True, True),
    4: (False, True, False), 5: (True, False, False), 6: (True, False, True),
    7: (True, True, True), 8: (True, True, False),
}  # fmt: skip


@dataclass(frozen=True)
class Stored:
    """What the file says of its pixels."""

    path: Path
    width: int
    height: int
    samples: int
    """1 gray, 3 RGB."""
    bits: int
    white_is_zero: bool = False
    orientation: int = 1
    ppi: float | None = None
    profile: bytes | None = None
    warnings: tuple[str, ...] = ()

    @property
    def full(self) -> int:
        return (1 << self.bits) - 1


def assemble(
    stored: Stored, jobs: Iterable[Callable[[], NDArray[Any]]], channel: Channel | None, ahead: int
) -> Scan:
    """All bands as one plane of codes."""
    plan = _plan(stored, channel)
    pixels = np.empty((stored.height, stored.width), np.float32)

    def convert(job: Callable[[], NDArray[Any]]) -> Pixels:
        return plan.convert(job())

    top = 0
    for codes in bands.in_order(((lambda job=job: convert(job)) for job in jobs), ahead):  # type: ignore[misc]
        pixels[top : top + len(codes)] = codes
        top += len(codes)
    notes = stored.warnings + plan.warnings
    if stored.bits == 8:
        notes += ("it has 8 bits, 256 steps in all: densities above about 1.3 are uncertain; "
                  "scan at 16 bits",)
    return Scan(_upright(pixels, stored.orientation), stored.bits, stored.ppi, plan.lightness,
                notes, stored.path.name)


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    turn, upside_down, swap = TURNS[orientation]
    pixels = pixels.T if turn else pixels
    pixels = pixels[::-1] if upside_down else pixels
    return np.ascontiguousarray(pixels[:, ::-1] if swap else pixels)


@dataclass(frozen=True)
class _Plan:
    """How stored values become codes."""

    convert: Callable[[NDArray[Any]], Pixels]
    """(rows, columns, samples) of stored values to codes, shape (rows, columns)."""
    lightness: Array | None
    warnings: tuple[str, ...] = ()


def _plan(stored: Stored, channel: Channel | None) -> _Plan:
    scale = np.float32(1.0 / stored.full)
    if stored.samples == 1:
        if channel not in (None, "luminance"):
            raise OptionError(f"the channel {channel} is asked for, but {stored.path} is gray",
                              "a gray scan has one channel", "leave --channel out")
        lightness, notes = _gray_lightness(stored)
        if stored.white_is_zero:
            return _Plan(lambda v: 1.0 - v[:, :, 0] * scale, lightness, notes)
        return _Plan(lambda v: v[:, :, 0] * scale, lightness, notes)
    transform, notes = _rgb_transform(stored)
    if channel in CHANNELS:
        index = CHANNELS.index(channel)
        ramp = np.linspace(0, stored.full, min(stored.full + 1, 4096)).round()
        neutral = np.repeat(ramp, 3).reshape(1, -1, 3).astype(
            np.uint16 if stored.bits == 16 else np.uint8)
        table = None if transform is None else 100.0 * transform(neutral)[0].astype(np.float64)
        return _Plan(lambda v: v[:, :, index] * scale, table, notes)
    if transform is None:
        notes += ("it is in colour and carries no usable profile: its colours were weighed as if "
                  "they were sRGB; name a channel with --channel to leave that out",)
        return _Plan(_srgb_luma(stored), None, notes)
    return _Plan(transform, np.linspace(0.0, 100.0, 256), notes)


_PUT_ASIDE = "its ICC profile cannot be used (broken, or not for this kind of picture): put aside"


def _gray_lightness(stored: Stored) -> tuple[Array | None, tuple[str, ...]]:
    if stored.profile is None:
        return None, ()
    try:
        return profile_lightness(stored.profile, stored.full + 1, stored.path.name)[1], ()
    except ImageError:
        return None, (_PUT_ASIDE,)


def _rgb_transform(
    stored: Stored,
) -> tuple[Callable[[NDArray[Any]], Pixels] | None, tuple[str, ...]]:
    """RGB values to L*/100 by the profile, through littleCMS; None without a usable one."""
    if stored.profile is None:
        return None, ()
    import imagecodecs

    profile, grey = stored.profile, lightness_profile()

    def transform(values: NDArray[Any]) -> Pixels:
        out = imagecodecs.cms_transform(
            np.ascontiguousarray(values), profile, grey, colorspace="rgb", outcolorspace="gray",
            outdtype="u2", intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
            flags=imagecodecs.CMS.FLAGS.NOOPTIMIZE)  # its shortcut is up to 0.15 L* off in blacks
        codes = np.asarray(out).reshape(values.shape[:2])
        return np.asarray(codes * np.float32(1.0 / FULL_CODE))

    dtype = np.uint16 if stored.bits == 16 else np.uint8
    ends = np.array([[[0, 0, 0], [stored.full] * 3]], dtype)
    sound = len(profile) > 128 and profile[16:20] == b"RGB " and profile[36:40] == b"acsp"
    try:
        black, white = transform(ends)[0] if sound else (0.0, 0.0)
    except (RuntimeError, ValueError):
        black = white = 0.0
    if white < black + 0.01:
        return None, (_PUT_ASIDE,)
    return _quicker(transform, stored.full, dtype) or transform, ()


def _quicker(
    transform: Callable[[NDArray[Any]], Pixels], full: int, dtype: Any
) -> Callable[[NDArray[Any]], Pixels] | None:
    """The same from three tables, where the profile only adds its channels' light.

    That is so for profiles of a matrix and tone curves (ICC.1, 8.3.3), as scanners embed them;
    it is tried on random colours, and None if it is not so.  Five times as fast.
    """
    tables = []
    for channel in range(3):
        ramp = np.zeros((1, full + 1, 3), dtype)
        ramp[0, :, channel] = np.arange(full + 1)
        light = lightness_to_luminance(100.0 * transform(ramp)[0])
        tables.append((light / 100.0).astype(np.float32))

    def convert(values: NDArray[Any]) -> Pixels:
        light = np.zeros(values.shape[:2], np.float32)
        for channel, table in enumerate(tables):
            light += table[values[:, :, channel]]
        cube_root = np.float32(1.16) * np.cbrt(light) - np.float32(0.16)
        return np.where(light > 216 / 24389, cube_root, np.float32(24389 / 2700) * light)

    tried = np.random.default_rng(0).integers(0, full + 1, (1, 2000, 3)).astype(dtype)
    tried[0, 1000:] //= 8  # blacks as well
    return convert if np.abs(convert(tried) - transform(tried)).max() < 2e-4 else None


def _srgb_luma(stored: Stored) -> Callable[[NDArray[Any]], Pixels]:
    """Luminance of sRGB values (IEC 61966-2-1), encoded again as sRGB: grays keep their code."""
    code = np.linspace(0.0, 1.0, stored.full + 1)
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    tables = [(share * linear).astype(np.float32) for share in (0.2126, 0.7152, 0.0722)]

    def convert(values: NDArray[Any]) -> Pixels:
        light = sum(table[values[:, :, i]] for i, table in enumerate(tables))
        high = np.float32(1.055) * np.maximum(light, np.float32(1e-9)) ** np.float32(1 / 2.4)
        return np.asarray(np.where(light <= 0.0031308, np.float32(12.92) * light,
                                   high - np.float32(0.055)), dtype=np.float32)

    return convert

"""Scans in, as one plane of codes from 0 to 1.

A scan is a 16-bit gray or RGB TIFF or PNG.  Colour becomes one value a pixel: a channel, or the
luminance by the embedded ICC profile.  What would give wrong densities quietly is refused.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.errors import ImageError, OptionError
from tonewright.files.raster import bands
from tonewright.files.raster.findings import FewTones
from tonewright.files.raster.icc import colour_luminance, profile_lightness
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Band, ByteSource
from tonewright.files.raster.source import TURNS, OpenOptions, SourceImage, Use
from tonewright.measured import findings
from tonewright.negative.colour import ToLuminance, luminances_of
from tonewright.negative.tones import encoding_lightness
from tonewright.record.findings import Finding
from tonewright.scan.image import Scan, Taken

Channel = Literal["red", "green", "blue", "luminance"]
Pixels = NDArray[np.float32]

CHANNELS = ("red", "green", "blue")
_AGAIN = "scan it again as 16-bit gray (or 48-bit RGB) and save it as TIFF"
SCAN = Use(
    "scan",
    "a scan is one gray or RGB picture, 16 bits a value, saved as TIFF or PNG",
    _AGAIN,
    ("transparency and infrared have no place in a scan for densities",
     "save it without transparency or infrared channel, as 16-bit gray or RGB"),
    ("a scan is one picture",
     "save the page you want as a TIFF of its own; switch off the scanner program's infrared or"
     " multi-page option"),
    ("a JPEG has 8 bits and blurs what lies close together, most of all in the blacks, so its"
     " densities are off", f"{_AGAIN}; or read it all the same"),
    pixels=(40, 300_000_000),  # a sheet of 11 x 14 inches at 1200 ppi has 222 million
    densest=16,  # half a bit for each: less than even a JPEG of a smooth print takes
)  # fmt: skip
_SRGB_LUMINANCE = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1


def read_scan(
    file: str | os.PathLike[str] | ByteSource, *, allow_jpeg: bool = False,
    channel: Channel | None = None, fingerprint: bool = False,
) -> Scan:
    """Read a scan whole.

    ``file`` is a TIFF or PNG, gray or RGB, of 16 (or 8) bits; one that is open already is closed.
    Of RGB a ``channel`` is taken, or its luminance (also None), which needs the embedded profile;
    without one the values are weighed as if they were sRGB, with a warning.  With ``fingerprint``
    the SHA-256 of the file is found too.

    Codes run from 0 (black) to 1 (white), float32, shape (rows, columns), turned upright as the
    file says.  RGB luminance by a profile is in steps of CIE L*; all else in the scan's own
    encoding.

    Raises `FileError`: it cannot be opened, or is no picture.  `ImageError`: a JPEG, unless that is
    allowed; transparency, CMYK, a palette, floating point, several pages; cut short; a header that
    lies.  `OptionError`: a channel that the scan does not have.
    """
    if channel not in (None, "luminance", *CHANNELS):
        raise OptionError(f"the channel is {channel!r}", "it is red, green, blue or luminance",
                          "leave it out for luminance")
    with open_image(file, OpenOptions(use=SCAN, lossy=allow_jpeg)) as image:
        convert, lightness, found = _plan(image, channel)
        page = image.page
        pixels = np.empty((page.height, page.width), np.float32)
        jobs = (job.then(lambda band: convert(page.tones(band)[0])) for job in image.jobs())
        top = 0
        with closing(bands.in_order(jobs, bands.ahead_for(page))) as converted:
            for codes in converted:
                pixels[top : top + len(codes)] = codes
                top += len(codes)
        ppi, uneven = _ppi(image)
        return Scan(
            _upright(pixels, image.orientation), page.bits, ppi, lightness,
            (*uneven, *found, *_few_tones(image)), image.path.name,
            image.source.sha256() if fingerprint else None,
            Taken(channel or "luminance" if page.colour else "gray", page.bits,
                  None if image.profile is None else sha256(image.profile).hexdigest(), ppi,
                  image.device),
        )  # fmt: skip


def _ppi(image: SourceImage) -> tuple[float | None, list[Finding]]:
    """Pixels to the inch, if the file says anything sensible."""
    across, down = (image.resolution and image.resolution.per_inch) or (0.0, 0.0)
    if not (1.0 <= across <= 50_000.0 and 1.0 <= down <= 50_000.0):
        return None, []
    uneven = [findings.ScanResolutionUneven(image.path.name, across, down)]
    return float((across * down) ** 0.5), [*uneven] if abs(across / down - 1.0) > 0.01 else []


def _few_tones(image: SourceImage) -> list[Finding]:
    found: list[Finding] = [findings.ScanIsJpeg(image.path.name)] if image.lossy else []
    if image.lossy or any(isinstance(f, FewTones) for f in image.findings):
        found.append(findings.ScanHasFewTones(image.path.name))
    return found


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    turn, upside_down, swap = TURNS[orientation]
    pixels = pixels.T if turn else pixels
    pixels = pixels[::-1] if upside_down else pixels
    return np.ascontiguousarray(pixels[:, ::-1] if swap else pixels)


def _plan(
    image: SourceImage, channel: Channel | None
) -> tuple[Callable[[Band], Pixels], scales.Array | None, list[Finding]]:
    """What makes codes of gray values, shape (rows, columns), or of RGB, shape (rows, columns, 3);
    L* of evenly spaced codes; and what is to be said of that."""
    scale = np.float32(1.0 / (image.values - 1))
    lightness, to_luminance, found = _by_profile(image)
    if not image.page.colour:
        if channel not in (None, "luminance"):
            raise OptionError(f"the channel {channel} is asked for, but {image.path} is gray",
                              "a gray scan has one channel", "name no channel")
        return lambda v: v * scale, lightness, found
    if channel in CHANNELS:
        index = CHANNELS.index(channel)
        return lambda v: v[..., index] * scale, lightness, found
    if to_luminance is not None:
        light = to_luminance
        return lambda v: _lightness_code(light(v)), np.linspace(0.0, 100.0, 256), found
    found.append(findings.ScanWeighedAsSrgb(image.path.name))
    linear = scales.lightness_to_luminance(encoding_lightness("srgb", image.values)) / 100.0
    luma = luminances_of(np.outer(_SRGB_LUMINANCE, linear))
    return lambda v: _srgb_code(luma(v)), None, found


_Profiled = tuple[scales.Array | None, ToLuminance | None, list[Finding]]


def _by_profile(image: SourceImage) -> _Profiled:
    """L* of evenly spaced gray values, and the luminance of colours, by the embedded profile."""
    if image.profile is None:
        return None, None, []
    try:
        if not image.page.colour:
            return profile_lightness(image.profile, image.values, image.path.name)[1], None, []
        to_luminance = colour_luminance(image.profile, image.values, image.path.name)[2]
    except ImageError:
        return None, None, [findings.ScanProfileUnusable(image.path.name)]
    ramp = np.linspace(0, image.values - 1, min(image.values, 4096)).round()
    grays = np.repeat(ramp, 3).reshape(1, -1, 3).astype(image.page.dtype)
    luminance = to_luminance(grays)[0].astype(np.float64).clip(0.0, 1.0)
    return scales.luminance_to_lightness(100.0 * luminance), to_luminance, []


def _lightness_code(light: Pixels) -> Pixels:
    """L*/100 of relative luminance (CIE 15:2018)."""
    cube_root = np.float32(1.16) * np.cbrt(light) - np.float32(0.16)
    code = np.where(light > 216 / 24389, cube_root, np.float32(24389 / 2700) * light)
    return np.minimum(code, np.float32(1.0))


def _srgb_code(light: Pixels) -> Pixels:
    """Luminance encoded as sRGB (IEC 61966-2-1): grays keep their code."""
    high = np.float32(1.055) * np.maximum(light, np.float32(1e-9)) ** np.float32(1 / 2.4)
    return np.where(light <= 0.0031308, np.float32(12.92) * light, high - np.float32(0.055))

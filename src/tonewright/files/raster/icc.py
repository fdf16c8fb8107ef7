"""What pixel values mean, from the ICC profile inside an image.

ICC.1:2022 (ISO 15076-1).  Relative colorimetric: the profile's white is luminance 1.  littleCMS, in
floating point, decides whether a profile is sound and says what it means.  Tone curves are worked
out here once more, in double precision: its answers have 24 bits, which moves one code of a
negative in some thousand, and it rounds the entries of a table to 16 bits, which is 0.007 L* in the
blacks and moves every third.  Where it sees something else (a profile that goes by tables of
colours) its word is taken, for every pixel.
"""

from __future__ import annotations

import struct
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster.icc_write import HEADER, gray_profile, parametric
from tonewright.negative.colour import ToLuminance, luminances_of
from tonewright.negative.luminance import Luminance
from tonewright.negative.tones import encoding_lightness
from tonewright.scales import Array, luminance_to_lightness

_KINDS = {b"RGB ": "colour (RGB)", b"GRAY": "gray"}
_KINDS |= {b"CMYK": "ink (CMYK)", b"Lab ": "Lab", b"XYZ ": "XYZ"}
_COLOURS = 4096
_AGREES = 0.05
"""L* between what is worked out here and what littleCMS says."""
_RELATIVE, EXACT = 1, 0x0100
"""littleCMS: INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE."""


def profile_lightness(profile: bytes, size: int, image_name: str) -> tuple[str, Array]:
    """Name of a gray profile, by its own description, and the image lightness (0 to 100) of every
    value from black to white, shape (size,): of a tone curve exact, of anything else to 0.002.

    ``size`` is 256 or 65536; ``image_name`` is for messages.

    Raises `ImageError`: the profile is not for gray images, is broken, or its white is no lighter
    than its black.
    """
    ramp = np.arange(size, dtype=_dtype(size))[None]
    seen = _seen(profile, b"GRAY", ramp, image_name)[0]
    curve = tone_curve(_element(profile, b"kTRC"), size)
    if curve is not None:
        # ICC.1, 8.3.4: luminance, or lightness where the connection space is Lab
        lab = profile[20:24] == b"Lab "
        own = 100.0 * curve if lab else luminance_to_lightness(100.0 * curve)
        if np.abs(own - seen).max() <= _AGREES:
            return _description(profile), own
    return _description(profile), seen


def colour_luminance(
    profile: bytes, size: int, image_name: str
) -> tuple[str, Array | None, ToLuminance]:
    """Name of an RGB profile, and what it says of colours.

    Returned are its own description; what each value of each channel adds to relative luminance,
    shape (3, size), or None where they do not add up; and a function that finds the luminance of
    pixels.  ``size`` is 256 or 65536; ``image_name`` is for messages.

    Raises `ImageError`: the profile is not for RGB images, is broken, or its white is no lighter
    than its black.
    """
    some = np.random.default_rng(1).integers(0, size, (1, _COLOURS, 3)).astype(_dtype(size))
    some[0, -64:] = np.linspace(0, size - 1, 64).astype(some.dtype)[:, None]
    some[0, 0] = 0
    seen = _seen(profile, b"RGB ", some, image_name)
    channels = _channels(profile, size)
    if channels is not None:
        tables = luminances_of(channels)
        own = luminance_to_lightness(100.0 * tables(some).clip(0.0, 1.0))
        if np.abs(own - seen).max() <= _AGREES:
            return _description(profile), channels, tables
    return _description(profile), None, partial(every_pixel, profile=profile)


def _dtype(size: int) -> type[np.uint8 | np.uint16]:
    return np.uint8 if size == 256 else np.uint16


def every_pixel(
    pixels: NDArray[Any], profile: bytes, space: str = "rgb", intent: int = _RELATIVE
) -> Luminance:
    """Luminance by littleCMS itself, as `ToLuminance` says; of gray pixels, shape (rows, width)."""
    import imagecodecs

    made: NDArray[np.float32] = imagecodecs.cms_transform(
        np.ascontiguousarray(pixels), profile, _LINEAR, colorspace=space, outcolorspace="gray",
        outdtype="float32", intent=intent, flags=EXACT)
    return np.maximum(made.reshape(pixels.shape[:2]), 0.0)


def _seen(profile: bytes, space: bytes, pixels: NDArray[Any], image_name: str) -> Array:
    """Lightness of pixels, black first and white last, if the profile is sound."""
    kind = _KINDS[space].removeprefix("colour (").rstrip(")")

    def refused(what: str) -> ImageError:
        return ImageError(
            f"the image {image_name} carries an ICC profile {what}",
            f"{'an' if kind == 'RGB' else 'a'} {kind} image needs a sound profile for {kind}",
            f"assign the right {kind} profile in your editor, or say what the values mean, which"
            " puts the profile aside",
            code="image_encoding",
        )

    if len(profile) <= HEADER or profile[36:40] != b"acsp":
        raise refused("that is broken")
    (size,) = struct.unpack(">I", profile[:4])
    if size > len(profile):
        raise refused(f"that is broken ({len(profile)} of {size} bytes)")
    if profile[16:20] != space:
        raise refused(f"for {_KINDS.get(profile[16:20], 'other')} images")
    try:
        luminance = every_pixel(pixels, profile, space.decode().strip().lower())
    except (RuntimeError, ValueError, TypeError) as error:
        raise refused("that is broken") from error
    seen = luminance_to_lightness(100.0 * luminance.astype(np.float64).clip(0.0, 1.0))
    if not seen[0, -1] >= seen[0, 0] + 1.0:
        raise refused("whose white is no lighter than its black")
    return seen


def _element(profile: bytes, wanted: bytes) -> bytes:
    """The tagged element of that name; empty if there is none (ICC.1, 7.3)."""
    count = int.from_bytes(profile[HEADER : HEADER + 4], "big")
    for at in range(HEADER + 4, min(HEADER + 4 + 12 * count, len(profile) - 11), 12):
        name, start, size = struct.unpack(">4sII", profile[at : at + 12])
        if name == wanted:
            return profile[start : start + size]
    return b""


_PARAMETERS = (1, 3, 4, 5, 7)
"""How many numbers a parametric curve of each kind has."""


def tone_curve(element: bytes, size: int) -> Array | None:
    """What a tone curve makes of every value, shape (size,): 0 to 1.  None if it is no such curve.

    ICC.1:2022, 10.6 (curveType: a power, or a table that is linear between its entries) and 10.18
    (parametricCurveType).
    """
    value = np.linspace(0.0, 1.0, size)
    if element[:4] == b"curv" and len(element) >= 12:
        (count,) = struct.unpack(">I", element[8:12])
        if len(element) < 12 + 2 * count:
            return None
        entries = np.frombuffer(element[12 : 12 + 2 * count], ">u2")
        if count < 2:
            return value ** (entries[0] / 256.0) if count else value
        return np.interp(value, np.linspace(0.0, 1.0, count), entries / 65535.0)
    if element[:4] == b"para" and len(element) >= 12:
        (kind,) = struct.unpack(">H", element[8:10])
        if kind < len(_PARAMETERS) and len(element) >= 12 + 4 * _PARAMETERS[kind]:
            numbers = struct.unpack_from(f">{_PARAMETERS[kind]}i", element, 12)
            return _parametric(kind, [number / 65536.0 for number in numbers], value)
    return None


def _parametric(kind: int, numbers: list[float], value: Array) -> Array | None:
    """ICC.1:2022, table 68: (aX + b)^g + e from d on, cX + f below."""
    g, a, b, c, d, e, f = (*numbers, *[0.0] * (7 - len(numbers)))
    if kind == 0:
        a = 1.0
    elif kind in (1, 2):
        if a == 0.0:
            return None
        c, d, e, f = 0.0, -b / a, c, c
    with np.errstate(all="ignore"):  # a broken curve: what comes out is not used
        power = np.power(np.maximum(a * value + b, 0.0), g) + e
        made = np.where(value >= d, power, c * value + f).clip(0.0, 1.0)
    return np.asarray(made) if np.isfinite(made).all() else None


def _channels(profile: bytes, size: int) -> Array | None:
    """What each channel adds to luminance by its tone curve and its column of the matrix, shape
    (3, size); None for a profile of another kind (ICC.1, 8.3.3)."""
    if profile[20:24] != b"XYZ ":
        return None
    rows = []
    for name in (b"r", b"g", b"b"):
        column = _element(profile, name + b"XYZ")
        curve = tone_curve(_element(profile, name + b"TRC"), size)
        if curve is None or column[:4] != b"XYZ " or len(column) < 20:
            return None
        (luminance,) = struct.unpack(">i", column[12:16])
        rows.append(luminance / 65536.0 * curve)
    return np.array(rows)


def _description(profile: bytes) -> str:
    """The profile's own, in English if there are several (ICC.1, 10.15 multiLocalizedUnicodeType;
    ICC.1:2001, 6.5.17 textDescriptionType)."""
    element = _element(profile, b"desc")
    text = element[12:].split(b"\0")[0].decode("latin-1")
    if element[:4] == b"mluc" and len(element) >= 16:
        (count,) = struct.unpack(">I", element[8:12])
        rows = range(16, min(16 + 12 * count, len(element) - 11), 12)
        found = [struct.unpack(">4sII", element[row : row + 12]) for row in rows]
        found.sort(key=lambda row: (row[0] != b"enUS", row[0][:2] != b"en"))
        _, size, start = found[0] if found else (b"", 0, 0)
        text = element[start : start + size].decode("utf-16-be", "replace")
    return " ".join("".join(c for c in text if c.isprintable() or c == " ").split()) or "unnamed"


def encoding_profile(encoding: str) -> bytes:
    """A gray ICC profile for values in an encoding of `negative.encoding_lightness`, which also
    says where each formula is from.

    ICC.1:2022, 10.18: function type 0 is Y = X^g, type 3 Y = (aX + b)^g from d on, cX below.
    Raises `OptionError` for an unknown encoding.
    """
    encoding_lightness(encoding, 256)
    name = encoding.strip().lower()
    if name == "lightness":
        return lightness_profile()
    if name == "srgb":
        numbers = (2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045)
        return gray_profile(parametric(3, numbers), name)
    gamma = 1.0 if name == "linear" else float(name.partition(":")[2])
    return gray_profile(parametric(0, [gamma]), name)


def lightness_profile() -> bytes:
    """A gray ICC profile whose values are proportional to CIE L*: 0 is 0 and full scale is 100.

    ICC.1:2022, 10.18 (parametricCurveType, function type 3): Y = (aX + b)^g from d on, cX below,
    which with the numbers here is the inverse of CIE 15's L*.
    """
    numbers = (3.0, 100 / 116, 16 / 116, 100 / 903.2963, 0.08)
    return gray_profile(parametric(3, numbers), "CIE lightness")


_LINEAR = gray_profile(b"curv" + bytes(8), "luminance")

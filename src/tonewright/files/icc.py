"""What pixel values mean, from the ICC profile inside an image.

ICC.1:2022 (ISO 15076-1).  The profile is asked through littleCMS, which comes with Pillow and (for
16-bit colour) with imagecodecs: a ramp of all 65 536 values is turned into the values of a small
gray profile made here, whose tone curve is CIE L* itself.  Relative colorimetric: the profile's
white is lightness 100.

A colour profile of three tone curves and a matrix adds up: the luminance of a pixel is that of its
red, of its green and of its blue.  Whether a profile does is found out by asking littleCMS for some
thousand colours; if it does not, littleCMS is asked for every pixel.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.negative.colour import luminances_of
from tonewright.scales import FULL_CODE, Array, lightness_to_luminance

ToGray = Callable[[NDArray[Any]], NDArray[np.uint16]]
"""Pixels of red, green and blue, shape (rows, width, 3), to lightness: 65535 is L* 100."""

_HEADER = 128
_D50 = struct.pack(">iii", 0xF6D6, 0x10000, 0xD32D)  # ICC.1, 7.2.16: 0.9642, 1, 0.8249
_KINDS = {b"RGB ": "colour (RGB)", b"GRAY": "gray"}
_KINDS |= {b"CMYK": "ink (CMYK)", b"Lab ": "Lab", b"XYZ ": "XYZ"}


def profile_lightness(profile: bytes, size: int, image_name: str) -> tuple[str, Array]:
    """Name of a gray profile, and the image lightness of every value from black to white.

    Parameters
    ----------
    profile:
        The ICC profile as it was embedded.
    size:
        Number of values: 256 or 65536.
    image_name:
        For messages.

    Returns
    -------
    The profile's own description; lightness, 0 to 100, shape (size,), exact to 0.002.

    Raises
    ------
    ImageError
        The profile is not for gray images, is broken, or its white is no lighter than its black.
    """
    _check_header(profile, image_name, b"GRAY")
    name, lightness = _through_littlecms(profile, image_name)
    if lightness[-1] < lightness[0] + 1.0:
        raise _refused(image_name, "whose white is no lighter than its black", "")
    return name, lightness[:: FULL_CODE // (size - 1)]


def colour_lightness(profile: bytes, size: int, image_name: str) -> tuple[str, ToGray]:
    """Name of an RGB profile, and a function that finds the lightness of pixels.

    Parameters
    ----------
    profile:
        The ICC profile as it was embedded.
    size:
        Number of values of a channel: 256 or 65536.
    image_name:
        For messages.

    Raises
    ------
    ImageError
        The profile is not for RGB images, is broken, or its white is no lighter than its black.
    """
    _check_header(profile, image_name, b"RGB ")
    exact = _EveryPixel(profile)
    dtype = np.uint8 if size == 256 else np.uint16
    try:
        name = _description(_opened(profile))
        # black, then red alone, green alone, blue alone
        ramps = np.zeros((4, size, 3), dtype)
        for channel in range(3):
            ramps[channel + 1, :, channel] = np.arange(size)
        luminance = lightness_to_luminance(exact(ramps) * (100.0 / FULL_CODE)) / 100.0
        random = np.random.default_rng(1)
        some = random.integers(0, size, (1, _COLOURS, 3)).astype(dtype)
        some[0, :64] = np.linspace(0, size - 1, 64).astype(dtype)[:, None]
        seen = exact(some)
    except (RuntimeError, ValueError, TypeError, OSError) as error:
        raise _refused(image_name, "that is broken", "", "RGB") from error
    if seen[0, 63] < seen[0, 0] + FULL_CODE // 100:
        raise _refused(image_name, "whose white is no lighter than its black", "", "RGB")
    # what black gives is in each ramp, and belongs into one of them only
    tables = luminances_of(luminance[1:] - np.array([[0.0], [1.0], [1.0]]) * luminance[0])
    off = np.abs(tables(some).astype(np.int64) - seen.astype(np.int64))
    return name, tables if off.max() <= _ADDS_UP else exact


_COLOURS = 4096
_ADDS_UP = 30
"""65535ths of L* 100: 0.05 L*."""


class _EveryPixel:
    """Lightness of pixels by littleCMS itself."""

    def __init__(self, profile: bytes) -> None:
        self._profile, self._lightness = profile, lightness_profile()

    def __call__(self, pixels: NDArray[Any]) -> NDArray[np.uint16]:
        import imagecodecs

        made: NDArray[np.uint16] = imagecodecs.cms_transform(
            np.ascontiguousarray(pixels), self._profile, self._lightness, colorspace="rgb",
            outcolorspace="gray", outdtype="uint16", intent=_RELATIVE, flags=_NO_SHORTCUT,
        )  # fmt: skip
        return made.reshape(pixels.shape[:2])


_RELATIVE, _NO_SHORTCUT = 1, 0x0100
"""littleCMS: INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE."""


def _refused(image_name: str, what: str, why: str, kind: str = "gray") -> ImageError:
    return ImageError(
        f"the image {image_name} carries an ICC profile {what}{why}",
        f"{'an' if kind == 'RGB' else 'a'} {kind} image needs a sound profile for {kind}",
        f"assign the right {kind} profile in your editor, or say what the values mean with "
        "--encoding (lightness, srgb, linear or gamma:2.2), which puts the profile aside",
    )


def _check_header(profile: bytes, image_name: str, wanted: bytes) -> None:
    kind = _KINDS[wanted].removeprefix("colour (").rstrip(")")
    if len(profile) <= _HEADER or profile[36:40] != b"acsp":
        raise _refused(image_name, "that is broken", "", kind)
    (size,) = struct.unpack(">I", profile[:4])
    if size > len(profile):
        raise _refused(image_name, "that is broken", f" ({len(profile)} of {size} bytes)", kind)
    space = profile[16:20]
    if space != wanted:
        raise _refused(image_name, f"for {_KINDS.get(space, 'other')} images", "", kind)


def _opened(profile: bytes) -> Any:
    from PIL import ImageCms

    try:
        return ImageCms.ImageCmsProfile(io.BytesIO(profile))
    except ImageCms.PyCMSError as error:
        raise ValueError("no profile") from error


def _through_littlecms(profile: bytes, image_name: str) -> tuple[str, Array]:
    from PIL import Image, ImageCms

    ramp = Image.frombytes("I;16", (256, 256), np.arange(1 << 16, dtype="<u2").tobytes())
    try:
        given = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        transform = ImageCms.buildTransform(
            given,
            ImageCms.ImageCmsProfile(io.BytesIO(lightness_profile())),
            "I;16",
            "I;16",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
            ImageCms.Flags.NOOPTIMIZE,  # its shortcut is up to 35 of 65535 off
        )
        result = ImageCms.applyTransform(ramp, transform)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as error:
        raise _refused(image_name, "that is broken", "") from error
    values = np.frombuffer(result.tobytes(), "<u2").astype(np.float64)
    return _description(given), values * (100.0 / FULL_CODE)


def _description(given: object) -> str:
    from PIL import ImageCms

    try:
        text = str(ImageCms.getProfileDescription(given))
    except (ImageCms.PyCMSError, ValueError, TypeError):
        text = ""
    return " ".join("".join(c for c in text if c.isprintable() or c == " ").split()) or "unnamed"


def lightness_profile() -> bytes:
    """A gray ICC profile whose values are proportional to CIE L*: 0 is 0 and full scale is 100.

    ICC.1:2022, 10.18 (parametricCurveType, function type 3): Y = (aX + b)^g from d on, cX below,
    which with the numbers here is the inverse of CIE 15's L*.
    """
    numbers = (3.0, 100 / 116, 16 / 116, 100 / 903.2963, 0.08)
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
    curve += b"".join(struct.pack(">i", round(n * 65536)) for n in numbers)
    return gray_profile(curve, "CIE lightness")


def gray_profile(tone_curve: bytes, name: str) -> bytes:
    """A version 4 gray display profile with the given kTRC element (its bytes, with type)."""
    text = name.encode("utf-16-be")
    words = b"mluc" + bytes(4) + struct.pack(">II4sII", 1, 12, b"enUS", len(text), 28) + text
    elements = {b"desc": words, b"cprt": words, b"wtpt": b"XYZ " + bytes(4) + _D50}
    elements[b"kTRC"] = tone_curve
    start = _HEADER + 4 + 12 * len(elements)
    table, body = struct.pack(">I", len(elements)), b""
    for tag, element in elements.items():
        table += struct.pack(">4sII", tag, start + len(body), len(element))
        body += element + bytes(-len(element) % 4)
    head = struct.pack(">I4xI4s4s4s", start + len(body), 0x04200000, b"mntr", b"GRAY", b"XYZ ")
    head = head.ljust(36, b"\0") + b"acsp"
    head = head.ljust(68, b"\0") + _D50
    return head.ljust(_HEADER, b"\0") + table + body

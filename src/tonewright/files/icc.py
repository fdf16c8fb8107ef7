"""What pixel values mean, from the ICC profile inside an image.

ICC.1:2022 (ISO 15076-1).  The profile is asked through littleCMS, which comes with Pillow: a ramp
of all 65 536 values is turned into the values of a small gray profile made here, whose tone
curve is CIE L* itself.  Relative colorimetric: the profile's white is lightness 100.
"""

from __future__ import annotations

import io
import struct

import numpy as np

from tonewright.errors import ImageError
from tonewright.scales import FULL_CODE, Array

_HEADER = 128
_D50 = struct.pack(">iii", 0xF6D6, 0x10000, 0xD32D)  # ICC.1, 7.2.16: 0.9642, 1, 0.8249
_KINDS = {b"RGB ": "colour (RGB)", b"CMYK": "ink (CMYK)", b"Lab ": "Lab", b"XYZ ": "XYZ"}


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
    _check_header(profile, image_name)
    name, lightness = _through_littlecms(profile, image_name)
    if lightness[-1] < lightness[0] + 1.0:
        raise _refused(image_name, "whose white is no lighter than its black", "")
    return name, lightness[:: FULL_CODE // (size - 1)]


def _refused(image_name: str, what: str, why: str) -> ImageError:
    return ImageError(
        f"the image {image_name} carries an ICC profile {what}{why}",
        "a gray image needs a sound profile for gray",
        "assign the right gray profile in your editor, or say what the values mean with "
        "--encoding (lightness, srgb, linear or gamma:2.2), which puts the profile aside",
    )


def _check_header(profile: bytes, image_name: str) -> None:
    if len(profile) <= _HEADER or profile[36:40] != b"acsp":
        raise _refused(image_name, "that is broken", "")
    (size,) = struct.unpack(">I", profile[:4])
    if size > len(profile):
        raise _refused(image_name, "that is broken", f" ({len(profile)} of {size} bytes)")
    space = profile[16:20]
    if space != b"GRAY":
        raise _refused(image_name, f"for {_KINDS.get(space, 'other than gray')} images", "")


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

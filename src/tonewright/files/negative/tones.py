"""What the values of an image mean: what the user says, its profile, or an assumption."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tonewright.files.raster.source import SourceImage
from tonewright.frozen import dataclass
from tonewright.negative.findings import EncodingAssumed, ProfileSetAside
from tonewright.negative.tones import ASSUMED_ENCODING, encoding_lightness
from tonewright.record.findings import Finding
from tonewright.scales import Array, luminance_to_lightness

if TYPE_CHECKING:
    from tonewright.negative.colour import ToLuminance

ASSUMED_COLOUR_ENCODING = "srgb"


@dataclass(frozen=True, eq=False)
class Tones:
    """The meaning of an image's values."""

    encoding: str
    """A name for it."""
    lightness: Array
    """Image lightness (0 to 100) of every value from black to white, shape (n,): of gray pixels,
    all their channels alike, if the image is in colour."""
    to_luminance: ToLuminance | None
    """For a colour image: what finds the luminance of its pixels."""
    findings: tuple[Finding, ...]


def image_tones(image: SourceImage, encoding: str | None) -> Tones:
    """What the values of an image mean.

    Where the user says no ``encoding`` (None), the embedded profile is asked, then what a PNG says;
    without either, gray of gamma 2.2 or sRGB colour is assumed.

    Raises `OptionError`: the encoding is unknown; `ImageError`: the profile is not for this kind of
    image or is broken.
    """
    findings: tuple[Finding, ...] = ()
    if encoding is None and image.profile is not None:
        return _through_profile(image, image.profile)
    if encoding is not None:
        said = encoding.strip().lower()
        if image.profile:
            findings = (ProfileSetAside(),)
    elif image.said_encoding is not None:
        said = image.said_encoding
    else:
        said = ASSUMED_COLOUR_ENCODING if image.page.colour else ASSUMED_ENCODING
        findings = (EncodingAssumed(said),)
    if image.page.colour:
        from tonewright.negative.colour import encoded_luminances, luminances_of

        channels = encoded_luminances(said, image.values)
        return Tones(said, _of_grays(channels), luminances_of(channels), findings)
    return Tones(said, encoding_lightness(said, image.values), None, findings)


def _through_profile(image: SourceImage, profile: bytes) -> Tones:
    from tonewright.files.raster.icc import colour_luminance, profile_lightness

    if not image.page.colour:
        name, lightness = profile_lightness(profile, image.values, str(image.path))
        return Tones(f"profile {name}", lightness, None, ())
    name, channels, to_luminance = colour_luminance(profile, image.values, str(image.path))
    if channels is None:
        ramp = np.arange(image.values, dtype=np.uint8 if image.values == 256 else np.uint16)
        channels = to_luminance(np.repeat(ramp, 3).reshape(1, -1, 3)).astype(np.float64)
    return Tones(f"profile {name}", _of_grays(channels), to_luminance, ())


def _of_grays(channels: Array) -> Array:
    """Lightness of gray pixels, from what each channel adds to luminance."""
    return luminance_to_lightness(100.0 * channels.sum(axis=0).clip(0.0, 1.0))

"""What the values of an image mean: what the user says, its profile, or an assumption."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tonewright.files.images import SourceImage
from tonewright.negative.tones import ASSUMED_ENCODING, encoding_lightness
from tonewright.scales import FULL_CODE, Array

if TYPE_CHECKING:
    from tonewright.files.icc import ToGray

ASSUMED_COLOUR_ENCODING = "srgb"


@dataclass(frozen=True, eq=False)
class Tones:
    """The meaning of an image's values."""

    encoding: str
    """A name for it."""
    lightness: Array
    """Image lightness (0 to 100) of every gray value from black to white, shape (n,)."""
    neutral: Array
    """The same of every value that the image's channels can have, for a gray pixel."""
    to_gray: ToGray | None
    """For a colour image: what makes gray values of its pixels."""
    warnings: tuple[str, ...]


def image_tones(image: SourceImage, encoding: str | None) -> Tones:
    """What the values of an image mean.

    Parameters
    ----------
    image:
        From `images.open_image`.
    encoding:
        Said by the user, or None: the embedded profile is asked, then what a PNG says; without
        either, gray of gamma 2.2 or sRGB colour is assumed.

    Raises
    ------
    OptionError
        The encoding is unknown.
    ImageError
        The profile is not for this kind of image or is broken.
    """
    warnings: tuple[str, ...] = ()
    if encoding is None and image.profile is not None:
        return _through_profile(image, image.profile)
    if encoding is not None:
        said = encoding.strip().lower()
        if image.profile:
            warnings = ("its ICC profile was put aside for --encoding",)
    elif image.said_encoding is not None:
        said = image.said_encoding
    elif image.page.colour:
        said = ASSUMED_COLOUR_ENCODING
        warnings = (
            "it has no ICC profile, so its values were taken for sRGB; if they are not, say what"
            " they are with --encoding",
        )
    else:
        said = ASSUMED_ENCODING
        warnings = (
            "it has no ICC profile, so its values were taken for gray gamma 2.2; if they are not,"
            " say what they are with --encoding",
        )
    if image.page.colour:
        from tonewright.negative.colour import encoded_luminances

        return _colour(said, encoded_luminances(said, image.values), image, warnings)
    lightness = encoding_lightness(said, image.values)
    return Tones(said, lightness, lightness, None, warnings)


def _through_profile(image: SourceImage, profile: bytes) -> Tones:
    from tonewright.files.icc import colour_lightness, profile_lightness

    if image.page.colour:
        name, to_gray = colour_lightness(profile, image.values, str(image.path))
        return _colour(f"profile {name}", to_gray, image, ())
    name, lightness = profile_lightness(profile, image.values, str(image.path))
    return Tones(f"profile {name}", lightness, lightness, None, ())


def _colour(
    name: str, to_gray: ToGray, image: SourceImage, warnings: tuple[str, ...]
) -> Tones:
    """Pixels become lightness in 65535ths, which is then the meaning of the gray values."""
    ramp = np.arange(image.values, dtype=np.uint8 if image.values == 256 else np.uint16)
    neutral = to_gray(np.repeat(ramp, 3).reshape(1, -1, 3))[0] * (100.0 / FULL_CODE)
    return Tones(name, np.linspace(0.0, 100.0, FULL_CODE + 1), neutral, to_gray, warnings)

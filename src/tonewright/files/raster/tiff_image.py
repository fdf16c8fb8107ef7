"""What a TIFF says about the image in it, and which TIFFs cannot become a negative."""

from __future__ import annotations

import re
from typing import Literal

from tonewright.errors import ImageError, OptionError
from tonewright.files.raster import bands, tiff
from tonewright.files.raster.open import RESOLUTION_UNKNOWN, OpenOptions, SourceImage
from tonewright.files.raster.tiff import Alpha, ByteSource, Directory, Page, Resolution

_GRAY_WAY_OUT = "convert it to 16-bit gray in your editor and save it as TIFF"
_PHOTOMETRICS = {3: "a palette", 4: "a mask", 5: "inks (CMYK)"}
_PHOTOMETRICS |= {6: "colour (YCbCr)", 8: "Lab colour", 32803: "raw sensor data"}
_COMPRESSIONS = {2: "fax", 3: "fax", 4: "fax", 6: "JPEG", 7: "JPEG", 34712: "JPEG 2000"}
_COMPRESSIONS |= {34925: "LZMA", 50000: "Zstandard", 50001: "WebP", 50002: "JPEG XL"}
_MOST_SAMPLES = 16

def open_tiff(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a TIFF; errors as `images.open_image`."""
    warnings: list[str] = []
    directory = _one_page(source, tiff.read_directories(source), options)
    _check_kind(directory)
    page = _read_page(directory, options, warnings)
    bands.check_memory(source, page)
    orientation = checked_orientation(directory.number(tiff.ORIENTATION, 1), warnings)
    if page.bits == 8:
        warnings.insert(0, few_tones(colour=page.colour))
    resolution = read_resolution(directory, warnings)
    if resolution is not None and orientation > 4:
        resolution = resolution.turned()
    profile = directory.data(tiff.PROFILE, tiff.LARGEST_PROFILE + 1)
    if len(profile) > tiff.LARGEST_PROFILE:
        raise source.damaged("its ICC profile is larger than 16 MB")
    return SourceImage(
        source.path, page, orientation, resolution, profile or None, tuple(warnings)
    )


def few_tones(*, colour: bool) -> str:
    """The warning for values of 8 bits."""
    has = "256 steps of each colour" if colour else "at most 256 tones"
    return (
        f"it has 8 bits, so {has}: smooth skies may print in steps; a 16-bit original is better"
    )


def _one_page(source: ByteSource, pages: list[Directory], options: OpenOptions) -> Directory:
    """The one page that is no thumbnail, or the one that was asked for."""
    full = [page for page in pages if not page.number(tiff.SUBFILE_TYPE, 0) & 1] or pages
    # Some programs put a whole stack behind one directory and only say so in its description.
    stack = re.search(rb"^images=(\d{1,9})\s*$", full[0].data(tiff.DESCRIPTION, 1 << 16), re.M)
    count = max(len(full), int(stack[1]) if stack else 1)
    if options.page is not None:
        if not 1 <= options.page <= len(full):
            raise OptionError(
                f"--page is {options.page}",
                f"the image {source.path} has the pages 1 to {len(full)}",
                "name one of them" if len(full) > 1 else "leave --page out",
            )
        return full[options.page - 1]
    if count > 1:
        raise ImageError(
            f"the image {source.path} has {count} pages",
            "a negative is made from one image",
            "name the page, as --page 1, or save the one you want as a TIFF of its own (flatten"
            " layers if there are any)",
        )
    return full[0]


def _check_kind(directory: Directory) -> None:
    """Raise `ImageError` for anything but 8 or 16-bit gray or RGB, naming what it is."""
    path = directory.source.path

    def refuse(what: str, rule: str, way_out: str = _GRAY_WAY_OUT) -> ImageError:
        return ImageError(f"the image {path}: {what}", rule, way_out)

    photometric = directory.number(tiff.PHOTOMETRIC)
    if photometric not in (0, 1, 2):
        kind = _PHOTOMETRICS.get(photometric, f"an unknown kind ({photometric})")
        raise refuse(f"its pixels are {kind}", "a negative is made from gray or RGB pixels")
    formats = set(directory.numbers(tiff.SAMPLE_FORMAT, _MOST_SAMPLES).tolist()) or {1}
    if not formats <= {1, 4}:
        names = {2: "signed numbers", 3: "floating-point numbers"}
        kind = next((names[f] for f in sorted(formats) if f in names), "no integers")
        raise refuse(f"its values are {kind}", "values are whole numbers of 8 or 16 bits")
    bits = set(directory.numbers(tiff.BITS, _MOST_SAMPLES).tolist()) or {1}
    if bits not in ({8}, {16}):
        said = " and ".join(str(b) for b in sorted(bits))
        raise refuse(f"its values have {said} bit", "values have 16 bits, or at least 8")
    compression = directory.number(tiff.COMPRESSION, 1)
    if compression not in (tiff.NONE, tiff.LZW, tiff.DEFLATE, tiff.OLD_DEFLATE, tiff.PACKBITS):
        name = _COMPRESSIONS.get(compression, f"unknown ({compression})")
        raise refuse(
            f"its compression is {name}",
            "it may be uncompressed, LZW, Deflate (ZIP) or PackBits",
            "save it again from your editor without compression",
        )
    if directory.number(tiff.FILL_ORDER, 1) != 1 or directory.number(tiff.PREDICTOR, 1) > 2:
        raise refuse("its values are stored in a rare way", "only plain storage is read")


def _read_page(directory: Directory, options: OpenOptions, warnings: list[str]) -> Page:
    damaged = directory.source.damaged
    width, height = directory.number(tiff.WIDTH), directory.number(tiff.HEIGHT)
    if not (1 <= width <= tiff.LONGEST_SIDE and 1 <= height <= tiff.LONGEST_SIDE):
        raise damaged(f"it claims to be {width} x {height} pixels")
    photometric, samples = directory.number(tiff.PHOTOMETRIC), directory.number(tiff.SAMPLES, 1)
    own = 3 if photometric == 2 else 1
    if not own <= samples <= _MOST_SAMPLES:
        raise damaged(f"it claims {samples} values for each pixel")
    alpha = _read_alpha(directory, samples - own, options, warnings)
    compression = directory.number(tiff.COMPRESSION, 1)
    bits: Literal[8, 16] = 8 if directory.number(tiff.BITS) == 8 else 16
    apart = samples > 1 and directory.number(tiff.PLANAR, 1) == 2
    pixel_bytes = bits // 8 * (1 if apart else samples)
    parts = tiff.read_planes(
        directory, (width, height, pixel_bytes), compression, samples if apart else 1
    )
    return Page(
        width=width,
        height=height,
        bits=bits,
        order=directory.order,
        white_is_zero=photometric == 0,
        compression=compression,
        # TIFF 6.0, section 14: a predictor is part of a compression; without one it is idle.
        predictor=compression != tiff.NONE and directory.number(tiff.PREDICTOR, 1) == 2,
        segments=parts[0],
        samples=samples,
        colour=photometric == 2,
        alpha=alpha,
        planes=parts if apart else (),
    )


def _read_alpha(
    directory: Directory, extra: int, options: OpenOptions, warnings: list[str]
) -> Alpha | None:
    """TIFF 6.0, ExtraSamples: 1 premultiplied, 2 straight, 0 anything, such as a saved mask."""
    if not extra:
        return None
    found = directory.numbers(tiff.EXTRA_SAMPLES, 1)
    kinds: dict[int, Alpha] = {1: "premultiplied", 2: "straight"}
    alpha = kinds.get(int(found[0])) if found.size else None
    if not options.flatten:
        raise transparent(directory.source, "transparency" if alpha else "an extra channel")
    warnings.append(
        "its transparency was laid on white" if alpha else "its extra channel was left out"
    )
    return alpha


def transparent(source: ByteSource, what: str) -> ImageError:
    """The error for an image with more than its tones, where that was not allowed."""
    return ImageError(
        f"the image {source.path} has {what} beside its tones",
        "a negative is made from what would be seen on paper",
        "add --flatten to lay it on white, or flatten it in your editor and save it as 16-bit"
        " gray TIFF",
    )


def checked_orientation(orientation: int, warnings: list[str]) -> int:
    """TIFF and EXIF orientation, 1 to 8; anything else is 1, with a warning."""
    if 1 <= orientation <= 8:
        return orientation
    warnings.append(f"its orientation tag is {orientation}, which means nothing; ignored")
    return 1


def read_resolution(directory: Directory, warnings: list[str]) -> Resolution | None:
    """The resolution of a TIFF or EXIF directory; None, with a warning, if it has none."""
    x, y = directory.rational(tiff.X_RESOLUTION), directory.rational(tiff.Y_RESOLUTION)
    unit = directory.number(tiff.RESOLUTION_UNIT, 2)
    if x is None or y is None or 0 in (*x, *y):
        warnings.append(RESOLUTION_UNKNOWN)
        return None
    if unit not in (2, 3):
        warnings.append("its resolution has no unit: set the size yourself when you print")
        unit = 1
    if x[0] * y[1] != y[0] * x[1]:
        warnings.append("its pixels are not square: its resolution differs across and down")
    return Resolution(x, y, unit)

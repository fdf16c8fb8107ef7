"""What a TIFF says about the image in it, and which TIFFs are not read."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Literal

from tonewright.files.raster import tiff, tiff_pixels
from tonewright.files.raster.findings import ExtraChannelIgnored, TransparencyFlattened
from tonewright.files.raster.page import LARGEST_PROFILE, Alpha, ByteSource, Compression, Page
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.files.raster.tiff import Directory
from tonewright.files.raster.tiff_pixels import tiff_jobs
from tonewright.files.raster.tiff_text import whole_text

_PHOTOMETRICS = {3: "a palette", 4: "a mask", 5: "inks (CMYK)", 6: "colour (YCbCr)"}
_PHOTOMETRICS |= {8: "Lab colour", 32803: "raw sensor data"}
_OLD_JPEG = 6
_NAMES = {2: "fax", 3: "fax", 4: "fax", 6: "JPEG of a rare kind", 7: "JPEG of a rare kind"}
_NAMES |= {34712: "JPEG 2000", 34925: "LZMA", 50000: "Zstandard", 50001: "WebP", 50002: "JPEG XL"}
_FORMATS = {2: "signed numbers", 3: "floating-point numbers"}
_YCBCR = 6
_SPACES = {2: "RGB", _YCBCR: "YCBCR"}
_OLD_DEFLATE = 32946
_LARGEST_TABLES = 1 << 16
_MOST_SAMPLES = 16


def open_tiff(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a TIFF; errors as `open.open_image`."""
    pages = tiff.read_directories(source)
    full = [page for page in pages if not page.number(tiff.SUBFILE_TYPE, 0) & 1] or pages
    # Some programs put a whole stack behind one directory and only say so in its description.
    stack = re.search(rb"^images=(\d{1,9})\s*$", full[0].data(tiff.DESCRIPTION, 1 << 16), re.M)
    directory = full[options.chosen_page(source, len(full), int(stack[1]) if stack else 1)]
    _check_kind(directory, options)
    alpha = _alpha(directory)
    extra = _own_samples(directory) < directory.number(tiff.SAMPLES, 1)
    if extra:
        options.check_flat(source, "transparency" if alpha else "an extra channel")
    profile = directory.data(tiff.PROFILE, LARGEST_PROFILE + 1)
    if len(profile) > LARGEST_PROFILE:
        raise source.damaged("its ICC profile is larger than 16 MB")
    left = (TransparencyFlattened() if alpha else ExtraChannelIgnored(),) if extra else ()
    page = _page(directory, alpha, options)
    return SourceImage(
        source, page, tiff_jobs, directory.number(tiff.ORIENTATION, 1), directory.resolution(),
        profile or None, left, lossy=page.compression == Compression.JPEG,
        device=directory.device(), description=whole_text(
            directory.data(tiff.DESCRIPTION, 1 << 16), directory.data(tiff.XMP, 1 << 17)),
    )  # fmt: skip


def _alpha(directory: Directory) -> Alpha | None:
    """TIFF 6.0, ExtraSamples: 1 premultiplied, 2 straight, 0 anything, such as a saved mask."""
    found = directory.numbers(tiff.EXTRA_SAMPLES, 1)
    kinds: dict[int, Alpha] = {1: "premultiplied", 2: "straight"}
    return kinds.get(int(found[0])) if found.size else None


def _check_kind(directory: Directory, options: OpenOptions) -> None:
    """Raise `ImageError` for anything but 8 or 16-bit gray or RGB, naming what it is."""
    source = directory.source

    def all_of(tag: int) -> set[int]:
        return set(directory.numbers(tag, _MOST_SAMPLES).tolist()) or {1}

    compression = _compression(directory)
    photometric = directory.number(tiff.PHOTOMETRIC)
    if photometric not in (0, 1, 2) and (photometric, compression) != (_YCBCR, Compression.JPEG):
        kind = _PHOTOMETRICS.get(photometric, f"an unknown kind ({photometric})")
        raise options.refused(source, f"its pixels are {kind}")
    formats, bits = all_of(tiff.SAMPLE_FORMAT), all_of(tiff.BITS)
    if not formats <= {1, 4}:
        kind = next((_FORMATS[f] for f in sorted(formats) if f in _FORMATS), "no integers")
        raise options.refused(source, f"its values are {kind}")
    if bits not in ({8}, {16}):
        said = " and ".join(str(b) for b in sorted(bits))
        raise options.refused(source, f"its values have {said} bit")
    if compression in (_OLD_JPEG, Compression.JPEG):
        options.check_lossy(source)
    known = isinstance(compression, Compression) and compression != Compression.OTHER
    if not known or (compression == Compression.JPEG and bits != {8}):
        name = _NAMES.get(compression, f"unknown ({compression})")
        raise options.refused(
            source,
            f"its compression is {name}",
            "it may be uncompressed, LZW, Deflate (ZIP) or PackBits",
            "save it again from your editor without compression",
        )
    if directory.number(tiff.FILL_ORDER, 1) != 1 or directory.number(tiff.PREDICTOR, 1) > 2:
        raise options.refused(source, "its values are stored in a rare way",
                              "only plain storage is read")


def _compression(directory: Directory) -> int:
    """A `Compression`, or the number of one that is not read."""
    number = directory.number(tiff.COMPRESSION, 1)
    number = Compression.DEFLATE if number == _OLD_DEFLATE else number
    return Compression(number) if number in [*Compression] else number


def _own_samples(directory: Directory) -> int:
    return 3 if directory.number(tiff.PHOTOMETRIC) in (2, _YCBCR) else 1


def _page(directory: Directory, alpha: Alpha | None, options: OpenOptions) -> Page:
    source = directory.source
    width, height = directory.number(tiff.WIDTH), directory.number(tiff.HEIGHT)
    options.check_size(source, width, height)
    samples, own = directory.number(tiff.SAMPLES, 1), _own_samples(directory)
    if not own <= samples <= _MOST_SAMPLES:
        raise source.damaged(f"it claims {samples} values for each pixel")
    photometric = directory.number(tiff.PHOTOMETRIC)
    compression = Compression(_compression(directory))
    bits: Literal[8, 16] = 8 if directory.number(tiff.BITS) == 8 else 16
    apart = samples > 1 and directory.number(tiff.PLANAR, 1) == 2
    pixel_bytes = bits // 8 * (1 if apart else samples)
    parts = tiff.read_planes(
        directory, (width, height, pixel_bytes), compression, samples if apart else 1
    )
    # TIFF 6.0, section 14: a predictor is part of a compression; without one it is idle.
    predictor = compression != Compression.NONE and directory.number(tiff.PREDICTOR, 1) == 2
    page = Page(
        width, height, bits, parts[0], samples, own == 3, alpha if samples > own else None,
        directory.order, photometric == 0, compression, predictor, parts if apart else (),
        (directory.data(tiff.JPEG_TABLES, _LARGEST_TABLES), _SPACES.get(photometric)),
    )  # fmt: skip
    page = replace(page, streamed=tiff_pixels.streams(page))
    tiff_pixels.check_memory(source, page)
    return page

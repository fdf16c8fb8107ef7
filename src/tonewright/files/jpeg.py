"""JPEG images (ITU-T T.81, JFIF, EXIF): read because people have them, with a warning.

A JPEG is decoded whole; how large it may be is bounded.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files import tiff
from tonewright.files.bands import Job, spans
from tonewright.files.images import RESOLUTION_UNKNOWN, OpenOptions, SourceImage, refuse_pages
from tonewright.files.png import read_exif
from tonewright.files.tiff import ByteSource, Page, Resolution, Segments
from tonewright.files.tiff_image import checked_orientation, read_resolution

LARGEST = 384 << 20
"""Bytes of the decoded picture."""
_PIXELS_PER_BYTE = 1024
"""A block of 64 takes at least a bit or so; flat pictures come nowhere near this."""
_FRAMES = {0xC0, 0xC1, 0xC2}
_OTHER_FRAMES = {0xC3, *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0)}
WARNING = (
    "it is a JPEG: 8 bits and lossy, so smooth tones may print in steps and blocks; an original"
    " in 16 bits is better"
)
_WAY_OUT = "open it in your editor, convert it to 16-bit gray and save it as TIFF"


@dataclass
class _Header:
    width: int = 0
    height: int = 0
    samples: int = 0
    density: tuple[int, int, int] = (0, 0, 0)
    """JFIF: unit (1 inch, 2 centimetre), across, down."""
    exif: bytes = b""
    profile: dict[int, bytes] = field(default_factory=dict)
    """ICC.1, B.4: numbered pieces."""


def open_jpeg(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a JPEG; errors as `images.open_image`."""
    refuse_pages(source.path, options, "JPEG")
    header = _read_header(source)
    width, height, samples = header.width, header.height, header.samples
    size = width * height * samples
    if not size or width * height > source.size * _PIXELS_PER_BYTE:
        raise source.damaged(f"it claims to be {width} x {height} pixels")
    if size > LARGEST:
        raise ImageError(
            f"the image {source.path} is a JPEG of {size >> 20} MB when unpacked",
            f"a JPEG has to be unpacked whole and may hold {LARGEST >> 20} MB",
            _WAY_OUT,
        )
    whole = Segments(width, height, False, np.zeros(1, np.int64), np.array([source.size]))
    page = Page(
        width, height, 8, tiff.NATIVE, False, tiff.JPEG, False, whole, samples, samples == 3
    )
    warnings = [WARNING]
    exif = read_exif(source, header.exif)
    orientation = 1
    if exif is not None:
        orientation = checked_orientation(exif.number(tiff.ORIENTATION, 1), warnings)
    resolution = _resolution(header, exif, warnings)
    if resolution is not None and orientation > 4:
        resolution = resolution.turned()
    profile = b"".join(header.profile[n] for n in sorted(header.profile)) or None
    return SourceImage(source.path, page, orientation, resolution, profile, tuple(warnings))


def _read_header(source: ByteSource) -> _Header:
    """Everything before the first scan."""
    header, position = _Header(), 2
    while True:
        if position + 4 > source.size:
            raise source.damaged("it ends before its pixels")
        mark, kind, size = struct.unpack(">BBH", source.read(position, 4))
        if mark != 0xFF or size < 2:
            raise source.damaged("its header is broken")
        if kind == 0xFF:  # padding
            position += 1
            continue
        if kind == 0xDA:
            return header
        if kind in _OTHER_FRAMES:
            raise ImageError(
                f"the image {source.path} is a JPEG of a rare kind",
                "only ordinary JPEGs (baseline or progressive) are read",
                _WAY_OUT,
            )
        body = source.read(position + 4, size - 2)
        if kind in _FRAMES:
            _read_frame(source, body, header)
        elif kind in (0xE0, 0xE1, 0xE2):
            _read_extra(kind, body, header)
        position += 2 + size


def _read_frame(source: ByteSource, body: bytes, header: _Header) -> None:
    if len(body) < 6:
        raise source.damaged("its header is broken")
    bits, header.height, header.width, header.samples = struct.unpack(">BHHB", body[:6])
    if bits != 8 or header.samples not in (1, 3):
        kind = "inks (CMYK)" if header.samples == 4 else f"{header.samples} values of {bits} bit"
        raise ImageError(
            f"the image {source.path}: its pixels are {kind}",
            "a negative is made from gray or RGB pixels",
            _WAY_OUT,
        )


def _read_extra(kind: int, body: bytes, header: _Header) -> None:
    if kind == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
        header.density = struct.unpack(">BHH", body[7:12])
    elif kind == 0xE1 and body[:6] == b"Exif\0\0":
        header.exif = header.exif or body[6:]
    elif kind == 0xE2 and body[:12] == b"ICC_PROFILE\0" and len(body) > 14:
        header.profile.setdefault(body[12], body[14:])


def _resolution(
    header: _Header, exif: tiff.Directory | None, warnings: list[str]
) -> Resolution | None:
    if exif is not None and tiff.X_RESOLUTION in exif:
        found: list[str] = []
        try:
            said = read_resolution(exif, found)
        except ImageError:
            said = None
        if said is not None and said.unit != 1:
            warnings += found
            return said
    unit, x, y = header.density
    if unit in (1, 2) and x and y:
        return Resolution((x, 1), (y, 1), unit + 1)
    warnings.append(RESOLUTION_UNKNOWN)
    return None


def jpeg_jobs(source: ByteSource, page: Page, reverse: bool, band_bytes: int) -> Iterator[Job]:
    """Bands of the whole picture, which is decoded when the first is fetched."""
    import imagecodecs

    data = source.read(0, source.size)
    if data.rfind(b"\xff\xd9") < 0:
        raise source.damaged("it ends before its last row")
    try:
        pixels: NDArray[Any] = imagecodecs.jpeg8_decode(data)
    except (RuntimeError, ValueError) as error:
        raise source.damaged("its pixels cannot be decoded") from error
    del data
    if pixels.dtype != np.uint8 or pixels.size != page.height * page.row_values:
        raise source.damaged("its pixels are not what its header says")
    rows = pixels.reshape(page.height, page.row_values)

    for first, end in spans(page.height, max(1, band_bytes // page.row_bytes), reverse):
        yield Job(end - first, partial(rows.__getitem__, slice(first, end)))

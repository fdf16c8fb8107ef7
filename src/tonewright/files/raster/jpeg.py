"""JPEG images (ITU-T T.81, JFIF, EXIF): read because people have them, with a warning.

A JPEG is decoded whole; how large it may be is bounded.  A large one is decoded into a file that
is mapped into memory, and what is done leaves memory again: at any time little of it is there.
"""

from __future__ import annotations

import mmap
import os
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster import tiff
from tonewright.files.raster.bands import Job, spans
from tonewright.files.raster.open import RESOLUTION_UNKNOWN, OpenOptions, SourceImage, refuse_pages
from tonewright.files.raster.png import read_exif
from tonewright.files.raster.tiff import ByteSource, Page, Resolution, Segments
from tonewright.files.raster.tiff_image import checked_orientation, read_resolution

LARGEST, LARGEST_IN_FILE = 384 << 20, 2 << 30
"""Bytes of the decoded picture: in memory, and by way of a file."""
IN_MEMORY = 32 << 20
"""Bytes, packed and decoded, up to which a picture is decoded in memory in any case."""
_BY_FILE = sys.platform == "linux"
"""Whether what has been done can be put out of memory, and room on the disk reserved before it is
written to through memory (where a full disk would end the program)."""
_TRIM_SECONDS = 0.01
_COPY = 1 << 20
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
    progressive: bool = False
    """In several scans: the decoder keeps the whole picture in memory."""
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
    most = LARGEST_IN_FILE if _BY_FILE and not header.progressive else LARGEST
    if size > most:
        kind = "progressive JPEG" if header.progressive else "JPEG"
        raise ImageError(
            f"the image {source.path} is a {kind} of {size >> 20} MB when unpacked",
            f"a {kind} has to be unpacked whole and may hold {most >> 20} MB",
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
        if kind == 0xDA:  # the number of channels in this scan comes first
            header.progressive |= source.read(position + 4, 1)[0] < header.samples
            return header
        if kind in _OTHER_FRAMES:
            raise ImageError(
                f"the image {source.path} is a JPEG of a rare kind",
                "only ordinary JPEGs (baseline or progressive) are read",
                _WAY_OUT,
            )
        body = source.read(position + 4, size - 2)
        if kind in _FRAMES:
            header.progressive = kind == 0xC2
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
    """Bands of the whole picture, which is decoded in memory when the first is fetched."""
    data = np.empty(source.size, np.uint8)
    source.read_into(0, data.data)
    rows = _decoded(source, page, data.data, None)
    del data

    for first, end in spans(page.height, max(1, band_bytes // page.row_bytes), reverse):
        yield Job(end - first, partial(rows.__getitem__, slice(first, end)))


def _decoded(
    source: ByteSource, page: Page, data: Any, out: NDArray[np.uint8] | None
) -> NDArray[np.uint8]:
    """From a view of the packed bytes to shape (rows, values of a row).

    In ``out`` if it is given, shape (rows, width) or (rows, width, 3).
    """
    import imagecodecs

    if not _ends(data):
        raise source.damaged("it ends before its last row")
    try:
        pixels: NDArray[Any] = imagecodecs.jpeg8_decode(data, out=out)
    except (RuntimeError, ValueError) as error:
        raise source.damaged("its pixels cannot be decoded") from error
    if pixels.dtype != np.uint8 or pixels.size != page.height * page.row_values:
        raise source.damaged("its pixels are not what its header says")
    return pixels.reshape(page.height, page.row_values)


def _ends(data: memoryview) -> bool:
    """Whether the mark of an end is there: most often in the last bytes."""
    return any(
        bytes(data[max(0, end - _COPY - 1) : end]).rfind(b"\xff\xd9") >= 0
        for end in range(len(data), 0, -_COPY)
    )


def wants_file(page: Page) -> bool:
    """Whether a page is a JPEG that is to be decoded into a file."""
    size = page.height * page.row_bytes + int(page.segments.sizes[0])
    return page.compression == tiff.JPEG and _BY_FILE and size > IN_MEMORY


def decode_into(file: BinaryIO, source: ByteSource, page: Page) -> None:
    """Decode a JPEG into an empty file, open without a buffer, that then starts with its rows.

    Raises `ImageError` if it is damaged, `FileError` if it cannot be read and `OSError` if the disk
    is full.
    """
    from concurrent.futures import ThreadPoolExecutor, wait

    size = page.height * page.row_bytes
    start = size + -size % mmap.PAGESIZE
    os.posix_fallocate(file.fileno(), 0, start + source.size)
    both = mmap.mmap(file.fileno(), start + source.size)
    # the packed picture too: the source itself may become shorter while it is read
    for first in range(0, source.size, _COPY):
        part = source.read(first, min(_COPY, source.size - first))
        both[start + first : start + first + len(part)] = part
    whole = np.frombuffer(both, np.uint8)
    shape = (page.height, page.width, 3)[: 3 if page.colour else 2]
    out = whole[:size].reshape(shape)
    with ThreadPoolExecutor(1) as pool:
        work = pool.submit(_decoded, source, page, whole[start:].data, out)
        while not wait([work], _TRIM_SECONDS).done:
            both.madvise(mmap.MADV_DONTNEED)  # of a file this loses nothing
    work.result()

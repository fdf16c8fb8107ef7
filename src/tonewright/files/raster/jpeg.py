"""JPEG images (ITU-T T.81, JFIF, EXIF): read because people have them, with a warning.

A JPEG is decoded whole; how large it may be is bounded.  A large one is decoded into a file that
is mapped into memory, and what is done leaves memory again: at any time little of it is there.
"""

from __future__ import annotations

import mmap
import os
import re
import struct
import sys
from collections.abc import Callable, Iterator
from dataclasses import field
from functools import partial
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster import tiff
from tonewright.files.raster.bands import Job, Wanted, array_jobs, row_jobs, unpacked
from tonewright.files.raster.page import Band, ByteSource, Page, Resolution, Segments
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.frozen import dataclass

LARGEST, LARGEST_IN_FILE = 384 << 20, 2 << 30
"""Bytes of the decoded picture: in memory, and by way of a file."""
IN_MEMORY = 32 << 20
"""Bytes, packed and decoded, up to which a picture is decoded in memory in any case."""
_BY_FILE = sys.platform == "linux"
"""Whether what has been done can be put out of memory, and room on the disk reserved before it is
written to through memory (where a full disk would end the program)."""
_TRIM_SECONDS = 0.01
_PIXELS_PER_BYTE = 1024
"""A block of 64 takes at least a bit or so; flat pictures come nowhere near this."""
_FRAMES = {0xC0, 0xC1, 0xC2}
_DECODING = {*_FRAMES, 0xC4, 0xDA, 0xDD}
"""Frame, Huffman tables, head of a scan, restart interval."""
_MOST_PARTS, _MOST_DECODING = 10_000, 1 << 20
_PADDING_READ = 4096
_OTHER_FRAMES = {0xC3, *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0)}


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
    decoding: bytes = b""
    """The parts by which the first scan is decoded, up to its pixels."""
    scan: int = 0
    """Where those start."""


def open_jpeg(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a JPEG; errors as `open.open_image`."""
    options.check_lossy(source)
    options.chosen_page(source, 1)
    header = read_header(source, options)
    if not header.height:
        raise source.damaged(f"it claims to be {header.width} x 0 pixels")
    options.check_size(source, header.width, header.height)
    page = Page(
        header.width, header.height, 8, Segments.one(header.width, header.height, source.size),
        header.samples, header.samples == 3,
    )  # fmt: skip
    kind = "a progressive JPEG" if header.progressive else "a JPEG"
    most = LARGEST_IN_FILE if _BY_FILE and not header.progressive else LARGEST
    check_whole(source, page, options, kind, most)
    orientation, resolution = tiff.read_exif(source, header.exif)
    if resolution is None or resolution.unit == 1:
        unit, x, y = header.density
        resolution = Resolution((x, 1), (y, 1), unit + 1) if unit in (1, 2) and x and y else None
    profile = b"".join(header.profile[n] for n in sorted(header.profile)) or None
    reader = Whole("jpeg8_decode", partial(check_pixels, header=header), into_file=True)
    return SourceImage(source, page, reader, orientation, resolution, profile, (), lossy=True)


def read_header(source: ByteSource, options: OpenOptions) -> _Header:
    """Everything before the first scan; `ImageError` if it is broken or of a rare kind."""
    header, position = _Header(), 2
    for _ in range(_MOST_PARTS):
        if len(header.decoding) > _MOST_DECODING:
            break
        position = _after_padding(source, position)
        if position + 4 > source.size:
            raise source.damaged("it ends before its pixels")
        mark, kind, size = struct.unpack(">BBH", source.read(position, 4))
        if mark != 0xFF or size < 2:
            raise source.damaged("its header is broken")
        body = source.read(position + 4, size - 2)
        position += 2 + size
        if kind in _OTHER_FRAMES:
            raise options.refused(source, "it is a JPEG of a rare kind",
                                  "only ordinary JPEGs (baseline or progressive) are read")
        if kind in _DECODING:
            header.decoding += struct.pack(">BBH", mark, kind, size) + body
        if kind in _FRAMES:
            header.progressive = kind == 0xC2
            _read_frame(source, options, body, header)
        elif kind in (0xE0, 0xE1, 0xE2):
            _read_extra(kind, body, header)
        elif kind == 0xDA:  # the number of channels in this scan comes first
            header.progressive |= body[:1] < bytes([header.samples])
            header.scan = position
            return header
    raise source.damaged("its header never ends")


def _after_padding(source: ByteSource, position: int) -> int:
    """Where the next mark starts: any number of 0xFF may stand before it (B.1.1.2)."""
    while source.size - position > 1:
        block = source.read(position, min(_PADDING_READ, source.size - position))
        marks = len(block) - len(block.lstrip(b"\xff"))
        position += max(marks - 1, 0)
        if marks < len(block):
            break
    return position


def _read_frame(
    source: ByteSource, options: OpenOptions, body: bytes, header: _Header
) -> None:
    if len(body) < 6:
        raise source.damaged("its header is broken")
    bits, header.height, header.width, header.samples = struct.unpack(">BHHB", body[:6])
    if bits != 8 or header.samples not in (1, 3):
        kind = "inks (CMYK)" if header.samples == 4 else f"{header.samples} values of {bits} bit"
        raise options.refused(source, f"its pixels are {kind}")


def _read_extra(kind: int, body: bytes, header: _Header) -> None:
    if kind == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
        header.density = struct.unpack(">BHH", body[7:12])
    elif kind == 0xE1 and body[:6] == b"Exif\0\0":
        header.exif = header.exif or body[6:]
    elif kind == 0xE2 and body[:12] == b"ICC_PROFILE\0" and len(body) > 14:
        header.profile.setdefault(body[12], body[14:])


# Whether it holds the whole picture


_MARK = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
"""Within a scan 0xFF is followed by 0, or by the number of a restart."""
_CHUNK = 1 << 20
_END = b"\xd9"
_MOST_SCANS = 1000
"""Every one after the first is a pass over the whole picture."""
_TABLES = b"".join(b"\xff\xdb\0\x43" + bytes([n]) + bytes(64) for n in range(4))
"""B.2.4.1, quantisation by nothing: every decoded pixel is middle gray, and none is black."""
_LAST = 16
"""Bytes without which no picture is complete: the decoder looks ahead by 8."""
_PADDING = bytes(12)


def check_pixels(source: ByteSource, header: _Header, tables: bytes = b"") -> None:
    """Raise `ImageError` if a JPEG does not hold the whole picture that its header states, or more
    (ITU-T T.81, annex B).

    Its decoder makes up what is missing, and says so to nobody.  So the marks are followed from the
    first scan to the mark of the end; and a picture in one scan is decoded once more, an eighth as
    wide and high, from data that stop there: it must want all of them and no more.

    ``tables``: a JPEG of tables alone, which those of its own header add to.
    """
    end, parts = _next_mark(source, header.scan), 0
    while source.read(end + 1, 1) != _END:
        parts += 1
        if not header.progressive or parts > _MOST_SCANS:
            raise source.damaged("its pixels are broken off by something else")
        size = int.from_bytes(source.read(end + 2, 2), "big")
        end = _next_mark(source, end + 2 + size)
    if not header.progressive:
        head = b"\xff\xd8" + _TABLES + tables[2:-2] + header.decoding
        _check_length(source, _Feed(source, head, header.scan, end))


def _next_mark(source: ByteSource, start: int) -> int:
    for first in range(start, source.size, _CHUNK):
        found = _MARK.search(source.read(first, min(_CHUNK + 1, source.size - first)))
        if found:
            return first + found.start()
    raise source.damaged("it ends before its last row")


class _Feed:
    """A file for Pillow: a JPEG whose last bytes are handed over apart."""

    def __init__(self, source: ByteSource, head: bytes, start: int, end: int) -> None:
        self._source, self._head, self._start = source, head, start
        self._split = max(start, end - _LAST)
        self._tail = source.read(self._split, end - self._split) + _PADDING
        self._at = 0
        self.image: Any = None
        self.too_much = True
        """Whether the picture was complete without its last bytes."""

    def seek(self, position: int) -> None:
        self._at = position

    def tell(self) -> int:
        return self._at

    def read(self, count: int) -> bytes:
        place = self._start + self._at - len(self._head)
        if place < self._start:
            data = self._head[self._at : self._at + count]
        elif place < self._split:
            data = self._source.read(place, min(count, self._split - place))
        elif place == self._split and self.image is not None:
            self.too_much = self._complete()
            data = self._tail
        else:
            data = b"\xff\xd9" if self._complete() else b""
        self._at += len(data)
        return data

    def _complete(self) -> bool:
        return bool(self.image.im.getpixel((0, self.image.height - 1)))


def _check_length(source: ByteSource, feed: _Feed) -> None:
    from PIL.JpegImagePlugin import JpegImageFile

    try:
        image: Any = JpegImageFile(feed)
        width, height = image.size
        image.draft("L", (max(1, width // 8), max(1, height // 8)))
        feed.image = image
        image.load()
    except (OSError, SyntaxError, ValueError) as error:
        raise source.damaged("it ends before its last row") from error
    if feed.too_much:
        raise source.damaged("it holds more than its header states")


# Any picture that is unpacked in one piece


def check_whole(
    source: ByteSource, page: Page, options: OpenOptions, kind: str, most: int | None = None
) -> None:
    """Raise `ImageError` for a picture that is larger than its bytes or memory allow."""
    size, most = page.height * page.row_bytes, most or LARGEST
    if page.width * page.height > source.size * _PIXELS_PER_BYTE:
        raise source.damaged(f"it claims to be {page.width} x {page.height} pixels")
    if size > most:
        raise options.refused(
            source, f"it is {kind} of {size >> 20} MB when unpacked",
            f"{kind} has to be unpacked whole and may hold {most >> 20} MB",
        )  # fmt: skip


@dataclass(frozen=True)
class Whole:
    """Reads a picture that is unpacked in one piece."""

    codec: str
    """The function of imagecodecs that unpacks it."""
    check: Callable[[ByteSource], None]
    """Raises `ImageError` if the file does not hold the whole picture."""
    into_file: bool = False
    """Whether it can write to a given array, so that a large picture can go by way of a file."""

    def __call__(self, source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
        """As `SourceImage.jobs`; also raises `OSError` if the disk is full."""
        self.check(source)
        if wanted.scratch is not None and self.wants_file(source, page):
            file = wanted.scratch()
            self._decode_into(file, source, page)
            return row_jobs(*unpacked(file, page), wanted)
        data = np.empty(source.size, np.uint8)
        source.read_into(0, data.data)
        return array_jobs(self._rows(source, page, data.data, None), page, wanted)

    def wants_file(self, source: ByteSource, page: Page) -> bool:
        """Whether a picture is large enough to be decoded into a file."""
        large = page.height * page.row_bytes + source.size > IN_MEMORY
        return self.into_file and _BY_FILE and large

    def _rows(
        self, source: ByteSource, page: Page, data: memoryview, out: NDArray[np.uint8] | None
    ) -> Band:
        """From the packed bytes to shape (rows, values of a row)."""
        import imagecodecs

        try:
            pixels: NDArray[Any] = getattr(imagecodecs, self.codec)(data, out=out)
        except (RuntimeError, ValueError) as error:
            raise source.damaged("its pixels cannot be unpacked") from error
        if pixels.dtype != page.dtype or pixels.size != page.height * page.row_values:
            raise source.damaged("its pixels are not what its header says")
        return pixels.reshape(page.height, page.row_values)

    def _decode_into(self, file: BinaryIO, source: ByteSource, page: Page) -> None:
        """Decode into an empty file, open without a buffer, that then starts with the rows."""
        from concurrent.futures import ThreadPoolExecutor, wait

        size = page.height * page.row_bytes
        start = size + -size % mmap.PAGESIZE
        os.posix_fallocate(file.fileno(), 0, start + source.size)
        both = mmap.mmap(file.fileno(), start + source.size)
        # the packed picture too: the source itself may become shorter while it is read
        position = start
        for chunk in source.chunks():
            both[position : position + len(chunk)] = chunk
            position += len(chunk)
        whole = np.frombuffer(both, np.uint8)
        shape = (page.height, page.width, 3)[: 3 if page.colour else 2]
        with ThreadPoolExecutor(1) as pool:
            work = pool.submit(
                self._rows, source, page, whole[start:].data, whole[:size].reshape(shape)
            )
            while not wait([work], _TRIM_SECONDS).done:
                both.madvise(mmap.MADV_DONTNEED)  # of a file this loses nothing
        work.result()

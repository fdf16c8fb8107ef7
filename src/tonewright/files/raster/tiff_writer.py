"""Writing a TIFF (TIFF 6.0, BigTIFF) from bands of rows, plain or packed.

Gray (BlackIsZero) or RGB, strips of about 512 KB, in this machine's byte order; BigTIFF only if the
file is larger than 4 GiB.  No time and no name of a machine: the same input gives the same bytes.

Where a row of a plain file lies is known beforehand, so the jobs that make the bands write them
as well, each in its place: that is a third faster than handing them over to be written in order.
"""

from __future__ import annotations

import os
import struct
import sys
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from functools import partial
from typing import Any, BinaryIO, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright import __version__
from tonewright.files.raster import tiff
from tonewright.files.raster.bands import Job, Window, as_bytes, in_order, spans, write_all
from tonewright.files.raster.page import DEFLATE, LZW, NONE, Resolution
from tonewright.files.raster.tiff_text import ascii_text, xmp_packet
from tonewright.frozen import dataclass

STRIP_BYTES = 512 << 10
_LEVEL = 1
"""Of Deflate: 1 % larger than the usual 6, in a third of the time."""
Rows = NDArray[Any]


@dataclass(frozen=True)
class Form:
    """How the pixels of a TIFF are stored."""

    bits: int = 16
    """Of each value, 8 or 16."""
    samples: int = 1
    """Values of each pixel: 1 gray, 3 RGB."""
    deflate: bool = False
    """Packed without loss (Deflate with a predictor) instead of plain."""

    @property
    def pixel_bytes(self) -> int:
        """Bytes of a pixel before packing."""
        return self.samples * self.bits // 8


class _Tag(NamedTuple):
    kind: int
    """Field type of TIFF 6.0: 1 bytes, 2 text, 3 and 4 short and long, 5 fraction, 7 anything, 16
    eight-byte long."""
    values: NDArray[Any]


_TYPES = {1: np.uint8, 2: np.uint8, 3: np.uint16, 4: np.uint32, 5: np.uint32, 7: np.uint8,
          16: np.uint64}
Tags = dict[int, _Tag]


def _numbers(kind: int, tags: dict[int, int]) -> Tags:
    return {tag: _Tag(kind, np.array([number])) for tag, number in tags.items()}


@dataclass(frozen=True)
class Picture:
    """What a TIFF says of its pixels."""

    width: int
    height: int
    resolution: Resolution | None
    """Written as the exact fractions it has; None writes none."""
    description: str = ""
    """ImageDescription; `tiff_text` says how it is written."""
    form: Form = Form()
    profile: bytes = b""

    @property
    def rows_per_strip(self) -> int:
        """Rows of about 512 KB, at least one."""
        return max(1, min(self.height, STRIP_BYTES // (self.form.pixel_bytes * self.width)))

    @property
    def big(self) -> bool:
        """Whether the file may grow beyond 4 GiB and is a BigTIFF."""
        pixels = self.form.pixel_bytes * self.width * self.height
        # A header has at most 8 bytes of strip list in each 512 KB; packing noise adds a bit.
        other = 8 * len(self.description) + len(self.profile) + (1 << 20)
        return pixels + pixels // 512 + other >= 1 << 32

    def header(self) -> bytes:
        """Everything of a plain file before its pixels, which follow in one piece."""
        row = self.form.pixel_bytes * self.width
        starts = np.arange(0, self.height, self.rows_per_strip, dtype=np.int64) * row
        sizes = np.diff(np.append(starts, row * self.height))

        def packed(first: int) -> bytes:
            start = self.start(16 if self.big else 8)
            made = start + self.directory(len(start), starts + first, sizes)
            return made + bytes(-len(made) % 16)

        return packed(len(packed(0)))

    def start(self, directory: int = 0) -> bytes:
        """The first bytes of the file, which say where the directory is."""
        return _start(directory, big=self.big)

    def directory(self, position: int, starts: ArrayLike, sizes: ArrayLike) -> bytes:
        """The directory, which shall stand at ``position`` (an even one), of strips that start at
        ``starts``."""
        tags = self._tags() | _strip_tags(np.array(starts), np.array(sizes), big=self.big)
        return _directory(tags, position, big=self.big)

    def _tags(self) -> Tags:
        """All but the strips' places."""
        form = self.form
        tags = _numbers(4, {
            tiff.WIDTH: self.width, tiff.HEIGHT: self.height,
            tiff.ROWS_PER_STRIP: self.rows_per_strip,
        }) | _numbers(3, {
            tiff.COMPRESSION: DEFLATE if form.deflate else NONE,
            tiff.PHOTOMETRIC: 1 if form.samples == 1 else 2,
            tiff.ORIENTATION: 1, tiff.SAMPLES: form.samples,
        })  # fmt: skip
        tags[tiff.BITS] = _Tag(3, np.full(form.samples, form.bits))
        if form.deflate:
            tags |= _numbers(3, {tiff.PREDICTOR: 2})
        words = ascii_text(self.description).encode("ascii")
        for tag, text in ((tiff.DESCRIPTION, words), (tiff.SOFTWARE, _SOFTWARE)):
            tags[tag] = _Tag(2, np.frombuffer(text + b"\0", np.uint8))
        if packet := xmp_packet(self.description):
            tags[tiff.XMP] = _Tag(1, np.frombuffer(packet, np.uint8))
        if self.profile:
            tags[tiff.PROFILE] = _Tag(7, np.frombuffer(self.profile, np.uint8))
        if self.resolution is not None:
            tags[tiff.X_RESOLUTION] = _Tag(5, np.array(self.resolution.x))
            tags[tiff.Y_RESOLUTION] = _Tag(5, np.array(self.resolution.y))
            tags |= _numbers(3, {tiff.RESOLUTION_UNIT: self.resolution.unit})
        return tags


_SOFTWARE = f"tonewright {__version__}".encode()


def lzw_head(row_bytes: int, rows: int, high: int, sizes: Sequence[int]) -> bytes:
    """The start of a TIFF of LZW strips, each ``high`` rows of bytes and the last one lower, which
    follow it one behind the other."""
    tags = Picture(row_bytes, rows, None, form=Form(8))._tags()
    tags |= _numbers(3, {tiff.COMPRESSION: LZW}) | _numbers(4, {tiff.ROWS_PER_STRIP: high})

    def packed(first: int) -> bytes:
        starts = np.cumsum([first, *sizes[:-1]])
        places = _strip_tags(starts, np.array(sizes), big=False)
        return _start(8, big=False) + _directory(tags | places, 8, big=False)

    return packed(len(packed(0)))


def _strip_tags(starts: NDArray[Any], sizes: NDArray[Any], *, big: bool) -> Tags:
    kind = 16 if big else 4
    return {tiff.STRIP_OFFSETS: _Tag(kind, starts), tiff.STRIP_SIZES: _Tag(kind, sizes)}


def _start(directory: int, *, big: bool) -> bytes:
    mark = b"II" if sys.byteorder == "little" else b"MM"
    if big:
        return mark + struct.pack("=HHHQ", 43, 8, 0, directory)
    return mark + struct.pack("=HI", 42, directory)


def _directory(tags: Tags, position: int, *, big: bool) -> bytes:
    """The directory at ``position`` of the file, and behind it what does not fit into it."""
    word, kind = (8, "Q") if big else (4, "I")
    directory = struct.pack("=Q" if big else "=H", len(tags))
    behind = position + len(directory) + len(tags) * (4 + 2 * word) + word
    extra = bytes(-behind % 8)
    for number, tag in sorted(tags.items(), key=lambda item: item[0]):
        data = tag.values.astype(_TYPES[tag.kind]).tobytes()
        if len(data) > word:
            data, extra = struct.pack(f"={kind}", behind + len(extra)), extra + data
            extra += bytes(-(behind + len(extra)) % 8)
        count = tag.values.size // 2 if tag.kind == 5 else tag.values.size
        directory += struct.pack(f"=HH{kind}", number, tag.kind, count) + data.ljust(word, bytes(1))
    return directory + bytes(word) + extra


def write_tiff(
    stream: BinaryIO, picture: Picture, jobs: Iterator[Job], ahead: int = 3
) -> Generator[int, None, None]:
    """Write a TIFF to an empty file, open without a buffer; yields how many rows were added.

    ``jobs`` end in contiguous bands, uint8 or uint16, shape (rows, width) or (rows, width, 3),
    and have the picture's height together; ``ahead`` of them may wait in memory.
    """
    write = _write_packed if picture.form.deflate else _write_plain
    return write(stream, picture, jobs, ahead)


def _write_plain(
    stream: BinaryIO, picture: Picture, jobs: Iterator[Job], ahead: int
) -> Generator[int, None, None]:
    header = picture.header()
    write_at = _writer(stream)
    write_at(0, memoryview(header))
    row_bytes = picture.width * picture.form.pixel_bytes

    def place(job: Job, position: int) -> int:
        band = job()
        write_at(position, as_bytes(band))
        return len(band)

    def placed() -> Iterator[Callable[[], int]]:
        position = len(header)
        for job in jobs:
            yield partial(place, job, position)
            position += job.rows * row_bytes

    with closing(in_order(placed(), ahead)) as written:
        yield from written


def _writer(stream: BinaryIO) -> Callable[[int, memoryview], None]:
    """A function that writes at a place, from any thread."""
    if hasattr(os, "pwrite"):
        file = stream.fileno()

        def write_at(position: int, data: memoryview) -> None:
            while data.nbytes:
                done = os.pwrite(file, data, position)
                position, data = position + done, data[done:]

        return write_at
    lock = threading.Lock()

    def seek_and_write(position: int, data: memoryview) -> None:
        with lock:
            stream.seek(position)
            write_all(stream, data)

    return seek_and_write


def _write_packed(
    stream: BinaryIO, picture: Picture, jobs: Iterator[Job], ahead: int
) -> Generator[int, None, None]:
    """Strips as they come, their places noted, the directory at the end."""
    strips, sizes = [*spans(picture.height, picture.rows_per_strip)], list[int]()
    write_all(stream, memoryview(picture.start()))
    with closing(in_order(jobs, ahead)) as bands:
        window = Window(bands)
        packing = (partial(_pack, window.rows(*strip)) for strip in strips)
        with closing(in_order(packing)) as packed:
            for strip, (top, bottom) in zip(packed, strips, strict=True):
                sizes.append(len(strip))
                write_all(stream, memoryview(strip))
                yield bottom - top
    *starts, end = np.cumsum([len(picture.start()), *sizes]).tolist()
    write_all(stream, memoryview(bytes(end % 2)))  # a directory begins at an even place
    end += end % 2
    write_all(stream, memoryview(picture.directory(end, starts, sizes)))
    stream.seek(0)
    write_all(stream, memoryview(picture.start(end)))


def _pack(rows: Rows) -> bytes:
    """TIFF 6.0, section 14 (differences of neighbours, modulo full scale), then Deflate."""
    from imagecodecs import deflate_encode

    pixels = rows.reshape(len(rows), rows.shape[1], -1)
    steps = np.empty_like(pixels)
    steps[:, :1] = pixels[:, :1]
    np.subtract(pixels[:, 1:], pixels[:, :-1], out=steps[:, 1:])
    return bytes(deflate_encode(steps.tobytes(), level=_LEVEL))

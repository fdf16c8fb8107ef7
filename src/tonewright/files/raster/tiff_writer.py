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
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright import __version__
from tonewright.files.raster import tiff
from tonewright.files.raster.bands import Job, Window, as_bytes, in_order, spans, write_all
from tonewright.files.raster.page import Compression, Resolution
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
    compression: Compression = Compression.NONE
    """Deflate, which takes a predictor, or none; LZW of strips that are packed already."""

    @property
    def pixel_bytes(self) -> int:
        """Bytes of a pixel before packing."""
        return self.samples * self.bits // 8


_NUMBERS = {3: "u2", 4: "u4", 5: "u4", 16: "u8"}
"""How numbers of some field types are held."""


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
    strip_rows: int | None = None
    """None: as many as make about 512 KB, at least one."""

    @property
    def rows_per_strip(self) -> int:
        """Of each but the last."""
        usual = STRIP_BYTES // (self.form.pixel_bytes * self.width)
        return self.strip_rows or max(1, min(self.height, usual))

    @property
    def big(self) -> bool:
        """Whether the file may grow beyond 4 GiB and is a BigTIFF."""
        pixels = self.form.pixel_bytes * self.width * self.height
        # A header has at most 8 bytes of strip list in each 512 KB; packing noise adds a bit.
        other = 8 * len(self.description) + len(self.profile) + (1 << 20)
        return pixels + pixels // 512 + other >= 1 << 32

    def header(self, sizes: Sequence[int] | None = None) -> bytes:
        """Everything of a file before its strips, which follow one behind the other; of these bytes
        each, or None: plain ones."""
        if sizes is None:
            row = self.form.pixel_bytes * self.width
            sizes = [row * (end - first) for first, end in spans(self.height, self.rows_per_strip)]
        ends = np.cumsum([0, *sizes])

        def packed(first: int) -> bytes:
            start = self.start(16 if self.big else 8)
            made = start + self.directory(len(start), ends[:-1] + first, sizes)
            return made + bytes(-len(made) % 16)

        return packed(len(packed(0)))

    def start(self, directory: int = 0) -> bytes:
        """The first bytes of the file, which say where the directory is."""
        mark = b"II" if sys.byteorder == "little" else b"MM"
        if self.big:
            return mark + struct.pack("=HHHQ", 43, 8, 0, directory)
        return mark + struct.pack("=HI", 42, directory)

    def directory(self, position: int, starts: ArrayLike, sizes: ArrayLike) -> bytes:
        """The directory, which shall stand at ``position`` (an even one), of strips that start at
        ``starts``; and behind it what does not fit into it."""
        word, kind, number = (8, "Q", 16) if self.big else (4, "I", 4)
        tags = self._tags()
        tags |= {tiff.STRIP_OFFSETS: (number, starts), tiff.STRIP_SIZES: (number, sizes)}
        directory = struct.pack("=Q" if self.big else "=H", len(tags))
        behind = position + len(directory) + len(tags) * (4 + 2 * word) + word
        extra = bytes(-behind % 8)
        for tag, (field_type, value) in sorted(tags.items(), key=lambda item: item[0]):
            data = value if isinstance(value, bytes) else \
                np.asarray(value).astype(_NUMBERS[field_type]).tobytes()
            count = len(data) // tiff.SIZE_OF_TYPE[field_type]
            head = struct.pack(f"=HH{kind}", tag, field_type, count)
            if len(data) > word:
                data, extra = struct.pack(f"={kind}", behind + len(extra)), extra + data
                extra += bytes(-(behind + len(extra)) % 8)
            directory += head + data.ljust(word, bytes(1))
        return directory + bytes(word) + extra

    def _tags(self) -> dict[int, tuple[int, Any]]:
        """All but the strips' places: field type, and numbers or bytes."""
        form, resolution = self.form, self.resolution
        tags: dict[int, tuple[int, Any]] = {
            tiff.WIDTH: (4, self.width), tiff.HEIGHT: (4, self.height),
            tiff.BITS: (3, [form.bits] * form.samples), tiff.SAMPLES: (3, form.samples),
            tiff.COMPRESSION: (3, form.compression), tiff.ORIENTATION: (3, 1),
            tiff.PHOTOMETRIC: (3, 1 if form.samples == 1 else 2),
            tiff.ROWS_PER_STRIP: (4, self.rows_per_strip),
            tiff.DESCRIPTION: (2, ascii_text(self.description).encode("ascii") + b"\0"),
            tiff.SOFTWARE: (2, f"tonewright {__version__}\0".encode()),
        }
        if form.compression == Compression.DEFLATE:
            tags[tiff.PREDICTOR] = 3, 2
        if packet := xmp_packet(self.description):
            tags[tiff.XMP] = 1, packet
        if self.profile:
            tags[tiff.PROFILE] = 7, self.profile
        if resolution is not None:
            tags |= {tiff.X_RESOLUTION: (5, resolution.x), tiff.Y_RESOLUTION: (5, resolution.y),
                     tiff.RESOLUTION_UNIT: (3, resolution.unit)}
        return tags


def write_tiff(
    stream: BinaryIO, picture: Picture, jobs: Iterator[Job], ahead: int = 3
) -> Generator[int, None, None]:
    """Write a TIFF to an empty file, open without a buffer; yields how many rows were added.

    ``jobs`` end in contiguous bands, uint8 or uint16, shape (rows, width) or (rows, width, 3),
    and have the picture's height together; ``ahead`` of them may wait in memory.
    """
    plain = picture.form.compression == Compression.NONE
    write = _write_plain if plain else _write_packed
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

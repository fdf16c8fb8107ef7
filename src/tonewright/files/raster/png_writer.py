"""Writing a PNG (ISO/IEC 15948) of 8-bit RGB from bands of rows.

Each band is filtered and packed by itself, in the threads that make it: Deflate (RFC 1951) can end
a piece at a whole byte and go on afresh with the next one.  No time and no name of a machine: the
same input gives the same bytes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Generator, Iterator
from contextlib import closing
from functools import partial
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster.bands import Job, in_order, write_all
from tonewright.files.raster.inflate import deflated
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.png import SIGNATURE, chunk
from tonewright.files.raster.tiff_text import ascii_text
from tonewright.frozen import dataclass

_PACKED_START = b"\x78\x01"
"""RFC 1950: Deflate with a window of 32 KB, packed fast."""
_PACKED_END = b"\x03\x00"
"""RFC 1951: a last piece that holds nothing."""


@dataclass(frozen=True)
class PngPicture:
    """What a PNG says of its pixels."""

    width: int
    height: int
    resolution: Resolution | None
    """None writes none; what has no unit of length is left out."""
    description: str
    profile: bytes
    """ICC profile of the pixels, for RGB."""

    def chunks(self) -> Iterator[bytes]:
        """Everything before the pixels."""
        yield SIGNATURE
        yield chunk(b"IHDR", struct.pack(">IIBBBBB", self.width, self.height, 8, 2, 0, 0, 0))
        yield chunk(b"iCCP", b"ICC\0\0" + zlib.compress(self.profile))
        per_inch = None if self.resolution is None else self.resolution.per_inch
        if per_inch is not None:
            x, y = (round(n / 0.0254) for n in per_inch)
            yield chunk(b"pHYs", struct.pack(">IIB", x, y, 1))
        yield chunk(b"tEXt", b"Description\0" + ascii_text(self.description).encode("ascii"))


def write_png(
    stream: BinaryIO, picture: PngPicture, jobs: Iterator[Job], ahead: int = 3
) -> Generator[int, None, None]:
    """Write a PNG to an empty file; yields how many rows were added.

    ``jobs`` end in bands of uint8, shape (rows, width, 3), and have the picture's height together;
    ``ahead`` of them may wait in memory.
    """
    def write(data: bytes) -> None:
        write_all(stream, memoryview(data))

    for part in picture.chunks():
        write(part)
    check, start = 1, _PACKED_START
    with closing(in_order((partial(_packed, job) for job in jobs), ahead)) as pieces:
        for rows, plain, packed in pieces:
            check = zlib.adler32(plain, check)
            write(chunk(b"IDAT", start + packed))
            start = b""
            yield rows
    write(chunk(b"IDAT", _PACKED_END + struct.pack(">I", check)))
    write(chunk(b"IEND", b""))


def _packed(job: Job) -> tuple[int, memoryview, bytes]:
    """Rows of a band, their filtered bytes, and those packed, to a whole byte."""
    band = job()
    plain = _filtered(band).reshape(-1).data
    return len(band), plain, deflated(plain)


def _filtered(band: NDArray[Any]) -> NDArray[np.uint8]:
    """Each row behind the number of its filter, 1: what is added to the pixel to the left (PNG,
    9.2)."""
    rows, width, samples = band.shape
    flat = band.reshape(rows, -1)
    made = np.empty((rows, 1 + width * samples), np.uint8)
    made[:, 0] = 1
    made[:, 1 : 1 + samples] = flat[:, :samples]
    np.subtract(flat[:, samples:], flat[:, :-samples], out=made[:, 1 + samples :])
    return made

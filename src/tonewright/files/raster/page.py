"""An image file below its format: bytes at given places, resolution, and how pixels are stored."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from enum import IntEnum
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.opening import Closing, reading_error, refuse_irregular
from tonewright.files.safe import remember_read
from tonewright.frozen import dataclass
from tonewright.scales import MM_PER_INCH


class Compression(IntEnum):
    """TIFF 6.0, Compression; 7 by its Technical Note 2."""

    OTHER = 0
    """Another reader unpacks the pixels: PNG, JPEG."""
    NONE = 1
    LZW = 5
    JPEG = 7
    DEFLATE = 8
    PACKBITS = 32773


LONGEST_SIDE = 1_000_000
MOST_SEGMENTS = 1_000_000
LARGEST_PROFILE = 16 << 20

Alpha = Literal["straight", "premultiplied"]
NATIVE: Literal["<", ">"] = "<" if sys.byteorder == "little" else ">"
Integers = NDArray[np.int64]
Band = NDArray[Any]
"""Stored values, uint8 or uint16, shape (rows, width * samples): the raw bytes as this machine
reads them; `Page.fold` makes a table that fits them."""
Entries = TypeVar("Entries", np.uint16, np.float32)
_CHUNK = 1 << 20


class ByteSource(Closing):
    """A file opened for reading at given positions, from several threads."""

    def __init__(
        self, path: Path, rule: str = "a picture is an image file", stream: BinaryIO | None = None
    ) -> None:
        """Open ``path``, or use ``stream`` (open already, unbuffered) under that name.

        ``rule`` says what kind of file belongs here.  Raises `FileError` if it cannot be opened or
        is no ordinary file.
        """
        self.path, self._rule = path, rule
        self._lock = threading.Lock()
        try:
            if stream is None:
                refuse_irregular(path, rule)
                remember_read(path)
            self._stream = path.open("rb", buffering=0) if stream is None else stream
            self.size = self._stream.seek(0, 2)
            # a read that names its place needs no lock; a stream in memory has no number
            real = hasattr(os, "preadv") and not isinstance(self._stream, BytesIO)
            self._file = self._stream.fileno() if real else None
        except (OSError, ValueError) as error:
            raise reading_error(path, error, rule) from error

    def close(self) -> None:
        """Close the file."""
        self._stream.close()

    def __del__(self) -> None:
        if hasattr(self, "_stream"):
            self._stream.close()

    def read(self, offset: int, count: int) -> bytes:
        """``count`` bytes from ``offset``; `ImageError` if the file does not have them."""
        self._inside(offset, count)
        if self._file is not None:
            try:
                data = os.pread(self._file, count, offset)
            except OSError:  # told below
                data = b""
            if len(data) == count:
                return data
        buffer = bytearray(count)
        self.read_into(offset, memoryview(buffer))
        return bytes(buffer)

    def read_into(self, offset: int, view: memoryview) -> None:
        """Fill ``view`` (bytes) from ``offset``; `ImageError` if the file does not have them."""
        self._inside(offset, view.nbytes)
        try:
            while view.nbytes:
                got = self._read_part(offset, view)
                if not got:
                    raise self.damaged("it became shorter while it was being read")
                offset, view = offset + got, view[got:]
        except OSError as error:
            raise reading_error(self.path, error, self._rule) from error

    def _read_part(self, offset: int, view: memoryview) -> int:
        if self._file is not None:
            return os.preadv(self._file, [view], offset)
        with self._lock:
            self._stream.seek(offset)
            got: int = self._stream.readinto(view)  # type: ignore[attr-defined]
            return got

    def chunks(self) -> Iterator[bytes]:
        """The whole file, a piece at a time."""
        for first in range(0, self.size, _CHUNK):
            yield self.read(first, min(_CHUNK, self.size - first))

    def sha256(self) -> str:
        """SHA-256 of the whole file, in hex."""
        import hashlib

        found = hashlib.sha256()
        for chunk in self.chunks():
            found.update(chunk)
        return found.hexdigest()

    def damaged(self, what: str) -> ImageError:
        """The error for a file that contradicts itself."""
        return ImageError(
            f"the image {self.path}: {what}",
            "the file is damaged or cut short",
            "copy it again, or open it in your editor and save it as a new TIFF",
        )

    def _inside(self, offset: int, count: int) -> None:
        if offset < 0 or count < 0 or offset + count > self.size:
            raise self.damaged(
                f"it points to byte {offset + count}, but the file ends at {self.size}"
            )


@dataclass(frozen=True)
class Resolution:
    """Pixels per unit, as the two exact fractions of the file."""

    x: tuple[int, int]
    y: tuple[int, int]
    unit: int
    """1: no unit, only a pixel shape; 2: inch; 3: centimetre."""

    @classmethod
    def square(cls, per_inch: float) -> Resolution:
        """So many pixels to the inch, across and down."""
        each = Fraction(per_inch).limit_denominator(10_000).as_integer_ratio()
        return cls(each, each, 2)

    @property
    def per_inch(self) -> tuple[float, float] | None:
        """Pixels per inch across and down; None without a unit of length."""
        factor = {2: 1.0, 3: 2.54}.get(self.unit)
        if factor is None:
            return None
        return factor * self.x[0] / self.x[1], factor * self.y[0] / self.y[1]

    def millimetres(self, width: int, height: int) -> tuple[float, float]:
        """How wide and high so many pixels are, where the unit is one of length."""
        assert self.per_inch is not None
        across, down = self.per_inch
        return MM_PER_INCH * width / across, MM_PER_INCH * height / down

    @property
    def across_by_down(self) -> float:
        """1 if the pixels are square."""
        return self.x[0] * self.y[1] / (self.x[1] * self.y[0])

    def turned(self) -> Resolution:
        """The same with the sides swapped, for an image turned by a quarter."""
        return replace(self, x=self.y, y=self.x)


@dataclass(frozen=True)
class Segments:
    """Where the strips or tiles lie; row by row, left to right."""

    width: int
    height: int
    """Pixels of one strip or tile; the last strip may be lower, tiles never are."""
    tiled: bool
    offsets: Integers
    sizes: Integers
    """Bytes of each in the file."""

    @classmethod
    def one(cls, width: int, height: int, size: int) -> Segments:
        """One strip of so many bytes, with which the file begins."""
        return cls(width, height, False, np.zeros(1, np.int64), np.array([size]))


@dataclass(frozen=True)
class Page:
    """An image as it is stored."""

    width: int
    height: int
    bits: Literal[8, 16, 32]
    """Of a value; 32 of luminance alone, which no file holds."""
    segments: Segments
    samples: int = 1
    """Values of one pixel: gray, or red, green and blue; then perhaps alpha, and what is of no
    use."""
    colour: bool = False
    """Whether the first three are red, green and blue."""
    alpha: Alpha | None = None
    """What the value after gray or blue is: whether those are multiplied by it already."""
    order: Literal["<", ">"] = NATIVE
    white_is_zero: bool = False
    compression: Compression = Compression.OTHER
    predictor: bool = False
    """Each value is stored as the difference from its left neighbour."""
    planes: tuple[Segments, ...] = ()
    """Strips or tiles of each value, where they are stored apart; else empty."""
    jpeg: tuple[bytes, str | None] = (b"", None)
    """Of strips that are JPEGs: the tables they share, and their colour space if they have one."""
    streamed: bool = False
    """Unpacked piece by piece from its start, so that bands come from the top down only."""

    @property
    def value_bytes(self) -> int:
        """Bytes of one value."""
        return self.bits // 8

    @property
    def row_values(self) -> int:
        """Values in a row."""
        return self.width * self.samples

    @property
    def row_bytes(self) -> int:
        """Bytes of a row."""
        return self.row_values * self.value_bytes

    @property
    def plain(self) -> bool:
        """Whether a pixel is one gray value and nothing else."""
        return self.samples == 1

    @property
    def in_pieces(self) -> bool:
        """Whether strips or rows of tiles are unpacked whole."""
        return self.segments.tiled or (self.compression > Compression.NONE and not self.streamed)

    @property
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16] | np.dtype[np.float32]:
        """Type of the stored values, in this machine's byte order."""
        if self.bits == 32:
            return np.dtype(np.float32)
        return np.dtype(np.uint8) if self.bits == 8 else np.dtype(np.uint16)

    @property
    def foreign_order(self) -> bool:
        """Whether stored 16-bit values have the other byte order than this machine."""
        return self.bits == 16 and self.order != NATIVE

    @property
    def swapped(self) -> bool:
        """Whether bands come in that order too: a predictor cannot be undone in it."""
        return self.foreign_order and not self.predictor

    def plane(self, number: int) -> Page:
        """One value of every pixel, where values are stored apart, as a gray page."""
        return replace(
            self, samples=1, colour=False, alpha=None, segments=self.planes[number], planes=()
        )

    def fold(self, table: NDArray[Entries]) -> NDArray[Entries]:
        """A table over image values made into one over the values that bands hold.

        WhiteIsZero and a foreign byte order cost nothing this way.  ``table`` has one entry for
        each value (256 or 65536), from black to white.
        """
        folded = table[::-1] if self.white_is_zero else table
        if self.swapped:
            folded = folded[np.arange(1 << 16, dtype=np.uint16).byteswap()]
        return np.ascontiguousarray(folded)

    def tones(self, band: Band) -> tuple[Band, Band | None]:
        """A band's gray values, shape (rows, width), or red, green and blue, shape (rows, width,
        3), 0 black; and its alpha, shape (rows, width)."""
        pixels = band.reshape(len(band), self.width, self.samples)
        if self.swapped:
            pixels = pixels.byteswap()
        own = 3 if self.colour else 1
        tones = pixels[..., :3] if self.colour else pixels[..., 0]
        alpha = None if self.alpha is None else pixels[..., own]
        return ~tones if self.white_is_zero else tones, alpha

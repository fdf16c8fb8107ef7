"""The structure of a TIFF file: its tags, and where its pixels lie.

TIFF 6.0 (with its Technical Note 3 for Predictor and Deflate) and BigTIFF.  Every position and
size that a file states is held against the file's real size before it is used, so that a
truncated or hostile header costs a message and neither time nor memory.
"""

from __future__ import annotations

import os
import sys
import threading
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.opening import Closing, reading_error, refuse_irregular

# Tags, by their names in TIFF 6.0.
SUBFILE_TYPE, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 254, 256, 257, 258, 259, 262
FILL_ORDER, DESCRIPTION, STRIP_OFFSETS, ORIENTATION, SAMPLES = 266, 270, 273, 274, 277
ROWS_PER_STRIP, STRIP_SIZES, X_RESOLUTION, Y_RESOLUTION, PLANAR = 278, 279, 282, 283, 284
RESOLUTION_UNIT, SOFTWARE, PREDICTOR, TILE_WIDTH, TILE_HEIGHT = 296, 305, 317, 322, 323
TILE_OFFSETS, TILE_SIZES, EXTRA_SAMPLES, SAMPLE_FORMAT, PROFILE = 324, 325, 338, 339, 34675

NONE, LZW, DEFLATE, OLD_DEFLATE, PACKBITS = 1, 5, 8, 32946, 32773
PNG, JPEG = -1, -2
"""How `Page.compression` calls the pixels of those files, which are no TIFFs."""

_SIZE_OF_TYPE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
_SIZE_OF_TYPE |= {13: 4, 16: 8, 17: 8, 18: 8}
_UNSIGNED = {1: "u1", 3: "u2", 4: "u4", 13: "u4", 16: "u8", 18: "u8"}

# What one stored byte can at most become (Deflate: RFC 1951 by construction; LZW: all 4096 codes
# used on one long run; PackBits: two bytes make 128).  More is a decompression bomb.
_EXPANSION = {LZW: 1500, DEFLATE: 1033, OLD_DEFLATE: 1033, PACKBITS: 64}

MOST_TAGS = 4096
MOST_PAGES = 256
MOST_SEGMENTS = 1_000_000
LONGEST_SIDE = 1_000_000
LARGEST_PROFILE = 16 << 20
LARGEST_SEGMENT = 64 << 20
"""Bytes of a strip or a row of tiles that has to be decoded in one piece."""

Alpha = Literal["straight", "premultiplied"]

NATIVE: Literal["<", ">"] = "<" if sys.byteorder == "little" else ">"

Integers = NDArray[np.int64]
Entries = TypeVar("Entries", np.uint16, np.float32)
_RULE = "a negative is made from an image file"


class ByteSource(Closing):
    """A file opened for reading at given positions, from several threads."""

    def __init__(self, path: Path, stream: BinaryIO | None = None) -> None:
        """Open ``path``, or use ``stream`` (open already, unbuffered) under that name.

        Raises `FileError` if it cannot be opened or is no ordinary file.
        """
        self.path = path
        self._lock = threading.Lock()
        try:
            if stream is None:
                refuse_irregular(path, _RULE)
            self._stream = path.open("rb", buffering=0) if stream is None else stream
            self.size = self._stream.seek(0, 2)
            # a read that names its place needs no lock; a stream in memory has no number
            real = hasattr(os, "preadv") and not isinstance(self._stream, BytesIO)
            self._file = self._stream.fileno() if real else None
        except (OSError, ValueError) as error:
            raise reading_error(path, error, _RULE) from error

    def close(self) -> None:
        """Close the file."""
        self._stream.close()

    def read(self, offset: int, count: int) -> bytes:
        """``count`` bytes from ``offset``; `ImageError` if the file does not have them."""
        self._inside(offset, count)
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
            raise reading_error(self.path, error, _RULE) from error

    def _read_part(self, offset: int, view: memoryview) -> int:
        if self._file is not None:
            return os.preadv(self._file, [view], offset)
        with self._lock:
            self._stream.seek(offset)
            got: int = self._stream.readinto(view)  # type: ignore[attr-defined]
            return got

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
class Entry:
    """One tag of a directory."""

    kind: int
    count: int
    offset: int
    """Where in the file its value starts."""


@dataclass(frozen=True)
class Directory:
    """The tags of one page."""

    source: ByteSource
    order: Literal["<", ">"]
    entries: dict[int, Entry]

    def __contains__(self, tag: int) -> bool:
        return tag in self.entries

    def numbers(self, tag: int, most: int = 1024) -> Integers:
        """The first ``most`` values of an unsigned integer tag; empty if there is no such tag."""
        entry = self.entries.get(tag)
        if entry is None:
            return np.empty(0, np.int64)
        if entry.kind not in _UNSIGNED:
            raise self.source.damaged(f"tag {tag} holds no whole numbers")
        kind = np.dtype(_UNSIGNED[entry.kind]).newbyteorder(self.order)
        count = min(entry.count, most)
        raw = np.frombuffer(self.source.read(entry.offset, count * kind.itemsize), kind)
        if raw.size and int(raw.max()) >= 1 << 62:
            raise self.source.damaged(f"tag {tag} holds the impossible value {int(raw.max())}")
        return raw.astype(np.int64)

    def number(self, tag: int, default: int | None = None) -> int:
        """The one value of a tag; `ImageError` if it is missing and has no default."""
        found = self.numbers(tag, 1)
        if found.size:
            return int(found[0])
        if default is None:
            raise self.source.damaged(f"tag {tag}, which every image needs, is missing")
        return default

    def data(self, tag: int, most: int) -> bytes:
        """The bytes of a tag as they are, at most ``most`` of them; empty without the tag."""
        entry = self.entries.get(tag)
        if entry is None:
            return b""
        size = entry.count * _SIZE_OF_TYPE.get(entry.kind, 1)
        return self.source.read(entry.offset, min(size, most))

    def rational(self, tag: int) -> tuple[int, int] | None:
        """Numerator and denominator of a RATIONAL tag, exactly; None without the tag."""
        entry = self.entries.get(tag)
        if entry is None or entry.kind != 5 or entry.count != 1:
            return None
        top, bottom = np.frombuffer(self.source.read(entry.offset, 8), f"{self.order}u4")
        return int(top), int(bottom)


def is_tiff(head: bytes) -> bool:
    """Whether a file that starts so (at least 4 bytes) is a TIFF or a BigTIFF."""
    return head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")


def read_directories(source: ByteSource, most: int | None = None) -> list[Directory]:
    """The pages of a TIFF in order, at least one; `ImageError` if its structure is broken.

    With ``most`` what follows so many pages is not looked at.
    """
    head = source.read(0, min(16, source.size))
    order: Literal["<", ">"] = "<" if head[:1] == b"I" else ">"
    big = b"+" in head[2:4]
    if len(head) < (16 if big else 8):
        raise source.damaged("it ends within its header")
    if big and head[4:8] != np.array([8, 0], f"{order}u2").tobytes():
        raise source.damaged("its BigTIFF header is not the standard one")
    position = int(np.frombuffer(head[8:16] if big else head[4:8], f"{order}u{8 if big else 4}")[0])
    pages: list[Directory] = []
    seen: set[int] = set()
    while position and (most is None or len(pages) < most):
        if position in seen or len(pages) >= MOST_PAGES:
            raise source.damaged("its list of pages runs in a circle or never ends")
        seen.add(position)
        directory, position = _read_directory(source, order, big, position)
        pages.append(directory)
    if not pages:
        raise source.damaged("it holds no image")
    return pages


def _read_directory(
    source: ByteSource, order: Literal["<", ">"], big: bool, position: int
) -> tuple[Directory, int]:
    head, word = (8, 8) if big else (2, 4)  # bytes of the tag count and of an offset
    count = int(np.frombuffer(source.read(position, head), f"{order}u{head}")[0])
    if not 1 <= count <= MOST_TAGS:
        raise source.damaged(f"one of its pages claims {count} tags")
    short, long = f"{order}u2", f"{order}u{word}"
    layout = np.dtype([("tag", short), ("kind", short), ("count", long), ("value", long)])
    start = position + head
    rows = np.frombuffer(source.read(start, count * layout.itemsize), layout)
    entries: dict[int, Entry] = {}
    for index, (tag, kind, values, value) in enumerate(rows.tolist()):
        inline = _SIZE_OF_TYPE.get(kind, 1) * values <= word
        here = start + (index + 1) * layout.itemsize - word
        entries.setdefault(tag, Entry(kind, values, here if inline else value))
    following = source.read(start + count * layout.itemsize, word)
    after = int(np.frombuffer(following, f"{order}u{word}")[0])
    return Directory(source, order, entries), after


@dataclass(frozen=True)
class Resolution:
    """Pixels per unit, as the two exact fractions of the file."""

    x: tuple[int, int]
    y: tuple[int, int]
    unit: int
    """1: no unit, only a pixel shape; 2: inch; 3: centimetre."""

    @property
    def per_inch(self) -> tuple[float, float] | None:
        """Pixels per inch across and down; None without a unit of length."""
        factor = {2: 1.0, 3: 2.54}.get(self.unit)
        if factor is None:
            return None
        return factor * self.x[0] / self.x[1], factor * self.y[0] / self.y[1]

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


@dataclass(frozen=True)
class Page:
    """An image as it is stored."""

    width: int
    height: int
    bits: Literal[8, 16, 32]
    """Of a value; 32 of luminance alone, which no file holds."""
    order: Literal["<", ">"]
    white_is_zero: bool
    compression: int
    predictor: bool
    """Each value is stored as the difference from its left neighbour."""
    segments: Segments
    samples: int = 1
    """Values of one pixel: gray, or red, green and blue; then perhaps alpha, and what is of no
    use."""
    colour: bool = False
    """Whether the first three are red, green and blue."""
    alpha: Alpha | None = None
    """What the value after gray or blue is: whether those are multiplied by it already."""
    planes: tuple[Segments, ...] = ()
    """Strips or tiles of each value, where they are stored apart; else empty."""

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
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16] | np.dtype[np.float32]:
        """Type of the stored values, in this machine's byte order."""
        if self.bits == 32:
            return np.dtype(np.float32)
        return np.dtype(np.uint8) if self.bits == 8 else np.dtype(np.uint16)

    @property
    def foreign_order(self) -> bool:
        """Whether stored 16-bit values have the other byte order than this machine."""
        return self.bits == 16 and self.order != NATIVE

    def plane(self, number: int) -> Page:
        """One value of every pixel, where values are stored apart, as a gray page."""
        return replace(
            self, samples=1, colour=False, alpha=None, segments=self.planes[number], planes=()
        )

    def fold(self, table: NDArray[Entries]) -> NDArray[Entries]:
        """A table over image values made into one over the values `bands` hands over.

        WhiteIsZero and a foreign byte order cost nothing this way.  ``table`` has one entry for
        each value (256 or 65536), from black to white.
        """
        folded = table[::-1] if self.white_is_zero else table
        if self.foreign_order and not self.predictor:
            folded = folded[np.arange(1 << 16, dtype=np.uint16).byteswap()]
        return np.ascontiguousarray(folded)


def read_segments(
    directory: Directory, width: int, height: int, pixel_bytes: int, compression: int
) -> Segments:
    """Positions of all strips or tiles, each checked against the file, as `read_planes`."""
    return read_planes(directory, (width, height, pixel_bytes), compression, 1)[0]


def read_planes(
    directory: Directory, shape: tuple[int, int, int], compression: int, planes: int
) -> tuple[Segments, ...]:
    """Positions of all strips or tiles of each plane, each checked against the file.

    ``shape``: width, height and bytes of a pixel of one plane.

    Raises `ImageError` if one lies outside the file, claims more pixels than its bytes can hold,
    or is missing.
    """
    width, height, pixel_bytes = shape
    tiled = TILE_WIDTH in directory or TILE_OFFSETS in directory
    if tiled:
        wide, high = directory.number(TILE_WIDTH), directory.number(TILE_HEIGHT)
    else:
        wide, high = width, min(directory.number(ROWS_PER_STRIP, height), height)
    damaged = directory.source.damaged
    if not (1 <= wide <= LONGEST_SIDE and 1 <= high <= LONGEST_SIDE):
        raise damaged(f"its strips or tiles are {wide} x {high} pixels")
    count = -(-width // wide) * -(-height // high)
    total = planes * count
    if total > MOST_SEGMENTS:
        raise damaged(f"it claims to be cut into {total} pieces")
    offsets = directory.numbers(TILE_OFFSETS if tiled else STRIP_OFFSETS, total)
    sizes = directory.numbers(TILE_SIZES if tiled else STRIP_SIZES, total)
    holds = np.full(count, wide * high * pixel_bytes, np.int64)
    if not tiled:
        holds[-1] = (height - (count - 1) * high) * wide * pixel_bytes
    holds = np.tile(holds, planes)
    if not sizes.size and compression == NONE:
        sizes = holds
    if offsets.size < total or sizes.size < total:
        raise damaged(f"it needs {total} strips or tiles and lists {min(offsets.size, sizes.size)}")
    _check_against_file(directory.source, offsets, sizes, holds, compression)
    sizes = holds if compression == NONE else sizes
    parts = (slice(n * count, (n + 1) * count) for n in range(planes))
    return tuple(Segments(wide, high, tiled, offsets[part], sizes[part]) for part in parts)


def _check_against_file(
    source: ByteSource, offsets: Integers, sizes: Integers, holds: Integers, compression: int
) -> None:
    most = sizes.astype(np.float64) * _EXPANSION.get(compression, 1)
    short = np.flatnonzero(most < holds)
    if short.size:
        first = int(short[0])
        raise source.damaged(
            f"strip or tile {first + 1} has {sizes[first]} bytes, too few for its pixels"
        )
    used = holds if compression == NONE else sizes
    end = int((offsets + np.maximum(used, sizes)).max())
    # Pieces that share their bytes could make a small file endless.
    if end > source.size or float(used.astype(np.float64).sum()) > source.size:
        raise source.damaged(f"its pixels reach to byte {end}, but the file ends at {source.size}")

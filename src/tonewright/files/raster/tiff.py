"""The structure of a TIFF file: its tags, and where its pixels lie.

TIFF 6.0 (with its Technical Note 3 for Predictor and Deflate) and BigTIFF.  Every position and
size that a file states is held against the file's real size before it is used, so that a
truncated or hostile header costs a message and neither time nor memory.
"""

from __future__ import annotations

import contextlib
from io import BytesIO
from typing import Literal

import numpy as np

from tonewright.errors import ImageError
from tonewright.files.raster.page import (
    LONGEST_SIDE,
    MOST_SEGMENTS,
    ByteSource,
    Compression,
    Integers,
    Resolution,
    Segments,
)
from tonewright.frozen import dataclass

# Tags, by their names in TIFF 6.0.
SUBFILE_TYPE, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 254, 256, 257, 258, 259, 262
FILL_ORDER, DESCRIPTION, STRIP_OFFSETS, ORIENTATION, SAMPLES = 266, 270, 273, 274, 277
MAKE, MODEL = 271, 272
ROWS_PER_STRIP, STRIP_SIZES, X_RESOLUTION, Y_RESOLUTION, PLANAR = 278, 279, 282, 283, 284
RESOLUTION_UNIT, SOFTWARE, PREDICTOR, TILE_WIDTH, TILE_HEIGHT = 296, 305, 317, 322, 323
TILE_OFFSETS, TILE_SIZES, EXTRA_SAMPLES, SAMPLE_FORMAT, PROFILE = 324, 325, 338, 339, 34675
JPEG_TABLES, XMP = 347, 700

MARKS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""How a TIFF or BigTIFF starts."""
SIZE_OF_TYPE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
SIZE_OF_TYPE |= {13: 4, 16: 8, 17: 8, 18: 8}
"""Bytes of a value of each field type: 1 bytes, 2 text, 3 short, 4 long, 5 fraction (of two longs),
7 anything, 16 eight-byte long."""
_UNSIGNED = {1: "u1", 3: "u2", 4: "u4", 13: "u4", 16: "u8", 18: "u8"}

# What one stored byte can at most become (Deflate: RFC 1951 by construction; LZW: all 4096 codes
# used on one long run; PackBits: two bytes make 128; JPEG: a block of 64 takes a bit for each
# channel at least).  More is a decompression bomb.
_EXPANSION = {Compression.LZW: 1500, Compression.DEFLATE: 1033, Compression.PACKBITS: 64,
              Compression.JPEG: 1024}

MOST_TAGS = 4096
MOST_PAGES = 256


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
        size = entry.count * SIZE_OF_TYPE.get(entry.kind, 1)
        return self.source.read(entry.offset, min(size, most))

    def device(self) -> str | None:
        """Make, model and program, as far as they are told."""
        words = [" ".join(self.data(tag, 128).split(b"\0")[0].decode("ascii", "replace").split())
                 for tag in (MAKE, MODEL, SOFTWARE)]
        return ", ".join(filter(None, words)) or None

    def rational(self, tag: int) -> tuple[int, int] | None:
        """Numerator and denominator of a RATIONAL tag, exactly; None without the tag."""
        entry = self.entries.get(tag)
        if entry is None or entry.kind != 5 or entry.count != 1:
            return None
        top, bottom = np.frombuffer(self.source.read(entry.offset, 8), f"{self.order}u4")
        return int(top), int(bottom)

    def resolution(self) -> Resolution | None:
        """What the tags say; None if they are missing or zero."""
        x, y = self.rational(X_RESOLUTION), self.rational(Y_RESOLUTION)
        if x is None or y is None or 0 in (*x, *y):
            return None
        unit = self.number(RESOLUTION_UNIT, 2)
        return Resolution(x, y, unit if unit in (2, 3) else 1)


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
        inline = SIZE_OF_TYPE.get(kind, 1) * values <= word
        here = start + (index + 1) * layout.itemsize - word
        entries.setdefault(tag, Entry(kind, values, here if inline else value))
    following = source.read(start + count * layout.itemsize, word)
    after = int(np.frombuffer(following, f"{order}u{word}")[0])
    return Directory(source, order, entries), after


def read_exif(source: ByteSource, data: bytes) -> tuple[int, Resolution | None]:
    """Orientation and resolution by EXIF data, which are built as a TIFF; 1 and None if they are
    broken or empty."""
    if data.startswith(MARKS):
        with contextlib.suppress(ImageError):  # a courtesy: the pixels do not need it
            stream = ByteSource(source.path, stream=BytesIO(data))
            found = read_directories(stream, most=1)[0]
            return found.number(ORIENTATION, 1), found.resolution()
    return 1, None


def read_planes(
    directory: Directory, shape: tuple[int, int, int], compression: Compression, planes: int
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
    if not sizes.size and compression == Compression.NONE:
        sizes = holds
    if offsets.size < total or sizes.size < total:
        raise damaged(f"it needs {total} strips or tiles and lists {min(offsets.size, sizes.size)}")
    _check_against_file(directory.source, offsets, sizes, holds, compression)
    sizes = holds if compression == Compression.NONE else sizes
    parts = (slice(n * count, (n + 1) * count) for n in range(planes))
    return tuple(Segments(wide, high, tiled, offsets[part], sizes[part]) for part in parts)


def _check_against_file(
    source: ByteSource, offsets: Integers, sizes: Integers, holds: Integers,
    compression: Compression,
) -> None:
    most = sizes.astype(np.float64) * _EXPANSION.get(compression, 1)
    short = np.flatnonzero(most < holds)
    if short.size:
        first = int(short[0])
        raise source.damaged(
            f"strip or tile {first + 1} has {sizes[first]} bytes, too few for its pixels"
        )
    used = holds if compression == Compression.NONE else sizes
    end = int((offsets + np.maximum(used, sizes)).max())
    # Pieces that share their bytes could make a small file endless.
    if end > source.size or float(used.astype(np.float64).sum()) > source.size:
        raise source.damaged(f"its pixels reach to byte {end}, but the file ends at {source.size}")

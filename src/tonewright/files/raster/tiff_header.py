"""The header of the TIFF files that tonewright writes (TIFF 6.0, BigTIFF)."""

from __future__ import annotations

import struct
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__
from tonewright.files.raster import tiff
from tonewright.files.raster.tiff import Page, Resolution

STRIP_BYTES = 512 << 10


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


GRAY16 = Form()


def rows_per_strip(width: int, height: int, form: Form) -> int:
    """Rows of about 512 KB, at least one."""
    return max(1, min(height, STRIP_BYTES // (form.pixel_bytes * width)))


def needs_bigtiff(width: int, height: int, form: Form, description: str) -> bool:
    """Whether a file may grow beyond 4 GiB."""
    pixels = form.pixel_bytes * width * height
    # The header itself has at most 8 bytes of strip list in each 512 KB; packing noise adds a bit.
    return pixels + pixels // 512 + len(description) + (1 << 20) >= 1 << 32


def tiff_header(
    width: int, height: int, resolution: Resolution | None, description: str, form: Form = GRAY16
) -> bytes:
    """Everything of a TIFF before its pixels, which follow in one piece.

    Uncompressed, gray (BlackIsZero) or RGB, strips of about 512 KB, in this machine's byte order;
    BigTIFF only if the file is larger than 4 GiB.  No time and no name of a machine: the same
    input gives the same bytes.

    Parameters
    ----------
    width, height:
        Pixels.
    resolution:
        Written as the exact fractions it has; None writes none.
    description:
        ImageDescription; what is not ASCII is escaped.
    form:
        Depth and colour; 16-bit gray if not given.
    """
    big = needs_bigtiff(width, height, form, description)
    row = form.pixel_bytes * width
    starts = np.arange(0, height, rows_per_strip(width, height, form), dtype=np.int64) * row
    sizes = np.diff(np.append(starts, row * height))
    tags = _tags(width, height, description, form)
    tags.update(_strip_tags(starts, sizes, big=big))
    tags.update(_resolution_tags(resolution))
    size = len(_pack(tags, big=big))
    tags.update(_strip_tags(starts + size, sizes, big=big))
    return _pack(tags, big=big)


@dataclass(frozen=True)
class PackedFile:
    """A TIFF whose strips are packed: its directory stands behind them."""

    width: int
    height: int
    resolution: Resolution | None
    description: str
    form: Form

    @property
    def big(self) -> bool:
        """Whether it is a BigTIFF."""
        return needs_bigtiff(self.width, self.height, self.form, self.description)

    def start(self, directory: int = 0) -> bytes:
        """The first bytes of the file, which say where the directory is."""
        return _start(directory, big=self.big)

    def end(self, position: int, starts: Sequence[int], sizes: Sequence[int]) -> bytes:
        """The directory, which shall stand at ``position`` (an even one)."""
        tags = _tags(self.width, self.height, self.description, self.form)
        tags.update(_strip_tags(np.array(starts), np.array(sizes), big=self.big))
        tags.update(_resolution_tags(self.resolution))
        return _directory(tags, position, big=self.big)


def lzw_file(page: Page, strips: Sequence[bytes], rows: int) -> bytes:
    """A TIFF of its own for some LZW strips of a gray page, ``rows`` high together."""
    sizes = np.array([len(strip) for strip in strips])
    starts = 8 + np.concatenate([[0], np.cumsum(sizes)[:-1]])
    end = 8 + int(sizes.sum())
    position = end + end % 2
    tags = _tags(page.width, rows, "", Form(page.bits))
    tags[tiff.COMPRESSION] = _Tag(3, np.array([tiff.LZW]))
    tags[tiff.ROWS_PER_STRIP] = _Tag(4, np.array([page.segments.height]))
    if page.predictor:
        tags[tiff.PREDICTOR] = _Tag(3, np.array([2]))
    tags.update(_strip_tags(starts, sizes, big=False))
    directory = _directory(tags, position, big=False)
    return b"".join([_start(position, big=False), *strips, bytes(end % 2), directory])


class _Tag(NamedTuple):
    kind: int
    """Field type of TIFF 6.0: 2 text, 3 and 4 short and long, 5 fraction, 16 eight-byte long."""
    values: NDArray[Any]


_TYPES = {2: np.uint8, 3: np.uint16, 4: np.uint32, 5: np.uint32, 16: np.uint64}


def _tags(width: int, height: int, description: str, form: Form) -> dict[int, _Tag]:
    """All tags but the resolution and the strips' places."""
    words = description.encode("ascii", "backslashreplace").replace(b"\0", b" ") + b"\0"
    tags = {tag: _Tag(4, np.array([n])) for tag, n in ((tiff.WIDTH, width), (tiff.HEIGHT, height))}
    tags[tiff.BITS] = _Tag(3, np.full(form.samples, form.bits))
    for tag, number in (
        (tiff.COMPRESSION, tiff.DEFLATE if form.deflate else tiff.NONE),
        (tiff.PHOTOMETRIC, 1 if form.samples == 1 else 2),
        (tiff.ORIENTATION, 1),
        (tiff.SAMPLES, form.samples),
    ):
        tags[tag] = _Tag(3, np.array([number]))
    if form.deflate:
        tags[tiff.PREDICTOR] = _Tag(3, np.array([2]))
    tags[tiff.ROWS_PER_STRIP] = _Tag(4, np.array([rows_per_strip(width, height, form)]))
    software = f"tonewright {__version__}".encode() + bytes(1)
    for tag, text in ((tiff.DESCRIPTION, words), (tiff.SOFTWARE, software)):
        tags[tag] = _Tag(2, np.frombuffer(text, np.uint8))
    return tags


def _strip_tags(starts: NDArray[Any], sizes: NDArray[Any], *, big: bool) -> dict[int, _Tag]:
    kind = 16 if big else 4
    return {tiff.STRIP_OFFSETS: _Tag(kind, starts), tiff.STRIP_SIZES: _Tag(kind, sizes)}


def _resolution_tags(resolution: Resolution | None) -> dict[int, _Tag]:
    if resolution is None:
        return {}
    return {
        tiff.X_RESOLUTION: _Tag(5, np.array(resolution.x)),
        tiff.Y_RESOLUTION: _Tag(5, np.array(resolution.y)),
        tiff.RESOLUTION_UNIT: _Tag(3, np.array([resolution.unit])),
    }


def _start(directory: int, *, big: bool) -> bytes:
    mark = b"II" if sys.byteorder == "little" else b"MM"
    if big:
        return mark + struct.pack("=HHHQ", 43, 8, 0, directory)
    return mark + struct.pack("=HI", 42, directory)


def _pack(tags: dict[int, _Tag], *, big: bool) -> bytes:
    """A file's start and its directory right behind, to a multiple of 16."""
    start = _start(16 if big else 8, big=big)
    packed = start + _directory(tags, len(start), big=big)
    return packed + bytes(-len(packed) % 16)


def _directory(tags: dict[int, _Tag], position: int, *, big: bool) -> bytes:
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

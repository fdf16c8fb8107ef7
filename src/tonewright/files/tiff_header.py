"""The header of the TIFF files that tonewright writes (TIFF 6.0, BigTIFF)."""

from __future__ import annotations

import struct
import sys
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__
from tonewright.files import tiff
from tonewright.files.tiff import Resolution

STRIP_BYTES = 512 << 10


def tiff_header(width: int, height: int, resolution: Resolution | None, description: str) -> bytes:
    """Everything of a 16-bit gray TIFF before its pixels, which follow in one piece.

    Uncompressed, BlackIsZero, strips of about 512 KB, in this machine's byte order; BigTIFF only
    if the file is larger than 4 GiB.  No time and no name of a machine: the same input gives the
    same bytes.

    Parameters
    ----------
    width, height:
        Pixels.
    resolution:
        Written as the exact fractions it has; None writes none.
    description:
        ImageDescription; what is not ASCII is escaped.
    """
    words = description.encode("ascii", "backslashreplace").replace(b"\0", b" ") + b"\0"
    pixels = 2 * width * height
    spare = 1 << 20  # for the header itself: at most 8 bytes of strip list in each 512 KB
    big = pixels + pixels // 1024 + len(words) + spare >= 1 << 32
    tags = _tags(width, height, words, big=big)
    tags.update(_resolution_tags(resolution))
    step = tags[tiff.STRIP_OFFSETS]
    size = len(_pack(tags, big=big))
    tags[tiff.STRIP_OFFSETS] = _Tag(step.kind, step.values + size)
    return _pack(tags, big=big)


class _Tag(NamedTuple):
    kind: int
    """Field type of TIFF 6.0: 2 text, 3 and 4 short and long, 5 fraction, 16 eight-byte long."""
    values: NDArray[Any]


_TYPES = {2: np.uint8, 3: np.uint16, 4: np.uint32, 5: np.uint32, 16: np.uint64}


def _tags(width: int, height: int, words: bytes, *, big: bool) -> dict[int, _Tag]:
    """All tags but the resolution; the strips' positions are counted from the first pixel."""
    rows = max(1, min(height, STRIP_BYTES // (2 * width)))
    starts = np.arange(0, height, rows, dtype=np.int64) * (2 * width)
    sizes = np.diff(np.append(starts, 2 * width * height))
    position = 16 if big else 4
    tags = {tag: _Tag(4, np.array([n])) for tag, n in ((tiff.WIDTH, width), (tiff.HEIGHT, height))}
    for tag, number in (
        (tiff.BITS, 16),
        (tiff.COMPRESSION, tiff.NONE),
        (tiff.PHOTOMETRIC, 1),
        (tiff.ORIENTATION, 1),
        (tiff.SAMPLES, 1),
    ):
        tags[tag] = _Tag(3, np.array([number]))
    tags[tiff.ROWS_PER_STRIP] = _Tag(4, np.array([rows]))
    tags[tiff.STRIP_OFFSETS] = _Tag(position, starts)
    tags[tiff.STRIP_SIZES] = _Tag(position, sizes)
    software = f"tonewright {__version__}".encode() + bytes(1)
    for tag, text in ((tiff.DESCRIPTION, words), (tiff.SOFTWARE, software)):
        tags[tag] = _Tag(2, np.frombuffer(text, np.uint8))
    return tags


def _resolution_tags(resolution: Resolution | None) -> dict[int, _Tag]:
    if resolution is None:
        return {}
    return {
        tiff.X_RESOLUTION: _Tag(5, np.array(resolution.x)),
        tiff.Y_RESOLUTION: _Tag(5, np.array(resolution.y)),
        tiff.RESOLUTION_UNIT: _Tag(3, np.array([resolution.unit])),
    }


def _pack(tags: dict[int, _Tag], *, big: bool) -> bytes:
    """Header, directory, and behind it what does not fit into the directory."""
    word, kind = (8, "Q") if big else (4, "I")
    mark = b"II" if sys.byteorder == "little" else b"MM"
    head = mark + (struct.pack("=HHHQ", 43, 8, 0, 16) if big else struct.pack("=HI", 42, 8))
    directory = struct.pack("=Q" if big else "=H", len(tags))
    behind = len(head) + len(directory) + len(tags) * (4 + 2 * word) + word
    extra = bytes(-behind % 8)
    for number, tag in sorted(tags.items(), key=lambda item: item[0]):
        data = tag.values.astype(_TYPES[tag.kind]).tobytes()
        if len(data) > word:
            data, extra = struct.pack(f"={kind}", behind + len(extra)), extra + data
            extra += bytes(-(behind + len(extra)) % 8)
        count = tag.values.size // 2 if tag.kind == 5 else tag.values.size
        directory += struct.pack(f"=HH{kind}", number, tag.kind, count) + data.ljust(word, bytes(1))
    packed = head + directory + bytes(word) + extra
    return packed + bytes(-len(packed) % 16)

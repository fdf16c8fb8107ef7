"""PNG images (PNG specification, 3rd edition; ISO/IEC 15948), decoded a band of rows at a time.

The stream of rows is unpacked piece by piece, and every chunk held against its check sum.  Filters
from the left or from above, which most rows have, are undone here; the others by libpng, to which
rows are handed as a small PNG of their own.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from concurrent.futures import Future
from dataclasses import field
from functools import partial
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster import tiff
from tonewright.files.raster.bands import BAND_BYTES, Job, Wanted, spans
from tonewright.files.raster.findings import FewTones, PrimariesNotSrgb, TransparencyFlattened
from tonewright.files.raster.inflate import crc32, inflate_pieces
from tonewright.files.raster.jpeg import Whole, check_whole
from tonewright.files.raster.page import (
    LARGEST_PROFILE,
    MOST_SEGMENTS,
    NATIVE,
    Band,
    ByteSource,
    Page,
    Resolution,
    Segments,
)
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.frozen import dataclass
from tonewright.record.findings import Finding

SIGNATURE = b"\x89PNG\r\n\x1a\n"
Bytes = NDArray[np.uint8]
_SAMPLES = {0: 1, 2: 3, 4: 2, 6: 4}
_EXIF_MOST = 1 << 16
_MOST_OTHERS = 10_000
_TEXT_MOST = 4096
_READ = 256 << 10
_WRONG_SUM = "one of its parts does not agree with its check sum"
_DEFLATE_MOST = 1033
"""What a byte of Deflate can at most become (RFC 1951)."""


@dataclass
class _Chunks:
    """What the chunks before and between the pixels say."""

    source: ByteSource
    header: bytes = b""
    offsets: list[int] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    small: dict[bytes, tuple[int, int]] = field(default_factory=dict)
    """Position and size of the first chunk of each other kind."""

    def data(self, kind: bytes, size: int | None = None, most: int = 1024) -> bytes:
        """What the first chunk of a kind holds, at most so many bytes; empty if there is none, or
        if it is to have a ``size`` and has not."""
        position, found = self.small.get(kind, (0, 0))
        if not found or size not in (None, found):
            return b""
        return self.source.read(position, min(found, most))


def open_png(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a PNG; errors as `open.open_image`."""
    chunks = _read_chunks(source)
    options.chosen_page(source, 1, 2 if b"acTL" in chunks.small else 1)  # an animation
    page = _read_page(source, chunks, options)
    found: list[Finding] = [TransparencyFlattened()] if page.alpha else []
    bits = chunks.data(b"sBIT")  # PNG, 11.3.2.4: the bits that a channel had
    if page.bits == 16 and bits and min(bits) <= 8:
        found.insert(0, FewTones(page.colour))
    orientation, _ = tiff.read_exif(source, chunks.data(b"eXIf", most=_EXIF_MOST))
    coded = _read_coding(source, chunks, options)
    profile = None if coded else _read_profile(chunks)
    said = coded or (None if profile else _read_encoding(chunks))
    if page.colour and not profile and said != "srgb" and _other_primaries(chunks):
        found.append(PrimariesNotSrgb())
    check = partial(_check_interlaced, page)
    return SourceImage(
        source, page, png_jobs if page.streamed else Whole("png_decode", check), orientation,
        _read_resolution(chunks), profile, tuple(found), said,
        description=_read_description(chunks),
    )  # fmt: skip


def _read_chunks(source: ByteSource) -> _Chunks:
    """Where everything lies; all but the pixels is held against its check sums."""
    found = _Chunks(source)
    position, kind, others = len(SIGNATURE), b"", 0
    while kind != b"IEND":
        if position + 12 > source.size:
            raise source.damaged("it ends before its last part")
        size, kind = struct.unpack(">I4s", source.read(position, 8))
        if position + 12 + size > source.size:
            raise source.damaged("one of its parts is longer than the file")
        if not found.header and kind != b"IHDR":
            raise source.damaged("it does not start with a header")
        if kind == b"IDAT":
            found.offsets.append(position + 8)
            found.sizes.append(size)
        else:
            others += 1
            for _ in _summed(source, position + 4, size + 4):
                pass
            if kind == b"IHDR":
                found.header = found.header or source.read(position + 8, min(size, 13))
            else:
                found.small.setdefault(kind, (position + 8, size))
        if len(found.offsets) > MOST_SEGMENTS or others > _MOST_OTHERS:
            raise source.damaged("it is cut into too many parts")
        position += 12 + size
    if len(found.header) < 13 or not found.offsets:
        raise source.damaged("it holds no image")
    return found


def _summed(source: ByteSource, start: int, size: int) -> Iterator[bytes]:
    """The kind of a chunk and what it holds, a piece at a time.

    Raises `ImageError` after the last one if they do not agree with the check sum behind them.
    """
    check, end = 0, start + size
    for first in range(start, end, _READ):
        piece = source.read(first, min(_READ, end + 4 - first))
        data = piece[: end - first]
        check = crc32(data, check)
        yield data
    stated = piece[len(data) :]
    stated += source.read(end + len(stated), 4 - len(stated))
    if check != int.from_bytes(stated, "big"):
        raise source.damaged(_WRONG_SUM)


def _packed_pixels(source: ByteSource, page: Page) -> Iterator[bytes]:
    """What the IDAT chunks hold, held against their check sums; small ones are read, and handed
    on, together."""
    block, at, small = b"", 0, list[bytes]()
    for start, size in zip(page.segments.offsets.tolist(), page.segments.sizes.tolist(),
                           strict=True):  # fmt: skip
        first, end = start - 4 - at, start + size - at  # with its kind
        if end + 4 > len(block) and small:
            yield b"".join(small)
            small.clear()
        if size + 8 > _READ:
            pieces = _summed(source, start - 4, size + 4)
            yield next(pieces)[4:]
            yield from pieces
            continue
        if end + 4 > len(block):
            at, first, end = start - 4, 0, size + 4
            block = source.read(at, min(_READ, source.size - at))
        if crc32(memoryview(block)[first:end]) != int.from_bytes(block[end : end + 4], "big"):
            raise source.damaged(_WRONG_SUM)
        if size:
            small.append(block[first + 4 : end])
    if small:
        yield b"".join(small)


def _read_page(source: ByteSource, chunks: _Chunks, options: OpenOptions) -> Page:
    width, height, depth, kind, *methods = struct.unpack(">IIBBBBB", chunks.header)
    options.check_size(source, width, height)
    if kind == 3:
        raise options.refused(source, "its pixels are a palette")
    if kind not in _SAMPLES or methods[0] or methods[1] or methods[2] > 1:
        raise source.damaged("its header holds what no PNG has")
    if depth not in (8, 16):
        raise options.refused(source, f"its values have {depth} bit")
    if b"tRNS" in chunks.small:
        raise options.refused(source, "one of its tones stands for transparency",
                              "every pixel has a tone")
    if kind >= 4:
        options.check_flat(source, "transparency")
    samples = _SAMPLES[kind]
    row = width * samples * (depth // 8) + 1
    if row * height > sum(chunks.sizes) * _DEFLATE_MOST:
        raise source.damaged(f"it claims to be {width} x {height} pixels, far more than it holds")
    bits: Literal[8, 16] = 8 if depth == 8 else 16
    segments = Segments(width, height, False, np.array(chunks.offsets), np.array(chunks.sizes))
    page = Page(
        width, height, bits, segments, samples, kind in (2, 6), "straight" if kind >= 4 else None,
        NATIVE if methods[2] else ">", streamed=not methods[2],
    )  # fmt: skip
    if methods[2]:
        check_whole(source, page, options, "an interlaced PNG")
    return page


def _read_resolution(chunks: _Chunks) -> Resolution | None:
    """PNG, 11.3.4.3 (pHYs): whole pixels to the metre, so hundredths to the centimetre."""
    x, y, unit = struct.unpack(">IIB", chunks.data(b"pHYs", 9) or bytes(9))
    return Resolution((x, 100), (y, 100), 3) if x and y and unit == 1 else None


def _read_description(chunks: _Chunks) -> str:
    """PNG, 11.3.3.3 (tEXt): a keyword, a zero, and Latin-1; of several the first."""
    keyword, _, text = chunks.data(b"tEXt", most=_TEXT_MOST).partition(b"\0")
    return text.decode("latin-1") if keyword == b"Description" else ""


def _read_profile(chunks: _Chunks) -> bytes | None:
    """PNG, 11.3.2.3 (iCCP): a name, a zero, the method 0, and the packed profile."""
    _, _, packed = chunks.data(b"iCCP", most=LARGEST_PROFILE).partition(b"\0")
    try:
        return zlib.decompressobj().decompress(packed[1:], LARGEST_PROFILE) or None
    except zlib.error:
        return packed  # whoever uses it finds that it is no profile


def _read_encoding(chunks: _Chunks) -> str | None:
    """PNG, 11.3.2: sRGB before gAMA, which holds 100000 / gamma."""
    if b"sRGB" in chunks.small:
        return "srgb"
    number = int.from_bytes(chunks.data(b"gAMA", 4), "big")
    return f"gamma:{100_000 / number:.5g}" if 25_000 <= number <= 200_000 else None


def _read_coding(source: ByteSource, chunks: _Chunks, options: OpenOptions) -> str | None:
    """PNG, 11.3.2.6 (cICP), which goes before every other word on colour; codes of H.273."""
    body = chunks.data(b"cICP", 4)
    if not body:
        return None
    primaries, transfer, _, full = body
    if transfer in (16, 18) or not full:
        raise options.refused(source, "its values are coded for video"
                              f" (cICP {primaries}, {transfer}, full range {full})")
    return "srgb" if (primaries, transfer) == (1, 13) else None


_SRGB_PRIMARIES = (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)


def _other_primaries(chunks: _Chunks) -> bool:
    """PNG, 11.3.2.1 (cHRM): whether they lie further than 0.02 from those of sRGB."""
    body = chunks.data(b"cHRM", 32)
    found = struct.unpack(">8I", body) if body else _SRGB_PRIMARIES
    return any(abs(a - b) > 2000 for a, b in zip(found, _SRGB_PRIMARIES, strict=True))


def _check_interlaced(page: Page, source: ByteSource) -> None:
    """Raise `ImageError` if the pixels do not agree with their check sums.

    PNG, 8.1: the rows of all passes are less than twice as many as those of the picture.
    """
    pieces = spans(page.height * page.row_bytes, BAND_BYTES)
    sizes = (end - first for first, end in pieces)
    for _ in inflate_pieces(source, _packed_pixels(source, page), sizes, "its pixels",
                            spare=2 * page.height + 8):
        pass


def png_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Bands from the top down.

    Unpacking happens where the jobs are fetched.  A job waits for the one before it, which was
    started before it.
    """
    bands = spans(page.height, wanted.rows(page))
    sizes = ((end - first) * (page.row_bytes + 1) for first, end in bands)
    above: Future[Bytes] = Future()
    above.set_result(np.zeros(page.row_bytes, np.uint8))
    for rows in inflate_pieces(source, _packed_pixels(source, page), sizes, "its pixels"):
        below: Future[Bytes] = Future()
        yield Job(len(rows) // (page.row_bytes + 1), partial(_band, source, page, rows,
                                                             (above, below)))
        above = below


def _band(
    source: ByteSource, page: Page, rows: bytearray, beside: tuple[Future[Bytes], Future[Bytes]]
) -> Band:
    """A band of filtered rows.

    ``beside``: the bytes of the row above, zero at the top; and where to put those of the last one.
    """
    above, below = beside
    try:
        filtered = np.frombuffer(rows, np.uint8).reshape(-1, page.row_bytes + 1)
        band = _unfiltered(source, page, filtered, above.result())
        below.set_result(band[-1].copy())
    except BaseException as error:
        below.set_exception(error)
        raise
    return band.view(page.dtype)


def _unfiltered(source: ByteSource, page: Page, rows: Bytes, above: Bytes) -> Bytes:
    """Rows of pixels as bytes, from rows that each start with the number of their filter.

    PNG, 9.2: 0 none, 1 from the left, 2 from above; 3 and 4 from both.
    """
    from imagecodecs import delta_decode

    band = np.empty((len(rows), page.row_bytes), np.uint8)
    filters = rows[:, 0]
    starts = [0, *(np.flatnonzero(np.diff(filters)) + 1).tolist(), len(rows)]
    for first, end in pairwise(starts):
        coded, plain = rows[first:end, 1:], band[first:end]
        pixels = (end - first, page.width, page.samples * page.value_bytes)
        match filters[first]:
            case 0:
                plain[...] = coded
            case 1:
                delta_decode(coded.reshape(pixels), axis=1, out=plain.reshape(pixels))
            case 2:
                np.add(coded[0], above, out=plain[0])
                for row in range(1, end - first):
                    np.add(coded[row], plain[row - 1], out=plain[row])
            case 3 | 4:
                plain[...] = _by_libpng(source, page, rows[first:end], above)
            case other:
                raise source.damaged(f"a row has the filter {other}, which there is not")
        above = plain[-1]
    return band


def _by_libpng(source: ByteSource, page: Page, rows: Bytes, above: Bytes) -> Bytes:
    """The same by libpng, as a small PNG whose first row is the one above."""
    from imagecodecs import png_decode

    small = small_png(page, len(rows) + 1, b"\0" + above.tobytes() + rows.tobytes())
    try:
        pixels: NDArray[Any] = png_decode(small)
    except (RuntimeError, ValueError) as error:
        raise source.damaged("its rows cannot be decoded") from error
    if page.swapped:
        pixels = pixels.byteswap()
    return pixels.reshape(len(rows) + 1, -1).view(np.uint8)[1:]


def small_png(page: Page, rows: int, data: bytes) -> bytes:
    """A PNG of ``rows`` filtered rows, packed without compression."""
    kind = {1: 0, 2: 4, 3: 2, 4: 6}[page.samples]
    header = struct.pack(">IIBBBBB", page.width, rows, page.bits, kind, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(data, 0)), (b"IEND", b""))
    return SIGNATURE + b"".join(chunk(*part) for part in parts)


def chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk as a PNG holds it: length, kind, data and check."""
    check = zlib.crc32(data, zlib.crc32(kind))
    return b"".join((struct.pack(">I", len(data)), kind, data, struct.pack(">I", check)))

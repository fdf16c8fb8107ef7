"""The pixels of a TIFF: strips, tiles and planes, and their compressions (TIFF 6.0)."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Iterator
from functools import partial

import numpy as np

from tonewright.errors import ImageError
from tonewright.files.raster.bands import Job, Wanted, as_bytes, row_jobs, spans
from tonewright.files.raster.page import (
    DEFLATE,
    LZW,
    NONE,
    OLD_DEFLATE,
    Band,
    ByteSource,
    Page,
)

LARGEST_SEGMENT = 64 << 20
"""Bytes of a strip or a row of tiles that has to be decoded in one piece."""
STREAM_FROM = 4 << 20
"""A Deflate strip that becomes larger is decoded piece by piece."""
_STREAM_READ = 64 << 10


def streams(page: Page) -> bool:
    """Whether strips are so large that they are unpacked piece by piece."""
    piece = page.segments.height * page.row_bytes // (len(page.planes) or 1)
    deflate = page.compression in (DEFLATE, OLD_DEFLATE)
    return deflate and not page.segments.tiled and piece > STREAM_FROM


def check_memory(source: ByteSource, page: Page) -> None:
    """Raise `ImageError` if a piece that must be decoded whole is larger than memory allows."""
    segments = page.segments
    across = -(-page.width // segments.width) * segments.width
    size = across * segments.height * page.value_bytes * page.samples
    if page.in_pieces and size > LARGEST_SEGMENT:
        kind = "a row of its tiles" if segments.tiled else "one of its compressed strips"
        raise ImageError(
            f"the image {source.path}: {kind} holds {size >> 20} MB",
            f"a piece that has to be unpacked whole may hold {LARGEST_SEGMENT >> 20} MB",
            "open it in your editor and save it again without compression, "
            + ("in strips instead of tiles" if segments.tiled else
               "with ZIP (Deflate) compression, or in strips of fewer rows"),
        )


def tiff_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Jobs for all bands, as `SourceImage.jobs`."""
    if page.planes:
        return _plane_jobs(source, page, wanted)
    if page.segments.tiled:
        return _tile_jobs(source, page, wanted)
    if page.compression == NONE:
        return row_jobs(source, page, wanted)
    if page.streamed:
        return _stream_jobs(source, page, wanted)
    return _strip_jobs(source, page, wanted)


def _plane_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Values stored apart: the same band of each plane, put together."""
    apart = Wanted(wanted.reverse, wanted.band_bytes)
    every = [tiff_jobs(source, page.plane(n), apart) for n in range(page.samples)]

    def together(parts: tuple[Job, ...]) -> Band:
        bands = [part() for part in parts]
        return np.stack(bands, axis=-1).reshape(len(bands[0]), page.row_values)

    for parts in zip(*every, strict=True):
        yield Job(parts[0].rows, partial(together, parts))


def _strip_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Compressed strips: each is decoded whole, small ones several to a band."""
    segments, decode = page.segments, _decoder(source, page)
    high = segments.height

    def read(first: int, end: int, rows: int) -> Band:
        strips = [
            source.read(int(segments.offsets[n]), int(segments.sizes[n])) for n in range(first, end)
        ]
        fast = _by_libtiff(page, strips, rows)
        if fast is not None:
            return fast
        band = wanted.new_band(rows, page)
        for top, data in zip(range(0, rows, high), strips, strict=True):
            decode(data, band[top : top + high])
        return band

    step = wanted.rows(page, high) // high
    for first, end in spans(len(segments.offsets), step, wanted.reverse):
        rows = min(end * high, page.height) - first * high
        yield Job(rows, partial(read, first, end, rows))


def _by_libtiff(page: Page, strips: list[bytes], rows: int) -> Band | None:
    """LZW strips decoded by libtiff, which is a quarter faster, as a small TIFF of their own.

    None where that is not possible, or if it finds a fault: then the other way says which.
    """
    if page.compression != LZW or not page.plain or (page.foreign_order and page.predictor):
        return None
    import imagecodecs

    from tonewright.files.raster.tiff_writer import lzw_file

    try:
        band: Band = imagecodecs.tiff_decode(lzw_file(page, strips, rows))
    except (RuntimeError, ValueError):
        return None
    return band if band.shape == (rows, page.width) and band.dtype == page.dtype else None


def _tile_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Tiles: one row of tiles to a band; what hangs over the edges is cut off."""
    segments, decode = page.segments, _decoder(source, page)
    wide, high = segments.width * page.samples, segments.height
    across = -(-page.row_values // wide)

    def read(row: int, rows: int) -> Band:
        band = wanted.new_band(rows, page)
        tile = np.empty((high, wide), page.dtype)
        for column in range(across):
            index = row * across + column
            data = source.read(int(segments.offsets[index]), int(segments.sizes[index]))
            decode(data, tile)
            left = column * wide
            band[:, left : left + wide] = tile[:rows, : page.row_values - left]
        return band

    for first, end in spans(page.height, high, wanted.reverse):
        yield Job(end - first, partial(read, first // high, end - first))


def _stream_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Deflate strips too large to decode whole: unpacked a band at a time, in order.

    The unpacking happens where the jobs are fetched; the jobs themselves only undo the predictor.
    """
    finish = _unpredict(page)
    segments = page.segments
    for strip, (top, bottom) in enumerate(spans(page.height, segments.height)):
        bands = spans(bottom - top, wanted.rows(page))
        sizes = [(end - first) * page.row_bytes for first, end in bands]
        part = (int(segments.offsets[strip]), int(segments.sizes[strip]))
        for packed in inflate_pieces(source, [part], sizes, f"strip {strip + 1}"):
            band = np.frombuffer(packed, page.dtype).reshape(-1, page.row_values)
            yield Job(len(band), partial(finish, band))


def inflate_pieces(
    source: ByteSource, parts: Iterable[tuple[int, int]], sizes: Iterable[int], what: str
) -> Iterator[bytearray]:
    """One Deflate stream in pieces of the given sizes.

    It lies in ``parts`` of the file (position, bytes); ``what`` names it in messages.
    """
    chunks = (
        source.read(first, min(_STREAM_READ, start + size - first))
        for start, size in parts
        for first in range(start, start + size, _STREAM_READ)
    )
    unpacker = zlib.decompressobj()
    packed = b""
    for size in sizes:
        piece = bytearray()
        while len(piece) < size:
            packed = packed or next(chunks, b"")
            ends = not packed
            try:
                got = unpacker.decompress(packed, size - len(piece))
            except zlib.error as error:
                raise source.damaged(f"{what} cannot be unpacked") from error
            packed = unpacker.unconsumed_tail
            piece += got
            if not got and (unpacker.eof or ends):
                raise source.damaged(f"{what} ends before its last row")
        yield piece


def _unpredict(page: Page) -> Callable[[Band], Band]:
    """A function that turns differences back into values, in place."""
    if not page.predictor:
        return lambda band: band
    from imagecodecs import delta_decode

    def undo(band: Band) -> Band:
        if page.foreign_order:
            band.byteswap(inplace=True)
        pixels = band.reshape(len(band), -1, page.samples)
        delta_decode(pixels, axis=1, out=pixels)
        return band

    return undo


def _decoder(source: ByteSource, page: Page) -> Callable[[bytes, Band], None]:
    """A function that fills an array, shape (rows, values), from the bytes of a strip or tile."""
    undo = _unpredict(page)
    unpack: Callable[[bytes, memoryview], int]
    if page.compression == NONE:
        unpack = _copy
    elif page.compression in (DEFLATE, OLD_DEFLATE):
        unpack = _inflate
    else:
        import imagecodecs

        lzw = page.compression == LZW
        codec = imagecodecs.lzw_decode if lzw else imagecodecs.packbits_decode

        def unpack(data: bytes, out: memoryview) -> int:
            return len(codec(data, out=out))

    def decode(data: bytes, out: Band) -> None:
        try:
            filled = unpack(data, as_bytes(out))
        except (RuntimeError, ValueError, zlib.error) as error:
            raise source.damaged("a strip or tile cannot be unpacked") from error
        if filled != out.nbytes:
            raise source.damaged(f"a strip or tile holds {filled} bytes instead of {out.nbytes}")
        undo(out)

    return decode


def _copy(data: bytes, out: memoryview) -> int:
    out[:] = data
    return len(data)


def _inflate(data: bytes, out: memoryview) -> int:
    from imagecodecs import DeflateError, deflate_decode

    try:
        return len(deflate_decode(data, out=out))
    except DeflateError:  # zlib forgives what follows the pixels
        got = zlib.decompressobj().decompress(data, len(out))
        out[: len(got)] = got
        return len(got)

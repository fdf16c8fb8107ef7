"""The pixels of a TIFF page, a band of rows at a time, in bounded memory.

A *job* is a function without arguments that reads and decodes one band; it may run in any
thread.  The bands together are the whole image, whatever its strips or tiles look like.  Bands of
about 512 KB are fastest: they stay in the processor's cache until they are written.
"""

from __future__ import annotations

import zlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any, BinaryIO, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files import tiff
from tonewright.files.tiff import ByteSource, Page, Segments

Band = NDArray[Any]
"""Stored values, uint8 or uint16, shape (rows, width): the raw bytes as this machine reads them.

`tiff.Page.fold` makes a table that fits them.
"""
Job = Callable[[], Band]
T = TypeVar("T")

BAND_BYTES = 512 << 10
_STREAM_READ = 64 << 10
_STREAM_FROM = 4 << 20  # a Deflate strip that becomes larger is decoded piece by piece
_TURN_BYTES = 4 << 20  # a quarter turn wants larger bands, or its pieces become too small
_IN_FLIGHT = 24 << 20


def in_order(jobs: Iterable[Callable[[], T]], ahead: int = 3) -> Iterator[T]:
    """Run jobs in two threads; yield their results in order, at most ``ahead`` + 1 in memory."""
    from concurrent.futures import Future, ThreadPoolExecutor

    pool = ThreadPoolExecutor(2)
    waiting: deque[Future[T]] = deque()
    try:
        for job in jobs:
            waiting.append(pool.submit(job))
            if len(waiting) > ahead:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(cancel_futures=True)


def ahead_for(page: Page) -> int:
    """How many bands of this page may wait in memory."""
    strip = page.segments.height * page.width * page.value_bytes
    whole = page.segments.tiled or (page.compression != tiff.NONE and not streams(page))
    return int(max(0, min(3, _IN_FLIGHT // strip - 1))) if whole else 3


def streams(page: Page) -> bool:
    """Whether its strips are too large to decode whole, so that bands come in order only."""
    strip = page.segments.height * page.width * page.value_bytes
    deflate = page.compression in (tiff.DEFLATE, tiff.OLD_DEFLATE)
    return deflate and not page.segments.tiled and strip > _STREAM_FROM


def check_memory(source: ByteSource, page: Page) -> None:
    """Raise `ImageError` if a piece that must be decoded whole is larger than memory allows."""
    segments = page.segments
    if streams(page) or (page.compression == tiff.NONE and not segments.tiled):
        return
    across = -(-page.width // segments.width) * segments.width
    size = across * segments.height * page.value_bytes
    if size > tiff.LARGEST_SEGMENT:
        kind = "a row of its tiles" if segments.tiled else "one of its compressed strips"
        raise ImageError(
            f"the image {source.path}: {kind} holds {size >> 20} MB",
            f"a piece that has to be unpacked whole may hold {tiff.LARGEST_SEGMENT >> 20} MB",
            "save it again without compression (or with ZIP/Deflate compression), without tiles",
        )


def stored_jobs(
    source: ByteSource, page: Page, *, reverse: bool = False, band_bytes: int = BAND_BYTES
) -> Iterator[Job]:
    """Jobs for all bands, top to bottom as stored, or bottom to top with ``reverse``.

    Within a band rows stay in stored order.  ``reverse`` is impossible if `streams` (page).
    Jobs raise `ImageError` where the file contradicts itself and `FileError` if reading fails.
    """
    if page.segments.tiled:
        return _tile_jobs(source, page, reverse)
    if page.compression == tiff.NONE:
        return _row_jobs(source, page, reverse, band_bytes)
    if streams(page):
        return _stream_jobs(source, page, band_bytes)
    return _strip_jobs(source, page, reverse, band_bytes)


def _spans(count: int, step: int, reverse: bool) -> Iterator[tuple[int, int]]:
    starts = range(0, count, step)
    return ((a, min(a + step, count)) for a in (reversed(starts) if reverse else starts))


def _bytes(band: Band) -> memoryview:
    return band.reshape(-1).view(np.uint8).data


def _row_jobs(source: ByteSource, page: Page, reverse: bool, band_bytes: int) -> Iterator[Job]:
    """Uncompressed strips: any rows can be read on their own."""
    row_bytes = page.width * page.value_bytes
    high, offsets = page.segments.height, page.segments.offsets
    if np.all(np.diff(offsets) == high * row_bytes):  # strips without gaps are one strip
        high, offsets = page.height, offsets[:1]

    def read(first: int, end: int) -> Band:
        band = np.empty((end - first, page.width), page.dtype)
        for strip in range(first // high, (end - 1) // high + 1):
            top = max(first, strip * high)
            bottom = min(end, (strip + 1) * high)
            start = int(offsets[strip]) + (top - strip * high) * row_bytes
            source.read_into(start, _bytes(band[top - first : bottom - first]))
        return band

    for first, end in _spans(page.height, max(1, band_bytes // row_bytes), reverse):
        yield lambda first=first, end=end: read(first, end)  # type: ignore[misc]


def _strip_jobs(source: ByteSource, page: Page, reverse: bool, band_bytes: int) -> Iterator[Job]:
    """Compressed strips: each is decoded whole, small ones several to a band."""
    segments, decode = page.segments, _decoder(source, page)
    high = segments.height
    step = max(1, band_bytes // (high * page.width * page.value_bytes))

    def read(first: int, end: int) -> Band:
        rows = min(end * high, page.height) - first * high
        band = np.empty((rows, page.width), page.dtype)
        for strip in range(first, end):
            top = (strip - first) * high
            data = source.read(int(segments.offsets[strip]), int(segments.sizes[strip]))
            decode(data, band[top : top + high])
        return band

    for first, end in _spans(len(segments.offsets), step, reverse):
        yield lambda first=first, end=end: read(first, end)  # type: ignore[misc]


def _tile_jobs(source: ByteSource, page: Page, reverse: bool) -> Iterator[Job]:
    """Tiles: one row of tiles to a band; what hangs over the edges is cut off."""
    segments, decode = page.segments, _decoder(source, page)
    wide, high = segments.width, segments.height
    across = -(-page.width // wide)

    def read(row: int) -> Band:
        band = np.empty((min(high, page.height - row * high), page.width), page.dtype)
        tile = np.empty((high, wide), page.dtype)
        for column in range(across):
            index = row * across + column
            data = source.read(int(segments.offsets[index]), int(segments.sizes[index]))
            decode(data, tile)
            left = column * wide
            band[:, left : left + wide] = tile[: len(band), : page.width - left]
        return band

    for row, _ in _spans(-(-page.height // high), 1, reverse):
        yield lambda row=row: read(row)  # type: ignore[misc]


def _stream_jobs(source: ByteSource, page: Page, band_bytes: int) -> Iterator[Job]:
    """Deflate strips too large to decode whole: unpacked a band at a time, in order.

    The unpacking happens where the jobs are fetched; the jobs themselves only undo the predictor.
    """
    finish = _unpredict(page)
    row_bytes = page.width * page.value_bytes
    step = max(1, band_bytes // row_bytes)
    for strip, (top, bottom) in enumerate(_spans(page.height, page.segments.height, False)):
        sizes = [(end - first) * row_bytes for first, end in _spans(bottom - top, step, False)]
        for packed in _unpack(source, page, strip, sizes):
            band = np.frombuffer(packed, page.dtype).reshape(-1, page.width)
            yield lambda band=band: finish(band)  # type: ignore[misc]


def _unpack(source: ByteSource, page: Page, strip: int, sizes: list[int]) -> Iterator[bytearray]:
    """One Deflate strip in pieces of the given sizes."""
    position, left = int(page.segments.offsets[strip]), int(page.segments.sizes[strip])
    unpacker = zlib.decompressobj()
    packed = b""
    for size in sizes:
        piece = bytearray()
        while len(piece) < size:
            if not packed and left:
                packed = source.read(position, min(left, _STREAM_READ))
                position, left = position + len(packed), left - len(packed)
            try:
                got = unpacker.decompress(packed, size - len(piece))
            except zlib.error as error:
                raise source.damaged(f"strip {strip + 1} cannot be unpacked") from error
            packed = unpacker.unconsumed_tail
            piece += got
            if not got and (unpacker.eof or not (packed or left)):
                raise source.damaged(f"strip {strip + 1} ends before its last row")
        yield piece


def _unpredict(page: Page) -> Callable[[Band], Band]:
    """A function that turns differences back into values, in place."""
    if not page.predictor:
        return lambda band: band
    from imagecodecs import delta_decode

    def undo(band: Band) -> Band:
        if page.foreign_order:
            band.byteswap(inplace=True)
        delta_decode(band, axis=-1, out=band)
        return band

    return undo


def _decoder(source: ByteSource, page: Page) -> Callable[[bytes, Band], None]:
    """A function that fills an array, shape (rows, width), from the bytes of a strip or tile."""
    undo = _unpredict(page)
    unpack: Callable[[bytes, memoryview], int]
    if page.compression == tiff.NONE:
        unpack = _copy
    elif page.compression in (tiff.DEFLATE, tiff.OLD_DEFLATE):
        unpack = _inflate
    else:
        import imagecodecs

        lzw = page.compression == tiff.LZW
        codec = imagecodecs.lzw_decode if lzw else imagecodecs.packbits_decode

        def unpack(data: bytes, out: memoryview) -> int:
            return len(codec(data, out=out))

    def decode(data: bytes, out: Band) -> None:
        try:
            filled = unpack(data, _bytes(out))
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
        unpacked = zlib.decompressobj().decompress(data, len(out))
        out[: len(unpacked)] = unpacked
        return len(unpacked)


def unpacked_jobs(
    scratch: BinaryIO, source: ByteSource, page: Page, *, turn: bool, reverse: bool
) -> Iterator[Job]:
    """Write the whole page to ``scratch``, then hand over jobs that read it from there.

    For what cannot be read in the order it is wanted.  Without ``turn`` the jobs are as those of
    `stored_jobs`.  With it they are bands of the transposed image: stored columns become rows,
    left to right (right to left with ``reverse``), shape (columns, stored height).

    ``scratch`` is an empty file, open for reading and writing without a buffer.  Raises `OSError`
    if it cannot be written, and what jobs raise.
    """
    blocks: list[tuple[int, int]] = []
    top = 0
    step = max(1, _TURN_BYTES // (page.width * page.value_bytes))
    jobs = stored_jobs(source, page, band_bytes=_TURN_BYTES if turn else BAND_BYTES)
    for band in in_order(jobs, ahead_for(page)):
        for first, end in _spans(len(band), step, False):
            block = band[first:end]
            write_all(scratch, _bytes(np.ascontiguousarray(block.T if turn else block)))
            blocks.append((top, len(block)))
            top += len(block)
    copy = ByteSource(source.path, scratch)
    if turn:
        return _turned_jobs(copy, page, blocks, reverse)
    size = np.array([page.height * page.width * page.value_bytes])
    strip = Segments(page.width, page.height, False, np.zeros(1, np.int64), size)
    plain = replace(page, compression=tiff.NONE, segments=strip)
    return _row_jobs(copy, plain, reverse, BAND_BYTES)


def _turned_jobs(
    copy: ByteSource, page: Page, blocks: list[tuple[int, int]], reverse: bool
) -> Iterator[Job]:
    """Bands of columns, gathered from transposed blocks of (first row, rows)."""
    step = max(1, _TURN_BYTES // (page.height * page.value_bytes))

    def read(left: int, right: int) -> Band:
        band = np.empty((right - left, page.height), page.dtype)
        for top, rows in blocks:
            piece = np.empty((right - left, rows), page.dtype)
            start = (top * page.width + left * rows) * page.value_bytes
            copy.read_into(start, _bytes(piece))
            band[:, top : top + rows] = piece
        return band

    for left, right in _spans(page.width, step, reverse):
        yield lambda left=left, right=right: read(left, right)  # type: ignore[misc]


def write_all(stream: BinaryIO, data: memoryview) -> None:
    """Write all of ``data``: an unbuffered file may take it in parts."""
    while data.nbytes:
        data = data[stream.write(data) :]

"""The pixels of an image, a band of rows at a time, in bounded memory.

A *job* reads and decodes one band; it may run in any thread.  The bands together are the whole
image, whatever its strips or tiles look like.  Bands of about 1 MB are fastest: they stay in the
processor's cache until they are written.
"""

from __future__ import annotations

import threading
import zlib
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster import tiff
from tonewright.files.raster.tiff import ByteSource, Page, Segments

Band = NDArray[Any]
"""Stored values, uint8 or uint16, shape (rows, width * samples): the raw bytes as this machine
reads them.

`tiff.Page.fold` makes a table that fits them.
"""
T = TypeVar("T")


@dataclass(frozen=True)
class Job:
    """Work that ends in a band."""

    rows: int
    """Rows of the band, known before it is there."""
    work: Callable[[], Band]

    def __call__(self) -> Band:
        """The band."""
        return self.work()

    def then(self, more: Callable[[Band], Band]) -> Job:
        """The same followed by something that keeps the number of rows."""
        work = self.work
        return Job(self.rows, lambda: more(work()))


BAND_BYTES = 1 << 20
_STREAM_READ = 64 << 10
_STREAM_FROM = 4 << 20  # a Deflate strip that becomes larger is decoded piece by piece
_TURN_BYTES = 4 << 20  # a quarter turn wants larger bands, or its pieces become too small
_IN_FLIGHT = 24 << 20


def in_order(jobs: Iterable[Callable[[], T]], ahead: int = 3) -> Generator[T, None, None]:
    """Run jobs in two threads; yield their results in order, at most ``ahead`` + 1 in memory.

    Close it before the files that the jobs read: only then the threads have ended.  Within
    `one_thread` each job runs when its result is fetched.
    """
    if getattr(_LOCAL, "one_thread", False):
        for job in jobs:
            yield job()
        return
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


_LOCAL = threading.local()


@contextmanager
def one_thread() -> Generator[None, None, None]:
    """Whatever this thread does in here, it does alone: for callers with threads of their own."""
    _LOCAL.one_thread = True
    try:
        yield
    finally:
        _LOCAL.one_thread = False


def ahead_for(page: Page) -> int:
    """How many bands of this page may wait in memory."""
    piece = page.segments.height * page.row_bytes
    whole = page.segments.tiled or (page.compression > tiff.NONE and not streams(page))
    return int(max(0, min(3, _IN_FLIGHT // piece - 1))) if whole else 3


def streams(page: Page) -> bool:
    """Whether it is decoded piece by piece from its start, so that bands come in order only."""
    if page.compression == tiff.PNG:
        return True
    piece = page.segments.height * page.row_bytes // (len(page.planes) or 1)
    deflate = page.compression in (tiff.DEFLATE, tiff.OLD_DEFLATE)
    return deflate and not page.segments.tiled and piece > _STREAM_FROM


def check_memory(source: ByteSource, page: Page) -> None:
    """Raise `ImageError` if a piece that must be decoded whole is larger than memory allows."""
    segments = page.segments
    if streams(page) or (page.compression <= tiff.NONE and not segments.tiled):
        return
    across = -(-page.width // segments.width) * segments.width
    size = across * segments.height * page.value_bytes * page.samples
    if size > tiff.LARGEST_SEGMENT:
        kind = "a row of its tiles" if segments.tiled else "one of its compressed strips"
        raise ImageError(
            f"the image {source.path}: {kind} holds {size >> 20} MB",
            f"a piece that has to be unpacked whole may hold {tiff.LARGEST_SEGMENT >> 20} MB",
            "open it in your editor and save it again without compression, "
            + ("in strips instead of tiles" if segments.tiled else
               "with ZIP (Deflate) compression, or in strips of fewer rows"),
        )


class Room:
    """Memory for bands, one after another: new memory for each costs a third of the time.

    Each thread has one band at a time; the next one overwrites it.
    """

    def __init__(self) -> None:
        self._local = threading.local()

    def band(self, rows: int, page: Page) -> Band:
        """A band of undefined values."""
        size = rows * page.row_bytes
        room: NDArray[np.uint8] | None = getattr(self._local, "room", None)
        if room is None or room.size < size:
            room = self._local.room = np.empty(max(size, BAND_BYTES), np.uint8)
        return room[:size].view(page.dtype).reshape(rows, page.row_values)


def _new_band(rows: int, page: Page) -> Band:
    return np.empty((rows, page.row_values), page.dtype)


def stored_jobs(
    source: ByteSource, page: Page, *, reverse: bool = False, band_bytes: int = BAND_BYTES,
    room: Room | None = None, file: BinaryIO | None = None,
) -> Iterator[Job]:
    """Jobs for all bands, top to bottom as stored, or bottom to top with ``reverse``.

    Within a band rows stay in stored order.  ``reverse`` is impossible if `streams` (page).
    With ``room`` a band may lie in there: whoever runs a job is done with its band before the
    same thread runs the next one.
    ``file`` is an empty one, open without a buffer, for a picture that is to be decoded into it
    (`jpeg.wants_file`); it stays open as long as the jobs do.
    Jobs raise `ImageError` where the file contradicts itself and `FileError` if reading fails.
    """
    if page.planes:
        return _plane_jobs(source, page, reverse, band_bytes)
    if page.compression == tiff.PNG:
        from tonewright.files.raster.png import png_jobs

        return png_jobs(source, page, band_bytes)
    if page.compression == tiff.JPEG:
        from tonewright.files.raster import jpeg

        if file is None:
            return jpeg.jpeg_jobs(source, page, reverse, band_bytes)
        jpeg.decode_into(file, source, page)
        source, page = _unpacked(file, page)
    new_band = _new_band if room is None else room.band
    if page.segments.tiled:
        return _tile_jobs(source, page, reverse, new_band)
    if page.compression == tiff.NONE:
        return _row_jobs(source, page, spans(page.height, _step(page, band_bytes), reverse),
                         new_band)
    if streams(page):
        return _stream_jobs(source, page, band_bytes)
    return _strip_jobs(source, page, reverse, band_bytes, new_band)


NewBand = Callable[[int, Page], Band]


def _step(page: Page, band_bytes: int) -> int:
    """Rows of a band of about so many bytes."""
    return max(1, band_bytes // page.row_bytes)


def _plane_jobs(
    source: ByteSource, page: Page, reverse: bool, band_bytes: int
) -> Iterator[Job]:
    """Values stored apart: the same band of each plane, put together."""
    every = [
        stored_jobs(source, page.plane(n), reverse=reverse, band_bytes=band_bytes)
        for n in range(page.samples)
    ]

    def together(parts: tuple[Job, ...]) -> Band:
        bands = [part() for part in parts]
        return np.stack(bands, axis=-1).reshape(len(bands[0]), page.row_values)

    for parts in zip(*every, strict=True):
        yield Job(parts[0].rows, partial(together, parts))


def spans(count: int, step: int, reverse: bool) -> Iterator[tuple[int, int]]:
    """First and one past the last of pieces of ``step``, from the start or from the end."""
    starts = range(0, count, step)
    return ((a, min(a + step, count)) for a in (reversed(starts) if reverse else starts))


def as_bytes(band: Band) -> memoryview:
    """The memory of a contiguous band."""
    return band.reshape(-1).view(np.uint8).data


def _row_jobs(
    source: ByteSource, page: Page, pieces: Iterator[tuple[int, int]], new_band: NewBand
) -> Iterator[Job]:
    """Uncompressed strips: any rows can be read on their own."""
    row_bytes = page.row_bytes
    high, offsets = page.segments.height, page.segments.offsets
    if np.all(np.diff(offsets) == high * row_bytes):  # strips without gaps are one strip
        high, offsets = page.height, offsets[:1]

    def read(first: int, end: int) -> Band:
        band = new_band(end - first, page)
        for strip in range(first // high, (end - 1) // high + 1):
            top = max(first, strip * high)
            bottom = min(end, (strip + 1) * high)
            start = int(offsets[strip]) + (top - strip * high) * row_bytes
            source.read_into(start, as_bytes(band[top - first : bottom - first]))
        return band

    for first, end in pieces:
        yield Job(end - first, partial(read, first, end))


def _strip_jobs(
    source: ByteSource, page: Page, reverse: bool, band_bytes: int, new_band: NewBand
) -> Iterator[Job]:
    """Compressed strips: each is decoded whole, small ones several to a band."""
    segments, decode = page.segments, _decoder(source, page)
    high = segments.height
    step = max(1, band_bytes // (high * page.row_bytes))

    def read(first: int, end: int, rows: int) -> Band:
        strips = [
            source.read(int(segments.offsets[n]), int(segments.sizes[n])) for n in range(first, end)
        ]
        fast = _by_libtiff(page, strips, rows)
        if fast is not None:
            return fast
        band = new_band(rows, page)
        for top, data in zip(range(0, rows, high), strips, strict=True):
            decode(data, band[top : top + high])
        return band

    for first, end in spans(len(segments.offsets), step, reverse):
        rows = min(end * high, page.height) - first * high
        yield Job(rows, partial(read, first, end, rows))


def _by_libtiff(page: Page, strips: list[bytes], rows: int) -> Band | None:
    """LZW strips decoded by libtiff, which is a quarter faster, as a small TIFF of their own.

    None where that is not possible, or if it finds a fault: then the other way says which.
    """
    if page.compression != tiff.LZW or not page.plain or (page.foreign_order and page.predictor):
        return None
    import imagecodecs

    from tonewright.files.raster.tiff_header import lzw_file

    try:
        band: Band = imagecodecs.tiff_decode(lzw_file(page, strips, rows))
    except (RuntimeError, ValueError):
        return None
    return band if band.shape == (rows, page.width) and band.dtype == page.dtype else None


def _tile_jobs(
    source: ByteSource, page: Page, reverse: bool, new_band: NewBand
) -> Iterator[Job]:
    """Tiles: one row of tiles to a band; what hangs over the edges is cut off."""
    segments, decode = page.segments, _decoder(source, page)
    wide, high = segments.width * page.samples, segments.height
    across = -(-page.row_values // wide)

    def read(row: int, rows: int) -> Band:
        band = new_band(rows, page)
        tile = np.empty((high, wide), page.dtype)
        for column in range(across):
            index = row * across + column
            data = source.read(int(segments.offsets[index]), int(segments.sizes[index]))
            decode(data, tile)
            left = column * wide
            band[:, left : left + wide] = tile[:rows, : page.row_values - left]
        return band

    for row, _ in spans(-(-page.height // high), 1, reverse):
        rows = min(high, page.height - row * high)
        yield Job(rows, partial(read, row, rows))


def _stream_jobs(source: ByteSource, page: Page, band_bytes: int) -> Iterator[Job]:
    """Deflate strips too large to decode whole: unpacked a band at a time, in order.

    The unpacking happens where the jobs are fetched; the jobs themselves only undo the predictor.
    """
    finish = _unpredict(page)
    step = _step(page, band_bytes)
    segments = page.segments
    for strip, (top, bottom) in enumerate(spans(page.height, segments.height, False)):
        sizes = [(end - first) * page.row_bytes for first, end in spans(bottom - top, step, False)]
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
    left = iter(parts)
    position, more = next(left, (0, 0))
    unpacker = zlib.decompressobj()
    packed = b""
    for size in sizes:
        piece = bytearray()
        while len(piece) < size:
            while not packed and position >= 0:
                packed = source.read(position, min(more, _STREAM_READ))
                position, more = position + len(packed), more - len(packed)
                if not more:
                    position, more = next(left, (-1, 0))
            try:
                got = unpacker.decompress(packed, size - len(piece))
            except zlib.error as error:
                raise source.damaged(f"{what} cannot be unpacked") from error
            packed = unpacker.unconsumed_tail
            piece += got
            if not got and (unpacker.eof or not (packed or position >= 0)):
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
        unpacked = zlib.decompressobj().decompress(data, len(out))
        out[: len(unpacked)] = unpacked
        return len(unpacked)


def unpacked_jobs(
    scratch: BinaryIO, jobs: Iterator[Job], page: Page, *, turn: bool, reverse: bool,
    value_bytes: int | None = None,
) -> Iterator[Job]:
    """Write a whole gray image to ``scratch``, then hand over jobs that read it from there.

    For what cannot be read in the order it is wanted.  Without ``turn`` the jobs are as those of
    `stored_jobs`.  With it they are bands of the transposed image: stored columns become rows,
    left to right (right to left with ``reverse``), shape (columns, stored height).

    ``jobs`` are those of `stored_jobs` made gray, ``page`` says how large the image is and what
    its values are; ``scratch`` is an empty file, open for reading and writing without a buffer.
    Turned bands are as large as is good for values of ``value_bytes``, where they become larger
    later.  Raises `OSError` if it cannot be written, and what jobs raise.
    """
    blocks: list[tuple[int, int]] = []
    top = 0
    step = max(1, _TURN_BYTES // page.row_bytes)
    with closing(in_order(jobs, ahead_for(page))) as decoded:
        for band in decoded:
            for first, end in spans(len(band), step, False):
                block = band[first:end]
                write_all(scratch, as_bytes(np.ascontiguousarray(block.T if turn else block)))
                blocks.append((top, len(block)))
                top += len(block)
    copy, plain = _unpacked(scratch, page)
    if turn:
        step = max(1, _TURN_BYTES // (page.height * (value_bytes or page.value_bytes)))
        return _turned_jobs(copy, page, blocks, spans(page.width, step, reverse))
    return _row_jobs(copy, plain, spans(page.height, _step(page, BAND_BYTES), reverse), _new_band)


def _unpacked(file: BinaryIO, page: Page) -> tuple[ByteSource, Page]:
    """A file that starts with the rows of a page, and the page as it lies there."""
    size = np.array([page.height * page.row_bytes])
    strip = Segments(page.width, page.height, False, np.zeros(1, np.int64), size)
    return ByteSource(Path("scratch"), file), replace(
        page, compression=tiff.NONE, segments=strip)


def turning_bytes(turn: bool) -> int:
    """How large the bands that `unpacked_jobs` takes should be."""
    return _TURN_BYTES if turn else BAND_BYTES


def _turned_jobs(
    copy: ByteSource, page: Page, blocks: list[tuple[int, int]],
    columns: Iterator[tuple[int, int]],
) -> Iterator[Job]:
    """Bands of columns, gathered from transposed blocks of (first row, rows)."""

    def read(left: int, right: int) -> Band:
        band = np.empty((right - left, page.height), page.dtype)
        for top, rows in blocks:
            piece = np.empty((right - left, rows), page.dtype)
            start = (top * page.width + left * rows) * page.value_bytes
            copy.read_into(start, as_bytes(piece))
            band[:, top : top + rows] = piece
        return band

    for left, right in columns:
        yield Job(right - left, partial(read, left, right))


def write_all(stream: BinaryIO, data: memoryview) -> None:
    """Write all of ``data``: an unbuffered file may take it in parts."""
    while data.nbytes:
        data = data[stream.write(data) :]

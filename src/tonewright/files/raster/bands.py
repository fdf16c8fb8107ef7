"""The pixels of an image, a band of rows at a time, in bounded memory.

A *job* reads and decodes one band; it may run in any thread.  The bands together are the whole
image, whatever its strips or tiles look like.  Bands of about 1 MB are fastest: they stay in the
processor's cache until they are written.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import BinaryIO, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright.files.raster.page import Band, ByteSource, Compression, Page, Segments
from tonewright.frozen import dataclass
from tonewright.negative.tones import room

T = TypeVar("T")
Values = TypeVar("Values", bound=np.generic)

BAND_BYTES = 1 << 20
TURN_BYTES = 4 << 20
"""A quarter turn wants larger bands, or its pieces become too small."""
_IN_FLIGHT = 24 << 20


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


@dataclass(frozen=True)
class Wanted:
    """How bands are wanted."""

    reverse: bool = False
    """From the bottom up; impossible of a page that is streamed.  Within a band rows stay in
    stored order."""
    band_bytes: int | None = None
    """About so large; None: as is fastest."""
    reuse: bool = False
    """Bands may lie where the last one of this thread lay, which whoever runs the jobs is done
    with: new memory for each costs a third of the time."""
    scratch: Callable[[], BinaryIO] | None = None
    """Opens an empty file, without a buffer, that stays open as long as the jobs do: for a picture
    that is better unpacked into one."""

    def rows(self, page: Page, high: int = 1) -> int:
        """Rows of a band, as a multiple of ``high``."""
        return high * max(1, (self.band_bytes or BAND_BYTES) // (high * page.row_bytes))

    def new_band(self, rows: int, page: Page) -> Band:
        """Room for a band; its values are undefined."""
        if self.reuse:
            memory = room("band", rows * page.row_bytes, np.uint8)
            return memory.view(page.dtype).reshape(rows, page.row_values)
        return np.empty((rows, page.row_values), page.dtype)


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
    return int(max(0, min(3, _IN_FLIGHT // piece - 1))) if page.in_pieces else 3


def spans(count: int, step: int, reverse: bool = False) -> Iterator[tuple[int, int]]:
    """First and one past the last of pieces of ``step``, from the start or from the end."""
    starts = range(0, count, step)
    return ((a, min(a + step, count)) for a in (reversed(starts) if reverse else starts))


def as_bytes(band: Band) -> memoryview:
    """The memory of a contiguous band."""
    return band.reshape(-1).view(np.uint8).data


def write_all(stream: BinaryIO, data: memoryview) -> None:
    """Write all of ``data``: an unbuffered file may take it in parts."""
    while data.nbytes:
        data = data[stream.write(data) :]


class Window(Generic[Values]):
    """Rows as they are wanted, of a picture whose bands come one after another."""

    def __init__(self, bands: Iterator[NDArray[Values]]) -> None:
        self._bands, self._held, self._top, self._bottom = bands, deque[NDArray[Values]](), 0, 0

    def rows(self, low: int, high: int) -> NDArray[Values]:
        """Rows ``low`` to ``high``; neither ever goes back."""
        while self._bottom < high:
            band = next(self._bands)
            self._held.append(band)
            self._bottom += len(band)
        while self._top + len(self._held[0]) <= low:
            self._top += len(self._held.popleft())
        at, parts = self._top, []
        for band in self._held:
            parts.append(band[max(low - at, 0) : high - at])
            at += len(band)
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


def row_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Bands of uncompressed strips, of which any rows can be read on their own."""
    row_bytes = page.row_bytes
    high, offsets = page.segments.height, page.segments.offsets
    if np.all(np.diff(offsets) == high * row_bytes):  # strips without gaps are one strip
        high, offsets = page.height, offsets[:1]

    def read(first: int, end: int) -> Band:
        band = wanted.new_band(end - first, page)
        for strip in range(first // high, (end - 1) // high + 1):
            top = max(first, strip * high)
            bottom = min(end, (strip + 1) * high)
            start = int(offsets[strip]) + (top - strip * high) * row_bytes
            source.read_into(start, as_bytes(band[top - first : bottom - first]))
        return band

    for first, end in spans(page.height, wanted.rows(page), wanted.reverse):
        yield Job(end - first, partial(read, first, end))


def array_jobs(rows: Band, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Bands of a picture that is in memory, shape (height, values of a row)."""
    for first, end in spans(page.height, wanted.rows(page), wanted.reverse):
        yield Job(end - first, partial(rows.__getitem__, slice(first, end)))


def unpacked(file: BinaryIO, page: Page) -> tuple[ByteSource, Page]:
    """A file that starts with the rows of a page, and the page as it lies there."""
    strip = Segments.one(page.width, page.height, page.height * page.row_bytes)
    plain = replace(page, compression=Compression.NONE, segments=strip, streamed=False)
    return ByteSource(Path("scratch"), stream=file), plain


def unpacked_jobs(
    scratch: BinaryIO, jobs: Iterator[Job], page: Page, *, turn: bool, reverse: bool,
    value_bytes: int | None = None,
) -> Iterator[Job]:
    """Write a whole gray image to ``scratch``, then hand over jobs that read it from there.

    For what cannot be read in the order it is wanted.  Without ``turn`` the bands are as stored.
    With it they are bands of the transposed image: stored columns become rows, left to right
    (right to left with ``reverse``), shape (columns, stored height).

    ``jobs`` give the image from the top down, made gray; ``page`` says how large it is and what
    its values are; ``scratch`` is an empty file, open for reading and writing without a buffer.
    Turned bands are as large as is good for values of ``value_bytes``, where they become larger
    later.  Raises `OSError` if it cannot be written, and what jobs raise.
    """
    blocks: list[tuple[int, int]] = []
    top = 0
    step = max(1, TURN_BYTES // page.row_bytes)
    with closing(in_order(jobs, ahead_for(page))) as decoded:
        for band in decoded:
            for first, end in spans(len(band), step):
                block = band[first:end]
                write_all(scratch, as_bytes(np.ascontiguousarray(block.T if turn else block)))
                blocks.append((top, len(block)))
                top += len(block)
    copy, plain = unpacked(scratch, page)
    if not turn:
        return row_jobs(copy, plain, Wanted(reverse))
    step = max(1, TURN_BYTES // (page.height * (value_bytes or page.value_bytes)))
    return _turned_jobs(copy, page, blocks, spans(page.width, step, reverse))


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

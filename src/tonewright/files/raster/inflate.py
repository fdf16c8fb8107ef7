"""Streams of Deflate (RFC 1950 and 1951), unpacked and packed piece by piece, with check sums."""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterable, Iterator
from typing import Any

from tonewright.errors import ImageError
from tonewright.files.raster.page import ByteSource

_fast: Any = zlib
with contextlib.suppress(ImportError):  # Intel's storage library, twice as fast
    from isal import isal_zlib

    _fast = isal_zlib

_FAULTS = (zlib.error, _fast.error)
_DRAIN = 64 << 10


def crc32(data: bytes | memoryview, before: int = 0) -> int:
    """The check sum of PNG (annex D), of ``data`` after what has the sum ``before``."""
    found: int = _fast.crc32(data, before)
    return found


def deflated(data: memoryview) -> bytes:
    """A piece of a Deflate stream, packed fast: it refers to nothing before it, and ends at a whole
    byte where the next piece can follow."""
    packer = _fast.compressobj(1, zlib.DEFLATED, -zlib.MAX_WBITS)
    return bytes(packer.compress(data) + packer.flush(zlib.Z_FULL_FLUSH))


class _Inflater:
    """One Deflate stream, which comes in chunks, none empty; ``what`` names it in messages."""

    def __init__(self, source: ByteSource, chunks: Iterator[bytes], what: str) -> None:
        self._source, self._chunks, self._what = source, chunks, what
        self._unpacker, self._packed = _fast.decompressobj(), b""

    @property
    def ended(self) -> bool:
        """Whether its check sum was reached, and agreed."""
        return bool(self._unpacker.eof)

    def some(self, most: int) -> bytes:
        """Up to ``most`` bytes of what follows; none at its end."""
        got = b""
        while not (got or self.ended):
            self._packed = self._packed or next(self._chunks, b"")
            ends = not self._packed
            try:
                got = self._unpacker.decompress(self._packed, most)
            except _FAULTS as error:
                raise self._source.damaged(f"{self._what} cannot be unpacked") from error
            self._packed = self._unpacker.unconsumed_tail
            if ends and not (got or self.ended):
                raise self.short()
        return got

    def short(self) -> ImageError:
        """The error for one that holds less than it should."""
        return self._source.damaged(f"{self._what} ends before its last row")


def inflate_pieces(
    source: ByteSource, chunks: Iterator[bytes], sizes: Iterable[int], what: str, spare: int = 0
) -> Iterator[bytearray]:
    """One Deflate stream in pieces of the given sizes, up to its check sum.

    It comes in ``chunks``, none empty; ``what`` names it in messages.  After the last piece it may
    hold so many ``spare`` bytes more.  Raises `ImageError` if it cannot be unpacked, holds less or
    more, or does not agree with its check sum.
    """
    stream = _Inflater(source, chunks, what)
    for size in sizes:
        piece = bytearray()
        while len(piece) < size:
            got = stream.some(size - len(piece))
            if not got:
                raise stream.short()
            piece += got
        yield piece
    while not stream.ended:
        spare -= len(stream.some(max(1, min(spare, _DRAIN))))
        if spare < 0:
            raise source.damaged(f"{what} holds more than its rows")
    for _ in chunks:  # each may have a check sum of its own
        pass

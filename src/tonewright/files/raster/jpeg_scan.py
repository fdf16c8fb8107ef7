"""Whether a JPEG holds the whole picture that its header states (ITU-T T.81, annex B).

Its decoder makes up what is missing, and says so to nobody.  So the marks are followed from the
first scan to the mark of the end; and a picture in one scan is decoded once more, an eighth as
wide and high, from data that stop there: it must want all of them and no more.
"""

from __future__ import annotations

import re
from typing import Any

from tonewright.files.raster.page import ByteSource

_MARK = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
"""Within a scan 0xFF is followed by 0, or by the number of a restart."""
_CHUNK = 1 << 20
_END = b"\xd9"
_MOST_PARTS = 1000
"""After the first scan: every one is a pass over the whole picture."""
_TABLES = b"".join(b"\xff\xdb\0\x43" + bytes([n]) + bytes(64) for n in range(4))
"""B.2.4.1, quantisation by nothing: every decoded pixel is middle gray, and none is black."""
_LAST = 16
"""Bytes without which no picture is complete: the decoder looks ahead by 8."""
_PADDING = bytes(12)


def check_scans(source: ByteSource, start: int, head: bytes, *, one_scan: bool) -> None:
    """Raise `ImageError` if a JPEG does not hold the whole picture, or more.

    Parameters
    ----------
    source:
        The file.
    start:
        Where the data of the first scan start.
    head:
        Frame, Huffman tables and restart interval with their marks, and the head of the scan.
    one_scan:
        Whether the first scan is the only one.
    """
    end, parts = _next_mark(source, start), 0
    while source.read(end + 1, 1) != _END:
        parts += 1
        if one_scan or parts > _MOST_PARTS:
            raise source.damaged("its pixels are broken off by something else")
        size = int.from_bytes(source.read(end + 2, 2), "big")
        end = _next_mark(source, end + 2 + size)
    if one_scan:
        _check_length(source, _Feed(source, b"\xff\xd8" + _TABLES + head, start, end))


def _next_mark(source: ByteSource, start: int) -> int:
    for first in range(start, source.size, _CHUNK):
        found = _MARK.search(source.read(first, min(_CHUNK + 1, source.size - first)))
        if found:
            return first + found.start()
    raise source.damaged("it ends before its last row")


class _Feed:
    """A file for Pillow: a JPEG whose last bytes are handed over apart."""

    def __init__(self, source: ByteSource, head: bytes, start: int, end: int) -> None:
        self._source, self._head, self._start = source, head, start
        self._split = max(start, end - _LAST)
        self._tail = source.read(self._split, end - self._split) + _PADDING
        self._at = 0
        self.image: Any = None
        self.too_much = True
        """Whether the picture was complete without its last bytes."""

    def seek(self, position: int) -> None:
        self._at = position

    def tell(self) -> int:
        return self._at

    def read(self, count: int) -> bytes:
        place = self._start + self._at - len(self._head)
        if place < self._start:
            data = self._head[self._at : self._at + count]
        elif place < self._split:
            data = self._source.read(place, min(count, self._split - place))
        elif place == self._split and self.image is not None:
            self.too_much = self._complete()
            data = self._tail
        else:
            data = b"\xff\xd9" if self._complete() else b""
        self._at += len(data)
        return data

    def _complete(self) -> bool:
        return bool(self.image.im.getpixel((0, self.image.height - 1)))


def _check_length(source: ByteSource, feed: _Feed) -> None:
    from PIL.JpegImagePlugin import JpegImageFile

    try:
        image: Any = JpegImageFile(feed)
        width, height = image.size
        image.draft("L", (max(1, width // 8), max(1, height // 8)))
        feed.image = image
        image.load()
    except (OSError, SyntaxError, ValueError) as error:
        raise source.damaged("it ends before its last row") from error
    if feed.too_much:
        raise source.damaged("it holds more than its header states")

"""The pixels of a TIFF: strips, tiles and planes, and their compressions (TIFF 6.0)."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from io import BytesIO
from typing import Any

import numpy as np

from tonewright.errors import ImageError
from tonewright.files.raster.bands import Job, Wanted, as_bytes, row_jobs, spans
from tonewright.files.raster.page import Band, ByteSource, Compression, Page
from tonewright.files.raster.source import OpenOptions
from tonewright.negative.tones import room

LARGEST_SEGMENT, LARGEST_JPEG = 96 << 20, 384 << 20
"""Bytes, packed and unpacked, of a strip or a row of tiles that is unpacked in one piece."""
STREAM_FROM = 4 << 20
"""A Deflate or PackBits strip that becomes larger is decoded piece by piece."""
_STREAM_READ = 64 << 10
_LARGE = 6 << 20
"""Bytes of a piece of which one at a time is unpacked."""
_JPEG_PADDING = 64


def streams(page: Page) -> bool:
    """Whether strips are so large that they are unpacked piece by piece."""
    piece = page.segments.height * page.row_bytes // (len(page.planes) or 1)
    in_order = page.compression in (Compression.DEFLATE, Compression.PACKBITS)
    return in_order and not page.segments.tiled and piece > STREAM_FROM


def check_memory(source: ByteSource, page: Page) -> None:
    """Raise `ImageError` if a piece that must be decoded whole is larger than memory allows."""
    segments = page.segments
    across = -(-page.width // segments.width) * segments.width
    size = across * segments.height * page.value_bytes * page.samples + int(segments.sizes.max())
    most = LARGEST_JPEG if page.compression == Compression.JPEG else LARGEST_SEGMENT
    if page.in_pieces and size > most:
        kind = "a row of its tiles" if segments.tiled else "one of its compressed strips"
        raise ImageError(
            f"the image {source.path}: {kind} takes {size >> 20} MB, packed and unpacked",
            f"a piece that has to be unpacked whole may take {most >> 20} MB",
            "open it in your editor and save it again without compression, "
            + ("in strips instead of tiles" if segments.tiled else
               "with ZIP (Deflate) compression, or in strips of fewer rows"),
        )


def tiff_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Jobs for all bands, as `SourceImage.jobs`."""
    if page.planes:
        return _plane_jobs(source, page, wanted)
    if page.in_pieces:
        return _segment_jobs(source, page, wanted)
    return (_stream_jobs if page.streamed else row_jobs)(source, page, wanted)


def _plane_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Values stored apart: the same band of each plane, put together."""
    apart = Wanted(wanted.reverse, wanted.band_bytes)
    every = [tiff_jobs(source, page.plane(n), apart) for n in range(page.samples)]

    def together(parts: tuple[Job, ...]) -> Band:
        bands = [part() for part in parts]
        return np.stack(bands, axis=-1).reshape(len(bands[0]), page.row_values)

    for parts in zip(*every, strict=True):
        yield Job(parts[0].rows, partial(together, parts))


def _segment_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Compressed strips and all tiles: each is decoded whole; small strips several to a band, one
    row of tiles to a band, of which what hangs over the edges is cut off."""
    segments, decode, undo = page.segments, _decoder(source, page), _unpredict(page)
    wide, high = segments.width * page.samples, segments.height
    across = -(-page.row_values // wide)
    by_libtiff = page.compression == Compression.LZW and not segments.tiled

    def read(first: int, rows: int) -> Band:
        start = first // high * across
        band, count = wanted.new_band(rows, page), across * -(-rows // high)
        if by_libtiff and _by_libtiff(source, page, slice(start, start + count), band):
            return undo(band)
        tile = np.empty((high, wide), page.dtype) if segments.tiled else None
        for number in range(count):
            place, size = segments.offsets[start + number], segments.sizes[start + number]
            data = source.read(int(place), int(size))
            top, left = number // across * high, number % across * wide
            part = band[top : top + high, left : left + wide]
            if tile is None:
                decode(data, part)
            else:
                decode(data, tile)
                part[...] = tile[: part.shape[0], : part.shape[1]]
        return band

    step = high if segments.tiled else wanted.rows(page, high)
    for first, end in spans(page.height, step, wanted.reverse):
        if (end - first) * page.row_bytes <= _LARGE:
            yield Job(end - first, partial(read, first, end - first))
            continue
        piece = read(first, end - first)  # here, and handed on in parts: one at a time
        for top, bottom in spans(end - first, wanted.rows(page), wanted.reverse):
            yield Job(bottom - top, piece[top:bottom].copy().view)
        del piece


def _by_libtiff(source: ByteSource, page: Page, strips: slice, band: Band) -> bool:
    """Unpack LZW strips by libtiff, twice as fast, as a small TIFF of their own; the predictor is
    still to be undone, which libtiff does slowly.

    False if it finds a fault: then the other way says which.
    """
    import imagecodecs

    from tonewright.files.raster.tiff_writer import Form, Picture

    sizes = page.segments.sizes[strips].tolist()
    form = Form(8, compression=Compression.LZW)
    head = Picture(page.row_bytes, len(band), None, form=form,
                   strip_rows=page.segments.height).header(sizes)
    total = len(head) + sum(sizes)
    file: Any = room("packed", total, np.uint8) if total <= _LARGE else np.empty(total, np.uint8)
    file[: len(head)] = np.frombuffer(head, np.uint8)
    at = len(head)
    for place, size in zip(page.segments.offsets[strips].tolist(), sizes, strict=True):
        source.read_into(place, file[at : at + size].data)
        at += size
    try:
        imagecodecs.tiff_decode(file, out=band.view(np.uint8))
    except (RuntimeError, ValueError):
        return False
    return True


def _stream_jobs(source: ByteSource, page: Page, wanted: Wanted) -> Iterator[Job]:
    """Strips too large to decode whole: unpacked a band at a time, in order.

    The unpacking happens where the jobs are fetched; the jobs themselves only undo the predictor.
    """
    from tonewright.files.raster.inflate import inflate_pieces

    finish = _unpredict(page)
    segments = page.segments
    for strip, (top, bottom) in enumerate(spans(page.height, segments.height)):
        bands = spans(bottom - top, wanted.rows(page))
        sizes = [(end - first) * page.row_bytes for first, end in bands]
        start, size = int(segments.offsets[strip]), int(segments.sizes[strip])
        chunks = (source.read(start + first, end - first)
                  for first, end in spans(size, _STREAM_READ))
        spare = segments.height * page.row_bytes  # a last strip may be as high as the others
        pieces = (
            _packbits_pieces(source, start, size, sizes) if page.compression == Compression.PACKBITS
            else inflate_pieces(source, chunks, sizes, f"strip {strip + 1}", spare))
        for piece in pieces:
            band = np.frombuffer(piece, page.dtype).reshape(-1, page.row_values)
            yield Job(len(band), partial(finish, band))


def _packbits_pieces(
    source: ByteSource, start: int, size: int, sizes: Sequence[int]
) -> Iterator[bytearray]:
    """One PackBits strip in pieces of the given sizes (TIFF 6.0, section 9)."""
    from imagecodecs import PackbitsError, packbits_decode

    at, end, waiting = start, start + size, bytearray()
    for wanted in sizes:
        while len(waiting) < wanted:
            packed = source.read(at, min(_STREAM_READ, end - at))
            whole = _whole_runs(packed)
            if not whole:
                raise source.damaged("a strip ends before its last row")
            try:
                waiting += packbits_decode(packed[:whole])
            except PackbitsError as error:
                raise source.damaged("a strip cannot be unpacked") from error
            at += whole
        yield waiting[:wanted]
        del waiting[:wanted]


def _whole_runs(packed: bytes) -> int:
    """How many of these bytes are whole runs: 128 alone, 0 to 127 before one byte more than that,
    the others before one byte."""
    at, size, before = 0, len(packed), 0
    while at < size:
        before, count = at, packed[at]
        at += count + 2 if count < 128 else 2 if count > 128 else 1
    return at if at == size else before


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
    if page.compression == Compression.NONE:
        unpack = _copy
    elif page.compression == Compression.DEFLATE:
        unpack = partial(_inflate, source, page)
    elif page.compression == Compression.JPEG:
        unpack = partial(_decode_jpeg, source, page)
    else:
        import imagecodecs

        lzw = page.compression == Compression.LZW
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


def _decode_jpeg(source: ByteSource, page: Page, data: bytes, out: memoryview) -> int:
    import imagecodecs

    from tonewright.files.raster.jpeg import check_pixels, read_header

    strip = ByteSource(source.path, stream=BytesIO(data))
    header = read_header(strip, OpenOptions())
    large = header.height > page.segments.height + _JPEG_PADDING
    if large or (header.width, header.samples) != (page.segments.width, page.samples):
        raise ValueError("not the strip that the tags describe")
    tables, space = page.jpeg if page.samples > 1 else (page.jpeg[0], None)
    check_pixels(strip, header, tables)
    pixels = imagecodecs.jpeg8_decode(
        data, tables=tables or None, colorspace=space, outcolorspace=space and "RGB"
    )
    out[:] = pixels.reshape(-1)[: len(out)].data  # what follows the last row is padding
    return len(out)


def _inflate(source: ByteSource, page: Page, data: bytes, out: memoryview) -> int:
    from imagecodecs import DeflateError, deflate_decode

    try:
        return len(deflate_decode(data, out=out))
    except DeflateError:  # some write more than the pixels, such as a last strip of full height
        from tonewright.files.raster.inflate import inflate_pieces

        segments = page.segments
        spare = segments.width * segments.height * page.samples * page.value_bytes
        what = "a strip or tile"
        for piece in inflate_pieces(source, iter([data]), [len(out)], what, spare):
            out[:] = piece
        return len(out)

"""PNG images (PNG specification, 3rd edition; ISO/IEC 15948), decoded a band of rows at a time.

The stream of rows is unpacked piece by piece.  Undoing the row filters is left to libpng: each
band is handed to it as a small PNG of its own, whose first row is the last one of the band above.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster import tiff
from tonewright.files.raster.bands import Band, Job, inflate_pieces, spans
from tonewright.files.raster.open import (
    PNG_SIGNATURE,
    RESOLUTION_UNKNOWN,
    OpenOptions,
    SourceImage,
    refuse_pages,
)
from tonewright.files.raster.tiff import ByteSource, Page, Resolution, Segments
from tonewright.files.raster.tiff_image import checked_orientation, few_tones, transparent

_SAMPLES = {0: 1, 2: 3, 4: 2, 6: 4}
_TEXT_MOST = 1 << 16
_WAY_OUT = "open it in your editor, convert it to 16-bit gray and save it as TIFF"
_DEFLATE_MOST = 1033
"""What a byte of Deflate can at most become (RFC 1951)."""


@dataclass
class _Chunks:
    """What the chunks before and between the pixels say."""

    header: bytes = b""
    offsets: list[int] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    small: dict[bytes, tuple[int, int]] = field(default_factory=dict)
    """Position and size of the first chunk of each other kind."""


def open_png(source: ByteSource, options: OpenOptions) -> SourceImage:
    """Check a PNG; errors as `images.open_image`."""
    refuse_pages(source.path, options, "PNG")
    chunks = _read_chunks(source)
    page = _read_page(source, chunks, options)
    warnings = [few_tones(colour=page.colour)] if page.bits == 8 else []
    if page.alpha:
        warnings.append("its transparency was laid on white")
    resolution = _read_resolution(source, chunks, warnings)
    orientation = 1
    if b"eXIf" in chunks.small:
        exif = _first_exif(source, *chunks.small[b"eXIf"])
        if exif is not None:
            orientation = checked_orientation(exif.number(tiff.ORIENTATION, 1), warnings)
    if resolution is not None and orientation > 4:
        resolution = resolution.turned()
    if _few_bits(source, chunks) and page.bits == 16:
        warnings.insert(0, few_tones(colour=page.colour))
    coded = _read_coding(source, chunks)
    profile = None if coded else _read_profile(source, chunks)
    said = coded or (None if profile else _read_encoding(source, chunks))
    if page.colour and not profile and said != "srgb" and _other_primaries(source, chunks):
        warnings.append("its primaries (cHRM) are not those of sRGB, as which its colours were"
                        " weighed; save it with an ICC profile for exact tones")
    return SourceImage(
        source.path, page, orientation, resolution, profile, tuple(warnings), said
    )


def _read_chunks(source: ByteSource) -> _Chunks:
    found = _Chunks()
    position, kind = len(PNG_SIGNATURE), b""
    while kind != b"IEND":
        if position + 12 > source.size:
            raise source.damaged("it ends before its last part")
        size, kind = struct.unpack(">I4s", source.read(position, 8))
        if position + 12 + size > source.size:
            raise source.damaged("one of its parts is longer than the file")
        if not found.header and kind != b"IHDR":
            raise source.damaged("it does not start with a header")
        if kind == b"IHDR":
            found.header = found.header or source.read(position + 8, min(size, 13))
            _check_sum(source, position, size)
        elif kind == b"IDAT":
            found.offsets.append(position + 8)
            found.sizes.append(size)
        elif len(found.small) < 1000:
            found.small.setdefault(kind, (position + 8, size))
        if len(found.offsets) > tiff.MOST_SEGMENTS:
            raise source.damaged("its pixels are cut into too many parts")
        position += 12 + size
    if len(found.header) < 13 or not found.offsets:
        raise source.damaged("it holds no image")
    return found


def _check_sum(source: ByteSource, position: int, size: int) -> None:
    if size > 64:
        raise source.damaged("its header is too long")
    data = source.read(position + 4, size + 8)
    if zlib.crc32(data[:-4]) != int.from_bytes(data[-4:], "big"):
        raise source.damaged("its header does not agree with its check sum")


def _read_page(source: ByteSource, chunks: _Chunks, options: OpenOptions) -> Page:
    width, height, depth, kind, *methods = struct.unpack(">IIBBBBB", chunks.header)

    def refuse(what: str, rule: str, way_out: str = _WAY_OUT) -> ImageError:
        return ImageError(f"the image {source.path}: {what}", rule, way_out)

    if not (1 <= width <= tiff.LONGEST_SIDE and 1 <= height <= tiff.LONGEST_SIDE):
        raise source.damaged(f"it claims to be {width} x {height} pixels")
    if kind == 3:
        raise refuse("its pixels are a palette", "a negative is made from gray or RGB pixels")
    if kind not in _SAMPLES or methods[0] or methods[1] or methods[2] > 1:
        raise source.damaged("its header holds what no PNG has")
    if depth not in (8, 16):
        raise refuse(f"its values have {depth} bit", "values have 16 bits, or at least 8")
    if methods[2]:
        raise refuse("it is interlaced", "a PNG is read row by row, from the top down",
                     "open it in your editor and save it again without interlacing, or as TIFF")
    if b"tRNS" in chunks.small:
        raise refuse("one of its tones stands for transparency", "every pixel has a tone")
    if kind >= 4 and not options.flatten:
        raise transparent(source, "transparency")
    samples = _SAMPLES[kind]
    row = width * samples * (depth // 8) + 1
    if row * height > sum(chunks.sizes) * _DEFLATE_MOST:
        raise source.damaged(f"it claims to be {width} x {height} pixels, far more than it holds")
    bits: Literal[8, 16] = 8 if depth == 8 else 16
    segments = Segments(width, height, False, np.array(chunks.offsets), np.array(chunks.sizes))
    return Page(
        width, height, bits, tiff.NATIVE, False, tiff.PNG, False, segments, samples,
        colour=kind in (2, 6), alpha="straight" if kind >= 4 else None,
    )  # fmt: skip


def _read_resolution(
    source: ByteSource, chunks: _Chunks, warnings: list[str]
) -> Resolution | None:
    """PNG, 11.3.4.3 (pHYs): whole pixels to the metre, so hundredths to the centimetre."""
    position, size = chunks.small.get(b"pHYs", (0, 0))
    x, y, unit = struct.unpack(">IIB", source.read(position, 9)) if size == 9 else (0, 0, 0)
    if not (x and y and unit == 1):
        warnings.append(RESOLUTION_UNKNOWN)
        return None
    if x != y:
        warnings.append("its pixels are not square: its resolution differs across and down")
    return Resolution((x, 100), (y, 100), 3)


def _read_profile(source: ByteSource, chunks: _Chunks) -> bytes | None:
    """PNG, 11.3.2.3 (iCCP): a name, a zero, the method 0, and the packed profile."""
    if b"iCCP" not in chunks.small:
        return None
    position, size = chunks.small[b"iCCP"]
    data = source.read(position, min(size, tiff.LARGEST_PROFILE))
    _, _, packed = data.partition(b"\0")
    try:
        profile = zlib.decompressobj().decompress(packed[1:], tiff.LARGEST_PROFILE)
    except zlib.error as error:
        raise source.damaged("its ICC profile cannot be unpacked") from error
    return profile or None


def _read_encoding(source: ByteSource, chunks: _Chunks) -> str | None:
    """PNG, 11.3.2: sRGB before gAMA, which holds 100000 / gamma."""
    if b"sRGB" in chunks.small:
        return "srgb"
    position, size = chunks.small.get(b"gAMA", (0, 0))
    if size != 4:
        return None
    (number,) = struct.unpack(">I", source.read(position, 4))
    return f"gamma:{100_000 / number:.5g}" if 25_000 <= number <= 200_000 else None


def _few_bits(source: ByteSource, chunks: _Chunks) -> bool:
    """PNG, 11.3.2.4 (sBIT): whether a channel came from 8 bits or fewer."""
    position, size = chunks.small.get(b"sBIT", (0, 0))
    return 1 <= size <= 4 and min(source.read(position, size)) <= 8


def _read_coding(source: ByteSource, chunks: _Chunks) -> str | None:
    """PNG, 11.3.2.6 (cICP), which goes before every other word on colour; codes of H.273."""
    position, size = chunks.small.get(b"cICP", (0, 0))
    if size != 4:
        return None
    primaries, transfer, _, full = source.read(position, 4)
    if transfer in (16, 18) or not full:
        raise ImageError(f"the image {source.path}: its values are coded for video"
                         f" (cICP {primaries}, {transfer}, full range {full})",
                         "a negative is made from a picture's tones", _WAY_OUT)
    return "srgb" if (primaries, transfer) == (1, 13) else None


_SRGB_PRIMARIES = (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)


def _other_primaries(source: ByteSource, chunks: _Chunks) -> bool:
    """PNG, 11.3.2.1 (cHRM): whether they lie further than 0.02 from those of sRGB."""
    position, size = chunks.small.get(b"cHRM", (0, 0))
    if size != 32:
        return False
    found = struct.unpack(">8I", source.read(position, 32))
    return any(abs(a - b) > 2000 for a, b in zip(found, _SRGB_PRIMARIES, strict=True))


def _first_exif(source: ByteSource, position: int, size: int) -> tiff.Directory | None:
    return read_exif(source, source.read(position, min(size, _TEXT_MOST)))


def read_exif(source: ByteSource, data: bytes) -> tiff.Directory | None:
    """The first directory of EXIF data, which is built as a TIFF; None if it is broken."""
    if not tiff.is_tiff(data[:4]):
        return None
    try:
        return tiff.read_directories(ByteSource(source.path, BytesIO(data)), most=1)[0]
    except ImageError:  # what an EXIF says is a courtesy: the pixels do not need it
        return None


def png_jobs(source: ByteSource, page: Page, band_bytes: int) -> Iterator[Job]:
    """Bands from the top down.

    Unpacking happens where the jobs are fetched.  A job waits for the one before it, which was
    started before it.
    """
    step = max(1, band_bytes // page.row_bytes)
    pieces = [
        (end - first) * (page.row_bytes + 1) for first, end in spans(page.height, step, False)
    ]
    above: Future[bytes] = Future()
    above.set_result(b"")
    parts = zip(page.segments.offsets.tolist(), page.segments.sizes.tolist(), strict=True)
    for rows in inflate_pieces(source, parts, pieces, "its pixels"):
        below: Future[bytes] = Future()
        yield _Unfilter(source, page, rows, above, below).job()
        above = below


@dataclass(frozen=True, eq=False)
class _Unfilter:
    source: ByteSource
    page: Page
    rows: bytearray
    above: Future[bytes]
    """The row above as a PNG stores it without a filter; empty at the top."""
    below: Future[bytes]

    def job(self) -> Job:
        return Job(len(self.rows) // (self.page.row_bytes + 1), self)

    def __call__(self) -> Band:
        try:
            band = self._decode(self.above.result())
            last = band[-1].astype(">u2") if self.page.bits == 16 else band[-1]
            self.below.set_result(b"\0" + last.tobytes())
        except BaseException as error:
            self.below.set_exception(error)
            raise
        return band

    def _decode(self, above: bytes) -> Band:
        import imagecodecs

        page, extra = self.page, int(bool(above))
        count = len(self.rows) // (page.row_bytes + 1)
        filters = np.frombuffer(self.rows, np.uint8)[:: page.row_bytes + 1]
        if filters.max() > 4:
            raise self.source.damaged(f"a row has the filter {filters.max()}, which there is not")
        try:
            pixels: NDArray[Any] = imagecodecs.png_decode(
                small_png(page, count + extra, above + bytes(self.rows))
            )
        except (RuntimeError, ValueError) as error:
            raise self.source.damaged("its rows cannot be decoded") from error
        return pixels.reshape(count + extra, page.row_values)[extra:]


def small_png(page: Page, rows: int, data: bytes) -> bytes:
    """A PNG of ``rows`` filtered rows, packed without compression."""
    kind = {1: 0, 2: 4, 3: 2, 4: 6}[page.samples]
    header = struct.pack(">IIBBBBB", page.width, rows, page.bits, kind, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(data, 0)), (b"IEND", b""))
    packed = [PNG_SIGNATURE]
    for name, body in parts:
        check = zlib.crc32(body, zlib.crc32(name))
        packed += [struct.pack(">I", len(body)), name, body, struct.pack(">I", check)]
    return b"".join(packed)

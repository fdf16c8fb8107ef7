"""Scans in, as one plane of codes from 0 to 1.

A scan is a 16-bit gray or RGB TIFF or PNG.  Colour becomes one value a pixel: a channel, or the
luminance by the embedded ICC profile.  What would give wrong densities quietly is refused.
"""

from __future__ import annotations

import hashlib
import io
import os
import struct
import warnings
import zlib
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.opening import reading_error, refuse_irregular
from tonewright.files.raster import bands, tiff
from tonewright.files.raster.scan_codes import CHANNELS, TURNS, Channel, Stored, assemble
from tonewright.files.raster.tiff import ByteSource, Directory, Page, Resolution
from tonewright.scan.image import Scan

MOST_PIXELS = 300_000_000
"""A sheet of 11 x 14 inches at 1200 ppi has 222 million."""
LEAST_SIDE = 40
_JPEG = 7
_RULE = "a scan is one gray or RGB picture, 16 bits a value, saved as TIFF or PNG"
_AGAIN = "scan it again as 16-bit gray (or 48-bit RGB) and save it as TIFF"
_PHOTOMETRICS = {3: "a palette of colours", 4: "a mask", 5: "inks (CMYK)", 6: "YCbCr colour"}
_PHOTOMETRICS |= {8: "Lab colour", 32803: "raw sensor data"}
_READABLE = (tiff.NONE, tiff.LZW, tiff.DEFLATE, tiff.OLD_DEFLATE, tiff.PACKBITS)


def read_scan(
    path: str | os.PathLike[str], *, allow_jpeg: bool = False, channel: Channel | None = None
) -> Scan:
    """Read a scan whole.

    Parameters
    ----------
    path:
        A TIFF or PNG, gray or RGB, of 16 (or 8) bits.
    allow_jpeg:
        Take a JPEG all the same.
    channel:
        What to make of RGB: one of its channels, or its luminance (also None), which needs the
        embedded profile; without one the values are weighed as if they were sRGB, with a
        warning.

    Returns
    -------
    Codes from 0 (black) to 1 (white), float32, shape (rows, columns), turned upright as the file
    says.  RGB luminance by a profile is in steps of CIE L*; all else in the scan's own encoding.

    Raises
    ------
    FileError
        It cannot be opened, or is no picture.
    ImageError
        A JPEG, transparency, CMYK, a palette, floating point, several pages; cut short; a header
        that lies.
    OptionError
        A channel that the scan does not have.
    """
    if channel not in (None, "luminance", *CHANNELS):
        raise OptionError(f"the channel is {channel!r}", "it is red, green, blue or luminance",
                          "leave it out for luminance")
    with _opened(Path(path)) as source:
        head = source.read(0, min(16, source.size))
        if tiff.is_tiff(head):
            return _read_tiff(source, allow_jpeg, channel)
        if head.startswith(b"\x89PNG\r\n\x1a\n"):
            return _read_png(source, channel)
        if head.startswith(b"\xff\xd8\xff"):
            return _read_jpeg(source, allow_jpeg, channel)
        kind = "empty" if not head else "a PDF" if head[:4] == b"%PDF" else "no TIFF or PNG"
        raise FileError(f"the file {source.path} is {kind}", _RULE, _AGAIN)


def _opened(path: Path) -> ByteSource:
    try:
        refuse_irregular(path, _RULE)
        stream = path.open("rb", buffering=0)
    except (OSError, ValueError) as error:
        raise reading_error(path, error, _RULE) from error
    return ByteSource(path, stream)


def is_picture(path: str | os.PathLike[str]) -> bool:
    """True for a TIFF, PNG or JPEG by its first bytes; False for anything else or no file."""
    try:
        if not Path(path).is_file():  # a pipe would be waited for
            return False
        with Path(path).open("rb") as stream:
            head = stream.read(16)
    except (OSError, ValueError):  # whoever reads it next says what is wrong
        return False
    return tiff.is_tiff(head) or head.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"))


def sha256_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of a file of any size, in hex; `FileError` if it cannot be read."""
    try:
        refuse_irregular(Path(path), _RULE)
        with Path(path).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        raise reading_error(path, error, _RULE) from error


def _refused(path: Path, what: str, rule: str = _RULE, way_out: str = _AGAIN) -> ImageError:
    return ImageError(f"the scan {path}: {what}", rule, way_out)


def _check_size(path: Path, width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise _refused(path, f"it has {width} x {height} pixels",
                       f"up to {MOST_PIXELS // 1_000_000} million are read",
                       "scan at 300 to 600 ppi, and crop to the sheet")
    if min(width, height) < LEAST_SIDE:
        raise _refused(path, f"it has {width} x {height} pixels",
                       f"a scan has at least {LEAST_SIDE} on each side",
                       "check that this is the file you meant")


# TIFF


def _read_tiff(source: ByteSource, allow_jpeg: bool, channel: Channel | None) -> Scan:
    directory = _only_page(tiff.read_directories(source))
    if directory.number(tiff.COMPRESSION, 1) in (6, _JPEG):
        return _read_jpeg(source, allow_jpeg, channel)
    stored = _tiff_facts(directory)
    page = _tiff_page(directory, stored)
    jobs: Iterable[bands.Job] = bands.stored_jobs(source, page)
    finish = _plain_values(page, stored, directory.number(tiff.PREDICTOR, 1) == 2)
    ready = ((lambda job=job: finish(job())) for job in jobs)
    return assemble(stored, ready, channel, bands.ahead_for(page))


def _only_page(pages: list[Directory]) -> Directory:
    full = [page for page in pages if not page.number(tiff.SUBFILE_TYPE, 0) & 1] or pages
    if len(full) > 1:
        raise _refused(full[0].source.path, f"it has {len(full)} pages", "a scan is one picture",
                       "save the page you want as a TIFF of its own; switch off the scanner "
                       "program's infrared or multi-page option")
    return full[0]


def _tiff_facts(directory: Directory) -> Stored:
    """What the directory says; `ImageError` for anything that cannot be read rightly."""
    path = directory.source.path
    photometric = directory.number(tiff.PHOTOMETRIC)
    samples, bits = directory.number(tiff.SAMPLES, 1), directory.number(tiff.BITS, 1)
    if photometric not in (0, 1, 2):
        kind = _PHOTOMETRICS.get(photometric, f"an unknown kind ({photometric})")
        raise _refused(path, f"its pixels are {kind}")
    expected = 3 if photometric == 2 else 1
    if samples != expected:
        extra = "gray" if expected == 1 else "red, green and blue"
        raise _refused(path, f"it has {samples} values a pixel, {extra} being {expected}",
                       "transparency and infrared have no place in a scan for densities",
                       "save it without transparency or infrared channel, as 16-bit gray or RGB")
    if (form := directory.number(tiff.SAMPLE_FORMAT, 1)) not in (1, 4):
        kind = {2: "signed", 3: "floating-point"}.get(form, "complex")
        raise _refused(path, f"its values are {kind} numbers")
    if bits not in (8, 16):
        raise _refused(path, f"its values have {bits} bit")
    if (compression := directory.number(tiff.COMPRESSION, 1)) not in _READABLE:
        raise _refused(path, f"its compression (number {compression} of the TIFF list) is not read",
                       "it may be uncompressed, LZW, Deflate (ZIP) or PackBits",
                       "save it again without compression")
    if directory.number(284, 1) != 1 and samples > 1:
        raise _refused(path, "its colours are stored apart, plane by plane",
                       "red, green and blue lie side by side", "save it again from your editor")
    if directory.number(tiff.FILL_ORDER, 1) != 1 or directory.number(tiff.PREDICTOR, 1) > 2:
        raise _refused(path, "its values are stored in a rare way", "only plain storage is read",
                       "save it again without compression")
    notes: list[str] = []
    width, height = directory.number(tiff.WIDTH), directory.number(tiff.HEIGHT)
    _check_size(path, width, height)
    profile = directory.data(tiff.PROFILE, tiff.LARGEST_PROFILE)
    orientation = directory.number(tiff.ORIENTATION, 1)
    return Stored(path, width, height, samples, bits, photometric == 0,
                   orientation if orientation in TURNS else 1, _tiff_ppi(directory, notes),
                   profile or None, tuple(notes))


def _tiff_ppi(directory: Directory, notes: list[str]) -> float | None:
    x, y = directory.rational(tiff.X_RESOLUTION), directory.rational(tiff.Y_RESOLUTION)
    if x is None or y is None or 0 in (*x, *y):
        return None
    per_inch = Resolution(x, y, directory.number(tiff.RESOLUTION_UNIT, 2)).per_inch
    return None if per_inch is None else _one_ppi(per_inch, notes)


def _one_ppi(per_inch: tuple[float, float], notes: list[str]) -> float | None:
    across, down = per_inch
    if not (1.0 <= across <= 50_000.0 and 1.0 <= down <= 50_000.0):
        return None
    if abs(across / down - 1.0) > 0.01:
        notes.append(f"its resolution differs across and down ({across:.0f} and {down:.0f} ppi)")
    return float((across * down) ** 0.5)


def _tiff_page(directory: Directory, stored: Stored) -> Page:
    """The page as the band reader takes it: the values of RGB side by side as columns."""
    size, samples = stored.bits // 8, stored.samples
    compression = directory.number(tiff.COMPRESSION, 1)
    segments = tiff.read_segments(
        directory, stored.width, stored.height, size * samples, compression)
    predictor = compression != tiff.NONE and directory.number(tiff.PREDICTOR, 1) == 2
    return Page(
        width=stored.width * samples, height=stored.height, bits=8 if stored.bits == 8 else 16,
        order=directory.order, white_is_zero=stored.white_is_zero, compression=compression,
        predictor=predictor and samples == 1,  # RGB differences run over three values: below
        segments=replace(segments, width=segments.width * samples))


def _plain_values(
    page: Page, stored: Stored, predicted: bool
) -> Callable[[bands.Band], NDArray[Any]]:
    """A function that makes a band into values of this machine, shape (rows, columns, samples)."""
    rgb_steps = predicted and stored.samples == 3 and page.compression != tiff.NONE
    swap = page.foreign_order and not page.predictor

    def finish(band: bands.Band) -> NDArray[Any]:
        values = band.byteswap() if swap else band
        values = values.reshape(len(values), stored.width, stored.samples)
        if rgb_steps:
            if page.segments.tiled:
                return _undo_tiles(values, page.segments.width // 3)
            return np.asarray(np.cumsum(values, axis=1, dtype=values.dtype))
        return values

    return finish


def _undo_tiles(values: NDArray[Any], wide: int) -> NDArray[Any]:
    """Differences start anew in every tile."""
    parts = [np.cumsum(values[:, left : left + wide], axis=1, dtype=values.dtype)
             for left in range(0, values.shape[1], wide)]
    return np.concatenate(parts, axis=1)


# PNG


def _read_png(source: ByteSource, channel: Channel | None) -> Scan:
    import imagecodecs

    stored = _png_facts(source)
    try:
        values = imagecodecs.png_decode(source.read(0, source.size))
    except (RuntimeError, ValueError) as error:
        raise source.damaged(f"its pixels cannot be unpacked ({error})") from error
    values = values.reshape(values.shape[0], values.shape[1], -1)
    if values.shape != (stored.height, stored.width, stored.samples):
        raise source.damaged(f"its pixels have the shape {values.shape}")
    step = max(1, bands.BAND_BYTES // (stored.width * stored.samples * stored.bits // 8))
    ready = ((lambda top=top: values[top : top + step])
             for top in range(0, stored.height, step))
    return assemble(stored, ready, channel, 3)


def _png_chunks(source: ByteSource) -> tuple[dict[bytes, bytes], int]:
    """The first chunk of each name but the pixels, and the bytes of pixels (W3C PNG, 3rd ed.)."""
    found: dict[bytes, bytes] = {}
    position, packed = 8, 0
    while position + 12 <= source.size:
        length, name = struct.unpack(">I4s", source.read(position, 8))
        if position + 12 + length > source.size:
            raise source.damaged("it ends within its pixels")
        if name == b"IDAT":
            packed += length
        elif length <= tiff.LARGEST_PROFILE:
            found.setdefault(name, source.read(position + 8, length))
        position += 12 + length
        if name == b"IEND":
            break
    if len(found.get(b"IHDR", b"")) != 13 or b"IEND" not in found:
        raise source.damaged("it has no sound beginning or no end")
    return found, packed


def _png_facts(source: ByteSource) -> Stored:
    """What the chunks say, held against the file's size."""
    found, packed = _png_chunks(source)
    width, height, bits, colour = struct.unpack(">IIBB", found[b"IHDR"][:10])
    path = source.path
    kind = {3: "a palette of colours", 4: "gray with transparency", 6: "RGB with transparency"}
    if b"acTL" in found:
        raise _refused(path, "it has several pictures (an animation)", "a scan is one picture")
    if colour not in (0, 2) or b"tRNS" in found:
        raise _refused(path, f"its pixels are {kind.get(colour, 'partly transparent')}")
    if bits not in (8, 16):
        raise _refused(path, f"its values have {bits} bit")
    samples = 3 if colour == 2 else 1
    _check_size(path, width, height)
    if width * height * samples * bits // 8 > packed * 1033:  # Deflate's limit, RFC 1951
        raise source.damaged(f"it claims {width} x {height} pixels in {packed} bytes")
    notes: list[str] = []
    return Stored(path, width, height, samples, bits, ppi=_png_ppi(found.get(b"pHYs"), notes),
                   profile=_png_profile(found.get(b"iCCP")), warnings=tuple(notes))


def _png_ppi(chunk: bytes | None, notes: list[str]) -> float | None:
    if chunk is None or len(chunk) != 9:
        return None
    across, down, unit = struct.unpack(">IIB", chunk)
    return _one_ppi((across * 0.0254, down * 0.0254), notes) if unit == 1 else None


def _png_profile(chunk: bytes | None) -> bytes | None:
    """An embedded profile; one that cannot be unpacked counts as broken, not as absent."""
    if chunk is None or b"\0" not in chunk:
        return None
    packed = chunk[chunk.index(b"\0") + 2 :]
    try:
        return zlib.decompressobj().decompress(packed, tiff.LARGEST_PROFILE)
    except zlib.error:
        return b"broken"


# JPEG


def _read_jpeg(source: ByteSource, allowed: bool, channel: Channel | None) -> Scan:
    """A JPEG (or a TIFF that holds one), if that is allowed."""
    path = source.path
    if not allowed:
        raise _refused(
            path, "it is JPEG-compressed",
            "a JPEG has 8 bits and blurs what lies close together, most of all in the blacks, "
            "so its densities are off",
            f"{_AGAIN}; to read it all the same, add --allow-jpeg")
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(source.read(0, source.size))) as picture:
                _check_size(path, *picture.size)
                if picture.mode not in ("L", "RGB", "YCbCr"):
                    raise _refused(path, f"its pixels are of the kind {picture.mode}")
                stored, values = _jpeg_facts(path, picture)
    except (OSError, ValueError, SyntaxError, UnidentifiedImageError,
            Image.DecompressionBombError) as error:
        raise source.damaged(f"it cannot be unpacked ({error})") from error
    return assemble(stored, [lambda: values], channel, 0)


def _jpeg_facts(path: Path, picture: Any) -> tuple[Stored, NDArray[Any]]:
    notes = ["it is a JPEG: densities read from it are off, most of all in the blacks"]
    dpi = picture.info.get("dpi")
    ppi = _one_ppi((float(dpi[0]), float(dpi[1])), notes) if dpi and all(dpi) else None
    orientation = int(picture.getexif().get(tiff.ORIENTATION, 1))
    profile = picture.info.get("icc_profile") or None
    values = np.asarray(picture if picture.mode != "YCbCr" else picture.convert("RGB"))
    values = values.reshape(values.shape[0], values.shape[1], -1)
    stored = Stored(path, values.shape[1], values.shape[0], values.shape[2], 8, False,
                     orientation if orientation in TURNS else 1, ppi, profile, tuple(notes))
    return stored, values

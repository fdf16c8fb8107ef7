"""Small pictures of large ones, for a page: nothing is measured in them."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image, UnidentifiedImageError

from tonewright.files.opening import reading_error
from tonewright.files.raster.scans import Channel
from tonewright.files.scanners import ScanOrTable
from tonewright.frozen import dataclass

LONGEST = 1400
"""Pixels of a preview's longer side."""


@dataclass(frozen=True)
class Preview:
    """A small picture as PNG bytes, and the size of the large one in pixels."""

    png: bytes
    width: int
    height: int


def preview_negative(path: Path) -> Preview | None:
    """A gray negative or target as it lies on a light table; None for one in coloured ink of 16
    bits, which Pillow does not read.  Raises `FileError` for a file that cannot be read."""
    Image.MAX_IMAGE_PIXELS = None  # it was made here
    try:
        with Image.open(path) as picture:
            width, height = picture.size
            small = picture.convert("F" if picture.mode.startswith("I") else picture.mode).reduce(
                _factor(width, height))
    except UnidentifiedImageError:
        return None
    except OSError as error:
        raise reading_error(path, error, "a negative is a TIFF") from error
    return Preview(_png(np.asarray(small) / (65535.0 if small.mode == "F" else 255.0)),
                   width, height)


def preview_scan(path: Path, channel: Channel | None = None) -> Preview:
    """A scan, upright as it is read; raises as `ScanOrTable.scan`."""
    pixels = ScanOrTable(path).scan(allow_jpeg=True, channel=channel).pixels
    height, width = pixels.shape
    step = _factor(width, height)
    rows, columns = height // step * step, width // step * step
    small = pixels[:rows, :columns].reshape(rows // step, step, columns // step, step).mean((1, 3))
    return Preview(_png(np.clip(small, 0.0, 1.0) ** (1.0 / 2.2)), width, height)


def _factor(width: int, height: int) -> int:
    return max(1, -(-max(width, height) // LONGEST))


def _png(values: np.ndarray[tuple[int, ...], np.dtype[np.floating]]) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(np.round(255.0 * values).astype(np.uint8)).save(stream, "PNG")
    return stream.getvalue()

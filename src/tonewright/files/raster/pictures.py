"""Whole gray pictures in memory, for the small ones that the rehearsal makes and looks at."""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.tiff_writer import Picture
from tonewright.files.safe import whole_file


def write_picture(
    path: str | os.PathLike[str], codes: NDArray[np.uint16], ppi: float, *,
    description: str = "", profile: bytes = b"", force: bool = False,
) -> None:
    """Write codes, shape (rows, columns), as a 16-bit gray TIFF.

    Raises `FileError`: the file exists and ``force`` is not given, or it cannot be written.
    """
    height, width = codes.shape
    picture = Picture(width, height, Resolution.square(ppi), description, profile=profile)
    with whole_file(path, force=force) as temp, temp.open("wb") as stream:
        stream.write(picture.header())
        stream.write(np.ascontiguousarray(codes).data)


def read_codes(path: str | os.PathLike[str]) -> NDArray[np.uint16]:
    """The codes of a 16-bit gray TIFF as they are stored, shape (rows, columns).

    Raises `FileError`, `ImageError`: it cannot be read, or is not a 16-bit gray picture.
    """
    with open_image(path) as image:
        page = image.page
        if page.bits != 16 or not page.plain:
            raise ImageError(f"{path} has {page.samples} values of {page.bits} bits a pixel",
                             "a negative is a 16-bit gray TIFF", "make it again")
        return np.concatenate([page.tones(job())[0] for job in image.jobs()])

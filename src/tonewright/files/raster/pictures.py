"""Whole gray pictures in memory, for the small ones that the rehearsal makes and looks at."""

from __future__ import annotations

import os

import numpy as np
import tifffile
from numpy.typing import NDArray

from tonewright.errors import ImageError
from tonewright.files.raster.icc import lightness_profile
from tonewright.files.safe import whole_file


def write_picture(
    path: str | os.PathLike[str], codes: NDArray[np.uint16], ppi: int, description: str,
    *, force: bool = False,
) -> None:
    """Write codes (0 black to 65535 white, even steps of L*) as a 16-bit gray TIFF.

    A profile that says so is embedded.  Shape (rows, columns); ``description`` in ASCII.

    Raises
    ------
    FileError
        The file exists and ``force`` is not given, or it cannot be written.
    """
    with whole_file(path, force=force) as temp:
        tifffile.imwrite(
            temp, codes, photometric="minisblack", resolution=(ppi, ppi), resolutionunit="INCH",
            description=description, metadata=None, software=False,
            iccprofile=lightness_profile())


def write_scan(
    path: str | os.PathLike[str], codes: NDArray[np.uint16], ppi: float, *, force: bool = False
) -> None:
    """Write a virtual scan, shape (rows, columns), as a 16-bit gray TIFF without a profile.

    Raises
    ------
    FileError
        The file exists and ``force`` is not given, or it cannot be written.
    """
    with whole_file(path, force=force) as temp:
        tifffile.imwrite(temp, codes, photometric="minisblack", resolution=(ppi, ppi),
                         resolutionunit="INCH", metadata=None, software=False)


def read_codes(path: str | os.PathLike[str]) -> NDArray[np.uint16]:
    """The codes of a 16-bit gray TIFF as they are stored, shape (rows, columns).

    Raises
    ------
    ImageError
        Not a 16-bit gray TIFF.
    """
    try:
        codes = tifffile.imread(path)
    except (OSError, ValueError, tifffile.TiffFileError) as error:
        raise ImageError(f"{path} cannot be read ({error})", "a negative is a 16-bit gray TIFF",
                         "make it again") from error
    if codes.dtype != np.uint16 or codes.ndim != 2:
        raise ImageError(f"{path} holds {codes.dtype} of shape {codes.shape}",
                         "a negative is a 16-bit gray TIFF", "make it again")
    return np.asarray(codes)

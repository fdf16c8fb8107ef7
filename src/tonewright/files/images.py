"""Finished images in, mapped 16-bit images out.

`open_image` reads what a TIFF says about itself and refuses what cannot become a negative;
`write_mapped` sends its pixels through a table into a new file, a band of rows at a time, so that
memory does not grow with the image.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FileError, ImageError
from tonewright.files import bands, tiff
from tonewright.files.safe import whole_file
from tonewright.files.tiff import ByteSource, Directory, Page, Resolution
from tonewright.files.tiff_header import tiff_header
from tonewright.negative import apply_band

_GRAY_WAY_OUT = "convert it to 16-bit gray in your editor and save it as TIFF"
_PHOTOMETRICS = {2: "colour (RGB)", 3: "a palette", 4: "a mask", 5: "inks (CMYK)"}
_PHOTOMETRICS |= {6: "colour (YCbCr)", 8: "Lab colour", 32803: "raw sensor data"}
_COMPRESSIONS = {2: "fax", 3: "fax", 4: "fax", 6: "JPEG", 7: "JPEG", 34712: "JPEG 2000"}
_COMPRESSIONS |= {34925: "LZMA", 50000: "Zstandard", 50001: "WebP", 50002: "JPEG XL"}
_OTHER_FILES = {b"\xff\xd8\xff": "a JPEG", b"\x89PNG": "a PNG", b"%PDF": "a PDF", b"GIF8": "a GIF"}

# EXIF 2.32, Orientation: transposed first, then upside down, then left to right.
_TURNS = {
    1: (False, False, False),
    2: (False, False, True),
    3: (False, True, True),
    4: (False, True, False),
    5: (True, False, False),
    6: (True, False, True),
    7: (True, True, True),
    8: (True, True, False),
}


@dataclass(frozen=True)
class SourceImage:
    """What an image file says about itself, checked."""

    path: Path
    page: Page
    """How its pixels are stored."""
    orientation: int
    """TIFF tag 274, 1 to 8."""
    resolution: Resolution | None
    """As the image is looked at (turned with it); None if the file does not say."""
    profile: bytes | None
    """Embedded ICC profile."""
    warnings: tuple[str, ...]

    @property
    def width(self) -> int:
        """Pixels across, as the image is looked at."""
        return self.page.height if self.orientation > 4 else self.page.width

    @property
    def height(self) -> int:
        """Pixels down, as the image is looked at."""
        return self.page.width if self.orientation > 4 else self.page.height

    @property
    def values(self) -> int:
        """How many values a pixel can have: 256 or 65536."""
        return 1 << self.page.bits


@dataclass(frozen=True)
class WriteSettings:
    """How a mapped image is written."""

    mirror: bool
    """Swap left and right."""
    description: str
    """Goes into the file's ImageDescription."""
    force: bool = False
    """Replace an existing file."""


Progress = Callable[[int, int], None]
"""Called with the rows done and the rows in all."""


def open_image(path: str | os.PathLike[str]) -> SourceImage:
    """Read and check the header of a gray TIFF; no pixel is decoded.

    Raises
    ------
    FileError
        It cannot be opened or is not a TIFF.
    ImageError
        It is damaged, or of a kind that cannot become a negative as it is.
    """
    with ByteSource(Path(path)) as source:
        _check_is_tiff(source)
        directory = _only_page(source, tiff.read_directories(source))
        _check_kind(directory)
        page = _read_page(directory)
        bands.check_memory(source, page)
        orientation = directory.number(tiff.ORIENTATION, 1)
        warnings = []
        if page.bits == 8:
            warnings.append(
                "it has 8 bits, so at most 256 tones: smooth skies may print in steps; "
                "a 16-bit original is better"
            )
        if orientation not in _TURNS:
            warnings.append(f"its orientation tag is {orientation}, which means nothing; ignored")
            orientation = 1
        resolution = _read_resolution(directory, warnings)
        if resolution is not None and orientation > 4:
            resolution = resolution.turned()
        profile = _read_profile(directory)
        return SourceImage(source.path, page, orientation, resolution, profile, tuple(warnings))


def _check_is_tiff(source: ByteSource) -> None:
    head = source.read(0, min(8, source.size))
    if tiff.is_tiff(head):
        return
    kinds = (name for start, name in _OTHER_FILES.items() if head.startswith(start))
    kind = next(kinds, None if head else "empty")
    raise FileError(
        f"the file {source.path} is {kind or 'not a TIFF'}",
        "a negative is made from a gray TIFF",
        "open the image in your editor, convert it to 16-bit gray and save it as TIFF",
    )


def _only_page(source: ByteSource, pages: list[Directory]) -> Directory:
    """The one page that is no thumbnail."""
    full = [page for page in pages if not page.number(tiff.SUBFILE_TYPE, 0) & 1] or pages
    # Some programs put a whole stack behind one directory and only say so in its description.
    stack = re.search(rb"^images=(\d{1,9})\s*$", full[0].data(tiff.DESCRIPTION, 1 << 16), re.M)
    count = max(len(full), int(stack[1]) if stack else 1)
    if count > 1:
        raise ImageError(
            f"the image {source.path} has {count} pages",
            "a negative is made from one image",
            "save the page you want as a TIFF of its own (flatten layers if there are any)",
        )
    return full[0]


def _check_kind(directory: Directory) -> None:
    """Raise `ImageError` for anything but 8 or 16-bit gray, naming what it is."""
    path = directory.source.path

    def refuse(what: str, rule: str, way_out: str = _GRAY_WAY_OUT) -> ImageError:
        return ImageError(f"the image {path}: {what}", rule, way_out)

    photometric = directory.number(tiff.PHOTOMETRIC)
    samples = directory.number(tiff.SAMPLES, 1)
    if photometric not in (0, 1):
        kind = _PHOTOMETRICS.get(photometric, f"an unknown kind ({photometric})")
        raise refuse(f"its pixels are {kind}", "a negative is made from gray pixels")
    if samples != 1:
        raise refuse(
            f"it has {samples} values for each pixel (gray and transparency, perhaps)",
            "a negative is made from one gray value for each pixel",
            "flatten it in your editor, without transparency, and save it as 16-bit gray TIFF",
        )
    sample_format = directory.number(tiff.SAMPLE_FORMAT, 1)
    if sample_format not in (1, 4):
        kind = {2: "signed numbers", 3: "floating-point numbers"}.get(sample_format, "no integers")
        raise refuse(f"its values are {kind}", "values are whole numbers of 8 or 16 bits")
    bits = directory.number(tiff.BITS, 1)
    if bits not in (8, 16):
        raise refuse(f"its values have {bits} bit", "values have 16 bits, or at least 8")
    compression = directory.number(tiff.COMPRESSION, 1)
    if compression not in (tiff.NONE, tiff.LZW, tiff.DEFLATE, tiff.OLD_DEFLATE, tiff.PACKBITS):
        name = _COMPRESSIONS.get(compression, f"unknown ({compression})")
        raise refuse(
            f"its compression is {name}",
            "it may be uncompressed, LZW, Deflate (ZIP) or PackBits",
            "save it again from your editor without compression",
        )
    if directory.number(tiff.FILL_ORDER, 1) != 1 or directory.number(tiff.PREDICTOR, 1) > 2:
        raise refuse("its values are stored in a rare way", "only plain storage is read")


def _read_page(directory: Directory) -> Page:
    width, height = directory.number(tiff.WIDTH), directory.number(tiff.HEIGHT)
    if not (1 <= width <= tiff.LONGEST_SIDE and 1 <= height <= tiff.LONGEST_SIDE):
        raise directory.source.damaged(f"it claims to be {width} x {height} pixels")
    compression = directory.number(tiff.COMPRESSION, 1)
    bits = directory.number(tiff.BITS)
    return Page(
        width=width,
        height=height,
        bits=8 if bits == 8 else 16,
        order=directory.order,
        white_is_zero=directory.number(tiff.PHOTOMETRIC) == 0,
        compression=compression,
        # TIFF 6.0, section 14: a predictor is part of a compression; without one it is idle.
        predictor=compression != tiff.NONE and directory.number(tiff.PREDICTOR, 1) == 2,
        segments=tiff.read_segments(directory, width, height, bits // 8, compression),
    )


def _read_resolution(directory: Directory, warnings: list[str]) -> Resolution | None:
    x, y = directory.rational(tiff.X_RESOLUTION), directory.rational(tiff.Y_RESOLUTION)
    unit = directory.number(tiff.RESOLUTION_UNIT, 2)
    if x is None or y is None or 0 in (*x, *y):
        warnings.append("it does not say its resolution: set the size yourself when you print")
        return None
    if unit not in (2, 3):
        warnings.append("its resolution has no unit: set the size yourself when you print")
        unit = 1
    if x[0] * y[1] != y[0] * x[1]:
        warnings.append("its pixels are not square: its resolution differs across and down")
    return Resolution(x, y, unit)


def _read_profile(directory: Directory) -> bytes | None:
    profile = directory.data(tiff.PROFILE, tiff.LARGEST_PROFILE + 1)
    if len(profile) > tiff.LARGEST_PROFILE:
        raise directory.source.damaged("its ICC profile is larger than 16 MB")
    return profile or None


def write_mapped(
    image: SourceImage,
    output: str | os.PathLike[str],
    table: NDArray[np.uint16],
    settings: WriteSettings,
    progress: Progress | None = None,
) -> None:
    """Write a 16-bit gray TIFF whose every pixel is ``table[value of the image there]``.

    The image is turned upright first.  The file is uncompressed, BlackIsZero, in strips; it keeps
    the exact resolution and nothing else of the source (its ICC profile would be wrong), and the
    same input gives the same bytes.

    Parameters
    ----------
    image:
        From `open_image`.
    output:
        A file; not the image itself.
    table:
        uint16, shape (image.values,): what to write for each value from black to white.
    settings:
        Mirroring, description, force.
    progress:
        Called after every band.

    Raises
    ------
    FileError
        The output exists, is the image itself, or cannot be written; the image cannot be read.
    ImageError
        The image's pixels are damaged.  Nothing is left under the output's name.
    """
    target = Path(output)
    refuse_same(image.path, target)
    if table.shape != (image.values,):
        raise ValueError(f"the table has {table.shape} entries for {image.values} values")
    folded = image.page.fold(table)
    done = 0
    with (
        ByteSource(image.path) as source,
        whole_file(target, force=settings.force) as temp,
        temp.open("wb") as stream,
        _scratch(image, target.parent) as scratch,
    ):
        stream.write(tiff_header(image.width, image.height, image.resolution, settings.description))
        jobs = _mapped_jobs(image, source, scratch, folded, settings.mirror)
        for codes in bands.in_order(jobs, bands.ahead_for(image.page)):
            stream.write(codes.data)
            done += len(codes)
            if progress is not None:
                progress(done, image.height)


def refuse_same(source: Path, output: Path) -> None:
    """Raise `FileError` if the output is the image itself, under whatever name."""
    with contextlib.suppress(OSError, ValueError):
        if output.samefile(source):
            raise FileError(
                f"the output {output} is the image itself",
                "the image is never written over",
                "give the negative another name",
            )


def _scratch(image: SourceImage, folder: Path) -> AbstractContextManager[BinaryIO | None]:
    """A file without a name, gone when closed, for what cannot be read in the order wanted."""
    turn, upside_down, _ = _TURNS[image.orientation]
    if not (turn or (upside_down and bands.streams(image.page))):
        return contextlib.nullcontext()
    import tempfile

    return tempfile.TemporaryFile(dir=folder, buffering=0)


def _mapped_jobs(
    image: SourceImage,
    source: ByteSource,
    scratch: BinaryIO | None,
    table: NDArray[np.uint16],
    mirror: bool,
) -> Iterator[Callable[[], NDArray[np.uint16]]]:
    """Jobs that read a band and map it, in the order in which they are written."""
    turn, upside_down, swap = _TURNS[image.orientation]
    if scratch is not None:
        jobs = bands.unpacked_jobs(scratch, source, image.page, turn=turn, reverse=upside_down)
    else:
        jobs = bands.stored_jobs(source, image.page, reverse=upside_down)

    def mapped(job: bands.Job) -> NDArray[np.uint16]:
        band = job()
        in_place = band.dtype == np.uint16 and not upside_down
        out = band if in_place else None
        return apply_band(band, table, mirror=mirror != swap, upside_down=upside_down, out=out)

    return ((lambda job=job: mapped(job)) for job in jobs)  # type: ignore[misc]

"""From an image file to a negative file, a band of rows at a time.

::

    stored rows → gray → turned upright → codes ─────────────────────→ sheet → ink → file
                                        └ luminance → resampled → codes ┘

Everything up to the file happens in jobs, in two threads; a band is small, so memory does not
grow with the image.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, closing
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FileError
from tonewright.files import bands, tiff
from tonewright.files.bands import Band, Job
from tonewright.files.images import SourceImage
from tonewright.files.safe import whole_file
from tonewright.files.tiff import ByteSource, Page, Resolution
from tonewright.files.tiff_header import Form
from tonewright.files.tiff_writer import Picture, write_tiff
from tonewright.negative.honesty import Ends
from tonewright.negative.ink import Ink
from tonewright.negative.tones import apply_band, lightness_index

if TYPE_CHECKING:
    from tonewright.files.icc import ToGray
    from tonewright.negative.frame import Frame

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
_QUARTER = {1: 6, 6: 3, 3: 8, 8: 1, 2: 7, 7: 4, 4: 5, 5: 2}
"""An orientation followed by a quarter turn clockwise."""

Progress = Callable[[int, int], None]
"""Called with the rows done and the rows in all."""


@dataclass(frozen=True, eq=False)
class Resampling:
    """A picture of another number of pixels."""

    width: int
    height: int
    luminance: NDArray[np.float32]
    """Relative luminance (0 to 1) of every gray value of the image."""


@dataclass(frozen=True, eq=False)
class WriteSettings:
    """How a mapped image is written."""

    mirror: bool
    """Swap left and right."""
    description: str
    """Goes into the file's ImageDescription."""
    force: bool = False
    """Replace an existing file."""
    rotate: int = 0
    """Degrees clockwise, after the image stands upright."""
    to_gray: ToGray | None = None
    """For a colour image."""
    resampling: Resampling | None = None
    resolution: Resolution | None = None
    """Of the file; None: that of the image."""
    frame: Frame | None = None
    """What stands around the picture; None: the picture alone."""
    ink: Ink = field(default_factory=Ink)
    deflate: bool = False
    ends: Ends | None = None
    """Where to count pixels at the ends."""
    coloured: list[float] = field(default_factory=list)
    """Filled with the coloured share of each band of a colour image."""


def turned(orientation: int, rotate: int) -> int:
    """The orientation (1 to 8) that also turns by so many degrees clockwise."""
    for _ in range(rotate // 90):
        orientation = _QUARTER[orientation]
    return orientation


def write_mapped(
    image: SourceImage,
    output: str | os.PathLike[str],
    table: NDArray[np.uint16],
    settings: WriteSettings,
    progress: Progress | None = None,
) -> None:
    """Write a TIFF whose every pixel is what a table says of the image's value there.

    The image is turned upright first.  The file keeps the exact resolution and nothing else of
    the source (its ICC profile would be wrong), and the same input gives the same bytes.

    Parameters
    ----------
    image:
        From `images.open_image`.
    output:
        A file; not the image itself.
    table:
        uint16 codes for every gray value from black to white, shape (image.values,); for a colour
        image or a resampled one for every 65535th of lightness, shape (65536,).
    settings:
        Everything else.
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
    by_lightness = image.page.colour or settings.resampling is not None
    if table.shape != (1 << 16 if by_lightness else image.values,):
        raise ValueError(f"the table has {table.shape} entries for {image.values} values")
    work = _Work(image, table, settings)
    width, height = work.size
    form = Form(settings.ink.depth, settings.ink.samples, settings.deflate)
    resolution = settings.resolution or work.resolution
    picture = Picture(width, height, resolution, settings.description, form)
    done = 0
    with (
        ByteSource(image.path) as source,
        whole_file(target, force=settings.force) as temp,
        # not "wb": some file systems send a file that was cut to nothing to the disk when it is
        # closed, which doubles the time
        temp.open("r+b", buffering=0) as stream,
        work.scratch(target.parent) as scratch,
        ExitStack() as stack,
    ):
        jobs = work.jobs(source, scratch, stack)
        ahead = bands.ahead_for(work.gray)
        for rows in stack.enter_context(closing(write_tiff(stream, picture, jobs, ahead))):
            done += rows
            if progress is not None:
                progress(done, height)


def refuse_same(source: Path, output: Path) -> None:
    """Raise `FileError` if the output is the image itself, under whatever name."""
    with contextlib.suppress(OSError, ValueError):
        if output.samefile(source):
            raise FileError(
                f"the output {output} is the image itself",
                "the image is never written over",
                "give the negative another name",
            )


class _Work:
    """The jobs that make one negative."""

    def __init__(
        self, image: SourceImage, table: NDArray[np.uint16], settings: WriteSettings
    ) -> None:
        self._image, self._table, self._settings = image, table, settings
        self._turn = _TURNS[turned(image.orientation, settings.rotate)]
        self.gray = gray_page(image.page)

    @property
    def resolution(self) -> Resolution | None:
        """The image's own, turned as it is."""
        found = self._image.resolution
        return found.turned() if found and self._settings.rotate % 180 else found

    @property
    def _picture(self) -> tuple[int, int]:
        """Pixels of the picture as it lies."""
        if self._settings.resampling is not None:
            return self._settings.resampling.width, self._settings.resampling.height
        page = self._image.page
        return (page.height, page.width) if self._turn[0] else (page.width, page.height)

    @property
    def size(self) -> tuple[int, int]:
        """Pixels of the file."""
        frame = self._settings.frame
        return self._picture if frame is None else (frame.width, frame.height)

    def scratch(self, folder: Path) -> AbstractContextManager[BinaryIO | None]:
        """A file without a name, gone when closed, for what cannot be read in the order wanted."""
        turn, upside_down, _ = self._turn
        if not (turn or (upside_down and bands.streams(self._image.page))):
            return contextlib.nullcontext()
        import tempfile

        return tempfile.TemporaryFile(dir=folder, buffering=0)

    def jobs(
        self, source: ByteSource, scratch: BinaryIO | None, stack: ExitStack
    ) -> Iterator[Job]:
        """Bands of the file in the order in which they are written."""
        if self._settings.resampling is None:
            jobs = self._mapped(self._upright(source, scratch), self._codes(self._table))
        else:
            jobs = self._resampled(self._upright(source, scratch), stack)
        if self._settings.frame is not None:
            jobs = self._framed(jobs)
        if self._settings.ink != Ink():
            jobs = self._inked(jobs)
        return jobs

    def _upright(self, source: ByteSource, scratch: BinaryIO | None) -> Iterator[Job]:
        """Gray bands in the order wanted, each still to be flipped as `_flips` says."""
        turn, upside_down, _ = self._turn
        page = self._image.page
        if scratch is None:
            # packed strips and resampling look at several bands at once
            apart = self._settings.resampling is None and not self._settings.deflate
            room = bands.Room() if apart else None
            return self._grays(bands.stored_jobs(source, page, reverse=upside_down, room=room))
        size = bands.turning_bytes(turn)
        jobs = self._grays(bands.stored_jobs(source, page, band_bytes=size))
        return bands.unpacked_jobs(scratch, jobs, self.gray, turn=turn, reverse=upside_down)

    def _grays(self, jobs: Iterator[Job]) -> Iterator[Job]:
        if self._image.page.plain:
            return jobs
        return (job.then(self._to_gray) for job in jobs)

    def _to_gray(self, band: Band) -> Band:
        from tonewright.negative import colour

        page = self._image.page
        pixels = band.reshape(len(band), page.width, page.samples)
        if page.foreign_order and not page.predictor:
            pixels = pixels.byteswap()
        own = 3 if page.colour else 1
        values = pixels[..., :own] if page.colour else pixels[..., 0]
        premultiplied = page.alpha == "premultiplied"
        if page.white_is_zero:
            values = np.iinfo(values.dtype).max - values
        # where white is zero, what was multiplied by alpha lies on white already
        if page.alpha is not None and not (premultiplied and page.white_is_zero):
            values = colour.on_white(values, pixels[..., own], premultiplied=premultiplied)
        if self._settings.to_gray is None:
            return np.ascontiguousarray(values)
        self._settings.coloured.append(colour.coloured_share(values))
        return self._settings.to_gray(values)

    def _flips(self) -> tuple[bool, bool]:
        """Whether a band is still to be mirrored and turned upside down."""
        _, upside_down, swap = self._turn
        return self._settings.mirror != swap, upside_down

    def _codes(self, table: NDArray[np.uint16]) -> Callable[[Band], Band]:
        folded = self.gray.fold(table)
        mirror, upside_down = self._flips()

        def codes(band: Band) -> Band:
            in_place = band.dtype == np.uint16 and not upside_down and band.flags.writeable
            out = band if in_place else None
            return apply_band(band, folded, mirror=mirror, upside_down=upside_down, out=out)

        return codes

    def _mapped(self, jobs: Iterator[Job], codes: Callable[[Band], Band]) -> Iterator[Job]:
        ends = self._settings.ends
        if ends is None:
            return (job.then(codes) for job in jobs)

        def counted(band: Band) -> Band:
            made = codes(band)
            ends.count(made)
            return made

        return (job.then(counted) for job in jobs)

    def _resampled(self, jobs: Iterator[Job], stack: ExitStack) -> Iterator[Job]:
        from tonewright.files.resample import Sizes, resampled_jobs

        wanted = self._settings.resampling
        assert wanted is not None
        folded = self.gray.fold(wanted.luminance)
        mirror, upside_down = self._flips()
        lit = (
            job.then(lambda b: apply_band(b, folded, mirror=mirror, upside_down=upside_down))
            for job in jobs
        )
        rows = stack.enter_context(closing(bands.in_order(lit, bands.ahead_for(self.gray))))
        turn, page = self._turn[0], self._image.page
        size = (page.height, page.width) if turn else (page.width, page.height)
        ends, table = self._settings.ends, self._table

        def codes(luminance: NDArray[np.float32]) -> Band:
            made = np.take(table, lightness_index(luminance), mode="clip")
            if ends is not None:
                ends.count(made)
            return made

        return resampled_jobs(rows, Sizes(*size, wanted.width, wanted.height), codes)

    def _framed(self, jobs: Iterator[Job]) -> Iterator[Job]:
        frame, mirror = self._settings.frame, self._settings.mirror
        assert frame is not None

        def sheet(first: int, codes: Band) -> Band:
            band: Band = frame.ground(len(codes))
            band[:, frame.left : frame.left + codes.shape[1]] = codes
            frame.paint(band[:, ::-1] if mirror else band, first)
            return band

        def bare(top: int, bottom: int) -> Iterator[Job]:
            for first, end in bands.spans(bottom - top, _BARE_ROWS, False):
                rows, at = end - first, top + first
                yield Job(rows, partial(sheet, at, np.empty((rows, 0), np.uint16)))

        yield from bare(0, frame.top)
        first = frame.top
        for job in jobs:
            yield job.then(partial(sheet, first))
            first += job.rows
        yield from bare(first, frame.height)

    def _inked(self, jobs: Iterator[Job]) -> Iterator[Job]:
        from tonewright.negative.ink import Inker

        inker = Inker(self._settings.ink)
        first = 0
        for job in jobs:
            yield job.then(partial(inker, first))
            first += job.rows


_BARE_ROWS = 64


def gray_page(page: Page) -> Page:
    """What the pixels of a page are when they have been made gray."""
    if page.plain:
        return page
    bits = 16 if page.colour else page.bits
    return replace(
        page, bits=bits, order=tiff.NATIVE, white_is_zero=False, samples=1, colour=False,
        alpha=None, planes=(),
    )  # fmt: skip

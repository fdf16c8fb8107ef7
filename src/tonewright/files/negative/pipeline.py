"""From an image file to a negative file, a band of rows at a time.

::

    stored rows → turned upright → codes ─────────────────────→ sheet → ink → file
                                 └ luminance → resampled → codes ┘

Colour pixels become codes (or luminance) before anything is turned, so that nothing but the code
itself is ever rounded.

Everything up to the file happens in jobs, in two threads; a band is small, so memory does not
grow with the image.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, closing
from dataclasses import field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from tonewright.errors import FileError
from tonewright.files.raster import bands
from tonewright.files.raster.bands import Job, Wanted
from tonewright.files.raster.page import NATIVE, Band, Compression, Page, Resolution, Segments
from tonewright.files.raster.source import TURNS, SourceImage
from tonewright.files.raster.tiff_writer import Form, Picture, write_tiff
from tonewright.files.safe import whole_file
from tonewright.frozen import dataclass
from tonewright.negative.honesty import Ends
from tonewright.negative.ink import Ink
from tonewright.negative.luminance import Luminance, LuminanceCodes, luminance_codes
from tonewright.negative.tones import LevelCurve, apply_band, code_table, flipped
from tonewright.scales import Array

if TYPE_CHECKING:
    from tonewright.negative.colour import ToLuminance
    from tonewright.negative.draw import Sheet

Codes = NDArray[np.uint16] | LuminanceCodes
"""What code a value becomes: one for every gray value from black to white, shape (256,) or
(65536,); or the code of every luminance, for an image in colour and for one that is resampled."""

Progress = Callable[[int, int], None]
"""Called with the rows done and the rows in all."""


@dataclass(frozen=True, eq=False)
class Resampling:
    """A picture of another number of pixels."""

    width: int
    height: int
    luminance: Luminance
    """Relative luminance (0 to 1) of every gray value of the image; not used for colour."""


@dataclass(frozen=True, eq=False)
class WriteSettings:
    """How a mapped image is written."""

    mirror: bool
    """Swap left and right."""
    description: str
    """Goes into the file's ImageDescription."""
    force: bool = False
    """Replace an existing file."""
    to_luminance: ToLuminance | None = None
    """For a colour image."""
    resampling: Resampling | None = None
    resolution: Resolution | None = None
    """Of the file; None: that of the image."""
    sheet: Sheet | None = None
    """What stands around the picture; None: the picture alone."""
    ink: Ink = field(default_factory=Ink)
    deflate: bool = False
    ends: Ends | None = None
    """Where to count pixels at the ends."""
    held: bool = False
    """Bands are kept while later ones are made."""
    coloured: list[float] = field(default_factory=list)
    """Filled with the coloured share of each band of a colour image."""


def write_mapped(
    image: SourceImage,
    output: str | os.PathLike[str],
    codes: Codes,
    settings: WriteSettings,
    progress: Progress | None = None,
) -> None:
    """Write a TIFF whose every pixel is the code of the image's value there.

    The image, from `raster.open_image` and still open, is turned upright first.  The file keeps the
    exact resolution and nothing else of the source (its ICC profile would be wrong), and the same
    input gives the same bytes.  Of gray values ``codes`` has the shape (image.values,).

    Raises `FileError`: the output exists, is the image itself, or cannot be written; the image
    cannot be read.  `ImageError`: the image's pixels are damaged.  Nothing is left under the
    output's name.
    """
    target = Path(output)
    refuse_same(image.path, target)
    resampled = settings.resampling is not None
    if isinstance(codes, LuminanceCodes) != by_luminance(image, resampled=resampled):
        raise ValueError("codes of luminance go with colour and resampling, and only with them")
    if not isinstance(codes, LuminanceCodes) and codes.shape != (image.values,):
        raise ValueError(f"the table has {codes.shape} entries for {image.values} values")
    work = Work(image, codes, settings)
    width, height = work.size
    form = form_of(settings.ink, deflate=settings.deflate)
    resolution = settings.resolution or image.resolution
    picture = Picture(width, height, resolution, settings.description, form)
    with whole_file(target, force=settings.force) as temp, ExitStack() as stack:
        jobs = work.jobs(target.parent, stack)
        write_rows(temp, picture, jobs, work.ahead, progress)


def form_of(ink: Ink, *, deflate: bool) -> Form:
    """How the pixels of a negative are stored."""
    return Form(ink.depth, ink.samples, Compression.DEFLATE if deflate else Compression.NONE)


def write_rows(
    temp: Path, picture: Picture, jobs: Iterator[Job], ahead: int, progress: Progress | None = None
) -> None:
    """Write the bands that jobs end in to an empty file, as a TIFF."""
    done = 0
    with (
        # not "wb": some file systems send a file that was cut to nothing to the disk when it is
        # closed, which doubles the time
        temp.open("r+b", buffering=0) as stream,
        closing(write_tiff(stream, picture, jobs, ahead)) as written,
    ):
        for rows in written:
            done += rows
            if progress is not None:
                progress(done, picture.height)


def coded(
    image: SourceImage, codes: Codes, settings: WriteSettings, *, turned: bool, folder: Path,
    stack: ExitStack,
) -> Generator[Band, None, None]:
    """One negative's bands of codes, top to bottom, in 16 bits whatever the ink.

    ``turned``: by a quarter clockwise, sheet and all.  Files without a name lie in ``folder``;
    ``stack`` closes everything.  Parameters else, and errors, as of `write_mapped`.
    """
    work = Work(image, codes, replace(settings, ink=Ink(), held=True))
    width, height = work.size
    jobs = work.jobs(folder, stack)
    if turned:
        page = Page(width, height, 16, Segments.one(width, height, 0))
        jobs = bands.unpacked_jobs(_nameless(folder, stack), jobs, page, turn=True, reverse=False)
        jobs = (job.then(lambda band: flipped(band, mirror=True, upside_down=False))
                for job in jobs)
    return stack.enter_context(closing(bands.in_order(jobs, work.ahead)))


def by_luminance(image: SourceImage, *, resampled: bool) -> bool:
    """Whether an image's codes are those of luminance, and not those of its values."""
    return image.page.colour or resampled


def codes_for(
    image: SourceImage, lightness: Array, curve: LevelCurve, *, resampled: bool = False
) -> Codes:
    """The codes of an image through a curve; ``lightness`` of every gray value, shape (n,)."""
    if by_luminance(image, resampled=resampled):
        return luminance_codes(curve)
    return code_table(lightness, curve)


def refuse_same(source: Path, output: Path) -> None:
    """Raise `FileError` if the output is the image itself, under whatever name."""
    with contextlib.suppress(OSError, ValueError):
        if output.samefile(source):
            raise FileError(
                f"the output {output} is the image itself",
                "the image is never written over",
                "give the negative another name",
            )


class Work:
    """The jobs that turn one image into the codes of a negative."""

    def __init__(self, image: SourceImage, codes: Codes, settings: WriteSettings) -> None:
        self._image, self._codes, self._settings = image, codes, settings
        self._turn = TURNS[image.orientation]
        self.single = single_page(image.page, by_luminance=settings.resampling is not None)

    @property
    def ahead(self) -> int:
        """How many bands may wait."""
        if self._settings.resampling is not None:
            return _FEW_AHEAD
        return bands.ahead_for(self.single)

    @property
    def _picture(self) -> tuple[int, int]:
        """Pixels of the picture as it lies."""
        if self._settings.resampling is not None:
            return self._settings.resampling.width, self._settings.resampling.height
        return self._image.width, self._image.height

    @property
    def size(self) -> tuple[int, int]:
        """Pixels of the file."""
        sheet = self._settings.sheet
        return self._picture if sheet is None else (sheet.width, sheet.height)

    def jobs(self, folder: Path, stack: ExitStack) -> Iterator[Job]:
        """Bands of the file in the order in which they are written.

        What has to be put aside on the way lies in files without a name in ``folder``, which
        ``stack`` closes.
        """
        if self._settings.resampling is None:
            jobs = self._mapped(self._upright(folder, stack))
        else:
            jobs = self._resampled(self._upright(folder, stack), stack)
        if self._settings.sheet is not None:
            jobs = self._on_sheet(jobs)
        return inked(jobs, self._settings.ink)

    def _upright(self, folder: Path, stack: ExitStack) -> Iterator[Job]:
        """Bands of one value a pixel in the order wanted, still to be flipped."""
        turn, upside_down, _ = self._turn
        scratch = partial(_nameless, folder, stack)
        if not (turn or (upside_down and self._image.page.streamed)):
            # packed strips and resampling look at several bands at once
            apart = not (self._settings.resampling or self._settings.deflate
                         or self._settings.held)
            return self._singles(self._image.jobs(Wanted(upside_down, None, apart, scratch)))
        size = bands.TURN_BYTES if turn else None
        jobs = self._singles(self._image.jobs(Wanted(band_bytes=size, scratch=scratch)))
        # luminance, which resampling takes, has 4 bytes
        most = None if self._settings.resampling is None else 4
        return bands.unpacked_jobs(
            scratch(), jobs, self.single, turn=turn, reverse=upside_down, value_bytes=most
        )

    def _singles(self, jobs: Iterator[Job]) -> Iterator[Job]:
        if self._image.page.plain:
            return jobs
        return (job.then(self._to_single) for job in jobs)

    def _to_single(self, band: Band) -> Band:
        """Gray values; of colour codes, or luminance if it is to be resampled."""
        from tonewright.negative import colour

        page = self._image.page
        values, alpha = page.tones(band)
        premultiplied = page.alpha == "premultiplied"
        # where white is zero, what was multiplied by alpha lies on white already
        if alpha is not None and not (premultiplied and page.white_is_zero):
            values = colour.on_white(values, alpha, premultiplied=premultiplied)
        if not page.colour:
            return np.ascontiguousarray(values)
        to_luminance = self._settings.to_luminance
        assert to_luminance is not None
        self._settings.coloured.append(colour.coloured_share(values))
        if self._settings.resampling is not None:
            return colour.all_luminances(values, to_luminance)
        assert isinstance(self._codes, LuminanceCodes)
        return colour.pixel_codes(values, to_luminance, self._codes)

    def _looked_up(self, table: NDArray[np.uint16] | Luminance | None) -> Callable[[Band], Band]:
        """A function that mirrors a band and turns it upside down as is still to be done, and looks
        its values up in a table; None: they are looked up already."""
        _, upside_down, swap = self._turn
        mirror = self._settings.mirror != swap
        if table is None:
            return partial(flipped, mirror=mirror, upside_down=upside_down)
        folded: NDArray[Any] = self.single.fold(table)

        def look_up(band: Band) -> Band:
            in_place = band.dtype == folded.dtype and not upside_down and band.flags.writeable
            out = band if in_place else None
            return apply_band(band, folded, mirror=mirror, upside_down=upside_down, out=out)

        return look_up

    def _counted(self, codes: Band) -> Band:
        if self._settings.ends is not None:
            self._settings.ends.count(codes)
        return codes

    def _mapped(self, jobs: Iterator[Job]) -> Iterator[Job]:
        codes = self._looked_up(None if isinstance(self._codes, LuminanceCodes) else self._codes)
        return (job.then(lambda band: self._counted(codes(band))) for job in jobs)

    def _resampled(self, jobs: Iterator[Job], stack: ExitStack) -> Iterator[Job]:
        from tonewright.files.raster.resample import Sizes, narrowed, resampled_jobs

        wanted, table, page = self._settings.resampling, self._codes, self._image.page
        assert wanted is not None and isinstance(table, LuminanceCodes)
        light = self._looked_up(None if page.colour else wanted.luminance)
        sizes = Sizes(self._image.width, self._image.height, wanted.width, wanted.height)
        lit = (job.then(lambda band: narrowed(light(band), sizes)) for job in jobs)
        ahead = min(_FEW_AHEAD, bands.ahead_for(page))
        rows = stack.enter_context(closing(bands.in_order(lit, ahead)))
        return resampled_jobs(rows, sizes, lambda band: self._counted(table(band)))

    def _on_sheet(self, jobs: Iterator[Job]) -> Iterator[Job]:
        sheet, mirror = self._settings.sheet, self._settings.mirror
        assert sheet is not None

        def drawn(first: int, codes: Band) -> Band:
            band: Band = sheet.ground(len(codes))
            band[:, sheet.left : sheet.left + codes.shape[1]] = codes
            sheet.paint(band[:, ::-1] if mirror else band, first)
            return band

        def bare(top: int, bottom: int) -> Iterator[Job]:
            for first, end in bands.spans(bottom - top, _BARE_ROWS):
                rows, at = end - first, top + first
                yield Job(rows, partial(drawn, at, np.empty((rows, 0), np.uint16)))

        yield from bare(0, sheet.top)
        first = sheet.top
        for job in jobs:
            yield job.then(partial(drawn, first))
            first += job.rows
        yield from bare(first, sheet.height)


def inked(jobs: Iterator[Job], ink: Ink) -> Iterator[Job]:
    """Bands of codes as the pixels of a file."""
    if ink == Ink():
        yield from jobs
        return
    from tonewright.negative.ink import Inker

    inker = Inker(ink)
    first = 0
    for job in jobs:
        yield job.then(partial(inker, first))
        first += job.rows


_BARE_ROWS = 64
_FEW_AHEAD = 1
"""Bands that may wait where an image is resampled: each holds many rows."""


def _nameless(folder: Path, stack: ExitStack) -> BinaryIO:
    """An empty file without a name, gone when ``stack`` closes it."""
    import tempfile

    return stack.enter_context(tempfile.TemporaryFile(dir=folder, buffering=0))


def single_page(page: Page, *, by_luminance: bool) -> Page:
    """What the pixels of a page are when each has become one value: gray, as it was stored, or
    where they were in colour a code or ``by_luminance`` their luminance."""
    if page.plain:
        return page
    bits: Literal[8, 16, 32] = page.bits
    if page.colour:
        bits = 32 if by_luminance else 16
    return replace(
        page, bits=bits, order=NATIVE, white_is_zero=False, samples=1, colour=False,
        alpha=None, planes=(),
    )  # fmt: skip

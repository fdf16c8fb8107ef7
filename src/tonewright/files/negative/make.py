"""From an image file to a negative file: the whole job."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__, scales
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.negative.pipeline import (
    Codes,
    Progress,
    Resampling,
    WriteSettings,
    by_luminance,
    refuse_same,
    write_mapped,
)
from tonewright.files.negative.tones import Tones, image_tones
from tonewright.files.raster.bands import one_thread
from tonewright.files.raster.findings import ResolutionUnknown
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.files.safe import make_folder, refuse_existing, whole_file
from tonewright.negative import honesty
from tonewright.negative.border import FrameSettings
from tonewright.negative.ink import Colour, Ink, agreed_colour, distinct_tones
from tonewright.negative.luminance import LuminanceCodes, luminance_codes
from tonewright.negative.size import Size, SizeWish, check_pixels, plan_size
from tonewright.negative.tones import LevelCurve, code_table, encoding_lightness
from tonewright.record.findings import Finding
from tonewright.record.setup import ink_colour_text

if TYPE_CHECKING:
    from tonewright.files.negative.second import Second
    from tonewright.negative.frame import Frame
    from tonewright.target.document import Target

Result = TypeVar("Result")

FEW_PIXELS = 150
"""To the inch: fewer show as steps in a contact print held in the hand."""
BORDER_PPI = (10, 5760)
"""Pixels to the inch for which a border is laid out: up to the finest of printers."""


@dataclass(frozen=True)
class NegativeSettings:
    """What the printer chose."""

    mirror: bool = True
    """Swap left and right, so that the printed side of the film lies on the coating."""
    encoding: str | None = None
    """What the values mean (`negative.encoding_lightness`); None: ask the image."""
    force: bool = False
    """Replace an existing output."""
    image: OpenOptions = field(default_factory=OpenOptions)
    """Which page, and whether transparency is laid on white."""
    size: SizeWish = field(default_factory=SizeWish)
    frame: FrameSettings = field(default_factory=FrameSettings)
    depth: Literal[8, 16] = 16
    """Bits of a value."""
    ink_colour: str | None = None
    """``R,G,B``; None: what the curve remembers."""
    seed: int = 1
    """Of the thresholds for 8 bits."""
    deflate: bool = False
    """Pack the file without loss."""
    date: str = ""
    """For the caption."""
    curve_sha256: str | None = None
    """Of the curve's file, for the record."""


@dataclass(frozen=True)
class NegativeReport:
    """What was made."""

    source: Path
    output: Path
    width: int
    height: int
    """Pixels of the file."""
    resolution: Resolution | None
    encoding: str
    """What the values were taken for: ``srgb``, ``gamma:2.2``, ``profile NAME`` …"""
    curve: str
    mirrored: bool
    level_black: float
    level_white: float
    """Ink levels (0 to 1) that image black and image white ask for."""
    findings: tuple[Finding, ...]
    """What was found in the image's file."""
    warnings: tuple[str, ...]
    picture_mm: tuple[float, float] | None
    """Width and height of the picture alone; None: not known."""
    resampled_from: tuple[int, int] | None
    """Pixels before, if their number was changed."""
    depth: int
    distinct_levels: int
    """Different ink levels that a file of this depth can hold of this image's values through this
    curve, whether the picture uses them all or not."""
    ink_colour: str | None
    black_share: float
    white_share: float
    """Shares (0 to 1) of the picture at the least and the most ink of the curve."""
    largest_step_lightness: float | None
    """L* of the print between neighbouring values of the image; None: the curve does not say."""
    coloured_share: float | None
    """Share (0 to 1) of a colour image's pixels that were not gray; None: it was gray."""
    density_range: float | None
    """Printing density of the negative between black and white; None: not known."""
    frame: FrameSettings
    target: Path | None
    """The document of the tone scale, by which a print is read."""


def make_negative(
    source: str | os.PathLike[str],
    curve: LevelCurve,
    output: str | os.PathLike[str],
    settings: NegativeSettings | None = None,
    progress: Progress | None = None,
) -> NegativeReport:
    """Correct, invert and mirror an image into a negative.

    Parameters
    ----------
    source:
        A TIFF or PNG, gray or RGB, of 16 (or 8) bits, or a JPEG.
    curve:
        The correction curve.
    output:
        The negative to write, a ``.tif``; 65535 is clear film.
    settings:
        Size, sheet, ink and the rest; without them as `NegativeSettings` stands.
    progress:
        Called with the rows done and the rows in all.

    Raises
    ------
    FileError, ImageError, OptionError, DocumentError
        The output exists or cannot be written, the image is not fit, an option cannot be.
        Nothing is left under the output's name.
    """
    chosen = settings or NegativeSettings()
    with _opened(Path(source), Path(output), curve, chosen) as image:
        return _make(_prepare(image, Path(output), curve, chosen), progress)


@dataclass(frozen=True)
class Failure:
    """An image of several that did not become a negative."""

    source: Path
    error: TonewrightError


@dataclass(frozen=True)
class Batch:
    """What became of several images."""

    reports: list[NegativeReport] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)


def check_options(curve: LevelCurve, settings: NegativeSettings) -> None:
    """Raise `OptionError` or `DocumentError` for what no image could be made a negative with."""
    _colour(curve, settings)
    code_table(encoding_lightness(settings.encoding or "lightness", 256), curve)


def _colour(curve: LevelCurve, settings: NegativeSettings) -> Colour | None:
    remembered = getattr(getattr(curve, "setup", None), "ink_colour", None)
    return agreed_colour(settings.ink_colour, remembered, curve.name)


BatchProgress = Callable[[Path, int, int], None]
"""Called with the image that is waited for, its number from 1 and how many there are."""


def make_negatives(
    pairs: Sequence[tuple[Path, Path]],
    curve: LevelCurve,
    settings: NegativeSettings,
    progress: BatchProgress | None = None,
    second: Second | None = None,
) -> Batch:
    """Make several negatives: pairs of image and output, as from `output_names`.

    Each by itself: an image that cannot be used does not stop the others.  The folder of the
    outputs is made if it is missing.  Options that cannot be, whatever the image, are an error at
    once.  With a ``second`` process (`second.second_for`) every other image is made there.

    Raises
    ------
    FileError, OptionError, DocumentError
        The folder cannot be made; options or the curve cannot be used for any image.
    """
    check_options(curve, settings)
    folder = pairs[0][1].parent
    made = len(pairs) > 1 and make_folder(folder)
    batch = Batch()
    try:
        with contextlib.closing(_two_at_once(pairs, curve, settings, second)) as made_ones:
            for number, (source, _) in enumerate(pairs, 1):
                if progress is not None:
                    progress(source, number, len(pairs))
                found = next(made_ones)
                if isinstance(found, Failure):
                    batch.failures.append(found)
                else:
                    batch.reports.append(found)
    finally:
        if made:
            with contextlib.suppress(OSError):  # not empty: something was finished
                folder.rmdir()
    return batch


def _two_at_once(
    pairs: Sequence[tuple[Path, Path]], curve: LevelCurve, settings: NegativeSettings,
    second: Second | None,
) -> Generator[NegativeReport | Failure, None, None]:
    """What becomes of each image, in order.

    Two images at a time, each in one thread: that keeps two cores busier than two threads for one
    image, which wait for each other at its start and at its end.
    """
    from concurrent.futures import ThreadPoolExecutor

    helper = _Helper(second, curve, settings)

    def make(source: Path, output: Path) -> NegativeReport | Failure:
        found = helper.make(source, output)
        if found is not None:
            return found
        try:
            with one_thread():
                return make_negative(source, curve, output, settings)
        except TonewrightError as error:
            return Failure(source, error)

    pool = ThreadPoolExecutor(2)
    try:
        for future in [pool.submit(make, *pair) for pair in pairs]:
            yield future.result()
    finally:
        pool.shutdown(cancel_futures=True)


class _Helper:
    """The second process as long as it is there, for whichever thread finds it free."""

    def __init__(
        self, second: Second | None, curve: LevelCurve, settings: NegativeSettings
    ) -> None:
        self._second = second
        self._free = threading.Lock()
        if second is not None:
            self._use(lambda: second.prepare(curve, settings))

    def make(self, source: Path, output: Path) -> NegativeReport | Failure | None:
        """What became of an image there; None if it has to be made here."""
        if self._second is None or not self._free.acquire(blocking=False):
            return None
        second = self._second
        try:
            return None if second is None else self._use(lambda: second.make(source, output))
        finally:
            self._free.release()

    def _use(self, job: Callable[[], Result]) -> Result | None:
        from tonewright.files.negative.second import SecondLost

        try:
            return job()
        except SecondLost:  # it was killed, or could not start: the rest is made here
            self._second = None
            return None


def output_names(images: Sequence[Path], output: Path) -> list[tuple[Path, Path]]:
    """Each image with the negative to make of it.

    With one image ``output`` is a ``.tif`` file; with several, or if it is a folder that exists,
    it is a folder, and the negatives are called ``NAME-negative.tif`` there.

    Raises
    ------
    OptionError
        The output is not what the number of images asks for, or two images would make one file.
    """
    is_tiff = output.suffix.lower() in (".tif", ".tiff")
    if len(images) == 1 and not output.is_dir():
        if not is_tiff:
            raise OptionError(
                f"the output is {output}",
                "a negative is a TIFF file",
                f"call it {output.with_suffix('.tif')}" if output.name else "give it a name",
            )
        return [(images[0], output)]
    if is_tiff and not output.is_dir():
        raise OptionError(
            f"the output of {len(images)} images is {output}",
            "with several images the output is a folder",
            f"name a folder, for example -o {output.with_suffix('')}",
        )
    pairs = [(image, output / f"{image.stem}-negative.tif") for image in images]
    seen: dict[str, Path] = {}
    for image, made in pairs:
        other = seen.setdefault(made.name.casefold(), image)  # some disks ignore capitals
        if other is not image:
            raise OptionError(
                f"the images {other} and {image} would both become {made.name}",
                "negatives in one folder need different names",
                "give them one after the other, or rename one",
            )
    return pairs


@dataclass(frozen=True, eq=False)
class _Job:
    """One negative, everything decided."""

    image: SourceImage
    output: Path
    curve: LevelCurve
    settings: NegativeSettings
    tones: Tones
    size: Size
    colour: Colour | None
    codes: Codes
    frame: Frame | None
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]

    @property
    def resolution(self) -> Resolution | None:
        """Of the file: the image's own fractions where nothing was asked."""
        wish, own = self.settings.size, self.image.resolution
        if (wish.width_mm, wish.height_mm, wish.ppi) != (None, None, None):
            return _as_resolution(self.size.per_inch)
        return own.turned() if own and wish.rotate % 180 else own


def _opened(
    source: Path, output: Path, curve: LevelCurve, settings: NegativeSettings
) -> SourceImage:
    """The image, after everything that can be found wrong without it."""
    _colour(curve, settings)
    refuse_same(source, output)
    refuse_existing(output, settings.force)
    if settings.frame.tone_scale:
        refuse_existing(scale_document(output), settings.force)
    return open_image(source, settings.image)


def _prepare(
    image: SourceImage, output: Path, curve: LevelCurve, settings: NegativeSettings
) -> _Job:
    """Everything short of writing, so that most errors come before any work."""
    colour = _colour(curve, settings)
    tones = image_tones(image, settings.encoding)
    size, warnings = _plan(image, settings)
    codes: Codes = (
        luminance_codes(curve)
        if by_luminance(image, resampled=size.resampled)
        else code_table(tones.lightness, curve)
    )
    frame = _frame(image, curve, size, settings)
    # what the print's size settles is no finding any more
    settled = ResolutionUnknown if size.per_inch is not None else ()
    findings = tuple(found for found in image.findings if not isinstance(found, settled))
    return _Job(
        image, output, curve, settings, tones, size, colour, codes, frame, findings,
        (*tones.warnings, *warnings),
    )  # fmt: skip


def _plan(image: SourceImage, settings: NegativeSettings) -> tuple[Size, list[str]]:
    """Size of the picture, and what is to be said of it."""
    wish = settings.size
    width, height = image.width, image.height
    per_inch = _per_inch(image.resolution)
    if wish.rotate % 180:
        width, height = height, width
        per_inch = per_inch and (per_inch[1], per_inch[0])
    size = plan_size(width, height, per_inch, wish)
    warnings = []
    if size.resampled and size.width > 1.05 * width:
        warnings.append(
            f"it was enlarged {size.width / width:.1f} times: that adds pixels, not detail"
        )
    if size.per_inch is not None and min(size.per_inch) < FEW_PIXELS:
        warnings.append(
            f"it has only {float(min(size.per_inch)):.0f} pixels to the inch at this size: edges"
            " may look stepped"
        )
    return size, warnings


def _per_inch(resolution: Resolution | None) -> tuple[Fraction, Fraction] | None:
    if resolution is None or resolution.unit not in (2, 3):
        return None
    factor = Fraction(1) if resolution.unit == 2 else Fraction(254, 100)
    return factor * Fraction(*resolution.x), factor * Fraction(*resolution.y)


def _as_resolution(per_inch: tuple[Fraction, Fraction] | None) -> Resolution | None:
    if per_inch is None:
        return None
    x, y = (n.limit_denominator(100_000) for n in per_inch)
    return Resolution((x.numerator, x.denominator), (y.numerator, y.denominator), 2)


def _frame(
    image: SourceImage, curve: LevelCurve, size: Size, settings: NegativeSettings
) -> Frame | None:
    if not settings.frame.wanted:
        return None
    if size.per_inch is None:
        raise OptionError(
            f"the image {image.path} does not say its size",
            "a border is laid out in millimetres",
            "say how large the picture shall be with --width, for example --width 200mm",
        )
    across, down = (float(n) for n in size.per_inch)
    if abs(across / down - 1.0) > 0.001:
        raise OptionError(
            f"the pixels of the image {image.path} are not square ({across:.4g} and {down:.4g} to"
            " the inch)",
            "a border is laid out for square pixels",
            "add --ppi, which makes them square, for example --ppi 360",
        )
    least, most = BORDER_PPI
    if not least <= across <= most:
        raise OptionError(
            f"the image {image.path} has {across:.4g} pixels to the inch",
            f"a border is laid out for {least} to {most} pixels to the inch",
            "say how large the picture shall be with --width, or add --ppi, for example --ppi 360",
        )
    margin = 2 * round(settings.frame.margin * across / 25.4)
    check_pixels(size.width + margin, size.height + margin)
    return _laid_out(image, curve, size, settings)


def _laid_out(
    image: SourceImage, curve: LevelCurve, size: Size, settings: NegativeSettings
) -> Frame:
    from tonewright.files.lettering import text_mask
    from tonewright.negative.frame import Frame, Subject, tone_scale

    words = caption(image.path, curve, size, settings)
    assert size.per_inch is not None
    ppi = float(size.per_inch[0])
    subject = Subject(size.width, size.height, ppi, words, tone_scale(curve))
    return Frame(subject, settings.frame, text_mask)


def caption(source: Path, curve: LevelCurve, size: Size, settings: NegativeSettings) -> str:
    """The line on the sheet: printing time, curve, size, date, image; what is not known is not
    there.

    A long line is cut at its end, where the name of the image stands.
    """
    width, height = size.millimetres or (0.0, 0.0)
    setup = getattr(curve, "setup", None)
    time = getattr(setup, "printing_time", None)
    facts = [f"print {time}" if time else "", curve.name, f"{width:.0f} x {height:.0f} mm",
             settings.date, source.stem]
    return "  ·  ".join("".join(c for c in fact if c.isprintable()) for fact in facts if fact)


def scale_document(output: Path) -> Path:
    """The document of the tone scale that belongs to a negative."""
    return output.with_name(f"{output.stem}.target.json")


def _make(job: _Job, progress: Progress | None) -> NegativeReport:
    settings, frame = job.settings, job.frame
    ends = honesty.ends_of(_at_ends(job) if isinstance(job.codes, LuminanceCodes) else job.codes)
    how = WriteSettings(
        mirror=settings.mirror,
        description=description(job),
        force=settings.force,
        rotate=settings.size.rotate,
        to_luminance=job.tones.to_luminance,
        resampling=_resampling(job),
        resolution=job.resolution,
        frame=frame,
        ink=Ink(settings.depth, job.colour, settings.seed),
        deflate=settings.deflate,
        ends=ends,
    )
    target = None
    if frame is not None:
        target = frame.target(
            job.output.stem, settings.date, settings.mirror, job.curve.name
        )
    if target is not None and job.colour is not None:  # its levels mean something in this ink only
        target = replace(target, ink_colour=ink_colour_text(job.colour))
    with _document(job, target):
        write_mapped(job.image, job.output, job.codes, how, progress)
    return _report(job, ends, how.coloured, target)


def _at_ends(job: _Job) -> NDArray[np.uint16]:
    """Codes of black and white where there is no table of values."""
    assert isinstance(job.codes, LuminanceCodes)
    found = job.tones.to_luminance
    if found is None or job.size.resampled:
        luminance = scales.lightness_to_luminance(job.tones.lightness[[0, -1]]) / 100.0
        return job.codes(luminance.astype(np.float32))
    ends = np.array([[[0] * 3, [job.image.values - 1] * 3]])
    return job.codes(found(ends.astype(np.uint8 if job.image.values == 256 else np.uint16)))


@contextlib.contextmanager
def _document(job: _Job, target: Target | None) -> Iterator[None]:
    """Write the document of the tone scale together with the negative: both or neither."""
    if target is None:
        yield
        return
    from tonewright.files.documents import to_text
    from tonewright.target.document import FORM

    with whole_file(scale_document(job.output), force=job.settings.force) as temp:
        temp.write_text(to_text(FORM.encode(target)), encoding="utf-8", newline="\n")
        yield


def _resampling(job: _Job) -> Resampling | None:
    if not job.size.resampled:
        return None
    luminance = scales.lightness_to_luminance(job.tones.lightness) / 100.0
    return Resampling(job.size.width, job.size.height, luminance.astype(np.float32))


def description(job: _Job) -> str:
    """Where a negative comes from, for its ImageDescription: the same input, the same words."""
    settings, size = job.settings, job.size
    mark = f" (sha256 {settings.curve_sha256})" if settings.curve_sha256 else ""
    facts = [
        f"curve {job.curve.name}{mark}",
        f"values taken as {job.tones.encoding}",
        "mirrored" if settings.mirror else "not mirrored",
        f"turned {settings.size.rotate} degrees" if settings.size.rotate else "",
        f"resampled from {job.image.width} x {job.image.height}" if size.resampled else "",
        "transparency laid on white" if job.image.page.alpha else "",
        f"page {settings.image.page}" if settings.image.page else "",
        _frame_words(settings.frame),
    ]
    if settings.depth == 8:
        facts.append(f"8 bits, spread by blue noise of seed {settings.seed}")
    if job.colour is not None:
        facts.append(f"level 1 is the ink colour {ink_colour_text(job.colour)}")
    full = 65535 if settings.depth == 16 else 255
    facts.append(f"{full} is clear film")
    words = "; ".join(fact for fact in facts if fact)
    return f"Negative of {job.image.path.name} by tonewright {__version__}; {words}"


def _frame_words(frame: FrameSettings) -> str:
    if not frame.wanted:
        return ""
    parts = [f"{frame.margin:g} mm of {frame.border} border"]
    parts += [word for word in ("marks", "tone_scale", "caption") if getattr(frame, word)]
    return ", ".join(parts).replace("_", " ")


def _report(
    job: _Job, ends: honesty.Ends, coloured: list[float], target: Target | None
) -> NegativeReport:
    curve, settings = job.curve, job.settings
    black, white = (count / (job.size.width * job.size.height) for count in ends.pixels)
    step = honesty.largest_step(job.tones.lightness, curve)
    page = job.image.page
    banding = honesty.banding_warning(page.bits, step, colour=page.colour)
    if isinstance(job.codes, LuminanceCodes):
        codes, lightness = job.codes.codes, np.linspace(0.0, 100.0, scales.FULL_CODE + 1)
        reach = honesty.reach_of(lightness, code_table(lightness, curve))
    else:
        codes = job.codes
        reach = honesty.reach_of(job.tones.lightness, codes)
    levels = curve.level_at(job.tones.lightness[[0, -1]])
    share = float(np.mean(coloured)) if coloured else None
    lost = _colour_warning(share)
    frame = job.frame
    return NegativeReport(
        source=job.image.path,
        output=job.output,
        width=job.size.width if frame is None else frame.width,
        height=job.size.height if frame is None else frame.height,
        resolution=job.resolution,
        encoding=job.tones.encoding,
        curve=curve.name,
        mirrored=settings.mirror,
        level_black=float(levels[0]),
        level_white=float(levels[1]),
        findings=job.findings,
        warnings=(
            *job.warnings,
            *((lost,) if lost else ()),
            *((banding,) if banding else ()),
            *_cut_warning(frame),
            *honesty.end_warnings((black, white), reach),
        ),
        picture_mm=job.size.millimetres,
        resampled_from=(job.image.width, job.image.height) if job.size.resampled else None,
        depth=settings.depth,
        distinct_levels=distinct_tones(codes, settings.depth),
        ink_colour=None if job.colour is None else ink_colour_text(job.colour),
        black_share=black,
        white_share=white,
        largest_step_lightness=None if step is None else step[0],
        coloured_share=share,
        density_range=getattr(getattr(curve, "summary", None), "negative_density_range", None),
        frame=settings.frame,
        target=None if target is None else scale_document(job.output),
    )


def _cut_warning(frame: Frame | None) -> tuple[str, ...]:
    if frame is None or not frame.cut:
        return ()
    return (
        f"the caption is longer than its line: {frame.cut!r} was cut off; print the picture larger,"
        " or give image or curve a shorter name",
    )


def _colour_warning(share: float | None) -> str | None:
    if share is None:
        return None
    if share < 0.0005:
        return None
    return (
        f"it is in colour (about {max(1, round(100 * share))} % of its pixels): only its lightness"
        " was used; convert it to gray in your editor to choose how each colour prints"
    )

"""From an image file to a negative file: one of them."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__, scales
from tonewright.errors import OptionError
from tonewright.files.negative import again, pipeline
from tonewright.files.negative.settings import NegativeSettings as NegativeSettings
from tonewright.files.negative.settings import sheet_files
from tonewright.files.negative.tones import Tones, image_tones
from tonewright.files.raster.findings import ResolutionUnknown
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.source import SourceImage
from tonewright.files.safe import refuse_existing
from tonewright.frozen import dataclass
from tonewright.negative import honesty
from tonewright.negative.findings import CaptionCut, ColourDropped, LettersNotDrawn
from tonewright.negative.ink import Ink, agreed_colour, distinct_tones
from tonewright.negative.luminance import LuminanceCodes
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import Size, check_pixels, plan_size, size_findings
from tonewright.negative.tones import LevelCurve, code_table, encoding_lightness
from tonewright.record.findings import Finding
from tonewright.record.setup import Colour, Setup, ink_colour_text

if TYPE_CHECKING:
    from tonewright.negative.draw import Sheet
    from tonewright.target.document import Target

SHEET_PPI = (10, 5760)
"""Pixels to the inch for which a border is laid out: up to the finest of printers."""
_TELL_COLOUR = 0.0005
"""Share of coloured pixels from which it is told."""


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
    printing_time: str | None
    """What the negative is to be printed for; None: the curve does not say."""
    curve_findings: tuple[Finding, ...]
    """What the curve carries that bears on the print."""
    mirrored: bool
    level_black: float
    level_white: float
    """Ink levels (0 to 1) that image black and image white ask for."""
    findings: tuple[Finding, ...]
    """Of this image and its sheet."""
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
    sheet: SheetSettings
    rule_mm: float | None
    """Length of the rule by which the print's size is checked; None: no room, or no marks."""
    target: Path | None
    """The document of the tone scale, by which a print is read; None: no tone scale."""
    table: Path | None
    """The table of its tones, to fill in by hand."""


def make_negative(
    source: str | os.PathLike[str],
    curve: LevelCurve,
    output: str | os.PathLike[str],
    settings: NegativeSettings | None = None,
    progress: pipeline.Progress | None = None,
) -> NegativeReport:
    """Correct, invert and mirror an image into a negative.

    ``source`` is a TIFF or PNG, gray or RGB, of 16 (or 8) bits, or a JPEG; ``output`` the negative
    to write, a ``.tif`` in which 65535 is clear film.

    Raises `FileError`, `ImageError`, `OptionError`, `DocumentError`: the output exists or cannot be
    written, the image is not fit, a setting cannot be.  Nothing is left under the output's name.
    """
    image_file, made = Path(source), Path(output)
    with sheet_files(settings or NegativeSettings(), [image_file, made]) as chosen:
        colour = colour_for(curve, chosen)
        pipeline.refuse_same(image_file, made)
        refuse_existing(made, chosen.force)
        if chosen.sheet.tone_scale:
            from tonewright.files.blank import refuse_beside  # few negatives have a tone scale

            refuse_beside(made, chosen.force)
        with open_image(image_file, chosen.image) as image:
            if not chosen.anyway:
                again.refuse_again(image)
            return _made(prepared(image, made, curve, chosen, colour), progress)


def check_settings(curve: LevelCurve, settings: NegativeSettings) -> None:
    """Raise `OptionError` or `DocumentError` for what no image could be made a negative with."""
    colour_for(curve, settings)
    code_table(encoding_lightness(settings.encoding or "lightness", 256), curve)


def setup_of(curve: LevelCurve) -> Setup:
    """What the curve was made with, as far as it says."""
    return getattr(curve, "setup", None) or Setup()


def colour_for(curve: LevelCurve, settings: NegativeSettings) -> Colour | None:
    """The ink colour that negative and curve share; raises as `agreed_colour`."""
    return agreed_colour(settings.ink_colour, setup_of(curve).ink_colour, curve.name)


@dataclass(frozen=True, eq=False)
class NegativeJob:
    """One negative, everything decided."""

    image: SourceImage
    """Turned as was asked."""
    output: Path
    curve: LevelCurve
    settings: NegativeSettings
    tones: Tones
    size: Size
    colour: Colour | None
    codes: pipeline.Codes
    sheet: Sheet | None

    @property
    def resolution(self) -> Resolution | None:
        """Of the file: the image's own fractions where nothing was asked."""
        wish = self.settings.size
        if (wish.width_mm, wish.height_mm, wish.ppi) != (None, None, None):
            return _as_resolution(self.size.per_inch)
        return self.image.resolution

    @property
    def pixels_before(self) -> tuple[int, int]:
        """Width and height of the image before it was turned."""
        size = self.image.width, self.image.height
        return size[::-1] if self.settings.size.rotate % 180 else size

    @property
    def target(self) -> Target | None:
        """The document of the sheet's tone scale."""
        if self.sheet is None:
            return None
        settings = self.settings
        target = self.sheet.target(self.output.stem, settings.date, settings.mirror,
                                   self.curve.name)
        if target is None or self.colour is None:
            return target
        return replace(target, ink_colour=ink_colour_text(self.colour))  # its levels are of it


def prepared(
    image: SourceImage, output: Path, curve: LevelCurve, settings: NegativeSettings,
    colour: Colour | None,
) -> NegativeJob:
    """Everything short of writing, so that most errors come before any work."""
    tones, image = image_tones(image, settings.encoding), image.turned(settings.size.rotate)
    size = plan_size(image.width, image.height, _per_inch(image.resolution), settings.size)
    codes = pipeline.codes_for(image, tones.lightness, curve, resampled=size.resampled)
    sheet = _sheet(image.path, curve, size, settings) if settings.sheet.margin else None
    return NegativeJob(image, output, curve, settings, tones, size, colour, codes, sheet)


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


def _sheet(path: Path, curve: LevelCurve, size: Size, settings: NegativeSettings) -> Sheet:
    from tonewright.files.lettering import text_mask
    from tonewright.negative.draw import Sheet, Subject, tone_scale

    ppi = _sheet_ppi(path, size)
    margin = 2 * round(settings.sheet.margin * ppi / scales.MM_PER_INCH)
    check_pixels(size.width + margin, size.height + margin)
    words = caption(path, curve, size, settings)
    names = curve.name, settings.title or path.stem
    subject = Subject(size.width, size.height, ppi, words, names, tone_scale(curve))
    return Sheet(subject, settings.sheet, text_mask)


def _sheet_ppi(path: Path, size: Size) -> float:
    """Pixels to the inch that a border is laid out for."""
    if size.per_inch is None:
        raise OptionError(
            f"the image {path} does not say its size",
            "a border is laid out in millimetres",
            "say how wide the picture shall be, for example 200 mm",
            code="picture_size_unknown",
        )
    across, down = (float(n) for n in size.per_inch)
    if abs(across / down - 1.0) > 0.001:
        raise OptionError(
            f"the pixels of the image {path} are not square ({across:.4g} and {down:.4g} to the"
            " inch)",
            "a border is laid out for square pixels",
            "have the picture resampled, which makes them square, for example to 360 pixels to the"
            " inch",
            code="pixels_not_square",
        )
    least, most = SHEET_PPI
    if not least <= across <= most:
        raise OptionError(
            f"the image {path} has {across:.4g} pixels to the inch",
            f"a border is laid out for {least} to {most} pixels to the inch",
            "say how wide the picture shall be, for example 200 mm, or have it resampled, for"
            " example to 360 pixels to the inch",
            code="impossible_resolution",
        )
    return across


def caption(
    source: Path, curve: LevelCurve, size: Size, settings: NegativeSettings
) -> tuple[str, ...]:
    """What the line on the sheet says: printing time, curve, image, size, date; what is not known
    is not there."""
    width, height = size.millimetres or (0.0, 0.0)
    time = setup_of(curve).printing_time
    facts = [f"print {time}" if time else "", curve.name, settings.title or source.stem,
             f"{width:.0f} x {height:.0f} mm", settings.date]
    return tuple(fact for fact in facts if fact)


def _made(job: NegativeJob, progress: pipeline.Progress | None) -> NegativeReport:
    how = write_settings(job)
    with document(job):
        pipeline.write_mapped(job.image, job.output, job.codes, how, progress)
    return report_of(job, how)


def write_settings(job: NegativeJob) -> pipeline.WriteSettings:
    """How the image is written."""
    settings = job.settings
    return pipeline.WriteSettings(
        mirror=settings.mirror,
        description=description(job),
        force=settings.force,
        to_luminance=job.tones.to_luminance,
        resampling=_resampling(job),
        resolution=job.resolution,
        sheet=job.sheet,
        ink=Ink(settings.depth, job.colour, settings.seed),
        deflate=settings.deflate,
        ends=honesty.Ends.of(_at_ends(job)),
    )


def _at_ends(job: NegativeJob) -> NDArray[np.uint16]:
    """Codes of all values, or where there is no such table those of black and white."""
    if not isinstance(job.codes, LuminanceCodes):
        return job.codes
    found = job.tones.to_luminance
    if found is None or job.size.resampled:
        luminance = scales.lightness_to_luminance(job.tones.lightness[[0, -1]]) / 100.0
        return job.codes(luminance.astype(np.float32))
    ends = np.array([[[0] * 3, [job.image.values - 1] * 3]])
    return job.codes(found(ends.astype(np.uint8 if job.image.values == 256 else np.uint16)))


def document(job: NegativeJob) -> contextlib.AbstractContextManager[None]:
    """Write document and table of the tone scale together with the negative: all or none."""
    target = job.target
    if target is None:
        return contextlib.nullcontext()
    from tonewright.files.blank import layout_and_table

    return layout_and_table(job.output, target, force=job.settings.force)


def _resampling(job: NegativeJob) -> pipeline.Resampling | None:
    if not job.size.resampled:
        return None
    luminance = scales.lightness_to_luminance(job.tones.lightness) / 100.0
    return pipeline.Resampling(job.size.width, job.size.height, luminance.astype(np.float32))


def description(job: NegativeJob) -> str:
    """Where a negative comes from, for its ImageDescription: the same input, the same words."""
    settings, size = job.settings, job.size
    mark = f" (sha256 {settings.curve_sha256})" if settings.curve_sha256 else ""
    time = setup_of(job.curve).printing_time
    facts = [
        f"curve {job.curve.name}{mark}",
        f"{again.PRINTING_TIME}{time.replace(';', ',')}" if time else "",
        f"values taken as {job.tones.encoding}",
        "mirrored" if settings.mirror else "not mirrored",
        f"turned {settings.size.rotate} degrees" if settings.size.rotate else "",
        "resampled from {} x {}".format(*job.pixels_before) if size.resampled else "",
        "transparency laid on white" if job.image.page.alpha else "",
        f"page {settings.image.page}" if settings.image.page else "",
        _sheet_words(settings.sheet),
        f"8 bits, spread by blue noise of seed {settings.seed}" if settings.depth == 8 else "",
        f"level 1 is the ink colour {ink_colour_text(job.colour)}" if job.colour else "",
        f"{65535 if settings.depth == 16 else 255} is clear film",
    ]
    words = "; ".join(fact for fact in facts if fact)
    return f"{again.NEGATIVE_OF} {job.image.path.name} by tonewright {__version__}; {words}"


def _sheet_words(sheet: SheetSettings) -> str:
    if not sheet.margin:
        return ""
    parts = [f"{sheet.margin:g} mm of {sheet.border or 'clear'} border"]
    parts += [word for word in ("marks", "tone_scale", "caption") if getattr(sheet, word)]
    return ", ".join(parts).replace("_", " ")


def report_of(job: NegativeJob, how: pipeline.WriteSettings) -> NegativeReport:
    """What was made, once it is written."""
    ends, coloured, target = how.ends, how.coloured, job.target
    assert ends is not None
    curve, settings, size = job.curve, job.settings, job.size
    black, white = (count / (size.width * size.height) for count in ends.pixels)
    step = honesty.largest_step(job.tones.lightness, curve)
    if isinstance(job.codes, LuminanceCodes):
        codes, lightness = job.codes.codes, np.linspace(0.0, 100.0, scales.FULL_CODE + 1)
        lost = honesty.lost_tones((black, white), lightness, code_table(lightness, curve))
    else:
        codes = job.codes
        lost = honesty.lost_tones((black, white), job.tones.lightness, codes)
    levels = curve.level_at(job.tones.lightness[[0, -1]])
    share = float(np.mean(coloured)) if coloured else None
    return NegativeReport(
        source=job.image.path,
        output=job.output,
        width=(job.sheet or size).width,
        height=(job.sheet or size).height,
        resolution=job.resolution,
        encoding=job.tones.encoding,
        curve=curve.name,
        printing_time=setup_of(curve).printing_time,
        curve_findings=tuple(f for f in getattr(curve, "findings", ()) if f.bears_on_print),
        mirrored=settings.mirror,
        level_black=float(levels[0]),
        level_white=float(levels[1]),
        findings=(*_findings(job, share, step), *lost),
        picture_mm=size.millimetres,
        resampled_from=job.pixels_before if size.resampled else None,
        depth=settings.depth,
        distinct_levels=distinct_tones(codes, settings.depth),
        ink_colour=None if job.colour is None else ink_colour_text(job.colour),
        black_share=black,
        white_share=white,
        largest_step_lightness=None if step is None else step[0],
        coloured_share=share,
        density_range=getattr(getattr(curve, "summary", None), "negative_density_range", None),
        sheet=settings.sheet,
        rule_mm=None if job.sheet is None else job.sheet.rule_mm,
        target=None if target is None else again.scale_document(job.output),
        table=None if target is None else again.scale_table(job.output),
    )


def _findings(
    job: NegativeJob, coloured_share: float | None, step: tuple[float, float] | None
) -> Iterator[Finding]:
    """What is to be said of image and sheet."""
    image, page = job.image, job.image.page
    for finding in image.findings:
        # once the print's size is known, that the file does not say it matters no more
        if not (isinstance(finding, ResolutionUnknown) and job.size.per_inch is not None):
            yield finding
    yield from job.tones.findings
    yield from size_findings(job.size, image.width)
    if coloured_share is not None and coloured_share >= _TELL_COLOUR:
        yield ColourDropped(coloured_share)
    steps = honesty.visible_steps(page.bits, step, colour=page.colour)
    if steps is not None:
        yield steps
    if job.sheet is not None and job.settings.sheet.caption:
        from tonewright.files.lettering import missing

        if job.sheet.cut:
            yield CaptionCut(job.sheet.cut)
        if letters := missing("".join(caption(image.path, job.curve, job.size, job.settings))):
            yield LettersNotDrawn(letters)

"""From an image file to a negative file: the whole job."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tonewright import __version__
from tonewright.errors import OptionError
from tonewright.files.icc import profile_lightness
from tonewright.files.images import (
    Progress,
    SourceImage,
    WriteSettings,
    open_image,
    refuse_same,
    write_mapped,
)
from tonewright.files.safe import make_folder, refuse_existing
from tonewright.files.tiff import Resolution
from tonewright.negative import ASSUMED_ENCODING, LevelCurve, code_table, encoding_lightness
from tonewright.scales import Array


@dataclass(frozen=True)
class NegativeSettings:
    """What the printer chose."""

    mirror: bool = True
    """Swap left and right, so that the printed side of the film lies on the coating."""
    encoding: str | None = None
    """What the values mean (`negative.encoding_lightness`); None: ask the image."""
    force: bool = False
    """Replace an existing output."""


@dataclass(frozen=True)
class NegativeReport:
    """What was made."""

    source: Path
    output: Path
    width: int
    height: int
    """Pixels, upright."""
    resolution: Resolution | None
    encoding: str
    """What the values were taken for: ``srgb``, ``gamma:2.2``, ``profile NAME`` …"""
    curve: str
    mirrored: bool
    level_black: float
    level_white: float
    """Ink levels (0 to 1) that image black and image white ask for."""
    warnings: tuple[str, ...]


def make_negative(
    source: str | os.PathLike[str],
    curve: LevelCurve,
    output: str | os.PathLike[str],
    settings: NegativeSettings | None = None,
    progress: Progress | None = None,
) -> NegativeReport:
    """Correct, invert and mirror a gray image into a 16-bit negative.

    Parameters
    ----------
    source:
        A gray TIFF of 16 (or 8) bits.
    curve:
        The correction curve.
    output:
        The negative to write, a ``.tif``; 65535 is clear film, resolution as in the source.
    settings:
        Mirroring, encoding, force; without them as `NegativeSettings` stands.
    progress:
        Called with the rows done and the rows in all.

    Raises
    ------
    FileError, ImageError, OptionError, DocumentError
        The output exists or cannot be written, the image is not fit, the encoding is unknown.
        Nothing is left under the output's name.
    """
    job = _prepare(Path(source), Path(output), curve, settings or NegativeSettings())
    return _make(job, progress)


def make_negatives(
    pairs: Sequence[tuple[Path, Path]],
    curve: LevelCurve,
    settings: NegativeSettings,
    progress: Progress | None = None,
) -> list[NegativeReport]:
    """Make several negatives: pairs of image and output, as from `output_names`.

    Every image is opened and every output checked before the first is written.  The folder of the
    outputs is made if it is missing.  ``progress`` and errors as with `make_negative`; what was
    finished before an error stays.
    """
    folder = pairs[0][1].parent
    made = len(pairs) > 1 and make_folder(folder)
    try:
        jobs = [_prepare(source, output, curve, settings) for source, output in pairs]
        return [_make(job, progress) for job in jobs]
    except BaseException:
        if made:
            with contextlib.suppress(OSError):  # not empty: something was finished
                folder.rmdir()
        raise


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
    image: SourceImage
    output: Path
    table: NDArray[np.uint16]
    settings: NegativeSettings
    report: NegativeReport


def _prepare(source: Path, output: Path, curve: LevelCurve, settings: NegativeSettings) -> _Job:
    """Everything short of writing, so that most errors come before any work."""
    refuse_same(source, output)
    refuse_existing(output, settings.force)
    image = open_image(source)
    encoding, lightness, warnings = image_lightness(image, settings.encoding)
    ends = curve.level_at(lightness[[0, -1]])
    report = NegativeReport(
        source=source,
        output=output,
        width=image.width,
        height=image.height,
        resolution=image.resolution,
        encoding=encoding,
        curve=curve.name,
        mirrored=settings.mirror,
        level_black=float(ends[0]),
        level_white=float(ends[1]),
        warnings=(*image.warnings, *warnings),
    )
    return _Job(image, output, code_table(lightness, curve), settings, report)


def _make(job: _Job, progress: Progress | None) -> NegativeReport:
    mirrored = "mirrored" if job.settings.mirror else "not mirrored"
    words = (
        f"Negative of {job.image.path.name} by tonewright {__version__};"
        f" curve {job.report.curve}; values taken as {job.report.encoding}; {mirrored};"
        " 65535 is clear film"
    )
    settings = WriteSettings(job.settings.mirror, words, job.settings.force)
    write_mapped(job.image, job.output, job.table, settings, progress)
    return job.report


def image_lightness(image: SourceImage, encoding: str | None) -> tuple[str, Array, tuple[str, ...]]:
    """What the values of an image mean.

    Parameters
    ----------
    image:
        From `open_image`.
    encoding:
        Said by the user, or None: the embedded profile is asked; without one, gray gamma 2.2 is
        assumed.

    Returns
    -------
    A name for it; image lightness (0 to 100) of every value from black to white, shape
    (image.values,); warnings.

    Raises
    ------
    OptionError
        The encoding is unknown.
    ImageError
        The profile is not for gray images or is broken.
    """
    if encoding is not None:
        lightness = encoding_lightness(encoding, image.values)
        aside = "its ICC profile was put aside for --encoding"
        return encoding.strip().lower(), lightness, (aside,) if image.profile else ()
    if image.profile is not None:
        name, lightness = profile_lightness(image.profile, image.values, str(image.path))
        return f"profile {name}", lightness, ()
    assumed = (
        "it has no ICC profile, so its values were taken for gray gamma 2.2; if they are not,"
        " say what they are with --encoding"
    )
    return ASSUMED_ENCODING, encoding_lightness(ASSUMED_ENCODING, image.values), (assumed,)

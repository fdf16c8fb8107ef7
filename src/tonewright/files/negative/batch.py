"""From image files to negative files: one of them or many, by a curve's file."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Generic, Literal, TypeVar

from tonewright.errors import OptionError, TonewrightError
from tonewright.files import safe
from tonewright.files.documents import open_curve
from tonewright.files.negative.again import scale_document, scale_table
from tonewright.files.negative.make import NegativeReport, check_settings, make_negative
from tonewright.files.negative.pipeline import Progress
from tonewright.files.negative.settings import Making, NegativeSettings, sheet_files
from tonewright.files.raster.bands import one_thread
from tonewright.frozen import dataclass
from tonewright.negative.tones import LevelCurve

if TYPE_CHECKING:
    from tonewright.files.negative.film import FilmReport
    from tonewright.files.negative.second import Second

Report = TypeVar("Report")
AT_ONCE = 2
"""Images of several that are worked on at a time."""


@dataclass(frozen=True)
class Failure:
    """An image of several that did not become a negative."""

    source: Path
    error: TonewrightError


@dataclass(frozen=True)
class Batch(Generic[Report]):
    """What became of the images, in their order."""

    reports: list[Report] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    films: list[FilmReport] = field(default_factory=list)
    """Where negatives were laid on film: its sheets."""


@dataclass(frozen=True)
class Step:
    """How far the work is."""

    image: Path
    """The one that is waited for."""
    number: int
    """Of the image, from 1."""
    of: int
    share: float = 0.0
    """Of this image, 0 to 1, where it is the only one."""


OnProgress = Callable[[Step], None]


@safe.one_call()
def make_negatives(
    images: Sequence[Path],
    curve_file: Path,
    output: Path,
    settings: NegativeSettings | None = None,
    on_progress: OnProgress | None = None,
    second: Second | None = None,
) -> Batch[NegativeReport]:
    """Make negatives from finished images: TIFF, PNG or JPEG files.

    With a film among the settings they are laid on it, all or none.  Else each is made by itself:
    of several images, one that cannot be used does not stop the others.  Settings that no image
    could be made with are an error at once.

    ``curve_file`` is a ``*.curve.json``; ``output`` the negative to write, or the folder for
    several, as `output_names` says (with a film as `film_names` says), which is made if it is
    missing.  A ``second`` process shares many images; one is started if they are worth it.

    Raises `FileError`, `ImageError`, `OptionError`, `DocumentError`: a file cannot be read or
    written, settings or curve cannot be used; the only image cannot.
    """
    film = None if settings is None else settings.film
    pairs = output_names(images, output) if film is None else _names_on_film(images, output)
    if len(pairs) > 1:
        for image in images:
            safe.remember_read(image)
        for _, made in pairs:  # in the threads and processes below this is not known
            for written in (made, scale_document(made), scale_table(made)):
                safe.refuse_read(written)
    taken = [*images, curve_file, output,
             *(beside(made) for _, made in pairs for beside in (scale_document, scale_table))]
    with sheet_files(settings or NegativeSettings(), taken) as chosen:
        curve = open_curve(curve_file, sources=False)
        chosen = replace(chosen, curve_sha256=curve.sha256)
        if film is not None:
            from tonewright.files.negative.film import make_films

            reports, films = make_films(pairs, curve.document, output, chosen,
                                        _rows_done(on_progress, output))
            return Batch(reports, films=films)
        if len(pairs) == 1:
            (image, made), = pairs
            return Batch([make_negative(image, curve.document, made, chosen,
                                        _rows_done(on_progress, image))])
        check_settings(curve.document, chosen)
        return _shared(pairs, curve.document, chosen, on_progress, second)


def _shared(
    pairs: Sequence[Making], curve: LevelCurve, settings: NegativeSettings,
    on_progress: OnProgress | None, second: Second | None,
) -> Batch[NegativeReport]:
    from tonewright.files.negative.second import second_for  # one image needs none

    with contextlib.ExitStack() as stack:
        other = second or second_for([image for image, _ in pairs])
        if other is not None and second is None:
            stack.enter_context(other)
        if other is not None:
            other.prepare(curve, settings)
        return _many(pairs, partial(_make, other, curve, settings), on_progress)


def output_names(
    images: Sequence[Path], output: Path, made: Literal["negative", "proof"] = "negative"
) -> list[Making]:
    """Each image with the negative, or the proof, to make of it.

    With one image ``output`` is a file (``.tif``; a proof's ``.png``); with several, or if it is a
    folder that exists, it is a folder, and they are called ``NAME-negative.tif`` there.

    Raises `OptionError`: the output is not what the number of images asks for, or two images would
    make one file.
    """
    form, *endings = _FORMS[made]
    if len(images) == 1 and not output.is_dir():
        safe.refuse_ending(output, endings, f"a {made} is a {form} file")
        return [Making(images[0], output)]
    if output.suffix.lower() in endings and not output.is_dir():
        raise OptionError(
            f"the output of {len(images)} images is {output}",
            "with several images the output is a folder",
            f"name a folder, for example {output.with_suffix('')}",
        )
    return _different(
        [Making(image, output / f"{image.stem}-{made}{endings[0]}") for image in images], made)


def _names_on_film(images: Sequence[Path], output: Path) -> list[Making]:
    from tonewright.files.negative.film import film_names  # most negatives have a file each

    folder, stems = film_names(output, 1)[0].parent, _numbered(images)
    pairs = [Making(image, folder / f"{stem}-negative.tif")
             for image, stem in zip(images, stems, strict=True)]
    return _different(pairs, "negative")


def _numbered(images: Sequence[Path]) -> list[str]:
    """The images' names; one that is named several times has its copies numbered."""
    return [image.stem if images.count(image) == 1 else
            f"{image.stem}-{images[:i].count(image) + 1}" for i, image in enumerate(images)]


def _different(pairs: list[Making], made: str) -> list[Making]:
    seen: dict[str, Path] = {}
    for image, path in pairs:
        other = seen.setdefault(path.name.casefold(), image)  # some disks ignore capitals
        if other is not image and other == image:
            raise OptionError(f"the image {image} is named twice",
                              f"a folder holds each {made} once", "name it once"
                              + (", or have both laid on one film" if made == "negative" else ""),
                              code=f"{made}_twice")
        if other is not image:
            raise OptionError(
                f"the images {other} and {image} would both become {path.name}",
                f"{made}s in one folder need different names",
                "make them one after the other, or rename one",
            )
    return pairs


_FORMS = {"negative": ("TIFF", ".tif", ".tiff"), "proof": ("PNG", ".png")}


def _rows_done(on_progress: OnProgress | None, file: Path) -> Progress | None:
    """The progress of one file, by its rows."""
    if on_progress is None:
        return None
    return lambda done, of: on_progress(Step(file, 1, 1, done / of))


def _many(
    pairs: Sequence[Making],
    make: Callable[[Path, Path], NegativeReport | Failure],
    on_progress: OnProgress | None,
) -> Batch[NegativeReport]:
    """What becomes of the images.

    Two at a time, each in one thread: that keeps two cores busier than two threads for one image,
    which wait for each other at its start and at its end.
    """
    from concurrent.futures import ThreadPoolExecutor

    batch, pool = Batch[NegativeReport](), ThreadPoolExecutor(AT_ONCE)
    with safe.filled_folder(pairs[0][1].parent), contextlib.ExitStack() as stack:
        stack.callback(pool.shutdown, cancel_futures=True)
        results = pool.map(make, *zip(*pairs, strict=True))
        for number, (source, _) in enumerate(pairs, 1):
            if on_progress is not None:
                on_progress(Step(source, number, len(pairs)))
            found = next(results)
            if isinstance(found, Failure):
                batch.failures.append(found)
            else:
                batch.reports.append(found)
    return batch


def _make(
    other: Second | None, curve: LevelCurve, settings: NegativeSettings, source: Path,
    output: Path,
) -> NegativeReport | Failure:
    try:
        found = None if other is None else other.make(source, output)
        if found is not None:
            return found
        with one_thread():
            return make_negative(source, curve, output, settings)
    except TonewrightError as error:
        return Failure(source, error)

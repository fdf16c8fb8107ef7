"""Several images as negatives on as few sheets of film as hold them.

The same pipeline as for one negative makes the bands of each; here they are laid side by side, a
few rows of the film at a time, so that memory does not grow with the film.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

from tonewright import __version__
from tonewright.errors import OptionError, counted
from tonewright.files.blank import refuse_beside
from tonewright.files.lettering import text_mask
from tonewright.files.negative import make, pipeline
from tonewright.files.negative.again import NEGATIVE_OF, ON_FILM, refuse_again
from tonewright.files.negative.settings import Making, NegativeSettings
from tonewright.files.raster import bands
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Band, Resolution
from tonewright.files.raster.tiff_writer import Picture
from tonewright.files.safe import filled_folder, refuse_ending, refuse_existing, whole_file
from tonewright.frozen import dataclass
from tonewright.negative.film import Bed, Film, FilmSheet, Place, fit_error, lay_out
from tonewright.negative.ink import Ink
from tonewright.negative.size import check_pixels
from tonewright.negative.tones import LevelCurve
from tonewright.scales import MM_PER_INCH
from tonewright.target.pen import RULE


@dataclass(frozen=True)
class FilmPlace:
    """A negative on its film."""

    source: Path
    title: str | None
    """What its caption calls it, where the picture was named several times."""
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    """From the file's top left corner, as it lies."""
    turned: bool
    """By a quarter clockwise."""


@dataclass(frozen=True)
class FilmReport:
    """A sheet of film that was written."""

    output: Path
    film: Film
    width: int
    height: int
    """Pixels."""
    resolution: Resolution
    rule_mm: float | None
    """Length of its rule; None: no room."""
    places: tuple[FilmPlace, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.resolution.millimetres(self.width, self.height)


def film_names(output: Path, count: int) -> list[Path]:
    """The files of so many sheets of film: NAME.tif, or NAME-1.tif, NAME-2.tif, …; in a folder
    they are called film.  Raises `OptionError` for a name that is neither."""
    if output.is_dir() or not output.suffix:
        output = output / "film.tif"
    refuse_ending(output, (".tif", ".tiff"), "a film is a TIFF file, or several in a folder")
    if count == 1:
        return [output]
    return [output.with_stem(f"{output.stem}-{number}") for number in range(1, count + 1)]


def make_films(
    pairs: Sequence[Making], curve: LevelCurve, output: Path,
    settings: NegativeSettings, progress: pipeline.Progress | None = None,
) -> tuple[list[make.NegativeReport], list[FilmReport]]:
    """Make negatives and lay them on film; all sheets are written, or none.

    ``pairs`` are each image, and the name that its negative would have by itself: after it the
    document and the table of its tone scale are called.  ``output`` is the film to write, a
    ``.tif``, or a folder, which is made if it is missing.  ``progress`` is called for each sheet.

    Raises `FileError`, `ImageError`, `OptionError`, `DocumentError` as for one negative, for
    negatives of several resolutions, and for one that is larger than the film.
    """
    assert settings.film is not None
    colour = make.colour_for(curve, settings)
    in_folder = film_names(output, 1)[0] != output
    with ExitStack() as stack:
        jobs = []
        for source, made in pairs:
            image = stack.enter_context(open_image(source, settings.image))
            if not settings.anyway:
                refuse_again(image)
            with _naming(source):
                titled = replace(settings, title=_title(source, made))
                jobs.append(make.prepared(image, made, curve, titled, colour))
        bed = Bed(settings.film, float(_shared_ppi(jobs)) / MM_PER_INCH, mirrored=settings.mirror)
        films = _laid_out(jobs, bed)
        names = film_names(output, len(films))
        if in_folder:
            stack.enter_context(filled_folder(output))
        for name in names:
            refuse_existing(name, settings.force)
        for job in jobs if settings.sheet.tone_scale else ():
            refuse_beside(job.output, settings.force)
        for job in jobs:
            for name in names:
                pipeline.refuse_same(job.image.path, name)
        return _written(jobs, bed, list(zip(names, films, strict=True)), progress)


def _title(source: Path, made: Path) -> str | None:
    """The number first, of one of several negatives of a picture: a long name loses its end."""
    number = made.stem.removeprefix(source.stem).removesuffix("-negative").lstrip("-")
    return f"{number} {source.stem}" if number else None


@contextmanager
def _naming(image: Path) -> Iterator[None]:
    """What is wrong with one image is said with its name."""
    try:
        yield
    except OptionError as error:
        if str(image) in error.given:
            raise
        raise OptionError(f"the image {image}: {error.given}", error.rule, error.way_out,
                          code=error.code, **error.values) from error


def _shared_ppi(jobs: Sequence[make.NegativeJob]) -> float:
    """Pixels to the inch of all negatives."""
    found: dict[float, Path] = {}
    for job in jobs:
        across, down = job.size.per_inch or (None, None)
        if across is None or across != down:
            said = "does not say its size" if across is None else "has pixels that are not square"
            raise OptionError(
                f"the image {job.image.path} {said}",
                "negatives on one film have one size of pixel",
                "have the pictures resampled, and say how wide each is: for example to 360 pixels"
                " to the inch", code="pixels_not_square" if across else "picture_size_unknown")
        found.setdefault(float(across), job.image.path)
    if len(found) > 1:
        said = ", ".join(f"{ppi:.4g} ({path.name})" for ppi, path in list(found.items())[:4])
        raise OptionError(f"the negatives have different pixels to the inch: {said}",
                          "negatives on one film have one resolution",
                          "have them resampled to your printer's", code="film_resolution")
    return next(iter(found))


def _laid_out(jobs: Sequence[make.NegativeJob], bed: Bed) -> list[list[Place]]:
    sizes = [(whole.width, whole.height) for whole in (job.sheet or job.size for job in jobs)]
    try:
        films = lay_out(sizes, bed)
    except ValueError as error:
        number = error.args[0]
        raise fit_error(jobs[number].image.path, sizes[number], bed) from None
    for places in films:
        check_pixels(bed.width, bed.long(places))
    return films


def _written(
    jobs: Sequence[make.NegativeJob], bed: Bed, films: Sequence[tuple[Path, list[Place]]],
    progress: pipeline.Progress | None,
) -> tuple[list[make.NegativeReport], list[FilmReport]]:
    made: dict[int, make.NegativeReport] = {}
    sheets = []
    with ExitStack() as files:
        for job in jobs:
            files.enter_context(make.document(job))
        for number, (name, places) in enumerate(films, 1):
            temp = files.enter_context(whole_file(name, force=jobs[0].settings.force))
            sheet = FilmSheet(bed, places, _facts(jobs[0], number, len(films)), text_mask)
            sheets.append(_write(temp, jobs, sheet, progress, made, name))
    return [made[i] for i in range(len(jobs))], sheets


def _facts(job: make.NegativeJob, number: int, count: int) -> list[str]:
    """What is written on a film beside its rule."""
    time = make.setup_of(job.curve).printing_time
    facts = [job.curve.name, f"print {time}" if time else "", job.settings.date,
             f"film {number} of {count}" if count > 1 else ""]
    return [fact for fact in facts if fact]


def _write(
    temp: Path, jobs: Sequence[make.NegativeJob], sheet: FilmSheet,
    progress: pipeline.Progress | None, made: dict[int, make.NegativeReport], name: Path,
) -> FilmReport:
    """Write one sheet of film; what is found of its negatives goes to ``made``."""
    first, bed = jobs[sheet.places[0].piece], sheet.bed
    settings, resolution = first.settings, first.resolution
    assert resolution is not None  # `_shared_ppi` has seen to that
    ink = Ink(settings.depth, first.colour, settings.seed)
    hows = {place.piece: make.write_settings(jobs[place.piece]) for place in sheet.places}
    with ExitStack() as stack:
        pieces = {place: pipeline.coded(
            jobs[place.piece].image, jobs[place.piece].codes, hows[place.piece],
            turned=place.turned, folder=name.parent, stack=stack) for place in sheet.places}
        rows = pipeline.inked(_film_jobs(sheet, pieces), ink)
        words = "; ".join([f"{NEGATIVE_OF} {counted(len(hows), 'image')} on film by tonewright"
                           f" {__version__}", *(
                               f"{hows[p.piece].description}; {_said_size(p, bed)}{ON_FILM}"
                               for p in sheet.places)])
        form = pipeline.form_of(ink, deflate=settings.deflate)
        picture = Picture(sheet.width, sheet.height, resolution, words, form)
        pipeline.write_rows(temp, picture, rows, _AHEAD, progress)
    for piece, how in hows.items():
        report = make.report_of(jobs[piece], how)
        made[piece] = replace(report, output=name)
    return FilmReport(
        name, bed.film, sheet.width, sheet.height, resolution, RULE if bed.has_rule else None,
        tuple(_in_mm(place, jobs[place.piece], bed) for place in sheet.places))


def _said_size(place: Place, bed: Bed) -> str:
    """Of a negative as it is cut out and turned back."""
    sides = place.width / bed.per_mm, place.height / bed.per_mm
    width, height = sides[::-1] if place.turned else sides
    return f"{width:.1f} x {height:.1f}"


def _in_mm(place: Place, job: make.NegativeJob, bed: Bed) -> FilmPlace:
    x, y, width, height = (round(pixels / bed.per_mm, 2) for pixels in (
        place.x, place.y, place.width, place.height))
    return FilmPlace(job.image.path, job.settings.title, x, y, width, height, place.turned)


_AHEAD = 2


def _film_jobs(
    sheet: FilmSheet, pieces: dict[Place, Generator[Band, None, None]]
) -> Iterator[bands.Job]:
    """Bands of the film, top to bottom; the rows of the negatives are fetched as they are due."""
    windows = {place: bands.Window(rows) for place, rows in pieces.items()}
    for first, end in bands.spans(sheet.height, max(1, bands.BAND_BYTES // (2 * sheet.width))):
        parts = []
        for place, window in [*windows.items()]:
            top, bottom = max(first, place.y), min(end, place.y + place.height)
            if top < bottom:
                rows = window.rows(top - place.y, bottom - place.y)
                parts.append((top - first, place.x, rows))
            if end >= place.y + place.height:
                # its threads and what they hold go before the next negative begins
                pieces.pop(place).close()
                del windows[place]
        yield bands.Job(end - first, partial(_composed, sheet, (first, end), parts))


def _composed(
    sheet: FilmSheet, span: tuple[int, int], parts: Sequence[tuple[int, int, Band]]
) -> Band:
    band = sheet.ground(span[1] - span[0])
    sheet.paint(band, span[0])
    for top, left, codes in parts:
        band[top : top + len(codes), left : left + codes.shape[1]] = codes
    return band


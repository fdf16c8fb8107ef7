"""What stands on the pages for the darkroom, from files: everything named is opened once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from pathlib import Path

from tonewright.check.document import Check
from tonewright.check.make import curve_time
from tonewright.curve.document import Curve
from tonewright.errors import OptionError
from tonewright.files.documents import Opened, open_curve, open_one_of
from tonewright.files.negative.again import laid_on_film, origin_of
from tonewright.files.raster.open import open_image
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.files.safe import check_outputs, one_call, refuse_ending
from tonewright.files.shelf import FOLLOWED, SORTS
from tonewright.frozen import dataclass
from tonewright.negative.coating import Coating
from tonewright.record.provenance import short_id
from tonewright.record.setup import PAPER, other_light
from tonewright.record.times import PrintingTime, ladder, parse_time, ratio
from tonewright.strip.process import Process

MOST_NEGATIVES = 200
_BESIDE = {form: SORTS[form] for form in FOLLOWED}
"""What stands on a page beside a curve."""


@dataclass(frozen=True)
class ReportFiles:
    """A curve, and what belongs to it: its strip's process, checks of its prints."""

    curve: Path
    others: tuple[Path, ...]
    output: Path
    force: bool = False


@dataclass(frozen=True)
class OfCurve:
    """What stands on every page."""

    curve: Curve
    sha256: str
    """Of the curve's file, in hex."""
    time: PrintingTime | None
    """What to print for; None: neither the user nor the curve nor a strip says."""

    @property
    def short_id(self) -> str:
        """Of the curve's file, as a label has it."""
        return short_id(self.sha256)


@dataclass(frozen=True)
class Report(OfCurve):
    """What stands on a page about a curve."""

    less: PrintingTime | None
    """One step of the tablet less; without a strip a third of a stop."""
    process: Process | None
    """The strip's: the curve's own, or the one that was named."""
    checks: tuple[Check, ...]
    """Of prints through the curve, the newest first."""


@one_call()
def gather_report(wanted: ReportFiles) -> Report:
    """What a page about a curve shows.

    Raises `FileError`, `DocumentError`: a file cannot be read, or is no curve, process or check;
    the output may not be written. `OptionError`: the process is of another paper or chemistry,
    there are two, or a check is of another curve.
    """
    check_page(wanted.output, [wanted.curve, *wanted.others], wanted.force)
    opened = open_curve(wanted.curve)
    curve, own = opened.document, None
    if curve.recipe is not None:
        own = curve.recipe.own_process
    others = [open_one_of(path, _BESIDE, whole=_BESIDE)[1] for path in wanted.others]
    process = _process(curve, [o for o in others if isinstance(o.document, Process)]) or own
    checks = [_of_curve(o, opened) for o in others if not isinstance(o.document, Process)]
    checks.sort(key=lambda check: check.date or "", reverse=True)
    time = curve_time(curve)
    if process is not None and time is not None:
        ratio(time, process.reference_time)  # minutes and units are not mixed
    if time is None and process is not None and not process.contradicted \
            and process.summary.next_time is None:
        time = process.base_time.on_timer()
    return Report(curve, opened.sha256, time, _less(time, process), process, tuple(checks))


def _less(time: PrintingTime | None, process: Process | None) -> PrintingTime | None:
    if time is None:
        return None
    if process is None:
        return ladder(time)[2][1]
    if time == process.base_time.on_timer():
        time = process.base_time  # rounded once
    return process.one_step_less(time).on_timer()


def _process(curve: Curve, named: Sequence[Opened[Process]]) -> Process | None:
    if len(named) > 1:
        raise OptionError(f"the strips of {named[0].name} and {named[1].name} are named",
                          "a page is for one curve, and one strip", "name one of them")
    if not named:
        return None
    process = named[0].document
    for entry, ours, theirs in other_light(curve.setup, process.setup, PAPER):
        raise OptionError(f"the strip of {named[0].name} has the {entry} {theirs}, the curve"
                          f" {ours}", "a page shows a curve and the strip of the same paper and"
                          " chemistry", "name the strip that belongs to the curve")
    return process


def _of_curve(check: Opened[Check], curve: Opened[Curve]) -> Check:
    found = check.document.curve
    if found.sha256 != curve.sha256:
        raise OptionError(
            f"{check.name} is a check of {found.name} ({found.short_id}), and {curve.name} is"
            f" {short_id(curve.sha256)}", "a page shows the checks of its own curve",
            "name checks of this curve, or that curve")
    return check.document


def check_page(output: Path, inputs: Sequence[Path], force: bool) -> None:
    """Refuse, before any work, a page that may not be written."""
    refuse_ending(output, (".html", ".htm"), "a page is an HTML file")
    check_outputs(output, None, inputs, force)


@dataclass(frozen=True)
class WorksheetFiles:
    """A curve, the negatives to print through it, and how the user coats."""

    curve: Path
    negatives: tuple[Path, ...]
    output: Path
    time: PrintingTime | None = None
    """What to print for; None: what the curve says."""
    coating: Coating = field(default_factory=Coating)
    force: bool = False


@dataclass(frozen=True)
class SheetToPrint:
    """One negative, and the sheet to coat for it; None where it is not known."""

    name: str
    size_mm: tuple[float, float] | None
    coated_mm: tuple[float, float] | None
    ml: float | None
    """Sensitiser."""
    time: str | None
    """As a timer is set, or as the negative says it."""
    other_curve: str | None
    """Name of another curve that the negative was made through; None: it was this one."""


@dataclass(frozen=True)
class Worksheet(OfCurve):
    """What stands on a page for the darkroom."""

    ladder: tuple[tuple[int, PrintingTime], ...]
    """Thirds of a stop from the time, and times; empty without a time."""
    sheets: tuple[SheetToPrint, ...]
    coating: Coating


@one_call()
def gather_worksheet(wanted: WorksheetFiles) -> Worksheet:
    """What a page for the darkroom shows.

    Raises `FileError`, `DocumentError`, `ImageError`: a file cannot be read; the output may not be
    written. `OptionError`: an image is no negative made here, a time is in another unit than the
    curve's.
    """
    check_page(wanted.output, [wanted.curve, *wanted.negatives], wanted.force)
    if len(wanted.negatives) > MOST_NEGATIVES:
        raise OptionError(f"{len(wanted.negatives)} negatives are named",
                          f"a worksheet is for {MOST_NEGATIVES} at most", "make several")
    opened = open_curve(wanted.curve)
    own, reciprocity = curve_time(opened.document), 1.0
    if own is not None and wanted.time is not None:
        ratio(wanted.time, own)
    if opened.document.recipe is not None:
        reciprocity = opened.document.recipe.own_process.summary.reciprocity
    time = wanted.time or own
    sheets = tuple(sheet for path in wanted.negatives
                   for sheet in _sheets(path, opened, time, wanted))
    steps = () if time is None else ladder(time, reciprocity)
    return Worksheet(opened.document, opened.sha256, time, steps, sheets, wanted.coating)


def _sheets(
    path: Path, curve: Opened[Curve], time: PrintingTime | None, wanted: WorksheetFiles
) -> list[SheetToPrint]:
    """The sheet to coat for a negative, or for each of those on a film."""
    with open_image(path, OpenOptions()) as image:
        origin = origin_of(image)
        negatives: list[tuple[str, tuple[float, float] | None]] = [
            (f"{path.name}: {name}", size) for name, size in laid_on_film(image)]
        if not negatives:
            negatives = [(path.name, _size_mm(image))]
    if origin is None:
        raise OptionError(f"{path} does not say that it is a negative",
                          "a worksheet is for negatives that tonewright made",
                          "name the negative as it was written, not the picture")
    own = origin.is_through(curve.sha256, curve.document.name)
    said = str(time) if own and time is not None else _as_said(origin.time)
    return [SheetToPrint(
        name, size, size and wanted.coating.coated_mm(size), size and wanted.coating.ml_of(size),
        said, None if own else origin.curve) for name, size in negatives]


def _as_said(text: str | None) -> str | None:
    """A time as it is read aloud; what is no time, as it was noted."""
    try:
        return text and str(parse_time(text))
    except OptionError:
        return text


def _size_mm(image: SourceImage) -> tuple[float, float] | None:
    found = image.resolution
    if found is None or found.per_inch is None:
        return None
    return found.millimetres(image.width, image.height)

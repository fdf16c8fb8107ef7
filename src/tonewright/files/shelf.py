"""The documents of a folder, and of files that are named one by one: shelved, followed over time,
and curves side by side."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from tonewright.check.document import Check, Checked
from tonewright.curve.document import Ancestor, Curve, Summary
from tonewright.errors import DocumentError, FileError, OptionError, TonewrightError
from tonewright.files.documents import Opened, Sort, open_one_of, read_curve
from tonewright.files.opening import reading_error, refuse_no_folder
from tonewright.files.safe import check_outputs
from tonewright.frozen import dataclass
from tonewright.record.dates import parse_date
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.scales import density_to_lightness
from tonewright.scan.scanner import ScannerResponse
from tonewright.shelf.arrange import (
    DUE_AFTER_DAYS,
    LeftOut,
    Relative,
    Shelf,
    Shelved,
    arrange,
    day_of,
    due_limit,
)
from tonewright.shelf.drift import Dated, Drift, find_drift
from tonewright.shelf.side_by_side import Compared, compare_curves
from tonewright.strip.process import Process, StripSummary
from tonewright.target.document import Target

FEW = 200
"""Up to so many documents are read to the last number; that takes a second or two."""


@dataclass(frozen=True)
class _CurveHead:
    name: str
    setup: Setup
    summary: Summary
    ancestor: Ancestor | None


@dataclass(frozen=True)
class _ProcessHead:
    name: str
    setup: Setup
    summary: StripSummary
    reference_time: PrintingTime


@dataclass(frozen=True)
class _CheckHead:
    name: str
    setup: Setup
    date: str | None
    curve: Checked
    printing_time: PrintingTime | None
    passes: bool
    difference_lightness_rms: float


@dataclass(frozen=True)
class _SheetHead:
    """Of a target or a scanner's response."""

    name: str
    date: str


SORTS = {sort.kind.form.name: sort for sort in (
    Sort(Curve, _CurveHead), Sort(Process, _ProcessHead), Sort(Check, _CheckHead),
    Sort(Target, _SheetHead), Sort(ScannerResponse, _SheetHead))}


def read_shelf(
    folder: Path, *, today: date | None = None, due_after_days: int = DUE_AFTER_DAYS
) -> Shelf:
    """Every document in a folder and in those below it, by setup; see `arrange`.

    Of more than `FEW` documents only the heads are read.  Files that are damaged or foreign are
    named.

    Raises `FileError`: there is no such folder, or no document in it; `OptionError` as `due_limit`.
    """
    refuse_no_folder(folder, folder, "a shelf is a folder of documents",
                     "name the folder that they are in")
    today = today or date.today()
    limit = due_limit(today, due_after_days)
    files, left_out = list_files([folder])
    whole = SORTS if len(files) <= FEW else ()
    found = []
    for path, read in open_all(files, left_out, folder, whole):
        found.append(_SHELVED[read[0]](_within(path, folder), read[1], today))
    if not found:
        raise nothing_in(folder, left_out)
    return Shelf(arrange(found, limit), tuple(left_out), bool(whole))


def nothing_in(folder: Path, left_out: list[LeftOut]) -> FileError:
    """The error of a folder without a document."""
    why = f" ({left_out[0].file}: {left_out[0].given})" if left_out else ""
    return FileError(f"there is no document in {folder}{why}",
                     "documents are files such as NAME.curve.json, NAME.process.json and"
                     " NAME.check.json", "name the folder that they are in")


def list_files(paths: Iterable[Path]) -> tuple[list[Path], list[LeftOut]]:
    """The files that are named, and the JSON files of folders and of those below them, once each
    and in alphabetical order; and folders that cannot be read.

    Hidden files and folders are left alone.
    """
    found: dict[Path, None] = {}
    left_out: list[LeftOut] = []

    def unreadable(error: OSError) -> None:
        fault = reading_error(error.filename, error, "folders are looked through")
        left_out.append(LeftOut(str(error.filename), fault.given, fault.rule))

    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        for where, folders, names in os.walk(path, onerror=unreadable):
            folders[:] = sorted(f for f in folders if not f.startswith("."))
            found |= {Path(where, n): None for n in sorted(names)
                      if n.lower().endswith(".json") and not n.startswith(".")}
    return list(found), left_out


def open_all(
    files: Iterable[Path], left_out: list[LeftOut], folder: Path | None,
    whole: Collection[str] = (),
) -> Iterator[tuple[Path, tuple[str, Opened[Any]]]]:
    """Each file with its format and document, or with its head unless its format is one of those
    to be read ``whole``; what cannot be read is added to ``left_out``."""
    for path in files:
        try:
            yield path, open_one_of(path, SORTS, whole)
        except TonewrightError as error:
            given = error.given.removeprefix(f"{path.name}: ").removeprefix(f"{path.name} is ")
            left_out.append(LeftOut(_within(path, folder), given, error.rule))


def _within(path: Path, folder: Path | None) -> str:
    if folder is None or folder == Path():
        return path.as_posix()
    return path.as_posix()[len(folder.as_posix()):].lstrip("/")


def _curve(file: str, read: Opened[Any], today: date) -> Shelved:
    curve: _CurveHead = read.document
    return Shelved(
        file=file, sha256=read.sha256, kind="curve", name=curve.name, setup=curve.setup,
        **_dated(curve.setup.date, today), printing_time=curve.setup.printing_time,
        density_range=curve.summary.negative_density_range,
        black_lightness=curve.summary.black_lightness,
        white_lightness=curve.summary.white_lightness,
        error_lightness=curve.summary.band_halfwidth_mean,
        of=Relative(curve.ancestor.name, curve.ancestor.sha256) if curve.ancestor else None)


def _process(file: str, read: Opened[Any], today: date) -> Shelved:
    process: _ProcessHead = read.document
    time = PrintingTime(process.summary.base_printing_time, process.reference_time.unit)
    return Shelved(
        file=file, sha256=read.sha256, kind="process", name=process.name, setup=process.setup,
        **_dated(process.setup.date, today), printing_time=str(time.on_timer()),
        log_exposure_range=process.summary.log_exposure_range,
        black_lightness=_lightness(process.summary.max_black_density)
        if process.summary.reached_black else None,
        white_lightness=_lightness(process.summary.paper_white_density))


def _lightness(density: float) -> float:
    return float(density_to_lightness(density))


def _check(file: str, read: Opened[Any], today: date) -> Shelved:
    check: _CheckHead = read.document
    return Shelved(
        file=file, sha256=read.sha256, kind="check", name=check.name, setup=check.setup,
        **_dated(check.date or check.setup.date, today),
        printing_time=str(check.printing_time) if check.printing_time else None,
        error_lightness=check.difference_lightness_rms, passes=check.passes,
        of=Relative(check.curve.name, check.curve.sha256))


def _sheet(kind: Any, file: str, read: Opened[Any], today: date) -> Shelved:
    sheet: _SheetHead = read.document
    return Shelved(file=file, sha256=read.sha256, kind=kind, name=sheet.name,
                   **_dated(sheet.date or None, today))


def _dated(text: str | None, today: date) -> dict[str, Any]:
    return {"date": day_of(text, today), "date_said": text}


_SHELVED: dict[str, Callable[[str, Opened[Any], date], Shelved]] = {
    Curve.form.name: _curve, Process.form.name: _process, Check.form.name: _check,
    Target.form.name: partial(_sheet, "target"),
    ScannerResponse.form.name: partial(_sheet, "scanner"),
}


# Followed over time

FOLLOWED = (Process.form.name, Check.form.name)


@dataclass(frozen=True)
class FoundDrift:
    """What was found, and the files that could not be used."""

    drift: Drift
    left_out: tuple[LeftOut, ...]


def read_drift(
    paths: Sequence[Path], *, today: date | None = None, since: str | None = None,
    plot: Path | None = None, force: bool = False,
) -> FoundDrift:
    """Follow the strips and checks of files and folders; see `find_drift`.

    Other documents of a folder are passed over.  Files that cannot be used are named.  ``plot``
    is where a picture is to go, which is checked before anything is read.

    Raises `FileError`, `OptionError`: no file is named or a name leads nowhere, nothing in a
    folder, a date that is none, and as `find_drift`.
    """
    if not paths:
        raise OptionError("no strip, check or folder is named", "a drift is found in several",
                          "name files such as NAME.process.json and NAME.check.json, or the folder"
                          " that they are in")
    missing = next((p for p in paths if not p.exists()), None)
    if missing is not None:
        raise FileError(f"there is no file or folder {missing}",
                        "strips and checks are files, or in a folder", "check its name")
    today = today or date.today()
    first = None if since is None else parse_date(since, code="since_day")
    check_outputs(None, plot, [p for p in paths if p.is_file()], force)
    files, left_out = list_files(paths)
    found, named = [], set(paths)
    for path, (form, read) in open_all(files, left_out, None, FOLLOWED):
        if form in FOLLOWED:
            found.append(Dated(str(path), read.sha256, read.document))
        elif path in named:
            left_out.append(LeftOut(str(path), f"this is a {SORTS[form].kind.form.what}",
                                    "strips and checks are followed"))
    if not found and not files:
        raise nothing_in(paths[0], left_out)
    try:
        return FoundDrift(find_drift(found, today, first), tuple(left_out))
    except OptionError as error:
        if not left_out:
            raise
        bad = left_out[0]
        raise DocumentError(
            f"{error.given}; {bad.file}: {bad.given}" if found else f"{bad.file}: {bad.given}",
            error.rule, f"{error.way_out}; each is made from the readings of one strip or one"
            " print", code="document_made_from") from error


# Side by side


def read_side_by_side(
    paths: Sequence[Path], plot: Path | None = None, *, force: bool = False
) -> tuple[list[Curve], tuple[Compared, ...]]:
    """Curves from their files, and each after the first compared with it.

    ``plot`` is where a picture is to go, which is checked before anything is read.

    Raises `FileError`, `DocumentError`, `OptionError`: a file cannot be read or is no curve, and as
    `compare_curves`.
    """
    check_outputs(None, plot, paths, force)
    curves = [read_curve(path) for path in paths]
    return curves, compare_curves(curves)

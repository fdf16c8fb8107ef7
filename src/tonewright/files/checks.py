"""Prints checked against their curve, and curves refined by them, from files: everything named is
opened once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field, replace
from datetime import date
from pathlib import Path

import numpy as np

from tonewright.check.aims import (
    PrintedTones,
    other_scales,
    printed_tones,
    refuse_own,
    with_levels,
    without_tones,
)
from tonewright.check.document import Check
from tonewright.check.make import PrintRequest, check_print
from tonewright.check.refine import refine_curve
from tonewright.curve.document import Curve
from tonewright.curve.renew import Renewed
from tonewright.errors import OptionError, ReadingsError
from tonewright.files.curves import ReadingFiles, SetupFiles
from tonewright.files.documents import document_text, open_curve
from tonewright.files.safe import check_outputs, one_call, write_together
from tonewright.files.tables import read_table
from tonewright.files.targets import read_target
from tonewright.frozen import dataclass
from tonewright.measured import columns
from tonewright.measured.columns import Table
from tonewright.measured.readings import ReadingOptions, Readings, combine, readings_from_table
from tonewright.record.provenance import document_name
from tonewright.record.times import PrintingTime
from tonewright.scales import Array
from tonewright.scan.instrument import ListOrder, map_list
from tonewright.target.document import Target

_PLAIN = (("image_lightness", "density"), ("density",))
"""What the columns of a print's readings without names may be."""


@dataclass(frozen=True)
class PrintFiles:
    """A print's readings and its curve: files, and what is said beside them (see
    `PrintRequest`)."""

    curve: Path
    readings: ReadingFiles
    output: Path | None = None
    plot: Path | None = None
    """Where the picture goes that the caller draws of what was found."""
    target: Path | None = None
    """The layout of the tone scale or the sheet: what a list without tones is read with."""
    changes: SetupFiles = field(default_factory=SetupFiles)
    time: PrintingTime | None = None
    left_out: tuple[str, ...] = ()
    force: bool = False
    order: ListOrder = field(default_factory=ListOrder)
    """How a list without tones goes over the ``target``."""

    def read(self, today: date | None, *, aims_needed: bool) -> PrintRequest:
        """Everything that is named, opened once; the output may be written."""
        inputs = [self.curve, *self.readings.paths, self.target, self.changes.file]
        check_outputs(self.output, self.plot, inputs, self.force,
                      ".check.json" if aims_needed else ".curve.json")
        opened, changes = open_curve(self.curve), self.changes.read(today)
        target = None if self.target is None else read_target(self.target)
        tones = read_tones(opened.document, self.readings, target, self.order,
                           aims_needed=aims_needed)
        name = document_name((self.output or self.readings.paths[0]).name)
        return PrintRequest(opened.document, opened.sha256, name, tones, changes, self.time,
                            self.left_out, today or date.today())


@one_call()
def check_files(
    wanted: PrintFiles, before_writing: Callable[[Check], bytes | None] = lambda _: None,
    today: date | None = None,
) -> Check:
    """Check a print from files, and write the check if an output is named.

    ``before_writing`` is as in `fit_files`; ``today`` is the last day that a print may be of,
    None: the computer's date.

    Raises `FileError`, `ReadingsError`, `DocumentError`: a file cannot be read, holds something
    else, or the output cannot be written; `OptionError` as `check_print`, and for a check
    that is to be kept without the print's date.
    """
    asked = wanted.read(today, aims_needed=True)
    if wanted.output is not None and asked.changes.date is None:
        raise OptionError("the date of the print is not known",
                          "a check that is kept is compared with others by its date",
                          "name the day, as 2026-03-31", code="print_date")
    check = check_print(asked)
    write_together([(wanted.output, document_text(check)), (wanted.plot, before_writing(check))],
                   force=wanted.force)
    return check


@one_call()
def refine_files(
    wanted: PrintFiles, before_writing: Callable[[Renewed], bytes | None] = lambda _: None,
    today: date | None = None,
) -> Renewed:
    """Refine a curve from files, and write the new one if an output is named.

    ``before_writing`` and ``today`` are as in `check_files`.

    Raises `FileError`, `ReadingsError`, `DocumentError` as `check_files`; `OptionError`, `FitError`
    as `refine_curve`.
    """
    refined = refine_curve(wanted.read(today, aims_needed=False))
    write_together([(wanted.output, document_text(refined.curve)),
                    (wanted.plot, before_writing(refined))], force=wanted.force)
    return refined


def read_tones(
    curve: Curve, files: ReadingFiles, target: Target | None = None,
    order: ListOrder | None = None, *, aims_needed: bool = False,
) -> PrintedTones:
    """The readings of one or several prints made through a curve, each with its aim.

    A list without tones takes them from the ``target``, which it goes over in this ``order``.
    Without either, they are what the curve promises at the ink levels, unless ``aims_needed``.

    Raises `FileError` as `read_table`; `ReadingsError` for readings marked as wet, without tones,
    or that the curve was made from, and as `readings_from_table`, `combine` and `map_list`;
    `OptionError` as `printed_tones`.
    """
    if not files.paths:
        raise OptionError("no readings were named", "a print is checked by its readings",
                          "name a file of readings", code="no_print_readings")
    options = replace(files.options, scale=files.options.scale or curve.scale)
    parts = [_read(path, curve, options, target, order, aims_needed) for path in files.paths]
    if len(parts) > 1 and not any(p.print_name for r, _ in parts for p in r.patches):
        stems = [path.stem for path in files.paths]
        # files of one name in two folders are two prints
        names = stems if len({*stems}) == len(stems) else [path.as_posix() for path in files.paths]
        parts = [(replace(r, patches=tuple(replace(p, print_name=name) for p in r.patches)), aim)
                 for name, (r, aim) in zip(names, parts, strict=True)]
    return printed_tones(curve, combine([r for r, _ in parts]),
                         np.concatenate([aim for _, aim in parts]))


def _read(
    path: Path, curve: Curve, options: ReadingOptions, target: Target | None,
    order: ListOrder | None, aims_needed: bool,
) -> tuple[Readings, Array]:
    """Readings and aims of one file."""
    table = read_table(path, options.level_field, _PLAIN)
    if columns.says_wet(table):
        raise ReadingsError(f"{table.source.name}: readings are marked as wet or not yet dry",
                            "prints dry down by up to a third of a stop, and a curve is for dry"
                            " ones", "let the print dry, and measure it again")
    stated = columns.says_aims(table)
    if target is not None and not stated and (
            aims_needed or not columns.is_usable(table.columns, options.level_field)):
        readings, aim = _by_target(table, curve, target, order, options)
        stated = any(p.aim_lightness is not None for p in target.patches)
    else:
        readings, aim = _by_columns(table, curve, options)
    refuse_own(curve, readings, table.source.name)
    if aims_needed and not stated:
        raise without_tones(f"the target {target.name}" if target else table.source.name,
                            levels=True)
    return readings, aim


def _by_columns(
    table: Table, curve: Curve, options: ReadingOptions
) -> tuple[Readings, Array]:
    try:
        table, aim = with_levels(table, curve, options.scale)
    except ReadingsError as error:
        if error.code == "weighting_missing":
            raise other_scales(table.source.name, curve) from error
        raise
    return readings_from_table(table, options), aim


def _by_target(
    table: Table, curve: Curve, target: Target, order: ListOrder | None, options: ReadingOptions
) -> tuple[Readings, Array]:
    readings = map_list(table, target, order, options)
    patches = [target.patch(p.patch) for p in readings.patches]
    aims = [None if p is None else p.aim_lightness for p in patches]
    promised = curve.response.lightness_at(readings.level)
    return readings, np.array([p if a is None else a
                               for a, p in zip(aims, promised.tolist(), strict=True)])

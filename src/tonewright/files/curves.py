"""Curves from files: everything that is named is opened once, and the curve is written."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import field, replace
from datetime import date
from functools import partial
from pathlib import Path

from tonewright.curve.compare import Difference, differences, print_shift
from tonewright.curve.document import Curve, Settings
from tonewright.curve.ink import one_ink
from tonewright.curve.make import FitRequest, fit_curve, rebuild
from tonewright.curve.renew import Renewed, RenewRequest, renew_curve
from tonewright.errors import OptionError
from tonewright.files.documents import (
    document_text,
    open_curve,
    read_aim,
    read_curve,
    read_process,
    read_setup,
)
from tonewright.files.safe import check_outputs, one_call, write_together
from tonewright.files.tables import read_readings
from tonewright.files.targets import read_target
from tonewright.frozen import dataclass
from tonewright.measured.readings import ReadingOptions, Readings
from tonewright.record.dates import parse_date
from tonewright.record.provenance import document_name
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.scan.instrument import map_list
from tonewright.target.document import Target


@dataclass(frozen=True)
class ReadingFiles:
    """Files of readings that are read as one, and how they are understood."""

    paths: tuple[Path, ...] = ()
    options: ReadingOptions = field(default_factory=ReadingOptions)

    def read(self, target: Target | None = None) -> Readings | None:
        """The readings; None where no file is named.

        A list without ink levels takes them from the ``target``: by the names of its patches, or
        in reading order.
        Raises as `read_readings` and `map_list`.
        """
        if not self.paths:
            return None
        return read_readings(self.paths, self.options, None if target is None else partial(
            map_list, target=target, options=self.options))


@dataclass(frozen=True)
class SetupFiles:
    """What is said of a setup: entry by entry, and in a TOML file; the entries win over it."""

    entries: Setup = field(default_factory=Setup)
    file: Path | None = None

    def read(self, today: date | None = None) -> Setup:
        """The setup; ``today`` is the last day that it may be of, None: the computer's date.

        Raises `OptionError` where file and entries name two ink colours, and for a date that is
        none, or one still to come; and as `read_setup`.
        """
        setup = self.entries
        if self.file is not None:
            base = read_setup(self.file)
            one_ink({who: colour for who, colour in (
                (f"the setup {self.file.name}", base.ink_colour),
                ("the ink colour named", setup.ink_colour)) if colour is not None})
            setup = base.with_changes(vars(setup))
        if setup.date is None:
            return setup
        return replace(setup, date=parse_date(setup.date, today or date.today()).isoformat())


@dataclass(frozen=True)
class FitFiles:
    """What a curve is made from: files, and what is said beside them (see `FitRequest`)."""

    output: Path | None = None
    """None: the curve is made and not kept."""
    plot: Path | None = None
    """Where the picture goes that the caller draws of what was made."""
    readings: ReadingFiles = field(default_factory=ReadingFiles)
    setup: SetupFiles = field(default_factory=SetupFiles)
    aim: str = "lightness"
    """As `read_aim` takes it."""
    left_out: tuple[str, ...] = ()
    target: Path | None = None
    process: Path | None = None
    target_time: PrintingTime | None = None
    ink_from: tuple[Path, ...] = ()
    light_may_differ: bool = False
    force: bool = False


@dataclass(frozen=True)
class RenewFiles:
    """What is new since an old curve: files, and what is said beside them (see `RenewRequest`)."""

    old: Path
    output: Path
    plot: Path | None = None
    """As in `FitFiles`."""
    readings: ReadingFiles = field(default_factory=ReadingFiles)
    changes: SetupFiles = field(default_factory=SetupFiles)
    process: Path | None = None
    readings_time: PrintingTime | None = None
    left_out: tuple[str, ...] = ()
    light_may_differ: bool = False
    replace: bool = False
    force: bool = False


@dataclass(frozen=True)
class Rebuilt:
    """A curve made again from what it carries."""

    old: Curve
    curve: Curve
    same_bytes: bool
    """Whether its document comes out the same, byte for byte."""
    differences: tuple[Difference, ...]
    """Where it differs by more than rounding; none: it is the same."""
    print_shift_lightness: float
    """L* by which the prints that the two predict differ, at most."""


@one_call()
def fit_files(
    wanted: FitFiles, before_writing: Callable[[Curve], bytes | None] = lambda _: None
) -> Curve:
    """Make a curve from files and write it.

    ``before_writing`` gets the curve while nothing is written yet, and gives the picture for
    ``plot``: if it raises, nothing is.

    Raises `FileError`, `ReadingsError`, `DocumentError`: a file cannot be read, holds something
    else, or the output cannot be written; `OptionError`, `FitError` as `fit_curve`.
    """
    inputs = [*wanted.readings.paths, *wanted.ink_from, wanted.setup.file, wanted.target,
              wanted.process, Path(wanted.aim.partition(":")[2] or wanted.aim)]
    check_outputs(wanted.output, wanted.plot, inputs, wanted.force, ".curve.json")
    target = None if wanted.target is None else read_target(wanted.target)
    readings = wanted.readings.read(target)
    curve = fit_curve(FitRequest(
        name=document_name(_name_giver(wanted).name), readings=readings,
        settings=Settings(read_aim(wanted.aim, readings), wanted.left_out),
        setup=wanted.setup.read(),
        target=target,
        process=None if wanted.process is None else read_process(wanted.process),
        target_time=wanted.target_time, ink_from=tuple(map(read_curve, wanted.ink_from)),
        light_may_differ=wanted.light_may_differ))
    write_together([(wanted.output, document_text(curve)), (wanted.plot, before_writing(curve))],
                   force=wanted.force)
    return curve


def _name_giver(wanted: FitFiles) -> Path:
    """The file that a curve is called after."""
    if wanted.output is not None:
        return wanted.output
    first = next(iter((*wanted.readings.paths, *wanted.ink_from)), None)
    if first is None:
        raise OptionError("no readings were named", "a curve is made from the readings of a target",
                          "name a file of readings", code="no_readings")
    return first.with_suffix("")


@one_call()
def renew_files(
    new: RenewFiles, before_writing: Callable[[Renewed], bytes | None] = lambda _: None
) -> Renewed:
    """Renew a curve from files and write the new one.

    ``before_writing`` is as in `fit_files`.

    Raises `FileError`, `ReadingsError`, `DocumentError` as `fit_files`; `OptionError`, `FitError`
    as `renew_curve`.
    """
    inputs = [new.old, *new.readings.paths, new.process, new.changes.file]
    check_outputs(new.output, new.plot, inputs, new.force, ".curve.json")
    old = open_curve(new.old)
    renewed = renew_curve(RenewRequest(
        old.document, old.sha256, document_name(new.output.name),
        process=None if new.process is None else read_process(new.process),
        readings=new.readings.read(), changes=new.changes.read(),
        readings_time=new.readings_time, left_out=new.left_out,
        light_may_differ=new.light_may_differ, replace=new.replace))
    write_together([(new.output, document_text(renewed.curve)),
                    (new.plot, before_writing(renewed))], force=new.force)
    return renewed


@one_call()
def rebuild_file(
    path: Path, output: Path | None = None, plot: Path | None = None, *, force: bool = False,
    before_writing: Callable[[Curve], bytes | None] = lambda _: None,
) -> Rebuilt:
    """Make a curve again from what it carries, write it if ``output`` is named, and compare.

    Raises `FileError` and `DocumentError` as `fit_files`; ``plot`` and ``before_writing`` are as
    there.
    """
    check_outputs(output, plot, [path], force, ".curve.json")
    old = open_curve(path)
    new = rebuild(old.document)
    made = document_text(new).encode("utf-8")
    same = hashlib.sha256(made).hexdigest() == old.sha256
    write_together([(output, made), (plot, before_writing(new))], force=force)
    return Rebuilt(old.document, new, same, () if same else differences(old.document, new),
                   print_shift(old.document, new))

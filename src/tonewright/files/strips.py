"""Strips on disk, as tables of readings or as scans; each file is read once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING

from tonewright.errors import OptionError, counted
from tonewright.files.blank import BOTH, blank_strip, write_blank
from tonewright.files.scanners import ScanOrTable, ScanSettings, read_scanner
from tonewright.files.tables import STRIPS
from tonewright.frozen import dataclass
from tonewright.measured.columns import Table
from tonewright.measured.readings import ReadingOptions, refuse_relative
from tonewright.record.times import PrintingTime
from tonewright.strip.readings import Strip, StripOptions, combine_strips, strip_from_table
from tonewright.strip.tablet import Tablet

if TYPE_CHECKING:
    from tonewright.scan.flat import Flat
    from tonewright.scan.scanner import ScannerResponse
    from tonewright.scan.strips import Halves


@dataclass(frozen=True, eq=False)
class StripSettings(ScanSettings):
    """What the files of strips do not say of themselves."""

    times: tuple[PrintingTime, ...] = ()
    """Printing times: none, one for all files, or one for each in their order."""
    options: ReadingOptions = field(default_factory=ReadingOptions)
    """Relative readings need the density of the paper."""
    flip: bool = False
    """The strips were read from the dense end."""
    skip: tuple[int, ...] = ()
    """Steps that were not measured or are to be left out."""
    scanner: Path | None = None
    """The scanner response, for scans; None: their embedded profile."""
    halves: Halves = "2"
    """For scans: which half lay under the film, see `StripScan`."""


def read_strip(
    paths: Sequence[Path | Table], tablet: Tablet, settings: StripSettings | None = None
) -> Strip:
    """The strips of one or several files (tables, scans) of one paper, as one; a table that is in
    hand stands for its file.

    Raises `FileError`, `ImageError`, `DocumentError`: a file cannot be opened, or is of another
    kind; `OptionError`: more times than one but not one for each file, or settings that would not
    count; `ReadingsError` as `strip_from_table`, `combine_strips` and `read_strip_scan` do.
    """
    settings = settings or StripSettings()
    options = settings.options
    if options.relative_to_paper and options.paper_density is None:
        refuse_relative()
    times: Sequence[PrintingTime | None] = settings.times or (None,)
    if len(times) not in (1, len(paths)):
        raise OptionError(f"{counted(len(times), 'printing time')} are given for"
                          f" {counted(len(paths), 'file')}",
                          "one time holds for all files, or each file has its own",
                          "give one, or one for each file in the same order",
                          code="strip_times_uneven")
    files = [one if isinstance(one, Table) else ScanOrTable(one) for one in paths]
    _check_scans([one.source.name if isinstance(one, Table) else str(one) for one in paths],
                 [f.path for f in files if not isinstance(f, Table) and f.is_scan], settings)
    response = read_scanner(settings.scanner) if settings.scanner else None
    flat = settings.read_flat()
    tables = [file if isinstance(file, Table)
              else _scanned(file, tablet, (response, flat), settings) if file.is_scan
              else file.table("step", STRIPS) for file in files]
    return combine_strips([
        strip_from_table(table, tablet, StripOptions(time, options.scale, settings.flip,
                                                     settings.skip, options.paper_density))
        for table, time in zip(tables, [*times] * (len(paths) // len(times)), strict=True)])


def write_blank_strip(
    path: Path, tablet: Tablet, times: Sequence[PrintingTime] = (), halves: Halves = "2", *,
    force: bool = False,
) -> tuple[str, ...]:
    """Write a table of a tablet's steps to fill in; its columns for densities.

    Raises `OptionError`: more than one time: a table is for one strip; `FileError` as
    `write_blank`.
    """
    if len(times) > 1:
        raise OptionError(f"{counted(len(times), 'printing time')} are given for one table",
                          "a table is for one strip", "write a table for each strip",
                          code="strip_times_uneven")
    columns = {"1": ("film",), "film": ("film",), "bare": ("bare",)}.get(halves, BOTH)
    write_blank(path, blank_strip(tablet, columns, next(iter(times), None)), force=force)
    return columns


def _scanned(
    file: ScanOrTable, tablet: Tablet, light: tuple[ScannerResponse | None, Flat | None],
    settings: StripSettings,
) -> Table:
    """A scanned strip as a table of readings."""
    from tonewright.scan.strips import StripScan, read_strip_scan  # tables do without

    scan = file.scan(allow_jpeg=settings.allow_jpeg, channel=settings.channel,
                     fingerprint=True)
    response, flat = light
    how = StripScan(response, settings.corners, settings.halves, flat)
    return read_strip_scan(scan, len(tablet.densities), how)


def _check_scans(
    names: Sequence[str], scans: Sequence[Path], settings: StripSettings
) -> None:
    """Refuse what would silently not count."""
    given = [name for name, value in (
        ("a scanner response", settings.scanner), ("corners", settings.corners is not None),
        ("a channel", settings.channel), ("JPEG", settings.allow_jpeg),
        ("the order of halves", settings.halves != "2"),
        ("a plain sheet's scan", settings.flat)) if value]
    if given and not scans:
        raise OptionError(f"{given[0]} is asked for, but {names[0]} is no scan",
                          "that holds for scans (TIFF or PNG) alone",
                          "leave it out, or name the scan", code="for_scans_alone")
    if settings.corners is not None and len(scans) > 1:
        raise OptionError(f"one set of corners is given for {len(scans)} scans",
                          "each scan has corners of its own", "read one scan at a time",
                          code="corners_of_several")
    if scans and settings.options.relative_to_paper:
        raise OptionError(f"{scans[0]} is a scan, and relative readings are asked for",
                          "a scanner's densities do not count from the paper",
                          "evaluate scans, and readings that count from the paper, one by one",
                          code="scan_relative")
    if scans and settings.flip:
        raise OptionError(f"{scans[0]} is a scan that is to be flipped",
                          "in a scan the dark end is step 1, whichever way it lies",
                          "do not flip it", code="scan_flipped")
